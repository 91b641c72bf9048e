"""When a machine is open anyway: the age from which a part is better changed than left in."""

import math
from typing import Any

import numpy as np
import pandas as pd

from dutylife.decisions.usage import duty_use, to_days, to_hours
from dutylife.decisions.visits.jobs import VISIT_SHARE, Laws
from dutylife.decisions.visits.worth import law_curve, open_age
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings

KEY = ["component", "duty"]


def opportunities(
    intervals: pd.DataFrame,
    costs: pd.DataFrame,
    life_draws: pd.DataFrame | None,
    unit_spans: pd.DataFrame,
    settings: Settings,
    shares: dict[tuple[str, str], float] | None = None,
) -> pd.DataFrame:
    """Age from which each part that is replaced by age is changed when the machine is open.

    Parameters
    ----------
    intervals, costs, life_draws, unit_spans : DataFrame
        The tables of those names; without ``life_draws`` every part goes by its interval.
    settings : Settings
    shares : dict of (component, duty) to float, optional
        What the part would bear of a planned visit, which it shares with others; the whole visit
        where none is given. [currency]

    Returns
    -------
    DataFrame
        Table "opportunities". Changing now costs the part and its work, but no visit; leaving it
        costs what is expected up to its planned change, which bears its share of a visit
        (``visit_cost``). The age at which the second passes the first is the threshold; it is
        never above the interval.

    Notes
    -----
    One opportunity is weighed, not a stream of them: one more that may soon come would let a part
    wait a little longer. Where only an interval is known, the threshold is
    interval x own cost / (own cost + visit cost).
    """
    words = dict.fromkeys([*KEY, "task", "clock", "basis", "can_hurt"], "object")
    rows = intervals.astype(words)
    rows = rows[rows["task"] == "replace"]
    if rows.empty:
        return empty_table("opportunities")
    money = costs.astype(dict.fromkeys([*KEY, "task"], "object"))
    money = money[money["task"] == "replace"].drop_duplicates(KEY)
    rows = rows.merge(money[[*KEY, "planned_cost", "failure_cost"]], on=KEY, how="left")
    laws = Laws(life_draws)
    use = duty_use(unit_spans, settings)
    known = shares or {}
    found = [
        _one(row, laws, known.get((row["component"], row["duty"])), use.get(row["duty"]), settings)
        for row in rows.to_dict("records")
    ]
    return as_table("opportunities", pd.DataFrame(found))


def _one(
    row: dict[Any, Any], laws: Laws, share: float | None, use: float | None, settings: Settings
) -> dict[str, Any]:
    own, failure = float(row["planned_cost"]), float(row["failure_cost"])
    stated = settings.workshop.visit_cost
    whole = VISIT_SHARE * own if stated is None else float(stated)
    visit = whole if share is None else share
    hours, days = row["interval_hours"], row["interval_days"]
    out = {
        "component": row["component"], "duty": row["duty"], "interval_hours": hours,
        "interval_days": days, "basis": row["basis"], "can_hurt": row["can_hurt"],
        "visit_cost": visit,
    }  # fmt: skip
    clock = "hours" if row["clock"] == "hours" else "days"
    law = None
    if row["basis"] != "starting value" and failure > own + visit > 0:
        law = laws.of(row["component"], row["duty"], clock)
    if law is not None:
        age = open_age(law_curve(law, own=own, share=visit, failure=failure))
        past_hours, past_days = to_hours(age, clock, use), to_days(age, clock, use)
    else:
        part = own / (own + visit) if own + visit > 0 else 1.0
        past_hours, past_days = part * hours, part * days
    return out | {
        "change_if_open_past_hours": _under(past_hours, hours),
        "change_if_open_past_days": _under(past_days, days),
    }


def _under(age: float | None, interval: float) -> float:
    """An age no greater than the interval; missing where neither is known."""
    known = [v for v in (age, interval) if v is not None and math.isfinite(v)]
    return min(known) if known else float(np.nan)
