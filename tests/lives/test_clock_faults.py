"""Meters that stop, jump, or count something else: what is done, and what is said."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dutylife.lives.clocks.running import run_in_all, usual_rates
from dutylife.lives.clocks.slips import slips_in_order
from dutylife.lives.clocks.standing import Rows, rows_that_stand

CAP = "ignition cap"


def one(day: list[float], reading: list[float]) -> Rows:
    return Rows(np.array([0, len(day)]), np.array(day, float), np.array(reading, float))


def test_a_stand_reaches_into_the_stretches_beside_it() -> None:
    # 2 h a day; the meter stops on day 75 and runs on from day 145: 140 h are missed
    day = [0, 30, 60, 90, 120, 160, 190, 220, 250]
    shown = [0, 60, 120, 150, 150, 180, 240, 300, 360]
    run = run_in_all(one(day, shown), 24.0)
    assert run.hours.tolist() == pytest.approx([2.0 * d for d in day])
    assert run.n_stood.tolist() == [3]
    assert run.bridged[-1] == pytest.approx(200.0)  # the three stretches, 100 days


def steady(n: int, slow: dict[tuple[int, int], float], stands: int) -> Rows:
    """Machines read each 30 days for 600 days, 2 h a day with some chance; some stretches slow.

    The first ``stands`` machines stand in full over stretches 5 to 7.
    """
    rng = np.random.default_rng(5)
    rise = 60.0 * rng.lognormal(0.0, 0.1, (n, 20))
    rise[:stands, 5:8] = 0.0
    for (machine, stretch), share in slow.items():
        rise[machine, stretch] *= share
    reading = np.concatenate([np.zeros((n, 1)), np.cumsum(rise, axis=1)], axis=1)
    start = np.arange(n + 1) * 21
    return Rows(start, np.tile(np.arange(21) * 30.0, n), reading.ravel())


def test_a_slow_stretch_is_a_stand_only_where_meters_of_this_fleet_stop() -> None:
    slow = {(9, 11): 0.1}
    with_stands, without = (run_in_all(steady(12, slow, stands), 24.0) for stands in (2, 0))
    assert with_stands.n_stood[9] == 1
    assert without.n_stood.sum() == 0
    assert with_stands.hours[9 * 21 + 20] == pytest.approx(1200.0, rel=0.06)


def test_machines_that_rest_each_winter_keep_their_meters() -> None:
    slow = {(m, s): 0.05 for m in range(12) for s in (8, 9)}
    run = run_in_all(steady(12, slow, 1), 24.0)
    assert run.n_stood[1:].sum() == 0


def test_a_slip_that_stays_in_order_is_dropped() -> None:
    day = [0, 30, 60, 90, 120, 150, 180]
    shown = [0, 60, 120, 279, 282, 300, 360]  # 180 typed 279; 240 typed 282 is not so far off
    rows = one(day, shown)
    assert rows_that_stand(rows, 24.0).all()
    assert np.flatnonzero(slips_in_order(rows, usual_rates(rows))).tolist() == [3]


def test_a_last_reading_far_too_high_is_a_slip() -> None:
    rows = one([0, 30, 60, 90, 120], [0, 60, 120, 180, 740])
    assert np.flatnonzero(slips_in_order(rows, np.array([2.0]))).tolist() == [4]


def test_a_busy_season_is_no_slip() -> None:
    """Use of 0.4 to 2 times the mean over the year, read each 45 days."""
    days = np.arange(0.0, 1500.0)
    by_day = np.cumsum(3.0 * (1.2 + 0.8 * np.sin(2 * np.pi * days / 365.25)))
    at = np.arange(0, 1500, 45)
    rows = one(at.tolist(), by_day[at].tolist())
    assert not slips_in_order(rows, usual_rates(rows)).any()


def test_a_life_mostly_guessed_counts_as_estimated(made: SimpleNamespace) -> None:
    # the meter is new on 1 June, a day on which the machine was not read: 152 of 213 days guessed
    found = made.build(
        made.lines(("P1", "2020-01-01", 900.0), ("P1", "2020-03-01", 1020.0),
                   ("P1", "2020-08-01", 120.0), ("P1", "2020-10-01", 242.0),
                   ("P1", "2020-12-31", 424.0)),
        made.events(("P1", CAP, "2020-03-01", "replace", "failure"),
                    ("P1", CAP, "2020-10-01", "replace", "failure")),
        made.units({"unit_id": "P1"}),
    )["failure_events"]  # fmt: skip
    second = found[found["life_number"] == 2].iloc[0]
    assert second["clock_source"] == "estimated"
    assert second["exit_hours"] == pytest.approx(2 * 214, rel=0.05)
    third = found[found["life_number"] == 3].iloc[0]
    assert third["clock_source"] == "meter"


def fleet(made: SimpleNamespace, factor: float, n_odd: int, n: int = 8) -> dict[str, pd.DataFrame]:
    """Machines at about 0.6 h a day; the meters of ``n_odd`` show ``factor`` times that."""
    lines, events = [], []
    for k in range(n):
        for turn, day in enumerate(pd.date_range("2019-01-01", "2020-12-31", periods=12)):
            hours = (0.5 + 0.025 * k) * (day - pd.Timestamp("2019-01-01")).days
            lines.append((f"M{k}", day, round(hours * (factor if k < n_odd else 1.0))))
            if turn in (4, 8):
                events.append((f"M{k}", CAP, day.normalize(), "replace", "failure"))
    return made.build(
        made.lines(*lines),
        made.events(*events),
        made.units(*[{"unit_id": f"M{k}"} for k in range(n)]),
    )


@pytest.mark.parametrize(("what", "factor"), [("minutes", 60.0), ("tenths", 14.0)])
def test_a_meter_of_another_quantity_is_told_and_not_used(
    made: SimpleNamespace, what: str, factor: float
) -> None:
    found = fleet(made, factor, 1)
    lives = found["failure_events"]
    odd = lives[(lives["unit_id"] == "M0") & lives["exit_days"].notna()]
    assert (odd["exit_hours"] / odd["exit_days"]).between(0.3, 1.2).all()
    assert set(odd["clock_source"]) == {"estimated"}
    rows = found["findings"].astype({"key": "object"})
    row = rows[rows["key"] == "meter_hours, another quantity"].iloc[0]
    assert row["kind"] == "note"
    assert "M0" in row["message"]
    assert "lines.csv row 2, lines.csv row 3" in row["message"]
    assert what in row["mend"]


def test_a_column_of_another_quantity_asks(made: SimpleNamespace) -> None:
    found = fleet(made, 60.0, 8)
    assert found["failure_events"]["exit_hours"].isna().all()
    rows = found["findings"].astype({"key": "object"}).set_index("key")
    assert rows.loc["meter_hours, another quantity", "kind"] == "ask"
    assert "No line has a meter reading" not in " ".join(rows["message"])


def test_no_age_is_over_24_hours_a_day(made: SimpleNamespace) -> None:
    found = made.build(
        made.lines(("P1", "2020-01-01", 0.0), ("P1", "2020-01-11", 230.0),
                   ("P1", "2020-01-12", 270.0), ("P2", "2020-01-01"), ("P2", "2020-06-01")),
        made.events(*[(u, CAP, f"2020-01-{d}", "replace", "failure")
                      for u in ("P1", "P2") for d in (11, 12, 20)]),
        made.units({"unit_id": "P1", "in_service_on": "2020-01-01"},
                   {"unit_id": "P2", "in_service_on": "2020-01-01", "hours_per_week": 500.0}),
    )["failure_events"]  # fmt: skip
    assert (found["exit_hours"] <= 24.0 * found["exit_days"] + 1e-9).all()


def test_minutes_in_the_whole_export_scale_only_the_ages(made: SimpleNamespace) -> None:
    """The same readings times 60 in a unit without a clock's limit: every age times 60."""
    lines = [("A", f"2020-{m:02}-01", 30.0 * m + (m % 3)) for m in range(1, 13)]
    lines += [("B", f"2020-{m:02}-03", 11.0 * m) for m in range(1, 6)] + [("C", "2020-02-01")]
    events = [(u, CAP, f"2020-{m:02}-15", "replace", "failure") for u in "ABC" for m in (4, 8)]
    small, large = (
        made.build(
            made.lines(*[(*r[:2], *(factor * v for v in r[2:])) for r in lines]),
            made.events(*events),
            made.units(*[{"unit_id": u} for u in "ABC"]),
            fleet={"meter_unit": "starts"},
        )["failure_events"]
        for factor in (1.0, 60.0)
    )
    for name in ("entry_hours", "exit_hours"):
        assert (60.0 * small[name]).tolist() == pytest.approx(
            large[name].tolist(), rel=2e-3, nan_ok=True
        )
    assert small["exit_days"].tolist() == pytest.approx(large["exit_days"].tolist(), nan_ok=True)
