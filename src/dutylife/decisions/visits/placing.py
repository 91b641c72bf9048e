"""Weeks and days of one month's visits, under the workshop's hours."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.decisions.visits.jobs import Jobs
from dutylife.decisions.visits.rounds import NEAR, Room
from dutylife.decisions.visits.weeks import Weeks

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Placed = list[tuple["Item", int]]
GAP = 0.01
WAIT_WEEKS = 1  # that overdue work waits for hours for the rest of its machine: our proposal
NODES = 500  # a count, not a time, so that runs are alike


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """Tasks of one group that are done on one day; days on which the group comes in anyway."""

    group: int
    tasks: tuple[int, ...]
    round_days: frozenset[int]


def place(
    jobs: Jobs, weeks: Weeks, is_open: Flags, last: Ints, room: Room, items: list[Item],
    month: int,
) -> tuple[Placed, list[Item]]:  # fmt: skip
    """Day of each item within a month.

    Parameters
    ----------
    jobs : Jobs
    weeks : Weeks
    is_open : ndarray of bool, shape (n_groups, n_weeks)
    last : ndarray, shape (n_tasks,)
        Day each task was done last, below 0 where it was not yet.
    room : Room
        Hours are taken off.
    items : list of Item
    month : int

    Returns
    -------
    tuple
        (item, day) of those that found a week, and items that have to wait.
    """
    own = weeks.of_month(month)
    most = float(room.left[own].max()) if len(own) else 0.0
    items = [piece for item in items for piece in _fitting(jobs, item, most)]
    while True:
        costs, by_day = _week_costs(jobs, weeks, is_open, last, items, own)
        hours = np.array([sum(float(jobs.hours[t]) for t in i.tasks) for i in items])
        chosen = _assign(jobs, weeks, last, items, costs, hours, room.left[own], month)
        pieces = [
            _urgent_apart(jobs, item, last, cost, int(week))
            for item, cost, week in zip(items, costs, chosen, strict=True)
        ]
        if sum(map(len, pieces)) == len(items):
            break
        items = [piece for apart in pieces for piece in apart]
    placed: Placed = []
    ends = np.cumsum([len(weeks.days[w]) for w in own])
    for at, week in enumerate(own):
        here = [i for i in range(len(items)) if chosen[i] == at]
        placed += _days_of_week(
            jobs,
            items,
            hours,
            here,
            [c[ends[at] - len(weeks.days[week]) : ends[at]] for c in by_day],
            int(week),
            weeks,
            room,
        )
    return placed, [items[i] for i in range(len(items)) if chosen[i] < 0]


def _urgent_apart(jobs: Jobs, item: Item, last: Ints, costs: Floats, week: int) -> list[Item]:
    """Cut an item in two that would make what can hurt wait for hours that the rest takes.

    What has a limit may not wait for another month. What is past its limit may wait a week
    beyond its first one, so that a machine is called once for all that is due where the hours do
    for it: cut at once, a third of a fleet came in twice in its first month.
    """
    bound = tuple(t for t in item.tasks if jobs.is_hard[t])
    rest = tuple(t for t in item.tasks if not jobs.is_hard[t])
    overdue = any(last[t] < 0 and np.isinf(jobs.due_limit[t]) for t in bound)
    waits = week < 0 or (overdue and week > int(np.argmin(costs)) + WAIT_WEEKS)
    if not (waits and bound and rest):
        return [item]
    return [
        Item(group=item.group, tasks=tasks, round_days=item.round_days) for tasks in (bound, rest)
    ]


def _fitting(jobs: Jobs, item: Item, most: float) -> list[Item]:
    """Cut an item that no week has the hours for into pieces, what has a limit first."""
    total = sum(float(jobs.hours[t]) for t in item.tasks)
    if total <= most + NEAR:
        return [item]
    ranked = sorted(item.tasks, key=lambda t: (not jobs.is_hard[t], jobs.due[t], t))
    pieces: list[list[int]] = []
    used: list[float] = []
    for t in ranked:
        need = float(jobs.hours[t])
        at = next((i for i, u in enumerate(used) if u + need <= most + NEAR), -1)
        if at < 0:
            pieces.append([t])
            used.append(need)
        else:
            pieces[at].append(t)
            used[at] += need
    return [Item(group=item.group, tasks=tuple(p), round_days=item.round_days) for p in pieces]


def _week_costs(
    jobs: Jobs, weeks: Weeks, is_open: Flags, last: Ints, items: list[Item], own: Ints
) -> tuple[Floats, list[Floats]]:
    """Least cost of each item in each week (``inf``: may not be), and its cost on each day."""
    days = np.concatenate([weeks.days[w] for w in own])
    of_week = np.repeat(np.arange(len(own)), [len(weeks.days[w]) for w in own])
    costs = np.full((len(items), len(own)), np.inf)
    by_day = []
    for i, item in enumerate(items):
        total = np.zeros(len(days))
        for t in item.tasks:
            total = total + jobs.cost(t, int(last[t]), days)
            # a day is no later than the one before
            total[days <= last[t]] = np.inf
        if item.round_days:
            total = total + np.where(np.isin(days, list(item.round_days)), 0.0, jobs.visit_cost)
        total[~is_open[item.group, own][of_week]] = np.inf
        by_day.append(total)
        for w in range(len(own)):
            costs[i, w] = total[of_week == w].min()
    return costs, by_day


def _assign(
    jobs: Jobs, weeks: Weeks, last: Ints, items: list[Item], costs: Floats, hours: Floats,
    room: Floats, month: int,
) -> Ints:  # fmt: skip
    """Week of each item (its place in the month), -1 where it has to wait."""
    if not items:
        return np.empty(0, dtype=np.int64)
    possible = np.isfinite(costs).any(axis=1)
    free = np.where(possible, np.argmin(costs, axis=1), -1)
    used = np.bincount(free[free >= 0], weights=hours[free >= 0], minlength=len(room))
    if np.all(used <= room + NEAR):
        return free
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_matrix

    wait = _waiting_costs(jobs, weeks, last, items, costs, month)
    pairs = [(i, w) for i, w in zip(*np.nonzero(np.isfinite(costs)), strict=True)]
    n, k = len(items), len(pairs)
    item_of = np.array([i for i, _ in pairs], dtype=np.int64)
    week_of = np.array([w for _, w in pairs], dtype=np.int64)
    least = np.where(possible, np.min(np.where(np.isfinite(costs), costs, np.inf), axis=1), 0.0)
    worth = np.concatenate([costs[item_of, week_of] - least[item_of], wait])
    once = csr_matrix(
        (np.ones(k + n), (np.concatenate([item_of, np.arange(n)]), np.arange(k + n))),
        shape=(n, k + n),
    )
    load = csr_matrix((hours[item_of], (week_of, np.arange(k))), shape=(len(room), k + n))
    found = milp(
        worth,
        constraints=[
            LinearConstraint(once, 1, 1), LinearConstraint(load, -np.inf, np.maximum(room, 0.0))
        ],
        integrality=np.ones(k + n), bounds=Bounds(0, 1),
        options={"mip_rel_gap": GAP, "node_limit": NODES},
    )  # fmt: skip
    if found.x is None:
        raise ArithmeticError(f"no weeks were found: {found.message}")
    out = np.full(n, -1, dtype=np.int64)
    for j in np.flatnonzero(found.x[:k] > 0.5):
        out[item_of[j]] = week_of[j]
    return out


def _waiting_costs(
    jobs: Jobs, weeks: Weeks, last: Ints, items: list[Item], costs: Floats, month: int
) -> Floats:
    """Cost of each item that waits for the next month, above its best week in this one."""
    after = weeks.days[weeks.of_month(month)[-1]][-1]
    later = min(int(after) + 15, len(jobs.worth[0].first) - 1)
    known = np.abs(costs[np.isfinite(costs)])
    dear = 1e3 * (1.0 + float(known.max(initial=1.0)))
    out = np.empty(len(items))
    for i, item in enumerate(items):
        then = sum(float(jobs.cost(t, int(last[t]), np.array([later]))[0]) for t in item.tasks)
        least = float(costs[i].min())
        wait = then - least if np.isfinite(least) else 0.0
        out[i] = min(max(wait, 0.0), dear) + 1.0 + float(jobs.visit_cost)
    return out


def _days_of_week(
    jobs: Jobs, items: list[Item], hours: Floats, here: list[int], by_day: list[Floats],
    week: int, weeks: Weeks, room: Room,
) -> Placed:  # fmt: skip
    """Days of a week's items: the best one with room, what has a limit or is late first."""
    days = weeks.days[week]

    def urgency(i: int) -> tuple[bool, float, int]:
        tasks = list(items[i].tasks)
        return (not jobs.is_hard[tasks].any(), float(jobs.due[tasks].min()), i)

    placed: Placed = []
    for i in sorted(here, key=urgency):
        possible = np.isfinite(by_day[i])
        fits = possible & room.fits(days, float(hours[i]))
        if fits.any():
            pick = int(np.argmin(np.where(fits, by_day[i], np.inf)))
        else:
            pick = int(np.argmin(np.where(possible, room.taken[days], np.inf)))
        room.take(week, int(days[pick]), float(hours[i]))
        placed.append((items[i], int(days[pick])))
    return placed
