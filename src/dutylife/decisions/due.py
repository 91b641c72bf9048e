"""When each task of each machine falls due, counted in days from the as-of date."""

import numpy as np
import pandas as pd

from dutylife.decisions.current import current_lives
from dutylife.decisions.starting import OPERATOR_DAYS, OPERATOR_HOURS
from dutylife.decisions.usage import DAYS_PER_WEEK, latest_spans
from dutylife.provenance import digest_of

IN_SERVICE = 0.5
# servicing by a starting value met more often than this is done by the crew between visits: it
# rides along when the machine is in, but makes no visit of its own (our proposal)
CREW_DAYS = 60
_PAIR = ["unit_id", "component"]


def tasks_due(
    intervals: pd.DataFrame,
    costs: pd.DataFrame,
    failure_events: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    use: pd.Series,
    as_of: pd.Timestamp,
) -> pd.DataFrame:
    """A row for each shop task of each machine in service.

    Returns
    -------
    DataFrame
        unit_id, component, task, due_days (0 or less: overdue), period_days, own_visit, part,
        planned_cost, labour_hours, is_relative, can_hurt; sorted by machine, component, task.
    """
    lives = current_lives(failure_events, units, use, as_of)
    rows = _machine_tasks(intervals, costs, lives, failure_events, units, unit_spans, as_of)
    if rows.empty:
        return rows.assign(due_days=0.0, period_days=0.0, own_visit=False, part="")
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
    hurts = rows["can_hurt"].notna()
    crew = (rows["basis"] == "starting value") & (period < CREW_DAYS)
    pays = rows["probability_it_pays"].fillna(1.0) >= 0.5
    rows = rows.assign(
        due_days=due, period_days=period, own_visit=hurts | ((is_replace | pays) & ~crew),
        part=_parts(rows, lives),
    )  # fmt: skip
    operator = (period < OPERATOR_DAYS) | (
        (rows["interval_hours"] < OPERATOR_HOURS) & rows["clock"].ne("days")
    )
    keep = period.notna() & ~operator
    return rows[keep].sort_values(["unit_id", "component", "task"], kind="stable")


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
        ["component", "duty", "task", "planned_cost", "labour_hours", "is_relative"]
    ].drop_duplicates(["component", "duty", "task"])
    tasks = tasks.merge(money, on=["component", "duty", "task"], how="left")
    tasks = tasks.assign(is_relative=tasks["is_relative"].astype(object).eq(True))
    fleet = units.astype({"unit_id": "object", "equipment_class": "object"})
    left = fleet["left_on"] <= as_of
    fleet = fleet[(fleet["prob_in_service"].fillna(1.0) >= IN_SERVICE) & ~left]
    duty = latest_spans(unit_spans)["duty"]
    fleet = fleet.assign(duty=fleet["unit_id"].map(duty))[["unit_id", "equipment_class", "duty"]]
    rows = fleet.merge(tasks, on="duty")
    fitted = failure_events[["equipment_class", "component"]].astype(object).drop_duplicates()
    of_class = set(fitted.dropna().itertuples(index=False, name=None))
    of_unit = set(lives[_PAIR].itertuples(index=False, name=None))
    has = [
        (c, part) in of_class or (u, part) in of_unit
        for u, c, part in zip(
            rows["unit_id"], rows["equipment_class"], rows["component"], strict=True
        )
    ]
    return rows[np.array(has, dtype=bool)].reset_index(drop=True)


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
