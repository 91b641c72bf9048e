"""Rows of the past: edited, gone, late or coded otherwise, each told once with its cells."""

import pandas as pd

from dutylife.history.past_rows import change_finding, record_changes
from dutylife.schema import as_table, empty_table

THEN = pd.Timestamp("2025-11-30")


def lines(*rows: dict[str, object]) -> pd.DataFrame:
    usual = {"source_file": "a.csv", "source_row": 1, "line_kind": "part", "unit_id": "M1",
             "service_date": "2025-05-01", "quantity": 1.0, "customer": "C"}  # fmt: skip
    return as_table("service_lines", pd.DataFrame([usual | row for row in rows]))


def events(*rows: dict[str, object]) -> pd.DataFrame:
    usual = {"unit_id": "M1", "event_date": "2025-05-01", "activity": "replace",
             "reason": "failure", "confidence": 1.0, "is_comeback": False,
             "found_at_service": False, "ticket": "J1", "component": "cap"}  # fmt: skip
    return as_table("maintenance_events", pd.DataFrame([usual | row for row in rows]))


def changes(then: pd.DataFrame, now: pd.DataFrame, **more: pd.DataFrame) -> pd.DataFrame:
    none = empty_table("maintenance_events")
    units = more.get("units", empty_table("units"))
    return record_changes(
        {"service_lines": then, "units": more.get("units_then", units),
         "maintenance_events": more.get("events_then", none)},
        {"service_lines": now, "units": units}, more.get("events", none),
    )  # fmt: skip


def told(table: pd.DataFrame) -> list[tuple[str, ...]]:
    columns = ["change", "row_key", "changed_column", "was", "is_now"]
    return list(table[columns].astype(str).itertuples(index=False, name=None))


def test_an_edited_line_is_one_row_for_each_cell():
    then = lines({"line_id": "a", "ticket": "J1"}, {"line_id": "b", "ticket": "J2"})
    now = lines({"line_id": "x", "ticket": "J1", "quantity": 3.0, "unit_id": "M2"},
                {"line_id": "b", "ticket": "J2"})  # fmt: skip
    assert told(changes(then, now)) == [
        ("changed", "x", "quantity", "1", "3"), ("changed", "x", "unit_id", "M1", "M2"),
    ]  # fmt: skip


def test_a_line_that_went_and_one_that_came_late_are_not_one_edited_line():
    then = lines({"line_id": "a", "ticket": "J1", "description": "cap"})
    now = lines({"line_id": "x", "ticket": "J9", "description": "belt"})
    assert told(changes(then, now)) == [
        ("came late", "x", "line", "", "belt"), ("went", "a", "line", "cap", ""),
    ]  # fmt: skip


def test_the_same_rows_in_another_file_are_no_change():
    then = lines({"line_id": "a", "ticket": "J1"})
    now = lines({"line_id": "a", "ticket": "J1", "source_file": "b.csv", "source_row": 77})
    assert changes(then, now).empty
    assert change_finding(changes(then, now), THEN).empty


def test_a_line_in_another_duty_is_changed():
    then = lines({"line_id": "a", "ticket": "J1", "duty": "wet"})
    now = lines({"line_id": "a", "ticket": "J1", "duty": "dry"})
    assert told(changes(then, now)) == [("changed", "a", "duty", "wet", "dry")]


def test_an_event_of_the_same_line_read_otherwise():
    both = lines({"line_id": "a", "ticket": "J1"})
    table = changes(
        both, both, events_then=events({"line_ids": "a"}),
        events=events({"line_ids": "a", "reason": "preventive"}),
    )  # fmt: skip
    assert told(table) == [("coded otherwise", "a", "reason", "failure", "preventive")]
    assert table["component"].tolist() == ["cap"]


def test_an_event_that_leads_nowhere_any_more():
    both = lines({"line_id": "a", "ticket": "J1"})
    table = changes(both, both, events_then=events({"line_ids": "a"}))
    assert ("coded otherwise", "a", "activity", "replace", "") in told(table)


def test_a_listed_machine_that_was_corrected():
    def units(day: str, *more: str) -> pd.DataFrame:
        return as_table("units", pd.DataFrame({"unit_id": ["M1", *more], "in_service_on": day}))

    none = lines({"line_id": "a", "ticket": "J1"})
    table = changes(none, none, units_then=units("2020-01-01"), units=units("2021-01-01", "M2"))
    assert told(table) == [
        ("came late", "M2", "machine", "", ""),
        ("changed", "M1", "in_service_on", "2020-01-01", "2021-01-01"),
    ]


def test_the_finding_counts_rows_not_cells():
    then = lines({"line_id": "a", "ticket": "J1"}, {"line_id": "b", "ticket": "J2"})
    now = lines({"line_id": "x", "ticket": "J1", "quantity": 3.0, "unit_id": "M2"},
                {"line_id": "c", "ticket": "J3"})  # fmt: skip
    (found,) = change_finding(changes(then, now), THEN).itertuples()
    assert found.message == (
        "3 rows of the months up to 2025-11-30 are not what they were: 1 changed, 1 went, "
        "1 came late."
    )
    assert (found.table, found.source_file) == ("record_changes", "a.csv")
