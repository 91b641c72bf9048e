"""Readings made into one rising path, and hours from it."""

import itertools
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dutylife.lives.meter import longest_path

CAP = "ignition cap"


def test_a_mistyped_reading_is_dropped() -> None:
    day = np.array([0.0, 30, 60, 90, 120])
    kept = longest_path(day, np.array([10.0, 70, 1300, 190, 250]), 24.0)
    assert kept.tolist() == [True, True, False, True, True]


def test_a_rise_faster_than_the_clock_is_dropped_for_hours_only() -> None:
    day, reading = np.array([0.0, 2, 10]), np.array([100.0, 500, 600])
    assert longest_path(day, reading, 24.0).sum() == 2
    assert longest_path(day, reading, np.inf).all()


def test_the_path_is_the_longest_there_is() -> None:
    rng = np.random.default_rng(1)
    for _ in range(40):
        day = np.sort(rng.integers(0, 12, 7)).astype(float)
        reading = rng.integers(0, 200, 7).astype(float)
        order = np.lexsort((reading, day))
        day, reading = day[order], reading[order]
        kept = longest_path(day, reading, 24.0)
        assert stands(day[kept], reading[kept])
        best = max(
            len(c)
            for size in range(8)
            for c in itertools.combinations(range(7), size)
            if stands(day[list(c)], reading[list(c)])
        )
        assert kept.sum() == best


def stands(day: np.ndarray, reading: np.ndarray) -> bool:
    rise = np.diff(reading)
    return bool(np.all(rise >= 0) and np.all(rise <= 24.0 * (np.diff(day) + 1.0)))


def lives_of(made: SimpleNamespace, lines: list, in_service: str | None = "2020-01-01", **more):
    """Cap of P1 replaced on 10 April (day 100) and 19 July (day 200); as of 31 December."""
    found = made.build(
        made.lines(*lines),
        made.events(("P1", CAP, "2020-04-10", "replace", "failure"),
                    ("P1", CAP, "2020-07-19", "replace", "failure")),
        made.units({"unit_id": "P1", "in_service_on": in_service}
                   | more.pop("unit", {}), *more.pop("others", [])),
        **more,
    )  # fmt: skip
    table = found["failure_events"]
    return found, table[table["unit_id"] == "P1"].reset_index(drop=True)


def test_hours_between_readings_are_interpolated(made: SimpleNamespace) -> None:
    # 3 h a day throughout; no reading on the days of the work
    _, lives = lives_of(
        made,
        [
            ("P1", "2020-01-01", 0.0),
            ("P1", "2020-04-10"),
            ("P1", "2020-07-19"),
            ("P1", "2020-05-20", 420.0),
            ("P1", "2020-12-31", 1095.0),
        ],
    )
    assert lives["exit_hours"].tolist() == pytest.approx([300.0, 300.0, 495.0])
    assert lives["clock_source"].tolist() == ["interpolated"] * 3
    # 40 days from the nearest reading at 3 h a day, a fifth of it, and half an hour
    assert lives.loc[0, "age_se_hours"] == pytest.approx(np.hypot(0.5, 0.2 * 3 * 40))


def test_beyond_the_last_reading_the_machines_own_rate_goes_on(made: SimpleNamespace) -> None:
    _, lives = lives_of(made, [("P1", "2020-01-01", 0.0), ("P1", "2020-04-10", 300.0),
                               ("P1", "2020-07-19", 600.0)])  # fmt: skip
    assert lives.loc[2, "exit_hours"] == pytest.approx(3.0 * 165)  # 19 July to 31 December
    assert lives.loc[2, "clock_source"] == "estimated"
    assert lives.loc[2, "age_se_hours"] == pytest.approx(np.hypot(0.5, 0.2 * 3 * 165))


def test_a_machine_starts_at_zero_where_that_gives_a_plausible_rate(made: SimpleNamespace) -> None:
    lines = [("P1", "2020-04-10", 300.0), ("P1", "2020-07-19", 600.0)]
    _, lives = lives_of(made, [("P0", "2020-01-01"), *lines])
    assert lives.loc[0, "exit_hours"] == 300.0
    assert lives.loc[0, "clock_source"] == "meter"


def test_a_machine_bought_used_does_not_start_at_zero(made: SimpleNamespace) -> None:
    lines = [("P1", "2020-04-10", 2300.0), ("P1", "2020-07-19", 2600.0)]  # 23 then 3 h a day
    _, lives = lives_of(made, [("P0", "2020-01-01"), *lines])
    assert lives.loc[0, "exit_hours"] == pytest.approx(300.0)  # back at its own 3 h a day
    assert lives.loc[0, "clock_source"] == "estimated"


def test_dropped_readings_are_counted_and_named(made: SimpleNamespace) -> None:
    found, lives = lives_of(
        made,
        [
            ("P1", "2020-01-01", 0.0),
            ("P1", "2020-04-10", 300.0),
            ("P1", "2020-05-01", 30.0),
            ("P1", "2020-07-19", 600.0),
        ],
    )
    assert lives.loc[1, "exit_hours"] == 300.0
    row = found["findings"].set_index("key").loc["meter_hours"]
    assert row["message"].startswith("1 meter reading on 1 machine can't stand")
    assert "P1 (1)" in row["message"]


def test_without_any_meter_hours_stay_blank_and_it_is_said(made: SimpleNamespace) -> None:
    found, lives = lives_of(
        made,
        [("P1", "2020-01-01"), ("P1", "2020-04-10"), ("P1", "2020-07-19")],
        unit={"hours_per_week": 20.0},
    )
    assert lives[["entry_hours", "exit_hours", "age_se_hours"]].isna().all(axis=None)
    assert lives["exit_days"].tolist() == [100.0, 100.0, 165.0]
    assert "No line has a meter reading" in " ".join(found["findings"]["message"])


def test_use_is_stated_else_metered_else_that_of_machines_alike(made: SimpleNamespace) -> None:
    metered = [
        ("M1", "2020-01-01", 0.0),
        ("M1", "2020-12-30", 728.0),  # 364 days: 14 h a week
        ("M2", "2020-01-01", 0.0),
        ("M2", "2020-12-30", 1456.0),  # 28
        ("M3", "2020-01-01", 0.0),
        ("M3", "2020-12-30", 2184.0),
    ]  # 42
    plain = [("P1", "2020-01-01"), ("S1", "2020-01-02"), ("Q1", "2020-01-02"), ("Z1", "2020-01-02")]
    found, lives = lives_of(
        made,
        [*metered, *plain],
        others=[
            {"unit_id": "M1", "equipment_class": "saw"},
            {"unit_id": "M2"},
            {"unit_id": "M3"},
            {"unit_id": "S1", "hours_per_week": 5.0},
            {"unit_id": "Q1", "equipment_class": "mixer"},
            {"unit_id": "Z1"},
        ],
        span_rows=made.spans(
            *[(u, "2020-01-01", "kerb") for u in ("P1", "M1", "M2", "M3", "S1", "Q1")],
            ("Z1", "2020-01-01", "park"),
        ),
    )
    use = found["units"].set_index("unit_id")[["hours_per_week", "usage_source"]]
    assert use.loc["S1"].tolist() == [5.0, "stated"]
    assert use.loc["M1"].tolist() == [pytest.approx(14.0), "meter"]
    # pumps in the kerb duty: 28, 42 and the stated 5
    assert use.loc["P1"].tolist() == [pytest.approx(28.0), "duty and class"]
    # no other mixer: all of the duty, 5, 14, 28, 42
    assert use.loc["Q1"].tolist() == [pytest.approx(21.0), "duty and class"]
    # nothing known of the park duty: the fleet
    assert use.loc["Z1"].tolist() == [pytest.approx(21.0), "fleet"]
    # P1 has no meter: 100 days at 28 h a week, known within the spread of rates in its duty
    assert lives.loc[0, "exit_hours"] == pytest.approx(400.0)
    spread = np.std([14, 28, 42, 5], ddof=1) / np.mean([14, 28, 42, 5])
    rates = [5.0, 14.0, 28.0, 42.0]
    assert spread == pytest.approx(np.std(rates, ddof=1) / np.mean(rates))
    assert lives.loc[0, "age_se_hours"] == pytest.approx(spread * 400.0)
    assert lives.loc[0, "clock_source"] == "estimated"


def test_a_fleet_rate_from_the_settings_is_the_last_resort(made: SimpleNamespace) -> None:
    found, _ = lives_of(made, [("P1", "2020-04-10", 300.0), ("P1", "2020-07-19")], None,
                        fleet={"hours_per_week": 12.0})  # fmt: skip
    unit = found["units"].iloc[0]
    assert (unit["hours_per_week"], unit["usage_source"]) == (12.0, "fleet")
    assert isinstance(found["failure_events"], pd.DataFrame)
