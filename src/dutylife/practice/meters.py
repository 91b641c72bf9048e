"""What a machine's meter shows, and what is typed of it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dutylife.practice.fleet import Machine, Span
from dutylife.practice.scenario import Scenario
from dutylife.practice.streams import Stream
from dutylife.practice.visits import Visit
from dutylife.vocabulary.spans import DAYS_PER_YEAR

REPLACED, STOPPED, MISTYPED = "replaced", "stopped", "mistyped"


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterFault:
    """One fault; ``until`` is the day a stopped meter runs on. Days since 1970-01-01."""

    kind: str
    day: float
    until: float


class Meter:
    """The meter of one machine over the record.

    Parameters
    ----------
    scenario : Scenario
    span : Span
    machine : Machine
    visits : sequence of Visit
        The machine's own, by day: between them the true reading is taken as straight.
    seed : int
    """

    def __init__(
        self, scenario: Scenario, span: Span, machine: Machine, visits: Sequence[Visit], seed: int
    ) -> None:
        faults = scenario.meter_faults
        stream = Stream(seed, machine.index, 6)
        self._typed = Stream(seed, machine.index, 7)
        self._mistyped_share = faults.mistyped_share
        self._days = np.array([machine.in_service, *(v.day for v in visits)])
        self._hours = np.array([0.0, *(v.meter_hours for v in visits)])
        self.rolls_at = faults.rolls_at_hours if stream.chance(faults.rolling_share) else 0.0
        start = max(machine.in_service, span.start)
        found = [
            MeterFault(kind=REPLACED, day=day, until=day)
            for day in stream.arrivals(start, span.end, faults.replaced_per_year / DAYS_PER_YEAR)
        ]
        least, most = faults.stopped_days
        found += [
            MeterFault(kind=STOPPED, day=day, until=day + stream.uniform(least, most))
            for day in stream.arrivals(start, span.end, faults.stopped_per_year / DAYS_PER_YEAR)
        ]
        self.faults = sorted(found, key=lambda fault: fault.day)

    def shown_at(self, day: float, true_hours: float) -> float:
        """Hours the meter shows."""
        shown, at, at_hours = 0.0, float(self._days[0]), 0.0
        for fault in self.faults:
            if fault.day >= day:
                break
            begin = max(fault.day, at)
            if begin > at:
                hours = self._true_at(begin)
                shown, at, at_hours = shown + hours - at_hours, begin, hours
            if fault.kind == REPLACED:
                shown = 0.0
            elif fault.until > at:
                at = min(fault.until, day)
                at_hours = true_hours if at == day else self._true_at(at)
        shown += max(true_hours - at_hours, 0.0)
        return shown % self.rolls_at if self.rolls_at else shown

    def typed_at(self, day: float, true_hours: float) -> tuple[str, bool]:
        """Return the reading as typed, and whether it is a slip; call once a ticket, in turn."""
        text = f"{self.shown_at(day, true_hours):.0f}"
        if self._mistyped_share <= 0 or not self._typed.chance(self._mistyped_share):
            return text, False
        return _mistyped(text, self._typed), True

    def _true_at(self, day: float) -> float:
        return float(np.interp(day, self._days, self._hours))


def _mistyped(text: str, stream: Stream) -> str:
    """A figure too many, too few, wrong, or two exchanged."""
    at = stream.integer(0, len(text) - 1)
    figure = str(stream.integer(1, 9))
    kind = stream.pick(("too many", "too few", "wrong", "exchanged"))
    if kind == "too many":
        return text[:at] + figure + text[at:]
    if kind == "too few" and len(text) > 1:
        return text[:at] + text[at + 1 :]
    if kind == "exchanged" and at > 0 and text[at - 1] != text[at]:
        return text[: at - 1] + text[at] + text[at - 1] + text[at + 1 :]
    return text[:at] + (figure if figure != text[at] else "0") + text[at + 1 :]
