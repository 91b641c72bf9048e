"""The visit plan as a calendar file: one whole-day entry for each visit, its name for good."""

import datetime as dt
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from dutylife import wording
from dutylife.errors import RunError
from dutylife.provenance import Run, digest_of, open_run
from dutylife.reports.cautions import CALENDAR_LINE, FOOTER
from dutylife.reports.earlier_calendars import (
    MACHINE,
    NAME,
    TASKS,
    Entry,
    earlier_entries,
    same_visits,
)
from dutylife.reports.facts import Facts, facts_of, plain, records
from dutylife.reports.most import MOST_ENTRIES, first_of

# what a visit is named for when it is new: the weightiest of its tasks
_FIRST = ("replace", "test", "inspect", "measure", "clean")


def write_calendar(folder: str | Path, earlier: Iterable[str | Path] = ()) -> Path:
    """Write DIR/maintenance-calendar.ics from the run's visit plan.

    Parameters
    ----------
    folder : str or Path
        Run DIR.
    earlier : iterable of str or Path
        Calendars of earlier runs: files, run folders or folders of runs.

    Returns
    -------
    Path
        iCalendar (RFC 5545, published) with one all-day event for each visit. Same tables and
        earlier calendars, same bytes. A visit keeps its UID from run to run; one that moved, or
        whose tasks changed, has a higher SEQUENCE; one that is dropped is there as CANCELLED.
        Visits of the past are left as they are.

    Raises
    ------
    RunError
        An earlier calendar, or the file written, can't be read.

    References
    ----------
    RFC 5545 (2009), Internet Calendaring and Scheduling, 3.8.4.7 UID, 3.8.7.4 SEQUENCE,
    3.8.1.11 STATUS; RFC 5546 (2009), 2.1.4 on when SEQUENCE rises.
    """
    run = open_run(folder)
    given = facts_of(run)
    known, _ = earlier_entries(earlier, calendar_title(given), given.as_of)
    return calendar_of(run, known, run.folder / NAME)


def calendar_title(given: Facts) -> str:
    """Name of a calendar: the fleet's, or that of one customer's pack."""
    title = f"Maintenance, {given.fleet}"
    return f"{title}: {given.customer}" if given.customer else title


def calendar_of(run: Run, known: dict[str, Entry], path: Path) -> Path:
    """Write the calendar of a run's, or a pack's, visits.

    Parameters
    ----------
    run : Run
    known : dict of str to Entry
        Entries of its earlier calendars by UID.
    path : Path
        The file to write.

    Returns
    -------
    Path

    Raises
    ------
    RunError
        The file written can't be read back.
    """
    from icalendar import Calendar

    given, visits = facts_of(run), plain(run.table("visit_plan"))
    title = calendar_title(given)
    calendar = Calendar()
    calendar.add("prodid", "-//dutylife//maintenance calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", title)
    visits = visits.sort_values(["due_on", "unit_id"])
    first = first_of(len(visits), MOST_ENTRIES, "visit")
    if first:
        calendar.add("x-wr-caldesc", f"Holds {first}; table visit_plan holds all.")
        visits = visits.head(MOST_ENTRIES)
    rows = records(visits)
    names = _names(rows, known, given)
    for visit, (uid, before) in zip(rows, names, strict=True):
        calendar.add_component(_event(visit, uid, before, given))
    kept = {uid for uid, _ in names}
    # behind the last visit shown nothing is called off: the plan may still hold it
    last = rows[-1].due_on.date() if first else dt.date.max
    dropped = [e for e in known.values() if e.uid not in kept and given.as_of < e.starts <= last]
    for entry in sorted(dropped, key=lambda e: (e.starts, e.uid)):
        calendar.add_component(_cancelled(entry, given))
    text = calendar.to_ical()
    if len(Calendar.from_ical(text).walk("VEVENT")) != len(visits) + len(dropped):
        raise RunError("The calendar can't be read back.", NAME, "report it")
    path.write_bytes(text)
    return path


def _names(
    rows: list[Any], known: dict[str, Entry], given: Facts
) -> list[tuple[str, Entry | None]]:
    """UID of each visit, and the entry it had before.

    A new visit is named for its machine and weightiest task, the first of them or a later one;
    its date is no part of the name.
    """
    out: list[tuple[str, Entry | None]] = [("", None)] * len(rows)
    by_machine: dict[str, list[int]] = {}
    before: dict[str, list[Entry]] = {}
    for entry in known.values():
        before.setdefault(entry.machine, []).append(entry)
    taken = set(known)
    for i, row in enumerate(rows):
        by_machine.setdefault(str(row.unit_id), []).append(i)
    for machine, mine in by_machine.items():
        # one that was called off and is wanted again is not brought back: it gets a name of its own
        live = sorted(
            (
                e for e in before.get(machine, [])
                if e.starts > given.as_of and not e.is_cancelled
            ),
            key=lambda e: (e.starts, e.uid),
        )  # fmt: skip
        same = same_visits(
            [(rows[i].due_on.date(), frozenset(_tasks(rows[i].tasks))) for i in mine], live
        )
        for place, i in enumerate(mine):
            if place in same:
                out[i] = (same[place].uid, same[place])
        for i in mine:
            if not out[i][0]:
                uid = _new_name(given.fleet, machine, rows[i].tasks, taken)
                out[i] = (uid, None)
                taken.add(uid)
    return out


def _new_name(fleet: str, machine: str, joined: str, taken: set[str]) -> str:
    tasks = _tasks(joined)
    rank = {word: place for place, word in enumerate(_FIRST)}
    main = min(tasks, key=lambda t: (rank.get(t.split(" ")[0], len(rank)), t)) if tasks else ""
    number = 1
    while True:
        uid = f"{digest_of('visit', fleet, machine, main, number)}@dutylife"
        if uid not in taken:
            return uid
        number += 1


def _tasks(joined: str) -> list[str]:
    return [t.strip() for t in joined.split(";") if t.strip()]


def _event(visit: Any, uid: str, before: Entry | None, given: Facts) -> Any:
    from icalendar import Event

    due = visit.due_on.date()
    tasks = _tasks(visit.tasks)
    lines = [f"Customer: {visit.customer}"] if visit.customer else []
    hours = visit.due_hours
    lines += [f"Meter: about {wording.meter(hours, given.meter_unit)}"] if hours == hours else []
    lines += [f"Do: {t}" for t in tasks] + [f"Part: {p}" for p in _tasks(visit.parts)]
    lines += [CALENDAR_LINE, FOOTER]
    sequence = 0
    if before is not None:
        changed = before.starts != due or before.tasks != frozenset(tasks)
        sequence = before.sequence + int(changed)
    event = Event()
    unit = str(visit.unit_id)
    event.add("uid", uid)
    event.add("sequence", sequence)
    event.add("status", "CONFIRMED")
    event.add("dtstamp", dt.datetime.combine(given.as_of, dt.time(), tzinfo=dt.UTC))
    event.add("dtstart", due)
    event.add("dtend", due + dt.timedelta(days=1))
    event.add("summary", f"{unit}: {', '.join(tasks)}")
    event.add("description", "\n".join(lines))
    event.add("transp", "TRANSPARENT")
    event.add(MACHINE, unit)
    event.add(TASKS, ";".join(tasks))
    return event


def _cancelled(entry: Entry, given: Facts) -> Any:
    """An entry that is no longer wanted; one called off before stays as it was."""
    from icalendar import Event

    event = Event()
    event.add("uid", entry.uid)
    event.add("sequence", entry.sequence + int(not entry.is_cancelled))
    event.add("status", "CANCELLED")
    event.add("dtstamp", dt.datetime.combine(given.as_of, dt.time(), tzinfo=dt.UTC))
    event.add("dtstart", entry.starts)
    event.add("dtend", entry.starts + dt.timedelta(days=1))
    event.add("summary", entry.summary)
    event.add("transp", "TRANSPARENT")
    event.add(MACHINE, entry.machine)
    event.add(TASKS, ";".join(sorted(entry.tasks)))
    return event
