"""Visits of a fleet too large for the programme of months: by intervals, weeks levelled."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.visits.jobs import DEFAULT_HOURS, GROUP_DAYS
from dutylife.decisions.visits.weeks import Weeks
from dutylife.errors import DecisionError
from dutylife.provenance import digest_of
from dutylife.schema import as_table
from dutylife.wording import count

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
# the programme takes 0.03 s for each machine, six times that where hours are short (our choice)
MOST_MACHINES = 1000
EARLIER_WEEKS = 4  # a full week sends a visit so many weeks forward before another waits
MOST_ROUNDS = 400
NEAR = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levelled:
    """Every task done, and the visits that found no week of the horizon.

    Parameters
    ----------
    done : DataFrame
        A row of `tasks_due` for each time a task is done, with ``day`` and ``is_overdue``.
    n_waiting : int
        Visits without a week; what they bring stands without a day in table "machine_tasks".
    """

    done: pd.DataFrame
    n_waiting: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Visits:
    """Visits of one round; every array has shape (n_visits,).

    ``week`` is the last one that is in time, ``release`` the first one it may be in, ``limit`` the
    day what can hurt may not pass (``inf``: none), ``rank`` 0 with such a day, 1 past it, 2
    overdue, 3 else.
    """

    machine: Ints
    target: Floats
    week: Ints
    release: Ints
    limit: Floats
    rank: Ints
    hours: Floats


@dataclass(slots=True)
class _Book:
    """Hours left of each week, and all it has."""

    left: Floats
    all: Floats


def level_visits(due: pd.DataFrame, weeks: Weeks, is_open: Flags, machine: Ints) -> Levelled:
    """Day of every task within the horizon, each visit as late as its first task allows.

    Parameters
    ----------
    due : DataFrame
        Rows of `tasks_due`.
    weeks : Weeks
    is_open : ndarray of bool, shape (n_machines, n_weeks)
        Weeks in which each machine can come in.
    machine : ndarray, shape (n_tasks,)
        Machine of each task, a row of ``is_open``.

    Raises
    ------
    DecisionError
        What can hurt finds no week before its limit.

    Notes
    -----
    A machine comes in on the day its first task with a visit of its own falls due and brings what
    falls due within 30 days (of a shorter interval: within half of it). From the last week back,
    what is over a week's hours comes a week sooner, up to four; what finds no room so goes to the
    first later week that has some, what can hurt or is overdue first. Cost is linear in tasks.
    """
    try:
        return _rounds(due, weeks, is_open, machine, _book(weeks))
    except DecisionError:
        # hours are short: what can hurt and is in time is placed for the whole horizon, then what
        # can hurt and is past its day, then the rest where room is left
        book, hurts = _book(weeks), due["limit_days"].notna().to_numpy()
        in_time = hurts & (due["limit_due_days"].to_numpy(float) >= float(weeks.days[0][0]))
        parts = ((in_time, 0.0), (hurts & ~in_time, 0.0), (~hurts, GROUP_DAYS))
        found = [
            _rounds(due[mine].reset_index(drop=True), weeks, is_open, machine[mine], book, ahead)
            for mine, ahead in parts
        ]
        some = [f.done for f in found if len(f.done)] or [found[0].done]
        done = pd.concat(some, ignore_index=True)
        return Levelled(done=done, n_waiting=sum(f.n_waiting for f in found))


def _book(weeks: Weeks) -> _Book:
    left = np.full(len(weeks.days), np.inf) if weeks.hours is None else weeks.hours.copy()
    return _Book(left=left, all=left.copy())


def _rounds(
    due: pd.DataFrame, weeks: Weeks, is_open: Flags, machine: Ints, book: _Book,
    group_days: float = GROUP_DAYS,
) -> Levelled:  # fmt: skip
    """First visit of every machine, then its second one, and so on."""
    first_day, last_day = int(weeks.days[0][0]), weeks.n_days
    n_machines = len(is_open)
    period, own = due["period_days"].to_numpy(float), due["own_visit"].to_numpy(bool)
    limit = due["limit_days"].fillna(np.inf).to_numpy(float)
    hours = due["labour_hours"].fillna(DEFAULT_HOURS).clip(lower=0.05).to_numpy(float)
    coming = due["due_days"].to_numpy(float).copy()
    latest = due["limit_due_days"].fillna(np.inf).to_numpy(float)
    latest = np.where(latest < first_day, np.inf, latest)  # passed: as soon as can be
    space = np.maximum(np.minimum(period, limit), 1.0)
    ahead = np.minimum(group_days, space / 2)
    hurts = np.isfinite(limit)
    # a look at a part that was changed counts from the new part on
    replaces = (due["task"] == "replace").to_numpy()
    pair = due.groupby(["unit_id", "component"], sort=False, observed=True).ngroup().to_numpy()
    came = np.full(n_machines, first_day - 1)
    rows: list[Ints] = []
    days: list[Ints] = []
    late: list[Flags] = []
    n_waiting = 0
    for _ in range(MOST_ROUNDS):
        target = np.full(n_machines, np.inf)
        np.minimum.at(target, machine[own], coming[own])
        here = np.flatnonzero(target <= last_day)
        if not len(here):
            break
        brought = np.flatnonzero(coming <= target[machine] + ahead)
        brought = brought[target[machine[brought]] <= last_day]
        bound = np.isfinite(latest)
        rank = np.select(
            [hurts & bound, hurts & (coming < first_day), coming < first_day], [0, 1, 2], 3
        )
        visits = _visits(here, target, brought, machine, weeks, came, latest, rank, hours)
        week = _levelled(visits, book, is_open, due, weeks, brought, machine, latest)
        day = np.full(n_machines, -1)
        day[here] = _days(visits, week, weeks, came[here])
        n_waiting += int((week < 0).sum())
        at = day[machine[brought]]
        found = at >= 0
        rows.append(brought[found])
        days.append(at[found])
        late.append(coming[brought[found]] <= 0)
        coming[brought] = np.where(found, at + space[brought], np.inf)
        renewed = np.full(len(due), -1)
        renewed[pair[brought[found & replaces[brought]]]] = at[found & replaces[brought]]
        looks = np.flatnonzero(~replaces & (renewed[pair] >= 0) & np.isfinite(coming))
        coming[looks] = renewed[pair[looks]] + space[looks]
        # what waits is beyond the horizon, and so is all else of its machine
        lost = np.zeros(n_machines, bool)
        lost[here] = week < 0
        # but for work that can hurt whose day lies within it
        cut = np.flatnonzero(lost[machine] & (latest <= weeks.n_days))
        if len(cut):
            raise _cut_off(due.iloc[cut], latest[cut], weeks)
        coming[lost[machine]] = np.inf
        latest[brought] = np.where(found, at + limit[brought], np.inf)
        latest[looks] = renewed[pair[looks]] + limit[looks]
        came[here] = np.maximum(came[here], day[here])
    every = np.concatenate(rows) if rows else np.empty(0, np.int64)
    done = due.iloc[every].reset_index(drop=True)
    done = done.assign(
        day=np.concatenate(days).astype(float) if days else np.empty(0),
        is_overdue=np.concatenate(late) if late else np.empty(0, bool),
    )
    return Levelled(done=done, n_waiting=n_waiting)


def _visits(
    here: Ints, target: Floats, brought: Ints, machine: Ints, weeks: Weeks, came: Ints,
    latest: Floats, rank: Ints, hours: Floats,
) -> _Visits:  # fmt: skip
    n = len(target)
    of = machine[brought]
    limit, needed = np.full(n, np.inf), np.bincount(of, weights=hours[brought], minlength=n)
    np.minimum.at(limit, of, latest[brought])
    first = np.full(n, 3)
    np.minimum.at(first, of, rank[brought])
    starts = np.array([d[0] for d in weeks.days])
    ends = np.array([d[-1] for d in weeks.days])
    wanted = np.clip(np.searchsorted(starts, target[here], side="right") - 1, 0, len(starts) - 1)
    after = np.searchsorted(ends, came[here], side="right")  # first week with a day behind it
    release = np.minimum(np.maximum(wanted - EARLIER_WEEKS, after), len(starts))
    return _Visits(
        machine=here, target=target[here], week=np.maximum(wanted, release), release=release,
        limit=limit[here], rank=first[here], hours=needed[here].astype(float),
    )  # fmt: skip


def _levelled(
    visits: _Visits, book: _Book, is_open: Flags, due: pd.DataFrame, weeks: Weeks, brought: Ints,
    machine: Ints, latest: Floats,
) -> Ints:  # fmt: skip
    """Week of each visit, -1 where none is left; hours are taken."""
    week = np.full(len(visits.machine), -1)
    n_weeks = len(weeks.days)
    pool = np.empty(0, np.int64)
    for w in range(n_weeks - 1, -1, -1):
        pool = np.concatenate([pool, np.flatnonzero(visits.week == w)])
        may = pool[is_open[visits.machine[pool], w]]
        # what can hurt stays, then what can't come sooner; the rest moves
        rank, movable = visits.rank[may], visits.release[may] < w
        may = may[np.lexsort((visits.machine[may], rank, movable, rank > 0))]
        _fill(may, w, week, visits, book)
        pool = pool[(week[pool] < 0) & (visits.release[pool] < w)]
    waiting = np.flatnonzero(week < 0)
    waiting = waiting[
        np.lexsort((visits.machine[waiting], visits.target[waiting], visits.rank[waiting]))
    ]
    for w in range(n_weeks):
        may = waiting[(visits.release[waiting] <= w) & is_open[visits.machine[waiting], w]]
        _fill(may[visits.limit[may] >= weeks.days[w][0]], w, week, visits, book)
        waiting = waiting[week[waiting] < 0]
    missed = waiting[visits.limit[waiting] <= weeks.n_days]
    if len(missed):
        raise _no_week(visits, missed, due, weeks, brought, machine, latest)
    return week


def _fill(may: Ints, w: int, week: Ints, visits: _Visits, book: _Book) -> None:
    """Take visits into a week in their order, as far as its hours go."""
    if not len(may):
        return
    # a visit longer than a whole week gets an empty one
    alone = visits.hours[may] > book.all.max()
    need = np.where(alone, book.all[w], visits.hours[may])
    while len(may):
        # one that does not fit keeps nobody behind it out
        fits = need <= book.left[w] + NEAR
        may, need = may[fits], need[fits]
        n = int(np.searchsorted(np.cumsum(need), book.left[w] + NEAR, side="right"))
        week[may[:n]] = w
        book.left[w] -= float(need[:n].sum())
        may, need = may[n:], need[n:]


def _days(visits: _Visits, week: Ints, weeks: Weeks, came: Ints) -> Ints:
    """Working day of each visit: spread over its week, none later than its target or limit."""
    day = np.full(len(week), -1)
    for w, days in enumerate(weeks.days):
        at = np.flatnonzero(week == w)
        if not len(at):
            continue
        at = at[np.lexsort((visits.machine[at], visits.target[at], visits.rank[at]))]
        load = np.cumsum(visits.hours[at])
        place = np.minimum((load - visits.hours[at]) / load[-1] * len(days), len(days) - 1)
        spread = days[place.astype(np.int64)]
        for by in (visits.target[at], visits.limit[at]):  # a day before the week bounds nothing
            last = np.searchsorted(days, by, side="right") - 1
            spread = np.where(last >= 0, np.minimum(spread, days[np.maximum(last, 0)]), spread)
        later = np.searchsorted(days, came[at], side="right")  # a day behind the visit before
        day[at] = np.maximum(spread, days[np.minimum(later, len(days) - 1)])
    return day


def _cut_off(rows: pd.DataFrame, latest: Floats, weeks: Weeks) -> DecisionError:
    """What can hurt and is due later on a machine for which no week was found before."""
    named = [
        f"'{row['task']} {row['component']}' of {row['unit_id']} may not be later than "
        f"{weeks.date(int(day)):%Y-%m-%d}"
        for row, day in zip(rows.head(5).to_dict("records"), latest, strict=False)
    ]
    return DecisionError(
        f"{len(rows)} tasks that can hurt find no week: {'; '.join(named)}.", "visits",
        "raise [workshop] hours_per_week, or open weeks that are shut",
    )  # fmt: skip


def _no_week(
    visits: _Visits, missed: Ints, due: pd.DataFrame, weeks: Weeks, brought: Ints, machine: Ints,
    latest: Floats,
) -> DecisionError:  # fmt: skip
    named = []
    for v in missed[:5]:
        mine = brought[machine[brought] == visits.machine[v]]
        row = due.iloc[int(mine[np.argmin(latest[mine])])]
        named.append(
            f"'{row['task']} {row['component']}' of {row['unit_id']} may not be later than "
            f"{weeks.date(int(visits.limit[v])):%Y-%m-%d}"
        )
    more = f" (and {len(missed) - 5} more)" if len(missed) > 5 else ""
    return DecisionError(
        f"{'; '.join(named)}{more}: no open week has hours left before it.",
        "[workshop] hours_per_week",
        "raise hours_per_week, or open a week that [customers] blackout_weeks shut; work that can "
        "hurt never waits beyond its limit",
    )


def levelled_note(n_machines: int, n_waiting: int) -> pd.DataFrame:
    """Table "findings": how visits of a large fleet were set, and how many found no week."""
    waiting = (
        f"; {count(n_waiting, 'visit')} found no week with hours to spare within the horizon and "
        "stand without a day"
        if n_waiting
        else ""
    )
    row = {
        "finding_id": digest_of("levelled visits", n_machines, n_waiting),
        "stage": "intervals and visits", "kind": "note", "table": "visit_plan",
        "key": "n_machines", "source_row": 0,
        "message": (
            f"visits of {count(n_machines, 'machine')} were set by their intervals, each week's "
            "hours levelled: the programme that weighs the months against each other takes up to "
            f"{count(MOST_MACHINES, 'machine')}{waiting}"
        ),
        "mend": "for visits weighed against each other, run each depot's machines alone",
    }  # fmt: skip
    return as_table("findings", pd.DataFrame([row]))
