"""The calendar opens anywhere: one whole-day entry a visit, lasting names, caution, CRLF."""

import datetime as dt
from pathlib import Path

import pytest
from icalendar import Calendar
from made_run import AS_OF, BAD, make_run

from dutylife.provenance import Run
from dutylife.reports import write_calendar


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_calendar(make_run(tmp_path_factory.mktemp("calendar") / "run"))


def test_one_whole_day_entry_for_each_visit(file: Path, run: Run):
    events = Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    visits = run.table("visit_plan")
    assert len(events) == len(visits) == 14
    days = sorted(e.decoded("dtstart") for e in events)
    assert days == [d.date() for d in visits["due_on"].sort_values()]
    assert all(type(d) is dt.date for d in days)
    assert all(e.decoded("dtend") - e.decoded("dtstart") == dt.timedelta(days=1) for e in events)


def test_names_are_unique_and_stamped_with_the_last_day_of_the_record(file: Path):
    events = Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    assert len({str(e["uid"]) for e in events}) == len(events)
    assert {e.decoded("dtstamp").date() for e in events} == {AS_OF}


def test_an_entry_says_machine_tasks_parts_and_caution(file: Path):
    events = Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    event = next(e for e in events if str(e["summary"]).startswith("TP-02"))
    assert "replace air filter" in str(event["summary"])
    text = str(event["description"])
    for what in ("Part: P-100", "Meter: about 920 h", "plug lead", "maker's manual"):
        assert what in text


def test_hostile_text_stays_inside_its_line(file: Path):
    raw = file.read_bytes()
    assert raw.count(b"\n") == raw.count(b"\r\n")
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75
    events = Calendar.from_ical(raw).walk("VEVENT")
    assert any(BAD in str(e["description"]) for e in events)
    assert raw.count(b"BEGIN:VEVENT") == len(events)


def test_same_tables_same_bytes(file: Path, tmp_path: Path):
    assert write_calendar(make_run(tmp_path / "again")).read_bytes() == file.read_bytes()
