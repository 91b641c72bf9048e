"""Failures found at a service lie between the last time the part was good and that day."""

from types import SimpleNamespace

from dutylife.models.cells import lives_on, usable_lives
from dutylife.models.fitting import fit_law

CAP = "ignition cap"
DAYS = ("2020-01-01", "2020-04-10", "2020-07-19", "2020-12-31")


def test_bounds_are_the_last_good_look_and_the_finding(made: SimpleNamespace) -> None:
    look = {"unit_id": "P1", "component": CAP, "activity": "inspect", "reason": "preventive"}
    change = look | {"activity": "replace", "reason": "failure", "found_at_service": True}
    found = made.build(
        made.lines(*[("P1", d, 2.0 * i * 100) for i, d in enumerate(DAYS)]),
        made.events(look | {"event_date": DAYS[1], "finding": "ok"},
                    change | {"event_date": DAYS[2], "finding": "over limit"}),
        made.units({"unit_id": "P1", "in_service_on": DAYS[0]}),
    )  # fmt: skip
    life = found["failure_events"].iloc[0]
    assert life["event"] == "failed"
    assert (life["lower_days"], life["upper_days"]) == (100.0, 200.0)
    assert (life["lower_hours"], life["upper_hours"]) == (200.0, 400.0)


def test_never_seen_good_means_some_time_since_watching_began(made: SimpleNamespace) -> None:
    change = {"unit_id": "P1", "component": CAP, "event_date": DAYS[2], "activity": "replace",
              "reason": "failure", "found_at_service": True}  # fmt: skip
    found = made.build(
        made.lines(*[("P1", d) for d in DAYS]), made.events(change),
        made.units({"unit_id": "P1", "in_service_on": DAYS[0]}),
    )  # fmt: skip
    life = found["failure_events"].iloc[0]
    assert (life["lower_days"], life["upper_days"]) == (0.0, 200.0)


def test_a_failure_that_stopped_the_machine_has_no_bounds(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(*[("P1", d) for d in DAYS]),
        made.events(("P1", CAP, DAYS[2], "replace", "failure")),
        made.units({"unit_id": "P1", "in_service_on": DAYS[0]}),
    )
    assert found["failure_events"]["lower_days"].isna().all()


def test_the_law_places_such_failures_between_their_bounds(made: SimpleNamespace) -> None:
    """Ten machines whose part was good at day 100 and found failed at day 200: half by day 150."""
    units = [f"P{i}" for i in range(10)]
    look = {"component": CAP, "activity": "inspect", "reason": "preventive", "finding": "ok"}
    change = {"component": CAP, "activity": "replace", "reason": "failure", "finding": "failed",
              "found_at_service": True}  # fmt: skip
    found = made.build(
        made.lines(*[(u, d) for u in units for d in DAYS]),
        made.events(*[look | {"unit_id": u, "event_date": DAYS[1]} for u in units],
                    *[change | {"unit_id": u, "event_date": DAYS[2]} for u in units]),
        made.units(*[{"unit_id": u, "in_service_on": DAYS[0]} for u in units]),
    )  # fmt: skip
    table = found["failure_events"]
    first = lives_on(usable_lives(table[table["life_number"] == 1], 30), "days")
    assert first.found.all()
    assert first.lower is not None
    assert set(first.lower) == {100.0}
    law = fit_law("weibull", lower=first.lower, upper=first.exit, shape=3.0)
    assert 100.0 < law.quantile(0.5) < 200.0
