"""The visit plan as a calendar file: one whole-day entry for each visit."""

import datetime as dt
from pathlib import Path
from typing import Any

from dutylife import wording
from dutylife.errors import RunError
from dutylife.provenance import digest_of, open_run
from dutylife.reports.cautions import CALENDAR_LINE, FOOTER
from dutylife.reports.facts import Facts, facts_of, plain, records


def write_calendar(folder: str | Path) -> Path:
    """Write DIR/maintenance-calendar.ics from the run's visit plan.

    Parameters
    ----------
    folder : str or Path
        Run DIR.

    Returns
    -------
    Path
        iCalendar (RFC 5545) with one all-day event for each visit. Same tables, same bytes; the
        same visit keeps its UID from one run to the next.

    Raises
    ------
    RunError
        The file written can't be read back.
    """
    from icalendar import Calendar

    run = open_run(folder)
    given, visits = facts_of(run), plain(run.table("visit_plan"))
    calendar = Calendar()
    calendar.add("prodid", "-//dutylife//maintenance calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"Maintenance, {given.fleet}")
    for visit in records(visits.sort_values(["due_on", "unit_id"])):
        calendar.add_component(_event(visit, given))
    text = calendar.to_ical()
    if len(Calendar.from_ical(text).walk("VEVENT")) != len(visits):
        raise RunError("The calendar can't be read back.", "maintenance-calendar.ics", "report it")
    path = run.folder / "maintenance-calendar.ics"
    path.write_bytes(text)
    return path


def _event(visit: Any, given: Facts) -> Any:
    from icalendar import Event

    due = visit.due_on.date()
    tasks = [t.strip() for t in visit.tasks.split(";") if t.strip()]
    parts = [p.strip() for p in visit.parts.split(";") if p.strip()]
    lines = [f"Customer: {visit.customer}"] if visit.customer else []
    hours = visit.due_hours
    lines += [f"Meter: about {wording.meter(hours, given.meter_unit)}"] if hours == hours else []
    lines += [f"Do: {t}" for t in tasks] + [f"Part: {p}" for p in parts]
    lines += [CALENDAR_LINE, FOOTER]
    event = Event()
    unit = str(visit.unit_id)
    event.add("uid", f"{digest_of(given.fleet, unit, due, *tasks)}@dutylife")
    event.add("dtstamp", dt.datetime.combine(given.as_of, dt.time(), tzinfo=dt.UTC))
    event.add("dtstart", due)
    event.add("dtend", due + dt.timedelta(days=1))
    event.add("summary", f"{unit}: {', '.join(tasks)}")
    event.add("description", "\n".join(lines))
    event.add("transp", "TRANSPARENT")
    return event
