"""Entries of calendars written before: what keeps its name, what moved, what is called off."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dutylife.errors import RunError

NAME = "maintenance-calendar.ics"
MACHINE, TASKS = "x-dutylife-machine", "x-dutylife-tasks"
FAR_DAYS = 183  # a visit further off than this is another one, even for the same tasks
UNLIKE_DAYS = 365.0  # tasks wholly unlike weigh as much as so many days apart


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An entry of an earlier calendar."""

    uid: str
    sequence: int
    starts: dt.date
    stamped: dt.date
    is_cancelled: bool
    machine: str
    tasks: frozenset[str]
    summary: str


def earlier_entries(
    places: Iterable[str | Path], title: str, as_of: dt.date
) -> tuple[dict[str, Entry], list[Path]]:
    """Latest state of each entry of earlier calendars of the same fleet.

    Parameters
    ----------
    places : iterable of str or Path
        Calendar files, run folders, or folders of runs; one that is missing is passed over.
    title : str
        Name of the calendar; one of another name is another fleet's.
    as_of : date
        Calendars of a later day are passed over.

    Returns
    -------
    tuple
        Entries by UID, and the files read.

    Raises
    ------
    RunError
        A file is no calendar.
    """
    by_title, read = _by_title(_files(places), as_of)
    return by_title.get(title, {}), read.get(title, [])


def earlier_packs(places: Iterable[str | Path], as_of: dt.date) -> dict[str, dict[str, Entry]]:
    """Latest state of each entry of the calendars in earlier customer packs.

    Parameters
    ----------
    places : iterable of str or Path
        As for `earlier_entries`.
    as_of : date

    Returns
    -------
    dict of str to dict of str to Entry
        Entries by UID, by the calendar's name; no two customers' calendars share one.

    Raises
    ------
    RunError
        A file is no calendar.
    """
    depths = [f"{depth}customers/*/{NAME}" for depth in ("", "*/", "*/*/")]
    files = {p for place in places for depth in depths for p in Path(place).glob(depth)}
    return _by_title(sorted(files), as_of)[0]


def _by_title(
    files: Iterable[Path], as_of: dt.date
) -> tuple[dict[str, dict[str, Entry]], dict[str, list[Path]]]:
    """Entries and files by the name of their calendar."""
    from icalendar import Calendar

    found: dict[str, dict[str, Entry]] = {}
    read: dict[str, list[Path]] = {}
    for path in files:
        try:
            calendar = Calendar.from_ical(path.read_bytes())
        except ValueError as error:
            raise RunError(
                f"An earlier calendar can't be read: {error}.",
                str(path),
                "take it out of the folder that [report] history names, or name another",
            ) from error
        entries = [_entry(event) for event in calendar.walk("VEVENT")]
        title = str(calendar.get("x-wr-calname", ""))
        if any(e.stamped > as_of for e in entries):
            continue
        read.setdefault(title, []).append(path)
        of_title = found.setdefault(title, {})
        for entry in entries:
            before = of_title.get(entry.uid)
            if before is None or _age(entry) > _age(before):
                of_title[entry.uid] = entry
    return found, read


def _age(entry: Entry) -> tuple[int, dt.date]:
    return entry.sequence, entry.stamped


def _files(places: Iterable[str | Path]) -> list[Path]:
    out: set[Path] = set()
    for place in places:
        path = Path(place)
        if path.is_file():
            out.add(path)
        elif path.is_dir():
            out |= {p for depth in ("", "*/", "*/*/") for p in path.glob(f"{depth}{NAME}")}
    return sorted(out)


def _entry(event: Any) -> Entry:
    starts, stamped = event.decoded("dtstart"), event.decoded("dtstamp")
    return Entry(
        uid=str(event["uid"]),
        sequence=int(event.get("sequence", 0)),
        starts=starts.date() if isinstance(starts, dt.datetime) else starts,
        stamped=stamped.date() if isinstance(stamped, dt.datetime) else stamped,
        is_cancelled=str(event.get("status", "")).upper() == "CANCELLED",
        machine=str(event.get(MACHINE, "")),
        tasks=frozenset(t for t in str(event.get(TASKS, "")).split(";") if t),
        summary=str(event.get("summary", "")),
    )


def same_visits(
    visits: list[tuple[dt.date, frozenset[str]]], entries: list[Entry]
) -> dict[int, Entry]:
    """Earlier entry of each visit of one machine, where it is the same visit.

    Parameters
    ----------
    visits : list of (day, tasks)
        Of this run.
    entries : list of Entry
        Of that machine, ahead and not called off.

    Returns
    -------
    dict of int to Entry
        By place in ``visits``. Pairs share a task and lie within half a year; of all pairings the
        one with the least sum of days apart, unlike tasks counted as days.
    """
    if not visits or not entries:
        return {}
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    never = 1e6
    costs = np.full((len(visits), len(entries)), never)
    for i, (day, tasks) in enumerate(visits):
        for j, entry in enumerate(entries):
            shared, apart = len(tasks & entry.tasks), abs((day - entry.starts).days)
            if shared and apart <= FAR_DAYS:
                unlike = 1 - shared / len(tasks | entry.tasks)
                costs[i, j] = apart + UNLIKE_DAYS * unlike
    rows, columns = linear_sum_assignment(costs)
    return {
        int(i): entries[int(j)] for i, j in zip(rows, columns, strict=True) if costs[i, j] < never
    }
