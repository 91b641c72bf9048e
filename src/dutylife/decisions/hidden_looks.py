"""Failure finding in the run: how often a hidden function is tested, and when it may be less."""

from dataclasses import dataclass

from dutylife.components import Component
from dutylife.decisions.cells import Cell
from dutylife.decisions.failure_finding import failure_finding_interval
from dutylife.decisions.looks_seen import LooksSeen
from dutylife.decisions.starting import Start
from dutylife.wording import count, every, percent

# share of time a hidden function may be out of order on average: our proposal
ALLOWED, ALLOWED_CAN_HURT = 0.05, 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class TestInterval:
    """Spacing of tests in hours and days (None where not stated), clock it stands on, and why."""

    __test__ = False

    hours: float | None
    days: float | None
    clock: str | None
    computed: bool
    why: str


def is_hidden(component: Component) -> bool:
    """Nobody notices that it has failed until it is needed: only a test tells."""
    return component.hidden == "yes"


def allowed_unavailability(component: Component) -> tuple[float, str]:
    """Share of time it may be out of order, and where that comes from."""
    if component.allowed_unavailability is not None:
        return component.allowed_unavailability, "settings"
    return (ALLOWED_CAN_HURT if component.can_hurt else ALLOWED), "our proposal"


def test_interval(cell: Cell, look: Start, seen: LooksSeen, meter_unit: str) -> TestInterval:
    """How often to test a hidden function.

    Parameters
    ----------
    cell : Cell
    look : Start
        The starting test.
    seen : LooksSeen
        Tests on record.
    meter_unit : str

    Returns
    -------
    TestInterval
        2 x allowed unavailability x mean time to fail, by the mean over draws of the failure rate.
        The starting interval where no failure was found in this duty, or no law: a record without
        a failure can shorten it, never lengthen it; nor is what can hurt tested less often than
        the starting interval, whatever was found.
    """
    allowed, source = allowed_unavailability(cell.component)
    start = every(look.hours, look.days, "", meter_unit)
    kept = TestInterval(
        hours=look.hours, days=look.days, clock=None, computed=False,
        why=f"the starting test interval, {start} ({look.mark}), stays",
    )  # fmt: skip
    tests = count(seen.n_looks, "test")
    none_found = cell.n_failed == 0
    if not cell.has_law:
        return _said(kept, f"{tests} on record, too little for one of its own")
    spacing = failure_finding_interval(
        unavailability=allowed, mean_time_to_fail=1 / cell.defect_rate
    ).interval
    started = cell.sooner(look.hours, look.days)
    ceiling = none_found or bool(cell.component.can_hurt)
    if ceiling and (started is None or spacing >= started):
        why = (
            f"no failure found in {tests}; a record without one never lengthens it"
            if none_found
            else "what can hurt is tested no less often, whatever was found"
        )
        return _said(kept, why)
    return TestInterval(
        hours=cell.in_hours(spacing), days=cell.in_days(spacing), clock=cell.clock, computed=True,
        why=f"out of order no more than {percent(allowed)} of the time ({source}): twice that "
        f"share of the mean time to fail; {tests} on record; starting value: {start}",
    )  # fmt: skip


def _said(kept: TestInterval, why: str) -> TestInterval:
    return TestInterval(
        hours=kept.hours, days=kept.days, clock=kept.clock, computed=False,
        why=f"{kept.why}: {why}",
    )  # fmt: skip
