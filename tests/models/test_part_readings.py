"""Readings of the table sorted into the paths of single parts."""

import numpy as np
import pandas as pd
import pytest

from dutylife.errors import FitError
from dutylife.models import path_model, readings_by_part
from dutylife.schema import as_table


def table(**columns: object) -> pd.DataFrame:
    rows = pd.DataFrame(
        {
            "component": "ignition cap", "quantity": "resistance end to end", "unit": "kOhm",
            "moment": "as found", "reading_number": 1, "over_range": False,
        }
        | columns
    )  # fmt: skip
    return as_table("readings", rows.assign(line_id=[f"line{k}" for k in range(len(rows))]))


def test_a_new_part_in_the_same_place_begins_another_path():
    readings = table(
        unit_id=["U1", "U1", "U1", "U2"],
        read_on=pd.to_datetime(["2026-03-01", "2026-05-01", "2026-07-01", "2026-05-01"]),
        age_days=[59, 120, 10, 120], age_hours=[200.0, 400.0, 30.0, 390.0],
        value=[5.0, 5.4, 5.1, 5.2], part_number=["C5", "C5", "C5", None],
    )  # fmt: skip
    found = readings_by_part(readings, "ignition cap")
    # fitted on 1 January, on 21 June, and on another machine
    assert found.table["part"].tolist() == [
        "U1 2026-01-01", "U1 2026-01-01", "U1 2026-06-21", "U2 2026-01-01"
    ]  # fmt: skip
    assert found.table["age"].tolist() == [200.0, 400.0, 30.0, 390.0]
    assert readings_by_part(readings, "ignition cap", clock="days").table["age"].tolist() == [
        59, 120, 10, 120
    ]  # fmt: skip
    assert (found.unit, found.n_over_range, found.n_unknown_age) == ("kOhm", 0, 0)


def test_what_is_left_out_is_counted_and_its_bias_told():
    readings = table(
        unit_id="U1", read_on=pd.Timestamp("2026-05-01"), age_days=[120, 120, None],
        age_hours=[400.0, 400.0, None], value=[5.0, 20.0, 5.4], over_range=[False, True, False],
    )  # fmt: skip
    found = readings_by_part(readings, "ignition cap")
    assert (len(found.table), found.n_over_range, found.n_unknown_age) == (1, 1, 1)
    assert "1 of unknown age, 1 over range" in found.text
    assert "drift comes out too small" in found.text


def test_a_part_set_anew_begins_again_from_that_day():
    # a gap of 0.70 grows to 0.82, is set to 0.70 at 100 h, and grows again
    readings = table(
        component="spark plug", quantity="electrode gap", unit="mm", unit_id="U1",
        read_on=pd.to_datetime(["2026-01-01", "2026-02-20", "2026-02-20", "2026-04-11"]),
        moment=["as left", "as found", "as left", "as found"],
        age_days=[0, 50, 50, 100], age_hours=[0.0, 100.0, 100.0, 250.0],
        value=[0.70, 0.82, 0.70, 0.85],
    )  # fmt: skip
    rows = readings_by_part(readings, "spark plug").table
    assert rows["part"].tolist() == ["U1 2026-01-01"] * 2 + ["U1 2026-01-01 set 1"] * 2
    assert rows["age"].tolist() == [0.0, 100.0, 0.0, 150.0]
    assert rows["reading"].tolist() == [0.70, 0.82, 0.70, 0.85]


def test_two_positions_are_two_parts_and_two_figures_of_a_day_are_repeats():
    readings = table(
        unit_id="U1", read_on=pd.Timestamp("2026-05-01"), position=["left", "right", "right"],
        reading_number=[1, 1, 2], age_days=120, age_hours=400.0, value=[5.0, 5.3, 5.4],
    )  # fmt: skip
    rows = readings_by_part(readings, "ignition cap").table
    assert rows["part"].tolist() == ["U1 left 2026-01-01"] + ["U1 right 2026-01-01"] * 2


def test_what_cannot_be_sorted_is_refused_with_what_was_read():
    readings = table(
        unit_id="U1", read_on=pd.Timestamp("2026-05-01"), age_days=None, age_hours=None,
        value=[5.0, 9.0], quantity=["resistance end to end", "length"], unit=["kOhm", "mm"],
    )  # fmt: skip
    with pytest.raises(FitError, match="length in mm; resistance end to end in kOhm"):
        readings_by_part(readings, "ignition cap")
    with pytest.raises(FitError, match="None of 1 reading"):
        readings_by_part(readings, "ignition cap", "length")
    with pytest.raises(FitError, match="read were: none"):
        readings_by_part(readings, "carburetor")


def test_paths_of_the_table_go_straight_into_a_fit():
    generator = np.random.default_rng(6)
    days = np.tile([40, 90, 160, 230], 12)
    unit = np.repeat([f"U{k}" for k in range(12)], 4)
    drift = np.repeat(0.004 + 0.001 * generator.standard_normal(12), 4)
    readings = table(
        unit_id=unit, read_on=pd.Timestamp("2026-01-01") + pd.to_timedelta(days, unit="D"),
        age_days=days, age_hours=days * 2.0,
        value=5.0 + drift * days + 0.05 * generator.standard_normal(48),
    )  # fmt: skip
    rows = readings_by_part(readings, "ignition cap", clock="days").table
    model = path_model(rows["part"], rows["age"], rows["reading"], limit=6.25)
    assert model.n_parts == 12
    low, high = model.bounds("drift")
    assert low < 0.004 < high
    assert model.time_to_limit(part="U3 2026-01-01")["n_readings"].iloc[0] == 4
