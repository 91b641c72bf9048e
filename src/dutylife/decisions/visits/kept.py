"""Which planned visits were kept: done, late, skipped, and what failed meanwhile."""

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd

from dutylife.schema import as_table, empty_table
from dutylife.vocabulary import WORDS

GRACE_DAYS = 7  # done within the week after its day is done in time: our proposal
DONE, LATE, SKIPPED, OPEN, NOT_WRITTEN, FAILED_FIRST, GONE = WORDS["kept"]
BEFORE_DAYS = 30  # a look may be made so long before its day, with other work
# what in the record shows that a planned task was done: whoever changes a part has looked at it
_SHOWS = {
    "replace": ("replace",),
    "clean": ("clean", "replace"),
    "inspect": ("inspect", "test", "adjust", "clean", "repair", "replace"),
    "measure": ("inspect", "test", "adjust", "clean", "repair", "replace"),
    "test": ("test", "inspect", "adjust", "repair", "replace"),
}


def visits_kept(
    visit_plan: pd.DataFrame | None,
    planned_on: dt.date | None,
    maintenance_events: pd.DataFrame,
    units: pd.DataFrame,
    as_of: dt.date,
) -> pd.DataFrame:
    """Hold an earlier run's visits against what the record has since.

    Parameters
    ----------
    visit_plan : DataFrame, table "visit_plan" of the earlier run, or None
    planned_on : date or None
        As-of day of that run.
    maintenance_events, units : DataFrame
        The tables of those names, of this run.
    as_of : date
        Of this run.

    Returns
    -------
    DataFrame
        Table "visits_kept": a row for each task whose visit fell due after ``planned_on`` and by
        ``as_of``. A task is done by an event of its part after ``planned_on`` that was no failure;
        one event does one task. ``days_late`` counts from the day planned, negative where early.
        Done within 7 days after it is in time; a part that failed before its task was done within
        that time, and by its day, is "failed first"; nothing done 7 days after is "skipped". A
        look of which nothing is written, while the machine was in for other work within the 30
        days before its day or the 7 after it, is "not written".
        ``failed_on``: first failure of the part after ``planned_on``, until the task was done.

    Notes
    -----
    An event found at a service (a part found failed there) does the task: the look was made.
    """
    if visit_plan is None or planned_on is None or visit_plan.empty:
        return empty_table("visits_kept")
    start, end = pd.Timestamp(planned_on), pd.Timestamp(as_of)
    words = dict.fromkeys(["unit_id", "customer", "tasks"], "object")
    due = visit_plan.astype(words)
    due = due[(due["due_on"] > start) & (due["due_on"] <= end)].sort_values(["due_on", "unit_id"])
    if due.empty:
        return empty_table("visits_kept")
    events = maintenance_events.astype(
        dict.fromkeys(["unit_id", "component", "activity", "reason"], "object")
    )
    events = events[(events["event_date"] > start) & (events["event_date"] <= end)]
    by_part: dict[tuple[str, str], list[Any]] = {
        (str(unit), str(component)): list(rows.sort_values("event_date").itertuples())
        for (unit, component), rows in events.groupby(["unit_id", "component"])
    }
    seen = {str(u): list(d) for u, d in events.groupby("unit_id")["event_date"]}
    left = _left(units)
    used: set[tuple[Any, str]] = set()
    rows = []
    visits: list[Any] = list(due.itertuples())
    for visit in visits:
        for words_ in dict.fromkeys(t.strip() for t in str(visit.tasks).split(";") if t.strip()):
            task, _, component = words_.partition(" ")
            of_part = by_part.get((str(visit.unit_id), component), [])
            rows.append(
                {"unit_id": visit.unit_id, "customer": visit.customer, "due_on": visit.due_on,
                 "component": component, "task": task}
                | _fate(
                    visit.due_on, task, of_part, used, end, left.get(str(visit.unit_id)),
                    seen.get(str(visit.unit_id), []),
                )
            )  # fmt: skip
    return as_table("visits_kept", pd.DataFrame(rows))


def _fate(
    due: pd.Timestamp, task: str, events: list[Any], used: set[tuple[Any, str]],
    end: pd.Timestamp, left: pd.Timestamp | None, seen: list[pd.Timestamp],
) -> dict[str, Any]:  # fmt: skip
    """What became of one planned task."""
    shows = _SHOWS.get(task, (task,))
    doing = [
        e for e in events
        if e.activity in shows and (e.reason != "failure" or e.found_at_service)
        and (e.Index, task) not in used
    ]  # fmt: skip
    failures = [e for e in events if e.reason == "failure" and not e.found_at_service]
    done = doing[0] if doing else None
    # a part that was renewed since it failed is another part
    renewed = [e.event_date for e in events if e.activity == "replace" and e.event_date <= due]
    since = max((d for d in renewed if d < due), default=pd.Timestamp.min)
    failed = next(
        (f for f in failures if f.event_date >= since
         and (done is None or f.event_date <= done.event_date)), None
    )  # fmt: skip
    out: dict[str, Any] = {
        "kept": SKIPPED, "done_on": None, "days_late": np.nan,
        "failed_on": None if failed is None else failed.event_date,
    }  # fmt: skip
    in_time = due + pd.Timedelta(days=GRACE_DAYS)
    if failed is not None and failed.event_date <= due:
        # it came in broken before anyone could have kept the visit
        return out | {"kept": FAILED_FIRST}
    if done is not None:
        used.add((done.Index, task))
        late = (done.event_date - due).days
        kept = LATE if done.event_date > in_time else DONE
        return out | {"kept": kept, "done_on": done.event_date, "days_late": float(late)}
    if left is not None and left <= in_time:
        return out | {"kept": GONE}
    near = due - pd.Timedelta(days=BEFORE_DAYS)
    if task != "replace" and any(near <= day <= in_time for day in seen):
        return out | {"kept": NOT_WRITTEN}
    return out | {"kept": OPEN if in_time > end else SKIPPED}


def _left(units: pd.DataFrame) -> dict[str, pd.Timestamp]:
    """Day each machine left, where the list says so."""
    known = units.astype({"unit_id": "object"}).dropna(subset="left_on")
    return dict(zip(known["unit_id"].astype(str), known["left_on"], strict=True))


def visits_kept_sentence(table: pd.DataFrame, since: str) -> str:
    """Say how many planned tasks were done, late and skipped, and what failed meanwhile.

    Parameters
    ----------
    table : DataFrame, table "visits_kept"
    since : str
        Day of the earlier run in words.

    Returns
    -------
    str
    """
    if table.empty:
        return f"No task of the plan of {since} fell due since."
    kept = table["kept"].astype(object)
    told = [f"{int((kept == word).sum())} {said}" for word, said in _SAID if (kept == word).any()]
    n = len(table)
    first = f"Of {n} planned task{'s' if n != 1 else ''} that fell due since {since}: "
    broken = table[table["failed_on"].notna() & kept.isin([SKIPPED, LATE, OPEN])]
    parts = broken.groupby(["unit_id", "component"], observed=True).ngroups
    after = (
        f" {parts} part{'s' if parts != 1 else ''} failed while the work was late or not done."
        if parts
        else " None of the parts whose work was late or not done has failed."
        if kept.isin([SKIPPED, LATE]).any()
        else ""
    )
    return f"{first}{', '.join(told)}.{after}"


_SAID = (
    (DONE, "done in time"), (LATE, "done late"), (SKIPPED, "skipped"),
    (NOT_WRITTEN, "looks of which nothing is written though the machine was in"),
    (OPEN, "still open, less than a week over"), (FAILED_FIRST, "came in broken first"),
    (GONE, "of machines that left"),
)  # fmt: skip
