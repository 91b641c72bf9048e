"""Two months in one calendar: names last, moved visits rise in SEQUENCE, dropped ones go."""

import datetime as dt
import json
from pathlib import Path

import pandas as pd
import pytest
from icalendar import Calendar
from made_run import AS_OF, make_run

from dutylife.errors import RunError
from dutylife.reports import write_calendar
from dutylife.run_folder import write_tables
from dutylife.schema import as_table


def run_with(folder: Path, visits: list[tuple[str, str, str]], as_of: dt.date = AS_OF) -> Path:
    """A run folder whose plan has these visits: machine, day, tasks."""
    make_run(folder)
    info = json.loads((folder / "run.json").read_text())
    (folder / "run.json").write_text(json.dumps(info | {"as_of": as_of.isoformat()}))
    rows = [
        {"unit_id": unit, "due_on": pd.Timestamp(day), "tasks": tasks, "parts": "",
         "customer": "Kerb", "labour_hours": 1.0, "cost": 10.0}
        for unit, day, tasks in visits
    ]  # fmt: skip
    frame = pd.DataFrame(rows) if rows else pd.DataFrame(columns=["unit_id"])
    write_tables({"visit_plan": as_table("visit_plan", frame)}, folder / "tables")
    return folder


def events(path: Path) -> list:
    return Calendar.from_ical(path.read_bytes()).walk("VEVENT")


def by_summary(path: Path) -> dict[str, object]:
    return {str(e["summary"]) + f" {e.decoded('dtstart')}": e for e in events(path)}


APRIL, MAY = dt.date(2026, 3, 31), dt.date(2026, 4, 30)
FIRST = [
    ("TP-1", "2026-04-10", "inspect drive belt;replace air filter"),
    ("TP-1", "2026-06-12", "inspect drive belt"),
    ("TP-1", "2026-08-14", "inspect drive belt"),
    ("TP-2", "2026-05-20", "replace spark plug"),
    ("TP-3", "2026-06-01", "test relief valve"),
]
SECOND = [
    ("TP-1", "2026-06-17", "inspect drive belt"),  # moved
    ("TP-1", "2026-08-14", "inspect drive belt"),  # as it was
    ("TP-1", "2026-10-16", "inspect drive belt;replace air filter"),  # new
    ("TP-3", "2026-06-01", "inspect frame;test relief valve"),  # more to do
]


@pytest.fixture
def months(tmp_path: Path) -> tuple[Path, Path]:
    first = run_with(tmp_path / "fleet" / "2026-03-31", FIRST, APRIL)
    write_calendar(first)
    second = run_with(tmp_path / "fleet" / "2026-04-30", SECOND, MAY)
    return write_calendar(first), write_calendar(second, [tmp_path / "fleet"])


def test_two_months_in_one_calendar_have_no_name_twice(months: tuple[Path, Path]):
    merged: dict[str, tuple[int, object]] = {}
    for path in months:
        names = [str(e["uid"]) for e in events(path)]
        assert len(names) == len(set(names))
        for event in events(path):
            # what a calendar does with a name it has: the higher SEQUENCE stands
            uid, number = str(event["uid"]), int(event["sequence"])
            if uid not in merged or number >= merged[uid][0]:
                merged[uid] = (number, event)
    live = [
        (str(e["summary"]).split(":")[0], e.decoded("dtstart").isoformat())
        for _, e in merged.values()
        if str(e["status"]) != "CANCELLED"
    ]
    # the visit of April is past and stays; all others are those of the second month
    assert sorted(live) == sorted([("TP-1", "2026-04-10")] + [(u, d) for u, d, _ in SECOND])


def test_a_moved_visit_keeps_its_name_and_rises(months: tuple[Path, Path]):
    first, second = (by_summary(p) for p in months)
    before = first["TP-1: inspect drive belt 2026-06-12"]
    after = second["TP-1: inspect drive belt 2026-06-17"]
    assert before["uid"] == after["uid"]
    assert (int(before["sequence"]), int(after["sequence"])) == (0, 1)


def test_a_visit_as_it_was_keeps_name_and_number(months: tuple[Path, Path]):
    first, second = (by_summary(p) for p in months)
    key = "TP-1: inspect drive belt 2026-08-14"
    assert first[key]["uid"] == second[key]["uid"]
    assert int(second[key]["sequence"]) == 0


def test_more_to_do_rises_too(months: tuple[Path, Path]):
    first, second = (by_summary(p) for p in months)
    before = first["TP-3: test relief valve 2026-06-01"]
    after = second["TP-3: inspect frame, test relief valve 2026-06-01"]
    assert before["uid"] == after["uid"]
    assert int(after["sequence"]) == 1


def test_a_dropped_visit_is_called_off_and_stays_so(months: tuple[Path, Path], tmp_path: Path):
    old = by_summary(months[0])["TP-2: replace spark plug 2026-05-20"]
    gone = by_summary(months[1])["TP-2: replace spark plug 2026-05-20"]
    assert gone["uid"] == old["uid"]
    assert str(gone["status"]) == "CANCELLED"
    assert int(gone["sequence"]) == 1
    # wanted again later: under a new name, the old one stays called off
    again = run_with(tmp_path / "again", [("TP-2", "2026-05-21", "replace spark plug")], MAY)
    found = events(write_calendar(again, [months[1]]))
    mine = [e for e in found if str(e["summary"]).startswith("TP-2")]
    assert {str(e["status"]) for e in mine} == {"CONFIRMED", "CANCELLED"}
    assert len({str(e["uid"]) for e in mine}) == 2
    assert [int(e["sequence"]) for e in mine if str(e["status"]) == "CANCELLED"] == [1]


def test_the_same_run_again_is_the_same_file(months: tuple[Path, Path], tmp_path: Path):
    before = months[1].read_bytes()
    again = run_with(tmp_path / "again", SECOND, MAY)
    assert write_calendar(again, [months[0], months[1]]).read_bytes() == before


def test_published_with_what_the_standard_asks_of_an_entry(months: tuple[Path, Path]):
    for path in months:
        calendar = Calendar.from_ical(path.read_bytes())
        assert str(calendar["method"]) == "PUBLISH"
        assert str(calendar["version"]) == "2.0"
        for event in events(path):
            assert {"UID", "DTSTAMP", "DTSTART", "SUMMARY", "SEQUENCE", "STATUS"} <= set(event)
            assert event.errors == []


def test_another_fleets_and_a_later_calendar_are_passed_over(tmp_path: Path):
    later = run_with(tmp_path / "later", FIRST, MAY)
    write_calendar(later)
    now = run_with(tmp_path / "now", FIRST[3:], APRIL)
    plain = write_calendar(now).read_bytes()
    assert write_calendar(now, [later]).read_bytes() == plain
    other = tmp_path / "other.ics"
    text = (later / "maintenance-calendar.ics").read_text()
    other.write_text(text.replace("X-WR-CALNAME:Maintenance", "X-WR-CALNAME:Else"))
    may = run_with(tmp_path / "may", [], MAY)
    assert b"VEVENT" in write_calendar(may, [later]).read_bytes()
    assert b"VEVENT" not in write_calendar(may, [other]).read_bytes()


def test_a_file_that_is_no_calendar_is_named(tmp_path: Path):
    bad = tmp_path / "maintenance-calendar.ics"
    bad.write_text("nothing of the kind")
    run = run_with(tmp_path / "run", FIRST, APRIL)
    with pytest.raises(RunError) as error:
        write_calendar(run, [tmp_path])
    assert str(bad) in str(error.value)
    assert "history" in str(error.value)
