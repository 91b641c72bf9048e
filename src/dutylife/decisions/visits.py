"""Intervals to visits: when each machine comes in, and what is done and brought along then."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.due import tasks_due
from dutylife.decisions.usage import latest_spans, unit_use
from dutylife.errors import DecisionError
from dutylife.schema import as_table, empty_table, spans_of_days
from dutylife.settings import Settings

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
GROUP_DAYS = 30  # tasks of one machine due within so many days of the first share its visit
WORKDAYS = 5


def plan_visits(
    intervals: pd.DataFrame,
    costs: pd.DataFrame,
    failure_events: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    settings: Settings,
) -> pd.DataFrame:
    """Visits of each machine within the report's horizon.

    Parameters
    ----------
    intervals, costs, failure_events, maintenance_events, units, unit_spans : DataFrame
        The tables of those names.
    settings : Settings
        ``fleet.as_of`` filled; ``report.horizon_months``; ``workshop`` capacity and visit cost.

    Returns
    -------
    DataFrame
        Table "visit_plan": a row for each machine and day.

    Raises
    ------
    DecisionError
        ``fleet.as_of`` is not filled.

    Notes
    -----
    A machine counts from a probability of one half that it is still in service. What is overdue
    comes in as soon as possible, what can hurt first, as fast as ``workshop.hours_per_week``
    allows. A part of unknown age falls due somewhere in its first interval, spread over the
    machines. Tasks closer than 14 days are the operator's and stay out. A look that does not pay
    for a visit of its own, and servicing by a starting value more often than every 60 days (the
    crew's), ride along with another.
    """
    if settings.fleet.as_of is None:
        raise DecisionError("The plan needs a day to start from.", "fleet.as_of", "fill it")
    as_of = pd.Timestamp(settings.fleet.as_of)
    use = unit_use(units, unit_spans, settings)
    due = tasks_due(
        intervals, costs, failure_events, maintenance_events, units, unit_spans, use, as_of
    )
    if due.empty:
        return empty_table("visit_plan")
    end = as_of + pd.DateOffset(months=settings.report.horizon_months)
    horizon = float((end - as_of).days)
    due = due.reset_index(drop=True)
    rounds = [_rounds(tasks, horizon) for _, tasks in due.groupby("unit_id", sort=True)]
    row, day, overdue = (np.concatenate(parts) for parts in zip(*rounds, strict=True))
    done = due.iloc[row].reset_index(drop=True).assign(day=day, is_overdue=overdue)
    if done.empty:
        return empty_table("visit_plan")
    visits = _visits(done, settings)
    visits = visits.assign(day=_with_capacity(visits, as_of, settings))
    visits = visits.assign(due_on=_workday(as_of + spans_of_days(visits["day"])))
    visits = visits[visits["due_on"] <= end]
    visits = visits.drop_duplicates(["unit_id", "due_on"], keep="first")
    spans = latest_spans(unit_spans)
    classes = units.astype({"unit_id": "object"}).set_index("unit_id")["equipment_class"]
    meter_now = units.astype({"unit_id": "object"}).set_index("unit_id")["meter_now_hours"]
    per_day = visits["unit_id"].map(use).astype(float) / 7
    ahead = (visits["due_on"] - as_of).dt.days
    visits = visits.assign(
        customer=visits["unit_id"].map(spans["customer"]),
        duty=visits["unit_id"].map(spans["duty"]),
        equipment_class=visits["unit_id"].map(classes.astype(object)),
        due_hours=visits["unit_id"].map(meter_now).astype(float) + ahead * per_day,
    )
    return as_table("visit_plan", visits)


def _rounds(tasks: pd.DataFrame, horizon: float) -> tuple[Ints, Floats, Flags]:
    """Every task of one machine each time it is done: its row, the visit's day, overdue or not."""
    rows = tasks.index.to_numpy()
    due = np.maximum(tasks["due_days"].to_numpy(dtype=float).copy(), 0.0)
    overdue = tasks["due_days"].to_numpy(dtype=float) <= 0
    period = tasks["period_days"].to_numpy(dtype=float)
    own = tasks["own_visit"].to_numpy(dtype=bool)
    replaces = tasks["task"].to_numpy() == "replace"
    component = tasks["component"].to_numpy()
    taken = [np.empty(0, dtype=np.int64)]
    days, late = [np.empty(0)], [np.empty(0, dtype=bool)]
    while own.any():
        day = max(float(due[own].min()), 1.0)
        if day > horizon:
            break
        here = due <= day + GROUP_DAYS
        renewed = np.isin(component, component[here & replaces])
        # a part that is replaced is not measured first; its next look counts from the new part
        listed = here & ~(renewed & ~replaces)
        n = int(listed.sum())
        taken.append(rows[listed])
        days.append(np.full(n, day))
        late.append(np.full(n, bool((overdue & here).any())))
        due = np.where(here | renewed, day + period, due)
        overdue = overdue & ~here
    return np.concatenate(taken), np.concatenate(days), np.concatenate(late)


def _visits(done: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """One row for each machine and day."""
    visit_cost = settings.workshop.visit_cost
    replaces = done["task"] == "replace"
    # where the visit has its price, the looks made in it are in that price
    cost = done["planned_cost"].where(~done["is_relative"])
    if visit_cost is not None:
        cost = cost.where(replaces, 0.0)
    done = done.assign(
        words=done["task"].astype(str) + " " + done["component"].astype(str),
        part=done["part"].where(replaces, ""),
        cost=cost,
        hurts=done["can_hurt"].notna(),
    )
    visit = ["unit_id", "day"]
    groups = done.groupby(visit, sort=True)
    out = groups.agg(
        is_overdue=("is_overdue", "any"), hurts=("hurts", "any"), most_overdue=("due_days", "min")
    )
    out[["labour_hours", "cost"]] = groups[["labour_hours", "cost"]].sum(min_count=1)
    for name, column in (("tasks", "words"), ("parts", "part")):
        listed = done[done[column] != ""].drop_duplicates([*visit, column])
        listed = listed.sort_values([*visit, column], kind="stable")
        out[name] = listed.groupby(visit)[column].agg(";".join)
    out = out.fillna({"parts": ""}).reset_index()
    if visit_cost is not None:
        out["cost"] = out["cost"].fillna(0.0) + visit_cost
    return out


def _with_capacity(visits: pd.DataFrame, as_of: pd.Timestamp, settings: Settings) -> pd.Series:
    """Days from as_of; overdue visits in turn, as the workshop's hours allow."""
    day = visits["day"].copy()
    capacity = settings.workshop.hours_per_week
    overdue = visits[visits["is_overdue"]].sort_values(
        ["hurts", "most_overdue", "unit_id"], ascending=[False, True, True], kind="stable"
    )
    if capacity is None or overdue.empty:
        return day
    hours = overdue["labour_hours"].fillna(1.0).clip(lower=0.25)
    before = hours.cumsum() - hours
    workday = np.floor(before / (capacity / WORKDAYS) + 1e-9).astype(int).to_numpy()
    first = np.busday_offset(np.datetime64(as_of.date(), "D") + 1, 0, roll="forward")
    dates = np.busday_offset(first, workday)
    moved = (dates - np.datetime64(as_of.date(), "D")).astype(float)
    day.loc[overdue.index] = np.maximum(day.loc[overdue.index], moved)
    return day


def _workday(days: pd.Series) -> pd.Series:
    """Move a weekend's visit to Monday."""
    dates = days.dt.normalize().to_numpy().astype("datetime64[D]")
    moved = np.busday_offset(dates, 0, roll="forward")
    return pd.Series(pd.to_datetime(moved), index=days.index).astype("datetime64[ns]")
