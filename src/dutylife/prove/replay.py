"""Stock replayed through the true future, day by day: pieces given at once, and what it cost."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.practice import PracticeFleet
from dutylife.practice.truth import oil_of
from dutylife.prove.demand import MONTHS, demand_around
from dutylife.prove.scores import LAST_YEAR, Scores
from dutylife.settings import Settings
from dutylife.stock.orders import Terms, terms_of

Array = npt.NDArray[np.float64]
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Order when the position falls under ``point``, up to ``up_to`` [pieces]."""

    point: float
    up_to: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Replayed:
    """Pieces asked for and given at once, mean pieces on the shelf, number of orders."""

    asked: float
    given: float
    held: float
    orders: int


def score_stock(
    fleet: PracticeFleet,
    plans: dict[str, pd.DataFrame],
    shelf: pd.DataFrame,
    settings: Settings,
    scores: Scores,
) -> None:
    """Fill rate and cost of six months at each method's levels.

    Every part starts at its reorder point with nothing on order: the day on which the level has
    to prove itself. What is short waits and is given later, not counted as given at once.

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
    asked = future_pieces(fleet)
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
            found = replay(daily, own.get(part, Levels(point=0.0, up_to=0.0)), terms)
            years = len(daily) / DAYS_PER_YEAR
            cost += terms.holding_rate * costs[part] * found.held
            cost += found.orders * (terms.order_cost or 0.0) / years
            pieces, given = pieces + found.asked, given + found.given
        scores.add("fill rate", method, given, pieces)
        scores.add("stock cost", method, cost, pieces / years if pieces else 0.0)


def replay(daily: Array, levels: Levels, terms: Terms) -> Replayed:
    """Replay one part.

    Parameters
    ----------
    daily : ndarray, shape (n_days,)
        Pieces asked for each day; negative ones come back to the shelf. [pieces]
    levels : Levels
    terms : Terms
        Lead time, days between reviews, pack, least order.

    Examples
    --------
    >>> stock = {"default": {"lead_time_days": 2.0, "review_days": 1.0}}
    >>> terms = terms_of("A", {}, Settings(stock=stock))
    >>> replay(np.array([1.0, 1.0, 1.0, 0.0]), Levels(point=1.0, up_to=3.0), terms).given
    2.0
    """
    shelf, waiting = levels.point, 0.0
    asked = given = held = 0.0
    orders = 0
    coming: dict[int, float] = {}
    lead, review = math.ceil(terms.lead_time_days), max(round(terms.review_days), 1)
    for day, pieces in enumerate(daily):
        shelf += coming.pop(day, 0.0)
        late = min(waiting, shelf)
        waiting, shelf = waiting - late, shelf - late
        if pieces < 0:
            shelf -= pieces
        elif pieces > 0:
            now = min(pieces, shelf)
            asked, given = asked + pieces, given + now
            shelf, waiting = shelf - now, waiting + pieces - now
        held += shelf
        if day % review == review - 1:
            position = shelf - waiting + sum(coming.values())
            wanted = max(levels.up_to - position, terms.minimum_order)
            if position < levels.point:
                packs = math.ceil(wanted / terms.pack_size - 1e-9)
                at = day + max(lead, 1)
                coming[at] = coming.get(at, 0.0) + packs * terms.pack_size
                orders += 1
    return Replayed(asked=float(asked), given=float(given), held=held / len(daily), orders=orders)


def future_pieces(fleet: PracticeFleet) -> dict[str, Array]:
    """Pieces of each part asked for on each day of the next six months."""
    start = fleet.span.end
    first = pd.Timestamp(fleet.scenario.record.as_of) + pd.Timedelta(days=1)
    n_days = min((first + pd.DateOffset(months=MONTHS) - first).days, int(fleet.span.until - start))
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


def _planned(plan: pd.DataFrame) -> dict[str, Levels]:
    rows = zip(plan["part_number"], plan["reorder_point"], plan["order_up_to"], strict=True)
    return {str(part): Levels(point=float(r), up_to=float(s)) for part, r, s in rows}


def _average(a_month: float) -> Levels:
    level = float(math.ceil(max(a_month, 0.0) - 1e-9))
    return Levels(point=level, up_to=level)
