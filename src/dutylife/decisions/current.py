"""The lives in service now: which component of which machine, how old, which part."""

import numpy as np
import pandas as pd

from dutylife.decisions.arrived import came_new_on
from dutylife.decisions.usage import DAYS_PER_WEEK
from dutylife.schema import days_at

_LIFE = ["unit_id", "component", "position"]
_WORDS = [*_LIFE, "duty", "equipment_class", "part_number", "event"]
_READ = [
    *_WORDS, "life_number", "spell", "installed_on", "ended_on", "exit_days", "exit_hours",
    "prob_in_service",
]  # fmt: skip


def current_lives(
    failure_events: pd.DataFrame, units: pd.DataFrame, use: pd.Series, as_of: pd.Timestamp
) -> pd.DataFrame:
    """Lives not known to have ended, with their age at ``as_of``.

    Parameters
    ----------
    failure_events, units : DataFrame, the tables of those names
    use : Series, index unit_id
        Use of each machine. [fleet meter unit per week]
    as_of : Timestamp

    Returns
    -------
    DataFrame
        unit_id, component, position, duty, equipment_class, part_number, prob_in_service, use,
        age_hours, age_days (missing where unknown) and seen_days: days the part is known to have
        been working without its age being known. Sorted, so that row order changes nothing.
    """
    lives = failure_events[_READ].astype(dict.fromkeys(_WORDS, "object"))
    lives = lives.assign(position=lives["position"].fillna(""))
    lives = lives.sort_values([*_LIFE, "life_number", "spell"], kind="stable")
    last = lives.drop_duplicates(_LIFE, keep="last")
    last = last[last["event"].isin(["running", "lost"])].reset_index(drop=True)
    fleet = units.astype({"unit_id": "object"}).set_index("unit_id")
    probability = last["unit_id"].map(fleet["prob_in_service"]).fillna(last["prob_in_service"])
    left = days_at(last["unit_id"], fleet["left_on"])
    since = (as_of - last["ended_on"]).dt.days.clip(lower=0).fillna(0.0)
    per_day = last["unit_id"].map(use).astype(float) / DAYS_PER_WEEK
    # the first part of a machine that came new is as old as the machine
    began = days_at(last["unit_id"], came_new_on(units)).where(last["life_number"] == 1)
    since_new = (as_of - began).dt.days.astype(float)
    age_days = (last["exit_days"] + since).fillna(since_new)
    unknown = age_days.isna() & last["exit_hours"].isna()
    # between the last evidence and now a machine of unknown use adds an unknown number of hours
    age_hours = last["exit_hours"] + (since * per_day).where(since > 0, 0.0)
    age_hours = age_hours.fillna(age_days * per_day)
    start = last["installed_on"].fillna(days_at(last["unit_id"], fleet["first_seen"]))
    seen = (as_of - start).dt.days.clip(lower=0).fillna(0.0)
    out = last[["unit_id", "component", "position", "duty", "equipment_class", "part_number"]]
    out = out.assign(
        prob_in_service=probability.fillna(1.0).where(~(left <= as_of), 0.0),
        use=per_day * DAYS_PER_WEEK,
        age_hours=age_hours.where(~unknown),
        age_days=age_days.where(~unknown),
        seen_days=seen.where(unknown, np.nan),
    )
    return out
