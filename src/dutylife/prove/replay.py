"""Stock replayed through the true future, day by day: pieces given at once, and what it cost."""

import math

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.backtest.shelf import Level, replay
from dutylife.practice import PracticeFleet
from dutylife.practice.truth import oil_of
from dutylife.prove.demand import MONTHS, demand_around
from dutylife.prove.scores import LAST_YEAR, Scores
from dutylife.settings import Settings
from dutylife.stock.terms import terms_of
from dutylife.vocabulary.spans import DAYS_PER_YEAR

Array = npt.NDArray[np.float64]
N_BEFORE_DAYS = 365
_NOTHING = Level(start=0, point=0.0, up_to=0.0)  # a part without a row is not held


def score_stock(
    fleet: PracticeFleet,
    plans: dict[str, pd.DataFrame],
    shelf: pd.DataFrame,
    settings: Settings,
    scores: Scores,
) -> None:
    """Fill rate and cost of six months at each method's levels.

    The year before is replayed under the same levels and not counted, so that each shelf starts
    as one finds it: somewhere between its levels. What is short waits and is given later, not
    counted as given at once.

    Parameters
    ----------
    fleet : PracticeFleet
    plans : dict of str to DataFrame
        Table "stock_plan" by method. A part without a row is not held. The companion that holds
        last year's average keeps the average month, rounded up, ordered up to at each review.
    shelf : DataFrame, table "shelf"
    settings : Settings
    scores : Scores
        "fill rate" over the pieces asked for; "stock cost" [currency a year, of holding and
        ordering] over the fleet's pieces a year.
    """
    asked = future_pieces(fleet, n_before_days=N_BEFORE_DAYS)
    last_year, _ = demand_around(fleet)
    costs = unit_costs(fleet)
    rows = shelf.astype({"part_number": "object", "supplier": "object"}).to_dict("records")
    listed = {str(r["part_number"]): {str(k): v for k, v in r.items()} for r in rows}
    levels = {LAST_YEAR: {p: _average(last_year.get(p, 0.0)) for p in asked}}
    levels |= {method: _planned(plan) for method, plan in plans.items()}
    for method, own in levels.items():
        pieces = given = cost = 0.0
        for part, daily in sorted(asked.items()):
            terms = terms_of(part, listed.get(part, {}), settings)
            level = own.get(part, _NOTHING)
            before, after = daily[:N_BEFORE_DAYS], daily[N_BEFORE_DAYS:]
            found = replay(after, [level], terms, before=before)
            years = len(after) / DAYS_PER_YEAR
            cost += terms.holding_rate * costs[part] * found.held_mean
            cost += found.n_orders * (terms.order_cost or 0.0) / years
            pieces, given = pieces + found.asked, given + found.given
        scores.add("fill rate", method, given, pieces)
        scores.add("stock cost", method, cost, pieces / years if pieces else 0.0)


def future_pieces(
    fleet: PracticeFleet, months: int = MONTHS, *, n_before_days: int = 0
) -> dict[str, Array]:
    """Pieces of each part asked for on each day of the next months, and of days before."""
    start = fleet.span.end - n_before_days
    first = pd.Timestamp(fleet.scenario.record.as_of) + pd.Timedelta(days=1)
    n_days = min(
        (first + pd.DateOffset(months=months) - first).days, int(fleet.span.until - fleet.span.end)
    )
    n_days += n_before_days
    scenario = fleet.scenario
    out: dict[str, Array] = {part: np.zeros(n_days) for part in unit_costs(fleet)}

    def add(part: str, day: float, pieces: float) -> None:
        at = math.floor(day - start)
        if 0 <= at < n_days:
            out[part][at] += pieces

    for sale in fleet.sales:
        add(sale.part_number, sale.day, sale.quantity)
    for visit in fleet.visits:
        oil = oil_of(scenario, visit)
        if oil:
            add(oil, visit.day, 1)
        for work in visit.works:
            if work.activity == "replace":
                part = scenario.part_number(work.component, visit.machine.equipment_class)
                add(part, visit.day, scenario.components[work.component].quantity)
    return out


def unit_costs(fleet: PracticeFleet) -> dict[str, float]:
    """Return what a piece of each part truly costs the shop [currency]."""
    scenario = fleet.scenario
    out = {
        number: law.unit_cost
        for law in scenario.components.values()
        for number in law.part_numbers.values()
    }
    return out | {number: part.unit_cost for number, part in scenario.other_parts.items()}


def _planned(plan: pd.DataFrame) -> dict[str, Level]:
    rows = zip(plan["part_number"], plan["reorder_point"], plan["order_up_to"], strict=True)
    return {str(part): Level(start=0, point=float(r), up_to=float(s)) for part, r, s in rows}


def _average(a_month: float) -> Level:
    level = float(math.ceil(max(a_month, 0.0) - 1e-9))
    return Level(start=0, point=level, up_to=level)
