"""Reorder policies: when to order and how much, evaluated exactly or chosen at least cost."""

import math
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.errors import DecisionError
from dutylife.stock.demand_law import demand_of
from dutylife.stock.reorder_cost import cheapest
from dutylife.stock.reorder_terms import (
    Terms,
    cost_parts,
    mean_over_positions,
    point_for,
    served_cheapest,
)
from dutylife.wording import number

Array = npt.NDArray[np.float64]
PenaltyKind = Literal["per piece short", "per piece short and year", "per stockout"]
Service = Literal["cycle service", "fill rate", "exact fill rate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReorderPolicy:
    """Reorder point and order quantity, and what they give.

    Parameters
    ----------
    reorder_point, order_quantity : float
        Order the quantity when stock on the shelf and on order is down to the point. [pieces]
    cycle_service : float
        Chance that no piece is short before an order arrives, P(D <= point). [1]
    short_per_cycle : float
        Expected shortage when an order arrives, E(D - point)+. [pieces]
    fill_rate : float
        1 - short_per_cycle / order_quantity: the usual textbook figure. [1]
    exact_fill_rate : float
        1 - (E(D - point)+ - E(D - point - quantity)+) / quantity: also share of time with stock
        on the shelf (ready rate). [1]
    backorders, on_hand : float
        Mean pieces owed and on the shelf over time, exact. [pieces]
    safety_stock : float
        Reorder point less mean demand over the lead time. [pieces]
    cost_per_year : float
        Ordering, holding and penalty; missing where no costs are given. [currency per year]
    order_cost_per_year, holding_cost_per_year, penalty_cost_per_year : float
        Its parts. [currency per year]
    economic_quantity : float
        Square-root quantity without shortage; missing without costs. [pieces]
    """

    reorder_point: float
    order_quantity: float
    cycle_service: float
    short_per_cycle: float
    fill_rate: float
    exact_fill_rate: float
    backorders: float
    on_hand: float
    safety_stock: float
    cost_per_year: float
    order_cost_per_year: float
    holding_cost_per_year: float
    penalty_cost_per_year: float
    economic_quantity: float

    @property
    def table(self) -> pd.DataFrame:
        """One row: every figure."""
        return pd.DataFrame([{f: getattr(self, f) for f in self.__dataclass_fields__}])

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"Order {number(self.order_quantity, 4)} when {number(self.reorder_point, 4)} are "
            f"left: {number(100 * self.cycle_service, 4)} % of orders arrive in time, "
            f"{number(100 * self.exact_fill_rate, 4)} % of pieces are given at once."
        )


def reorder_policy(
    lead_time_demand: Any,
    *,
    demand_per_year: float | None = None,
    reorder_point: float | None = None,
    order_quantity: float | None = None,
    order_cost: float | None = None,
    holding_cost: float | None = None,
    penalty_cost: float | None = None,
    penalty_kind: PenaltyKind = "per piece short",
    lost_sales: bool = False,
    service_level: float | None = None,
    measure: Service = "cycle service",
    best_quantity: bool = False,
    is_distribution: bool = False,
) -> ReorderPolicy:
    """Continuous-review (s, Q) policy: evaluate one, or choose it by cost or by service.

    Parameters
    ----------
    lead_time_demand : DemandLaw, frozen scipy law or array_like
        Demand over the lead time: `demand_law`, `lead_time_demand`, samples, or with
        ``is_distribution`` the chance of 0, 1, 2, ... pieces. [pieces]
    demand_per_year : float, optional
        Needed with costs. [pieces per year]
    reorder_point, order_quantity : float, optional
        Held as given. With both the policy is evaluated. [pieces]
    order_cost : float, optional
        One order. [currency]
    holding_cost : float, optional
        A piece on the shelf for a year. [currency per piece and year]
    penalty_cost : float, optional
        Of shortage, as ``penalty_kind`` says. [currency]
    penalty_kind : {"per piece short", "per piece short and year", "per stockout"}
        Each piece that is short when an order arrives (Hadley & Whitin; holding on quantity / 2 +
        safety stock); each piece owed, by the time it is owed (exact); each cycle with a shortage
        (no point below the mean demand over the lead time is looked at).
    lost_sales : bool
        With "per piece short": what is short is not owed but lost.
    service_level : float, optional
        Instead of a penalty: the service wanted of the reorder point. [1]
    measure : {"cycle service", "fill rate", "exact fill rate"}
        Which service; see `ReorderPolicy`. Sources differ: "fill rate" counts shortage once an
        order, "exact fill rate" leaves out what an order before it would have left short.
    best_quantity : bool
        With a service level, costs and no quantity: the quantity with which the service costs
        least in ordering and holding, instead of the square-root one.
    is_distribution : bool
        Read ``lead_time_demand`` as probabilities.

    Returns
    -------
    ReorderPolicy

    Raises
    ------
    DecisionError
        Too little to go by, a figure that is not positive, or a penalty so low that no stock pays.

    Notes
    -----
    For whole-piece demand an order is placed when the position falls to s, so that it is even on
    s + 1 ... s + Q; for continuous demand even on (s, s + Q). Both need demand one piece at a time.

    References
    ----------
    Hadley & Whitin; Nahmias, Production and Operations Analysis, chapter 5; Chopra & Meindl,
    safety inventory; Federgruen & Zheng (1992) for the exact optimum: all from memory.

    Examples
    --------
    >>> from scipy.stats import norm
    >>> best = reorder_policy(norm(100, 25), demand_per_year=200, order_cost=50, holding_cost=2,
    ...                       penalty_cost=25)
    >>> round(best.order_quantity, 1), round(best.reorder_point, 1)
    (110.8, 142.6)
    """
    law = demand_of(lead_time_demand, is_distribution=is_distribution)
    terms = Terms(
        law=law, demand=demand_per_year, order=order_cost, hold=holding_cost, penalty=penalty_cost,
        kind=penalty_kind, lost=lost_sales,
    )  # fmt: skip
    _check(terms, reorder_point, order_quantity, service_level, measure)
    if reorder_point is not None and order_quantity is not None:
        return evaluated(terms, reorder_point, order_quantity)
    quantity = order_quantity
    if service_level is not None:
        if quantity is None and best_quantity:
            quantity = served_cheapest(terms, service_level, measure)
        quantity = terms.economic if quantity is None else quantity
        if law.is_whole:
            quantity = max(round(quantity), 1)
        return evaluated(terms, point_for(law, quantity, service_level, measure), quantity)
    point, quantity = cheapest(terms, reorder_point, order_quantity)
    return evaluated(terms, point, quantity)


def evaluated(terms: Terms, point: float, quantity: float) -> ReorderPolicy:
    """Return what a point and a quantity give and cost."""
    law = terms.law
    ends = law.short(np.array([point, point + quantity]))
    short = float(ends[0])
    owed = mean_over_positions(law, law.short, point, quantity)
    middle = (quantity + 1) / 2 if law.is_whole else quantity / 2
    on_hand = point + middle - law.mean + owed
    cost = cost_parts(terms, point, quantity)
    return ReorderPolicy(
        reorder_point=float(point),
        order_quantity=float(quantity),
        cycle_service=float(law.at_most(np.array([point]))[0]),
        short_per_cycle=short,
        fill_rate=1 - short / quantity,
        exact_fill_rate=1 - float(ends[0] - ends[1]) / quantity,
        backorders=owed,
        on_hand=on_hand,
        safety_stock=point - law.mean,
        cost_per_year=sum(cost),
        order_cost_per_year=cost[0],
        holding_cost_per_year=cost[1],
        penalty_cost_per_year=cost[2],
        economic_quantity=math.nan if terms.order is None else terms.economic,
    )


def _check(
    terms: Terms, point: float | None, quantity: float | None, service: float | None, measure: str
) -> None:
    given = {
        "demand_per_year": terms.demand, "order_cost": terms.order, "holding_cost": terms.hold,
        "penalty_cost": terms.penalty, "order_quantity": quantity,
    }  # fmt: skip
    bad = [f"{k} = {v}" for k, v in given.items() if v is not None and not 0 < v < math.inf]
    if bad:
        raise DecisionError("Must be positive and finite: " + ", ".join(bad) + ".", bad[0])
    if terms.kind not in get_args(PenaltyKind):
        raise DecisionError(
            f"'{terms.kind}' is not known.", "penalty_kind", ", ".join(get_args(PenaltyKind))
        )
    if measure not in get_args(Service):
        raise DecisionError(f"'{measure}' is not known.", "measure", ", ".join(get_args(Service)))
    if point is not None and not math.isfinite(point):
        raise DecisionError(f"reorder_point is {point}.", "reorder_point")
    whole = [v for v in (point, quantity) if v is not None and v != round(v)]
    if terms.law.is_whole and whole:
        raise DecisionError(
            f"Demand in whole pieces needs a whole point and quantity, not {whole[0]}.",
            "reorder_point, order_quantity", "round it",
        )  # fmt: skip
    if point is not None and quantity is not None:
        return
    if service is not None:
        if not 0 < service < 1:
            raise DecisionError(
                f"service_level must lie in (0, 1), it is {service}.", "service_level", "0.95, say"
            )
        if terms.penalty is not None or point is not None:
            raise DecisionError(
                "A service level sets the reorder point: no penalty and no point beside it.",
                "service_level, penalty_cost, reorder_point", "give one of them",
            )  # fmt: skip
        return
    if terms.penalty is None:
        raise DecisionError(
            "There is nothing to choose the policy by.", "penalty_cost, service_level",
            "give one of them, or both reorder_point and order_quantity",
        )  # fmt: skip
    _ = terms.economic
