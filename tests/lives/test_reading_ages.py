import pandas as pd
import pytest

from dutylife.lives import age_readings
from dutylife.schema import as_table


def readings(*rows: tuple[str, str]) -> pd.DataFrame:
    """Rows of (date, moment) of the cap of machine A."""
    made = [
        {"unit_id": "A", "component": "ignition cap", "read_on": day, "moment": moment,
         "reading_number": 1, "quantity": "resistance end to end", "value": 9.0, "unit": "kOhm",
         "line_id": f"L{n}"}
        for n, (day, moment) in enumerate(rows)
    ]  # fmt: skip
    return as_table("readings", pd.DataFrame(made))


def test_a_reading_gets_the_age_of_its_part(made):
    """New on 1 January, changed on 9 July (190 days, 380 h at 2 h a day); read thrice."""
    tables = made.build(
        made.lines(("A", "2020-01-01", 0), ("A", "2020-07-09", 380), ("A", "2020-10-17", 580)),
        made.events(
            {"unit_id": "A", "component": "ignition cap", "event_date": "2020-07-09",
             "activity": "replace", "reason": "failure", "part_number": "IC-1"},
        ),
        made.units({"unit_id": "A", "in_service_on": "2020-01-01"}),
    )  # fmt: skip
    taken = readings(
        ("2020-04-10", "as found"), ("2020-07-09", "as found"), ("2020-07-09", "as left"),
        ("2020-10-17", "as found"),
    )  # fmt: skip
    aged = age_readings(taken, tables["failure_events"]).sort_values("line_id")
    assert aged["age_days"].tolist() == [100.0, 190.0, 0.0, 100.0]
    assert aged["age_hours"].tolist() == pytest.approx([200.0, 380.0, 0.0, 200.0], abs=2.0)
    assert aged["part_number"].astype(object).tolist()[2:] == ["IC-1", "IC-1"]
    assert taken["age_days"].isna().all()


def test_a_part_of_unknown_age_has_no_age(made):
    tables = made.build(
        made.lines(("A", "2020-01-01"), ("A", "2020-07-09")),
        made.events(("A", "ignition cap", "2020-07-09", "replace", "failure")),
        made.units({"unit_id": "A"}),
    )
    aged = age_readings(readings(("2020-07-09", "as found")), tables["failure_events"])
    assert aged[["age_days", "age_hours"]].isna().all(axis=None)


def test_a_component_without_lives_keeps_its_readings(made):
    lives = as_table("failure_events", pd.DataFrame())
    assert len(age_readings(readings(("2020-07-09", "as found")), lives)) == 1
