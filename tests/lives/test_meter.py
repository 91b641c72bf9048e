"""Readings made into one rising path, and hours from it."""

import itertools
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dutylife.lives.clocks.running import Running, run_in_all
from dutylife.lives.clocks.standing import Rows, rows_that_stand

CAP = "ignition cap"


def rows_of(day: list | np.ndarray, reading: list | np.ndarray) -> Rows:
    """Readings of one machine."""
    return Rows(np.array([0, len(day)]), np.asarray(day, float), np.asarray(reading, float))


def longest_path(day: np.ndarray, reading: np.ndarray, fastest: float) -> np.ndarray:
    return rows_that_stand(rows_of(day, reading), fastest, reset_cost=np.inf)


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


def path_of(day: list, reading: list) -> tuple[Running, int]:
    """Hours run in all of one machine, and how many readings were left out."""
    rows = rows_of(day, reading)
    kept = rows_that_stand(rows, 24.0)
    return run_in_all(rows.taken(kept), 24.0), int((~kept).sum())


def test_a_new_meter_goes_on_where_the_old_one_ended() -> None:
    # 2 h a day; a new meter at about day 75
    path, n_dropped = path_of([0, 30, 60, 90, 120, 150], [1000, 1060, 1120, 30, 90, 150])
    assert (n_dropped, path.n_restarts) == (0, 1)
    assert path.hours[-1] - path.hours[0] == pytest.approx(300.0)
    assert path.ahead[0] == pytest.approx(1300.0 - 150.0)  # what is run in all less what it shows
    assert path.guessed[3] == pytest.approx((0.2 * 2 * 30) ** 2)


def test_a_roll_over_is_known_to_the_hour() -> None:
    path, _ = path_of([0, 30, 60, 90, 120, 150], [850, 912, 969, 31, 88, 150])
    assert path.hours.tolist() == [850, 912, 969, 1031, 1088, 1150]
    assert (path.n_restarts, path.guessed[-1]) == (1, 0.0)


def test_a_single_low_reading_is_a_slip_and_no_new_meter() -> None:
    path, n_dropped = path_of([0, 30, 60, 90, 120], [1000, 1060, 112, 1180, 1240])
    assert (n_dropped, path.n_restarts) == (1, 0)


def test_a_meter_that_stood_is_bridged_at_the_machines_own_rate() -> None:
    path, _ = path_of([0, 30, 60, 80, 100, 130, 160], [0, 60, 120, 120, 120, 180, 240])
    assert path.n_stood == 2
    assert path.hours[-1] == pytest.approx(320.0)
    # two readings of one visit, or of two days, are no sign of that
    assert path_of([0, 30, 33, 60], [0, 60, 60, 120])[0].n_stood == 0


def test_new_meters_are_found_and_no_others() -> None:
    """Half of 200 machines get a new meter once in 3 years; readings are 5 % slips."""
    rng = np.random.default_rng(4)
    missed, wrong, errors = 0, 0, []
    for machine in range(200):
        day = np.sort(rng.choice(1000, 25, replace=False)).astype(float)
        true = rng.uniform(0.5, 6.0) * day * rng.uniform(0.9, 1.1) + 300
        changed = rng.uniform(100, 900) if machine % 2 else np.inf
        at = np.interp(changed, day, true) if np.isfinite(changed) else 0.0
        shown = np.where(day >= changed, true - at, true).round()
        slip = rng.random(25) < 0.05
        shown[slip] = np.floor(shown[slip] / 10)
        path, _ = path_of(day.tolist(), shown.tolist())
        found = int(path.n_restarts[0])
        missed += machine % 2 and found == 0
        wrong += found - (machine % 2) if found > machine % 2 else 0
        errors.append((path.hours[-1] - path.hours[0]) / (true[-1] - true[0]) - 1.0)
    assert missed <= 4
    assert wrong <= 4
    assert abs(np.mean(errors)) < 0.02


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


def test_the_meter_of_today_is_what_the_machine_shows(made: SimpleNamespace) -> None:
    found, lives = lives_of(made, [("P1", "2020-01-01", 900.0), ("P1", "2020-04-10", 1200.0),
                               ("P1", "2020-07-19", 150.0), ("P1", "2020-09-27", 360.0),
                               ("P1", "2020-12-31", 645.0)])  # fmt: skip
    unit = found["units"].set_index("unit_id").loc["P1"]
    assert unit["meter_now_hours"] == pytest.approx(645.0)
    # 3 h a day, as if the meter had gone on
    assert lives.loc[1, "exit_hours"] == pytest.approx(300.0)
    told = found["findings"].set_index("key")["message"]
    assert "P1 (1)" in told["meter_hours, started again at 0"]


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
