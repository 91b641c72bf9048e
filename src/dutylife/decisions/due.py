"""When each task of each machine falls due, counted in days from the as-of date."""

import numpy as np
import pandas as pd

from dutylife.components import Component
from dutylife.decisions.current import current_lives
from dutylife.decisions.starting import OPERATOR_DAYS, OPERATOR_HOURS
from dutylife.decisions.usage import DAYS_PER_WEEK, latest_spans
from dutylife.provenance import digest_of
from dutylife.schema import filled_from

IN_SERVICE = 0.5
# servicing by a starting value met more often than this is done by the crew between visits: it
# rides along when the machine is in, but makes no visit of its own (our proposal)
CREW_DAYS = 60
_PAIR = ["unit_id", "component"]


def machine_tasks(
    intervals: pd.DataFrame,
    costs: pd.DataFrame,
    failure_events: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    use: pd.Series,
    as_of: pd.Timestamp,
    known: dict[str, Component],
) -> pd.DataFrame:
    """A row for each task of each machine in service, the operator's daily ones included.

    Returns
    -------
    DataFrame
        unit_id, component, task, clock, per_day (of the clock), due_days (0 or less: overdue),
        period_days, limit_due_days and limit_days (what may not be passed: the interval of what
        can hurt, else the maker's limit; missing where there is none), own_visit, done_by, part,
        costs and hours; sorted by machine, component, task. Days are missing where a task goes by
        the meter and no use is known.
    """
    lives = current_lives(failure_events, units, use, as_of)
    rows = _machine_tasks(intervals, costs, lives, failure_events, units, unit_spans, as_of)
    if rows.empty:
        return rows.assign(due_days=0.0, period_days=0.0, own_visit=False, done_by="", part="")
    per_day = rows["unit_id"].map(use).astype(float) / DAYS_PER_WEEK
    oldest = lives.groupby(_PAIR)[["age_hours", "age_days"]].max().reset_index()
    rows = rows.merge(oldest, on=_PAIR, how="left")
    touched = _last_touch(maintenance_events)
    rows = rows.merge(touched, on=_PAIR, how="left")
    is_replace = rows["task"] == "replace"
    looked_days = (as_of - rows["touched_on"]).dt.days
    age_days = rows["age_days"].where(is_replace, looked_days)
    age_hours = rows["age_hours"].where(is_replace, looked_days * per_day)
    on_days, on_meter = rows["clock"] != "hours", ~rows["clock"].isin(["days", "idle_days"])
    period_days = rows["interval_days"].where(on_days)
    period_meter = (rows["interval_hours"] / per_day).where(on_meter)
    period = pd.concat([period_days, period_meter], axis=1).min(axis=1)
    # without a use the calendar figure of the duty has to do, and the other way round
    period = period.fillna(rows["interval_days"])
    left_days = (rows["interval_days"] - age_days).where(on_days)
    left_meter = ((rows["interval_hours"] - age_hours) / per_day).where(on_meter)
    due = pd.concat([left_days, left_meter], axis=1).min(axis=1)
    due = due.fillna(rows["interval_days"] - age_days)
    spread = rows["unit_id"].map({u: _share(u) for u in rows["unit_id"].unique()})
    due = due.fillna(spread * period)
    hurts = rows["can_hurt"].notna() & (rows["can_hurt"] != "")
    crew = (rows["basis"] == "starting value") & (period < CREW_DAYS)
    pays = rows["probability_it_pays"].fillna(1.0) >= 0.5
    operator = (period < OPERATOR_DAYS) | (
        (rows["interval_hours"] < OPERATOR_HOURS) & rows["clock"].ne("days")
    )
    systems = {name: c.system for name, c in known.items()}
    electric = filled_from(rows["component"].map(systems), "").str.startswith("alternator")
    limit = _limit_days(rows, known, per_day, is_replace).where(~hurts, period)
    rows = rows.assign(
        per_day=per_day.where(rows["clock"] == "hours", 1.0),
        due_days=due, period_days=period, limit_days=limit, limit_due_days=due + limit - period,
        own_visit=(hurts | ((is_replace | pays) & ~crew)) & ~operator,
        done_by=np.select(
            [operator | (crew & ~hurts), hurts | electric], ["operator", "qualified person"], "yard"
        ),
        is_operators=operator, part=_parts(rows, lives),
    )  # fmt: skip
    return rows.sort_values(["unit_id", "component", "task"], kind="stable").reset_index(drop=True)


def tasks_due(tasks: pd.DataFrame) -> pd.DataFrame:
    """Tasks of the shop that have a day, of all tasks of the machines."""
    if tasks.empty:
        return tasks
    shop = tasks["period_days"].notna() & ~tasks["is_operators"].astype(bool)
    return tasks[shop].reset_index(drop=True)


def _limit_days(
    rows: pd.DataFrame, known: dict[str, Component], per_day: pd.Series, is_replace: pd.Series
) -> pd.Series:
    """Maker's limit of a replacement in days of that machine; missing where none is stated."""
    own = [known.get(name, Component(name=name)) for name in rows["component"]]
    days = pd.Series([c.maker_limit_days for c in own], index=rows.index, dtype=float)
    hours = pd.Series([c.maker_limit_hours for c in own], index=rows.index, dtype=float)
    found: pd.Series = pd.concat([days, hours / per_day], axis=1).min(axis=1)
    return found.where(is_replace)


def _machine_tasks(
    intervals: pd.DataFrame,
    costs: pd.DataFrame,
    lives: pd.DataFrame,
    failure_events: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    as_of: pd.Timestamp,
) -> pd.DataFrame:
    """Interval rows of each machine's duty, for the components its class is known to have."""
    words = dict.fromkeys(["component", "duty", "task"], "object")
    tasks = intervals.astype(words | {"can_hurt": "object", "clock": "object"})
    tasks = tasks[tasks["task"] != "run to failure"]
    money = costs.astype(words)
    money = money[
        ["component", "duty", "task", "planned_cost", "failure_cost", "labour_hours", "is_relative"]
    ].drop_duplicates(["component", "duty", "task"])
    tasks = tasks.merge(money, on=["component", "duty", "task"], how="left")
    tasks = tasks.assign(is_relative=tasks["is_relative"].astype(object).eq(True))
    fleet = units.astype({"unit_id": "object", "equipment_class": "object"})
    left = fleet["left_on"] <= as_of
    fleet = fleet[(fleet["prob_in_service"].fillna(1.0) >= IN_SERVICE) & ~left]
    duty = latest_spans(unit_spans)["duty"]
    fleet = fleet.assign(duty=fleet["unit_id"].map(duty))[["unit_id", "equipment_class", "duty"]]
    # first which machine has which component: all tasks of a duty on each would be many times more
    cells = tasks[["component", "duty"]].drop_duplicates()
    rows = fleet.merge(cells, on="duty")
    fitted = failure_events[["equipment_class", "component"]].astype(object).drop_duplicates()
    of_class = set(fitted.dropna().itertuples(index=False, name=None))
    of_unit = set(lives[_PAIR].itertuples(index=False, name=None))
    has = [
        (c, part) in of_class or (u, part) in of_unit
        for u, c, part in zip(
            rows["unit_id"], rows["equipment_class"], rows["component"], strict=True
        )
    ]
    rows = rows[np.array(has, dtype=bool)]
    return rows.merge(tasks, on=["component", "duty"])


def _last_touch(maintenance_events: pd.DataFrame) -> pd.DataFrame:
    """Day a component of a machine was last looked at or renewed, whatever was done."""
    events = maintenance_events.astype({"unit_id": "object", "component": "object"})
    last = events.groupby(_PAIR)["event_date"].max()
    return last.rename("touched_on").reset_index()


def _parts(rows: pd.DataFrame, lives: pd.DataFrame) -> pd.Series:
    """Part number in the machine now, else the component's name."""
    numbers = lives[lives["part_number"].notna()].drop_duplicates(_PAIR, keep="last")
    found = rows[_PAIR].merge(numbers[[*_PAIR, "part_number"]], on=_PAIR, how="left")
    return pd.Series(found["part_number"].to_numpy(), index=rows.index).fillna(rows["component"])


def _share(unit_id: str) -> float:
    """A share in (0, 1) that belongs to the machine, the same in every run."""
    return (int(digest_of("first visit", unit_id, length=8), 16) % 997 + 0.5) / 997
