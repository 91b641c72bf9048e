"""The plan of all machines: months, then weeks and days inside each month."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from dutylife.decisions.visits.faults import no_hours, shut, too_long
from dutylife.decisions.visits.jobs import Jobs
from dutylife.decisions.visits.months import MonthPlan, plan_months
from dutylife.decisions.visits.placing import Item, place
from dutylife.decisions.visits.programme import MOST_MONTHS, Programme, best_course
from dutylife.decisions.visits.rounds import Done, Room, frequent_rounds, room_of
from dutylife.decisions.visits.weeks import Weeks

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
MOST_TRIES = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Task and day of everything done, and the programmes of months it came from."""

    done: Done
    months: list[MonthPlan]


@dataclass(slots=True)
class _State:
    """Last day each task was done (-1: not yet) and hours left."""

    last: Ints
    room: Room
    done: Done = field(default_factory=list)

    def copy(self) -> "_State":
        return _State(self.last.copy(), self.room.copy(), list(self.done))


def plan_jobs(jobs: Jobs, weeks: Weeks, is_open: Flags) -> Plan:
    """Day of every task within the horizon.

    Parameters
    ----------
    jobs : Jobs
    weeks : Weeks
    is_open : ndarray of bool, shape (n_groups, n_weeks)
        Weeks in which each group can come in.

    Raises
    ------
    DecisionError
        What can hurt finds no day before its limit; names the customer's blackout weeks or the
        workshop's hours.
    """
    room = room_of(weeks)
    if weeks.hours is not None:
        most = float(weeks.hours.max())
        long = np.flatnonzero(jobs.hours > most + 1e-9)
        if len(long):
            raise too_long(jobs, int(long[0]), most)
    rounds = frequent_rounds(jobs, weeks, is_open, room)
    round_days: list[set[int]] = [set() for _ in jobs.groups]
    for task, day in rounds:
        round_days[int(jobs.group[task])].add(day)
    state = _State(np.full(len(jobs.worth), -1), room)
    plans = []
    for start in range(0, weeks.n_months, MOST_MONTHS):
        span = range(start, min(start + MOST_MONTHS, weeks.n_months))
        state, plan = _window(jobs, weeks, is_open, state, span, round_days)
        plans.append(plan)
    return Plan(done=rounds + state.done, months=plans)


def _window(
    jobs: Jobs, weeks: Weeks, is_open: Flags, state: _State, span: range,
    round_days: list[set[int]],
) -> tuple[_State, MonthPlan]:  # fmt: skip
    """Up to a year: its months together, then each month's weeks; again where a limit breaks."""
    barred: set[tuple[int, int]] = set()
    late: list[tuple[int, float]] = []
    for _ in range(MOST_TRIES):
        members, programmes, ends = _programmes(
            jobs, weeks, is_open, state, span, round_days, barred
        )
        _check_courses(jobs, weeks, members, programmes, late)
        capacity = None
        if weeks.hours is not None:
            capacity = np.array([state.room.left[weeks.of_month(m)].sum() for m in span])
        plan = plan_months(programmes, capacity)
        if plan.over_hours.sum() > 1e-6:
            raise no_hours(jobs, weeks, late or _hard_in(jobs, members, plan, ends))
        tried = state.copy()
        missed = _weeks_of(jobs, weeks, is_open, tried, span, round_days, members, plan)
        if not missed:
            return tried, plan
        for task, month in missed:
            barred.add((task, month))
            late.append((task, float(weeks.days[weeks.of_month(month)[-1]][-1])))
    raise no_hours(jobs, weeks, late)


def _programmes(
    jobs: Jobs, weeks: Weeks, is_open: Flags, state: _State, span: range,
    round_days: list[set[int]], barred: set[tuple[int, int]],
) -> tuple[list[Ints], list[Programme], Ints]:  # fmt: skip
    """Tasks and programme of each group that has tasks to plan."""
    months = list(span)
    first_day = np.array([weeks.days[weeks.of_month(m)[0]][0] for m in months])
    last_day = np.array([weeks.days[weeks.of_month(m)[-1]][-1] for m in months])
    members, programmes = [], []
    end = int(last_day[-1])
    for group in range(len(jobs.groups)):
        mine = np.flatnonzero((jobs.group == group) & ~jobs.is_frequent)
        if not len(mine):
            continue
        start, visit = np.full(len(months), end + 1), np.full(len(months), np.inf)
        middle = (first_day + last_day) // 2
        for place_, m in enumerate(months):
            own = [int(w) for w in weeks.of_month(m) if is_open[group, w]]
            if own:
                start[place_] = weeks.days[own[0]][0]
                days = np.concatenate([weeks.days[w] for w in own])
                middle[place_] = days[np.argmin(np.abs(days - middle[place_]))]
                came = any(first_day[place_] <= d <= last_day[place_] for d in round_days[group])
                visit[place_] = 0.0 if came else jobs.visit_cost
        n, k = len(mine), len(months)
        first, again = np.full((n, k), np.inf), np.full((n, k, k), np.inf)
        end_first, end_again = np.empty(n), np.empty((n, k))
        for row, task in enumerate(mine):
            first[row] = _first_arcs(jobs, int(task), int(state.last[task]), middle, start)
            again[row] = _again_arcs(jobs, int(task), middle, start)
            end_first[row] = _end(jobs, int(task), int(state.last[task]), end)
            end_again[row] = [
                _end(jobs, int(task), int(s), end, int(d))
                for s, d in zip(start, middle, strict=True)
            ]
            for place_, m in enumerate(months):
                if (int(task), m) in barred:
                    first[row, place_] = np.inf
                    again[row, :, place_] = np.inf
        members.append(mine)
        programmes.append(
            Programme(
                first=first, again=again, end_first=end_first, end_again=end_again,
                visit_costs=visit, labour_hours=jobs.hours[mine],
                base_cost=float(jobs.base_rate[mine].sum()) * (end - int(first_day[0]) + 1),
            )
        )  # fmt: skip
    return members, programmes, last_day


def _first_arcs(jobs: Jobs, task: int, last: int, middle: Ints, start: Ints) -> Floats:
    """Cost of a task first done in each month, at its middle or, if sooner, its limit."""
    limit = jobs.due_limit[task] if last < 0 else last + jobs.limit[task]
    days = np.minimum(middle, np.floor(limit)) if np.isfinite(limit) else middle
    cost = jobs.cost(task, last, np.maximum(days, 0).astype(np.int64))
    return np.where((start <= limit) & (days > last), cost, np.inf)


def _again_arcs(jobs: Jobs, task: int, middle: Ints, start: Ints) -> Floats:
    """Cost of a task done in a month after it was done in another; a limit counts from starts."""
    limit = jobs.limit[task]
    gap = middle[None, :] - middle[:, None]
    held = np.minimum(gap, np.floor(limit)) if np.isfinite(limit) else gap
    cost = jobs.worth[task].again[np.maximum(held, 0).astype(np.int64)]
    allowed = (gap > 0) & (start[None, :] - start[:, None] <= limit)
    return np.where(allowed, cost, np.inf)


def _end(jobs: Jobs, task: int, last: int, end: int, done: int | None = None) -> float:
    """Cost of not doing a task (again) up to the end of the months."""
    if done is None:
        w = jobs.worth[task]
        return float(w.end_first[end] if last < 0 else w.end_again[end - last])
    # counted from the month's first day, as its limit is: the visit may be early in the month
    if end - last > jobs.limit[task]:
        return float("inf")
    return float(jobs.worth[task].end_again[max(end - done, 0)])


def _check_courses(
    jobs: Jobs, weeks: Weeks, members: list[Ints], programmes: list[Programme],
    late: list[tuple[int, float]],
) -> None:  # fmt: skip
    """Raise where a group has no course within its limits."""
    shut_out: list[tuple[int, float]] = []
    for mine, programme in zip(members, programmes, strict=True):
        bounded = np.flatnonzero(jobs.is_hard[mine])
        if not len(bounded) or np.isfinite(best_course(programme)[1]):
            continue
        for row in bounded:
            alone = Programme(
                first=programme.first[[row]], again=programme.again[[row]],
                end_first=programme.end_first[[row]], end_again=programme.end_again[[row]],
                visit_costs=programme.visit_costs, labour_hours=programme.labour_hours[[row]],
            )  # fmt: skip
            if not np.isfinite(best_course(alone)[1]):
                task = int(mine[row])
                day = jobs.due_limit[task]
                shut_out.append((task, float(day if np.isfinite(day) else jobs.limit[task])))
    if shut_out and late:
        raise no_hours(jobs, weeks, late)
    if shut_out:
        raise shut(jobs, weeks, shut_out)


def _hard_in(
    jobs: Jobs, members: list[Ints], plan: MonthPlan, ends: Ints
) -> list[tuple[int, float]]:
    """What can hurt in the months that lack hours, with the last day of the month."""
    out = []
    short = np.flatnonzero(plan.over_hours > 1e-6)
    for mine, course in zip(members, plan.courses, strict=True):
        for month in short:
            out += [
                (int(t), float(min(jobs.due_limit[t], ends[month])))
                for t in mine[course.done[:, month] & jobs.is_hard[mine]]
            ]
    return out


def _weeks_of(
    jobs: Jobs, weeks: Weeks, is_open: Flags, state: _State, span: range,
    round_days: list[set[int]], members: list[Ints], plan: MonthPlan,
) -> list[tuple[int, int]]:  # fmt: skip
    """Place every month's visits; return what can hurt and found no day, with its month."""
    waiting: dict[int, list[int]] = {}
    for at, month in enumerate(span):
        for mine, course in zip(members, plan.courses, strict=True):
            tasks = [
                int(t)
                for t in mine[course.done[:, at]]
                if not _just_done(jobs, state, int(t), weeks, month)
            ]
            group = int(jobs.group[mine[0]])
            waiting[group] = sorted(set(waiting.get(group, [])) | set(tasks))
        items = [
            Item(group=g, tasks=tuple(tasks), round_days=frozenset(round_days[g]))
            for g, tasks in sorted(waiting.items())
            if tasks
        ]
        placed, left = place(jobs, weeks, is_open, state.last, state.room, items, month)
        waiting = {}
        for item, day in placed:
            state.done += [(t, day) for t in item.tasks]
            _mark(jobs, state, item.tasks, day)
        missed = []
        for item in left:
            for t in item.tasks:
                limit = jobs.due_limit[t] if state.last[t] < 0 else state.last[t] + jobs.limit[t]
                # the next month may be shut to it for a while: only a limit behind it may wait
                if limit < _end_of_next(weeks, month):
                    missed.append((t, month))
            waiting.setdefault(item.group, []).extend(item.tasks)
        if missed:
            return missed
    return []


def _end_of_next(weeks: Weeks, month: int) -> int:
    own = weeks.of_month(min(month + 1, weeks.n_months - 1))
    return int(weeks.days[own[-1]][-1])


def _mark(jobs: Jobs, state: _State, tasks: tuple[int, ...], day: int) -> None:
    """Tasks done on a day; a look at a part that was changed counts from the new part on."""
    for t in tasks:
        state.last[t] = day
        state.last[jobs.looks_after[t]] = day


def _just_done(jobs: Jobs, state: _State, task: int, weeks: Weeks, month: int) -> bool:
    """A look whose part was changed less than half its interval ago; it may wait."""
    if state.last[task] < 0:
        return False
    begin = weeks.days[weeks.of_month(month)[0]][0]
    end = weeks.days[weeks.of_month(month)[-1]][-1]
    ahead = end + 31 - state.last[task]
    if jobs.is_hard[task] and ahead > jobs.limit[task]:
        return False
    return bool(begin - state.last[task] < jobs.period[task] / 2)
