"""Demand of the next six months: forecast quantiles against the pieces that truly left."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from dutylife.practice import PracticeFleet
from dutylife.prove.scores import LAST_YEAR, Scores

LEVELS = {"p50": 0.5, "p80": 0.8, "p90": 0.9, "p95": 0.95}
MONTHS = 6
ALL_PARTS, BUSY_PARTS = "all", "1 or more a month"
Quantiles = Callable[[str, pd.Timestamp], dict[str, float]]


def score_demand(fleet: PracticeFleet, forecasts: dict[str, pd.DataFrame], scores: Scores) -> None:
    """Pinball loss a piece and share of months under p80 and p95, beside last year's average.

    Parameters
    ----------
    fleet : PracticeFleet
    forecasts : dict of str to DataFrame
        Table "demand_forecast" by method. The plan in force is scored; a month without a row
        counts as a forecast of nothing.
    scores : Scores
        "pinball loss" over the pieces asked for (mean of the losses at 50, 80, 90, 95 %), "under
        p80", "under p95" over months of parts; also of parts that sold at least 1 a month last
        year, where whole pieces blur the quantiles less.
    """
    last_year, future = demand_around(fleet)
    answers: dict[str, Quantiles] = {LAST_YEAR: _poisson(last_year)}
    answers |= {method: _looked_up(table) for method, table in forecasts.items()}
    for among, part in ((ALL_PARTS, future), (BUSY_PARTS, future[_busy(future, last_year)])):
        if part.empty:
            continue
        came = np.maximum(part["quantity"].to_numpy(dtype=float), 0.0)
        for method, answer in answers.items():
            said = [answer(p, m) for p, m in zip(part["part_number"], part["month"], strict=True)]
            loss = np.zeros(len(came))
            for name, level in LEVELS.items():
                at = np.array([s[name] for s in said])
                loss += np.maximum(level * (came - at), (level - 1.0) * (came - at)) / len(LEVELS)
                if name in ("p80", "p95"):
                    under = float((came <= at).sum())
                    scores.add(f"under {name}", method, under, len(came), among=among)
            scores.add("pinball loss", method, float(loss.sum()), float(came.sum()), among=among)


def demand_around(fleet: PracticeFleet) -> tuple[pd.Series, pd.DataFrame]:
    """Mean pieces a month over the last 12 of the record by part; rows of the next 6 months."""
    as_of = pd.Timestamp(fleet.scenario.record.as_of)
    first = as_of + pd.Timedelta(days=1)
    demand = fleet.demand
    past = demand[(demand["month"] < first) & (demand["month"] >= first - pd.DateOffset(years=1))]
    after = demand[
        (demand["month"] >= first) & (demand["month"] < first + pd.DateOffset(months=MONTHS))
    ]
    return past.groupby("part_number")["quantity"].sum() / 12.0, after.reset_index(drop=True)


def _busy(future: pd.DataFrame, last_year: pd.Series) -> pd.Series:
    return future["part_number"].map(last_year).fillna(0.0) >= 1.0


def _looked_up(table: pd.DataFrame) -> Quantiles:
    words = table.astype({"part_number": "object", "plan": "object"})
    rows = words[(words["plan"] != "recommended") & (words["months"] == 1.0)]
    found = {
        (str(r["part_number"]), pd.Timestamp(r["from_date"])): {q: float(r[q]) for q in LEVELS}
        for r in rows.to_dict("records")
    }
    nothing = dict.fromkeys(LEVELS, 0.0)
    return lambda part, month: found.get((part, month), nothing)


def _poisson(last_year: pd.Series) -> Quantiles:
    from scipy.stats import poisson

    means = last_year.clip(lower=0.0)
    table = {
        str(part): {q: float(poisson.ppf(level, mean)) if mean > 0 else 0.0
                    for q, level in LEVELS.items()}
        for part, mean in means.items()
    }  # fmt: skip
    nothing = dict.fromkeys(LEVELS, 0.0)
    return lambda part, _: table.get(part, nothing)
