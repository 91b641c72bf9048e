"""Intervals to visits: when each machine comes in, and what is done and brought along then."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.components import components_of
from dutylife.decisions.due import machine_tasks, tasks_due
from dutylife.decisions.usage import latest_spans, unit_use
from dutylife.decisions.visits.jobs import Jobs, jobs_of, visit_shares
from dutylife.decisions.visits.levelled import MOST_MACHINES, level_visits, levelled_note
from dutylife.decisions.visits.opportunity import opportunities
from dutylife.decisions.visits.planner import plan_jobs
from dutylife.decisions.visits.rounds import Done
from dutylife.decisions.visits.weeks import Weeks, weeks_ahead
from dutylife.errors import DecisionError
from dutylife.schema import as_table, empty_table, filled_from, joined_by, spans_of_days
from dutylife.settings import Settings
from dutylife.vocabulary import TABLES

Flags = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
BEYOND_DAYS = 62  # worth is tabled so far past the horizon


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fleet:
    """Tasks, machines and settings of the plan."""

    tasks: pd.DataFrame
    units: pd.DataFrame
    spans: pd.DataFrame
    use: pd.Series
    as_of: pd.Timestamp
    settings: Settings


def plan_visits(
    intervals: pd.DataFrame,
    costs: pd.DataFrame,
    failure_events: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    settings: Settings,
    life_draws: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Visits of each machine within the report's horizon: table "visit_plan" of `visit_tables`."""
    made = visit_tables(
        intervals, costs, failure_events, maintenance_events, units, unit_spans, settings,
        life_draws,
    )  # fmt: skip
    return made["visit_plan"]


def visit_tables(
    intervals: pd.DataFrame,
    costs: pd.DataFrame,
    failure_events: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    settings: Settings,
    life_draws: pd.DataFrame | None = None,
) -> dict[str, pd.DataFrame]:
    """Visits of each machine, its tasks, and what to change when it is open anyway.

    Parameters
    ----------
    intervals, costs, failure_events, maintenance_events, units, unit_spans : DataFrame
        The tables of those names.
    settings : Settings
        ``fleet.as_of`` filled; ``report.horizon_months``; ``workshop`` capacity, visit cost and
        whose visit it is; ``customers`` with their blackout weeks.
    life_draws : DataFrame, table "life_draws", optional
        What a gap between two replacements costs; without it each task goes by its interval.

    Returns
    -------
    dict of str to DataFrame
        Tables "visit_plan" (a row for each machine and day), "machine_tasks" (a row for each task
        of each machine, the operator's included), "opportunities" (a row for each part in each
        duty that is replaced by age), "findings" (that a fleet was too large for the programme).

    Raises
    ------
    DecisionError
        ``fleet.as_of`` is not filled; no machine's use is known though tasks go by the meter; or
        work that can hurt finds no day before its limit: names the customer's blackout weeks or
        ``workshop.hours_per_week``.

    Notes
    -----
    A machine counts from a probability of one half that it is still in service. A part of unknown
    age falls due somewhere in its first interval, spread over the machines. Which months a
    machine comes in is an integer programme over all its tasks (`plan_months`): a gap between two
    replacements costs what the part's law says, other tasks lose what is left of their interval,
    or a penalty where they are late; a visit costs ``workshop.visit_cost``. Weeks inside each
    month, then days, are assigned under the workshop's hours. Blackout weeks and hours hold in
    both. Above 1000 machines visits go by their intervals (`level_visits`). Nothing that can hurt,
    and no replacement under a maker's limit, goes past its limit; what is overdue and can hurt
    comes first. Tasks of the operator stay out; a look that does not
    pay for a visit of its own, and servicing by a starting value more often than every 60 days,
    ride along.

    References
    ----------
    Dantzig and Wolfe (1960), decomposition of linear programmes.
    """
    if settings.fleet.as_of is None:
        raise DecisionError("The plan needs a day to start from.", "fleet.as_of", "fill it")
    as_of = pd.Timestamp(settings.fleet.as_of)
    use = unit_use(units, unit_spans, settings)
    tasks = machine_tasks(
        intervals, costs, failure_events, maintenance_events, units, unit_spans, use, as_of,
        components_of(settings),
    )  # fmt: skip
    fleet = _Fleet(
        tasks=tasks, units=units, spans=latest_spans(unit_spans), use=use, as_of=as_of,
        settings=settings,
    )  # fmt: skip
    due = tasks_due(tasks)
    _check_use(tasks, due)
    done = pd.DataFrame(columns=[*due.columns, "day", "is_overdue"])
    shares: dict[tuple[str, str], float] = {}
    told = empty_table("findings")
    if due["unit_id"].nunique() > MOST_MACHINES:
        done, shares, told = _levelled(due, fleet)
    elif len(due):
        weeks = weeks_ahead(as_of, settings)
        jobs = jobs_of(
            due, fleet.spans["customer"], life_draws, visit_cost=settings.workshop.visit_cost,
            per_customer=settings.workshop.visit_cost_per == "customer",
            first_day=int(weeks.days[0][0]), n_days=weeks.n_days + BEYOND_DAYS,
        )  # fmt: skip
        shares = _shares(jobs.frame, jobs.share)
        done = _rows(jobs, plan_jobs(jobs, weeks, _is_open(jobs, weeks, settings)).done)
    del due  # millions of rows of a large fleet
    return {
        "visit_plan": _visit_plan(done, fleet),
        "machine_tasks": _machine_table(done, fleet),
        "opportunities": opportunities(intervals, costs, life_draws, unit_spans, settings, shares),
        "findings": told,
    }


def _check_use(tasks: pd.DataFrame, due: pd.DataFrame) -> None:
    """Raise where every task goes by the meter and no machine's use is known."""
    if len(tasks) and due.empty and tasks["period_days"].isna().all():
        names = ", ".join(sorted({str(u) for u in tasks["unit_id"]})[:3])
        raise DecisionError(
            f"Every task goes by the meter and no machine's use is known ({names}, ...).",
            "fleet.hours_per_week",
            "state hours_per_week in [fleet], or map a column of meter readings",
        )


def _levelled(
    due: pd.DataFrame, fleet: _Fleet
) -> tuple[pd.DataFrame, dict[tuple[str, str], float], pd.DataFrame]:
    """Rows done of a large fleet, what a change bears of a visit, and a note that says so."""
    settings = fleet.settings
    weeks = weeks_ahead(fleet.as_of, settings)
    machine, names = pd.factorize(due["unit_id"].astype(object), sort=True)
    customer = filled_from(pd.Series(names).map(fleet.spans["customer"]), "").astype(str)
    shut = {name: c.blackout_weeks for name, c in settings.customers.items()}
    is_open = np.ones((len(names), len(weeks.days)), dtype=bool)
    for name in set(shut) & set(customer):
        is_open[(customer == name).to_numpy()] = weeks.open_to(shut[name])
    found = level_visits(due, weeks, is_open, machine.astype(np.int64))
    done = found.done
    group = done["unit_id"].astype(object)
    if settings.workshop.visit_cost_per == "customer":  # who come on one day share its cost
        owner = group.map(fleet.spans["customer"])
        group = owner.where(owner.notna() & (owner != ""), group)
    shares = _shares(due, visit_shares(due, fleet.spans["customer"], settings.workshop))
    return done.assign(group=group), shares, levelled_note(len(names), found.n_waiting)


def _shares(due: pd.DataFrame, share: Floats) -> dict[tuple[str, str], float]:
    """Mean over its machines of what a part's change bears of a visit, by component and duty."""
    changed = due["task"] == "replace"
    rows = due.assign(share=share)[changed]
    means = rows.groupby(["component", "duty"])["share"].mean()
    return {
        (str(c), str(d)): float(v) for (c, d), v in zip(means.index, means.to_numpy(), strict=True)
    }


def _is_open(jobs: Jobs, weeks: Weeks, settings: Settings) -> Flags:
    """Weeks in which each group can come in."""
    shut = {name: c.blackout_weeks for name, c in settings.customers.items()}
    rows = [weeks.open_to(shut.get(name, [])) for name in jobs.customer]
    return np.array(rows, dtype=bool).reshape(len(jobs.groups), len(weeks.days))


def _rows(jobs: Jobs, plan: Done) -> pd.DataFrame:
    """A row of `tasks_due` for each time a task is done, with its day and its visit."""
    at = sorted(plan, key=lambda pair: (pair[1], pair[0]))
    tasks = np.array([t for t, _ in at], dtype=np.int64)
    rows = jobs.frame.iloc[tasks].reset_index(drop=True)
    day = np.array([d for _, d in at], dtype=float)
    first = ~pd.Series(tasks).duplicated()
    return rows.assign(
        day=day, group=jobs.group[tasks], is_overdue=(rows["due_days"] <= 0) & first.to_numpy()
    )


def _visit_plan(done: pd.DataFrame, fleet: _Fleet) -> pd.DataFrame:
    if done.empty:
        return empty_table("visit_plan")
    visits = _visits(done, fleet.settings)
    units = fleet.units.astype({"unit_id": "object"}).set_index("unit_id")
    unit = visits["unit_id"]
    per_day = unit.map(fleet.use).astype(float) / 7
    visits = visits.assign(
        due_on=_dates(visits["day"], fleet.as_of),
        customer=unit.map(fleet.spans["customer"]),
        duty=unit.map(fleet.spans["duty"]),
        equipment_class=unit.map(units["equipment_class"].astype(object)),
        due_hours=unit.map(units["meter_now_hours"]).astype(float) + visits["day"] * per_day,
    )
    return as_table("visit_plan", visits)


def _visits(done: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """One row for each machine and day."""
    visit_cost = settings.workshop.visit_cost
    visit = ["unit_id", "day"]
    replaces = done["task"] == "replace"
    # a part that is replaced is not looked at first
    changed = done[replaces].set_index([*visit, "component"]).index
    looked = ~pd.MultiIndex.from_frame(done[[*visit, "component"]]).isin(changed)
    done = done[replaces | looked]
    replaces = done["task"] == "replace"
    # where the visit has its price, the looks made in it are in that price
    cost = done["planned_cost"].where(~done["is_relative"].astype(bool))
    if visit_cost is not None:
        cost = cost.where(replaces, 0.0)
    done = done.assign(
        words=done["task"].astype(str) + " " + done["component"].astype(str),
        part=done["part"].where(replaces, ""),
        cost=cost.astype(float),
    )
    groups = done.groupby(visit, sort=True)
    out = groups.agg(group=("group", "first"))
    out[["labour_hours", "cost"]] = groups[["labour_hours", "cost"]].sum(min_count=1)
    for name, column in (("tasks", "words"), ("parts", "part")):
        listed = done[done[column] != ""].drop_duplicates([*visit, column])
        listed = listed.sort_values([*visit, column], kind="stable")
        out[name] = joined_by(listed[visit], listed[column])
    out = out.fillna({"parts": ""}).reset_index()
    if visit_cost is not None:
        # the machines that come in one visit of their customer share its cost
        sharing = out.groupby(["group", "day"])["unit_id"].transform("size")
        out["cost"] = out["cost"].fillna(0.0) + visit_cost / sharing
    return out


def _machine_table(done: pd.DataFrame, fleet: _Fleet) -> pd.DataFrame:
    """Every task of every machine: when next, how often, who does it."""
    rows = fleet.tasks
    if rows.empty:
        return empty_table("machine_tasks")
    task = ["unit_id", "component", "task"]
    needed = {*TABLES["machine_tasks"].columns, "part", "period_days", "due_days", "is_operators",
              "own_visit"}  # fmt: skip
    rows = rows[[c for c in rows.columns if c in needed]]  # the rest takes as much memory again
    first = done.groupby(task)["day"].min().rename("next_day").reset_index()
    rows = rows.merge(first.astype({"next_day": float}), on=task, how="left")
    unit = rows["unit_id"]
    return as_table(
        "machine_tasks",
        rows.assign(
            customer=unit.map(fleet.spans["customer"]),
            part_number=rows["part"].where(rows["task"] == "replace"),
            next_on=_dates(rows["next_day"], fleet.as_of),
            interval_days=rows["period_days"].where(
                rows["clock"] == "hours", rows["interval_days"]
            ),
            is_overdue=((rows["due_days"] <= 0) & ~rows["is_operators"].astype(bool)),
            rides_along=~rows["own_visit"].astype(bool) & ~rows["is_operators"].astype(bool),
        ),
    )


def _dates(days: pd.Series, as_of: pd.Timestamp) -> pd.Series:
    return (as_of + spans_of_days(days.astype(float))).astype("datetime64[ns]")
