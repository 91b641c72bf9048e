"""An earlier plan against the record since: done, late, skipped, and what failed meanwhile."""

import datetime as dt

import pandas as pd
import pytest

from dutylife.decisions import visits_kept
from dutylife.decisions.visits.kept import visits_kept_sentence
from dutylife.schema import as_table, empty_table

PLANNED, NOW = dt.date(2026, 1, 31), dt.date(2026, 3, 31)


def plan(*rows):
    frame = pd.DataFrame(rows, columns=["unit_id", "due_on", "tasks"])
    frame["due_on"] = pd.to_datetime(frame["due_on"])
    return as_table("visit_plan", frame.assign(customer="Kerb Store"))


def events(*rows):
    names = ["unit_id", "component", "event_date", "activity", "reason"]
    frame = pd.DataFrame(rows, columns=names).assign(ticket=[f"J{i}" for i in range(len(rows))])
    return as_table(
        "maintenance_events", frame.assign(event_date=pd.to_datetime(frame["event_date"]))
    )


def units(**left):
    rows = [{"unit_id": u, "left_on": pd.Timestamp(day)} for u, day in left.items()]
    return as_table("units", pd.DataFrame(rows)) if rows else empty_table("units")


def fates(made, record, left=None):
    found = visits_kept(made, PLANNED, record, left if left is not None else units(), NOW)
    found = found.astype({"kept": "object", "component": "object", "unit_id": "object"})
    return found.set_index(["unit_id", "component", "task"])


def test_what_was_done_when_and_how_late():
    made = plan(
        ("A", "2026-02-10", "replace belt"),
        ("B", "2026-02-10", "replace belt"),
        ("C", "2026-02-10", "replace belt"),
        ("D", "2026-02-10", "replace belt"),
    )
    record = events(
        ("A", "belt", "2026-02-03", "replace", "preventive"),
        ("B", "belt", "2026-02-17", "replace", "opportunistic"),
        ("C", "belt", "2026-02-18", "replace", "preventive"),
        ("D", "hose", "2026-02-10", "replace", "preventive"),
    )
    found = fates(made, record)
    assert found["kept"].tolist() == ["done", "done", "late", "skipped"]
    assert found["days_late"].tolist()[:3] == [-7, 7, 8]
    assert pd.isna(found["done_on"].iloc[3])


def test_only_what_fell_due_since_is_asked_for():
    made = plan(
        ("A", "2026-01-31", "replace belt"),
        ("B", "2026-02-01", "replace belt"),
        ("C", "2026-03-31", "replace belt"),
        ("D", "2026-04-01", "replace belt"),
    )
    found = fates(made, events(("A", "belt", "2026-01-31", "replace", "preventive")))
    assert [u for u, _, _ in found.index] == ["B", "C"]
    assert found["kept"].tolist() == ["skipped", "still open"]


def test_what_failed_meanwhile():
    made = plan(
        ("A", "2026-02-10", "replace belt"),
        ("B", "2026-02-10", "replace belt"),
        ("C", "2026-02-10", "replace belt"),
        ("D", "2026-02-10", "replace belt"),
    )
    record = events(
        ("A", "belt", "2026-02-05", "replace", "failure"),  # before anyone could keep it
        ("B", "belt", "2026-03-05", "replace", "failure"),  # skipped, and it failed
        ("C", "belt", "2026-02-25", "repair", "failure"),
        ("C", "belt", "2026-03-10", "replace", "preventive"),  # late, and it failed before
        ("D", "belt", "2026-02-10", "replace", "preventive"),
        ("D", "belt", "2026-03-10", "replace", "failure"),  # another life: no matter of the plan
    )
    found = fates(made, record)
    assert found["kept"].tolist() == ["failed first", "skipped", "late", "done"]
    days = found["failed_on"].dt.strftime("%m-%d").fillna("")
    assert days.tolist() == ["02-05", "03-05", "02-25", ""]
    said = visits_kept_sentence(found.reset_index(), "31 Jan 2026")
    assert said == (
        "Of 4 planned tasks that fell due since 31 Jan 2026: 1 done in time, 1 done late, 1 "
        "skipped, 1 came in broken first. 2 parts failed while the work was late or not done."
    )


def test_a_look_of_which_nothing_is_written_is_no_skipped_visit():
    made = plan(
        ("A", "2026-02-20", "inspect belt;replace hose"), ("B", "2026-02-20", "inspect belt")
    )
    found = fates(made, events(("A", "hose", "2026-02-19", "replace", "preventive")))
    assert found["kept"].to_dict() == {
        ("A", "belt", "inspect"): "not written", ("A", "hose", "replace"): "done",
        ("B", "belt", "inspect"): "skipped",
    }  # fmt: skip


def test_whoever_changes_a_part_has_looked_at_it_and_one_change_does_one_task():
    made = plan(
        ("A", "2026-02-10", "inspect belt"),
        ("B", "2026-02-10", "replace belt"),
        ("B", "2026-03-10", "replace belt"),
    )
    record = events(
        ("A", "belt", "2026-02-11", "replace", "preventive"),
        ("B", "belt", "2026-02-11", "replace", "preventive"),
    )
    found = visits_kept(made, PLANNED, record, units(), NOW)
    assert found["kept"].astype(object).tolist() == ["done", "done", "skipped"]


def test_a_machine_that_left_skips_nothing():
    made = plan(("A", "2026-02-20", "replace belt"))
    assert fates(made, events(), units(A="2026-02-15"))["kept"].tolist() == ["machine gone"]
    assert fates(made, events(), units(A="2026-03-15"))["kept"].tolist() == ["skipped"]


@pytest.mark.parametrize("given", [None, empty_table("visit_plan")])
def test_without_an_earlier_plan_nothing_is_said_of_it(given):
    assert visits_kept(given, None, events(), units(), NOW).empty
    assert visits_kept(given, PLANNED, events(), units(), NOW).empty
