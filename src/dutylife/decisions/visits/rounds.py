"""Rounds of tasks that come back within five weeks: too often to go by months."""

import heapq
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.decisions.visits.faults import no_hours, shut
from dutylife.decisions.visits.jobs import Jobs
from dutylife.decisions.visits.weeks import WORKDAYS, Weeks

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Done = list[tuple[int, int]]  # task, day
NEAR = 1e-9


@dataclass(slots=True)
class Room:
    """Workshop hours left of each week (``inf`` without a limit), hours taken on each day."""

    left: Floats
    taken: Floats
    per_day: float

    def copy(self) -> "Room":
        """Return a copy that can be filled on trial."""
        return Room(self.left.copy(), self.taken.copy(), self.per_day)

    def take(self, week: int, day: int, hours: float) -> None:
        """Take hours of a day."""
        self.left[week] -= hours
        self.taken[day] += hours

    def fits(self, days: Ints, hours: float) -> Flags:
        """Days that have the hours, or that nothing else stands on."""
        taken = self.taken[days]
        out: Flags = (taken + hours <= self.per_day + NEAR) | (taken == 0)
        return out


def room_of(weeks: Weeks) -> Room:
    """All of the workshop's hours."""
    taken = np.zeros(weeks.n_days + 1)
    if weeks.hours is None:
        return Room(np.full(len(weeks.days), np.inf), taken, np.inf)
    return Room(weeks.hours.copy(), taken, float(weeks.hours.max()) / WORKDAYS)


@dataclass(slots=True)
class _Chain:
    """Frequent tasks of one group: when each is due next, and the day it came in last."""

    mine: Ints
    next_due: Floats
    space: Floats
    overdue: Flags
    last_day: int = 0

    @property
    def limit(self) -> float:
        return float(self.next_due.min())


def frequent_rounds(jobs: Jobs, weeks: Weeks, is_open: Flags, room: Room) -> Done:
    """Days on which each group's frequent tasks are done, each as late as it may be.

    Groups with a task that can hurt go first, then whichever round is due soonest, so that no
    machine waits for another's second round.

    Parameters
    ----------
    jobs : Jobs
    weeks : Weeks
    is_open : ndarray of bool, shape (n_groups, n_weeks)
        Weeks in which a group can come in.
    room : Room
        Hours are taken off.

    Raises
    ------
    DecisionError
        A task that can hurt finds no open week, or no hours, before its limit.
    """
    frequent = np.flatnonzero(jobs.is_frequent)
    chains = {}
    queue: list[tuple[bool, float, int]] = []
    for group in sorted({int(g) for g in jobs.group[frequent]}):
        mine = frequent[jobs.group[frequent] == group]
        chains[group] = _Chain(
            mine=mine,
            next_due=np.maximum(jobs.due[mine], float(weeks.days[0][0])),
            space=np.minimum(jobs.period[mine], jobs.limit[mine]),
            overdue=jobs.due[mine] < weeks.days[0][0],
        )
        heapq.heappush(queue, (not jobs.is_hard[mine].any(), chains[group].limit, group))
    out: Done = []
    while queue:
        soft, limit, group = heapq.heappop(queue)
        chain = chains[group]
        made = [] if limit > weeks.n_days else _next_round(jobs, weeks, chain, is_open[group], room)
        if made:
            out += made
            heapq.heappush(queue, (soft, chain.limit, group))
    return out


def _next_round(jobs: Jobs, weeks: Weeks, chain: _Chain, is_open: Flags, room: Room) -> Done:
    """The next round of one group; none where no week is left."""
    mine, limit = chain.mine, chain.limit
    hard = (jobs.is_hard[mine] & ~chain.overdue)[chain.next_due <= limit].any()
    now = chain.next_due <= limit + chain.space.min() - 1
    hours = float(jobs.hours[mine][now].sum())
    overdue = bool(chain.overdue[chain.next_due <= limit].any())
    day, week = (-1, -1) if overdue else _latest(weeks, is_open, room, hours, chain, limit)
    if day < 0 and hard:
        task = int(mine[int(np.argmin(chain.next_due))])
        anything = Room(np.full_like(room.left, np.inf), np.zeros_like(room.taken), np.inf)
        if _latest(weeks, is_open, anything, hours, chain, limit)[0] < 0:
            raise shut(jobs, weeks, [(task, limit)])
        raise no_hours(jobs, weeks, [(task, limit)])
    if day < 0:
        day, week = _earliest(weeks, is_open, room, hours, chain)
        if day < 0:
            return []
    room.take(week, day, hours)
    chain.next_due = np.where(now, day + chain.space, chain.next_due)
    chain.overdue = chain.overdue & ~now
    chain.last_day = day
    return [(int(t), day) for t in mine[now]]


def _latest(
    weeks: Weeks, is_open: Flags, room: Room, hours: float, chain: _Chain, limit: float
) -> tuple[int, int]:
    """Last working day up to the limit in a week with hours to spare; -1 where there is none."""
    for week in range(len(weeks.days) - 1, -1, -1):
        days = weeks.days[week]
        days = days[(days > chain.last_day) & (days <= limit)]
        if len(days) and is_open[week] and room.left[week] >= hours - NEAR:
            free = days[room.fits(days, hours)]
            return int(free[-1] if len(free) else days[-1]), week
    return -1, -1


def _earliest(
    weeks: Weeks, is_open: Flags, room: Room, hours: float, chain: _Chain
) -> tuple[int, int]:
    for week, every in enumerate(weeks.days):
        days = every[every > chain.last_day]
        if len(days) and is_open[week] and room.left[week] >= hours - NEAR:
            free = days[room.fits(days, hours)]
            return int(free[0] if len(free) else days[0]), week
    return -1, -1
