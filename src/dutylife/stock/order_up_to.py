"""Periodic review: order up to S when the position is at or below s, exact cost and optimum."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.errors import DecisionError
from dutylife.stock.demand_law import demand_of
from dutylife.stock.demand_shapes import DemandLaw
from dutylife.wording import number

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderUpToPolicy:
    """A policy (s, S) at periodic review, and what it gives.

    Parameters
    ----------
    reorder_point, order_up_to : int
        At a review with the position at or below the point, order up to the level. [pieces]
    cost_per_period : float
        Mean cost of ordering, holding and owing. [currency per period]
    orders_per_period : float
        [1 per period]
    backorders, on_hand : float
        Mean pieces owed and on the shelf at the end of a period. [pieces]
    ready_rate : float
        Share of periods that end with nothing owed. [1]
    positions, shares : tuple
        Position after ordering at a review, and how often it is there.
    """

    reorder_point: int
    order_up_to: int
    cost_per_period: float
    orders_per_period: float
    backorders: float
    on_hand: float
    ready_rate: float
    positions: tuple[int, ...]
    shares: tuple[float, ...]

    @property
    def table(self) -> pd.DataFrame:
        """Columns position, share of reviews."""
        return pd.DataFrame({"position": self.positions, "share": self.shares})

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"With {self.reorder_point} or fewer on the shelf and on order at a review, order "
            f"up to {self.order_up_to}: {number(self.cost_per_period, 4)} a period, nothing owed "
            f"at the end of {number(100 * self.ready_rate, 3)} % of periods."
        )


def order_up_to_policy(
    demand_per_period: Any,
    *,
    order_cost: float,
    holding_cost: float,
    penalty_cost: float,
    lead_time: int = 0,
    review: int = 1,
    reorder_point: int | None = None,
    order_up_to: int | None = None,
    is_distribution: bool = False,
) -> OrderUpToPolicy:
    """Periodic-review (s, S) policy, or (R, s, S): evaluate one, or the cheapest of all.

    Parameters
    ----------
    demand_per_period : DemandLaw, frozen scipy law or array_like
        Demand of one period in whole pieces, periods independent; samples, or with
        ``is_distribution`` the chance of 0, 1, 2, ... pieces. [pieces]
    order_cost : float
        One order; 0 or more. [currency]
    holding_cost, penalty_cost : float
        A piece on the shelf, a piece owed, at the end of a period. [currency per piece, period]
    lead_time : int
        Whole periods from ordering to arrival; an order at the start of a period with lead time
        0 serves that period. [periods]
    review : int
        Periods between reviews; costs are counted at the end of the last period an order can
        still serve. [periods]
    reorder_point, order_up_to : int, optional
        Both: evaluated as given. [pieces]

    Returns
    -------
    OrderUpToPolicy

    Raises
    ------
    DecisionError
        Demand not in whole pieces, a figure that can't be, or only one of the two levels.

    References
    ----------
    Zheng & Federgruen (1991), from memory: Poisson demand of mean 10, order 64, holding 1, penalty
    9, no lead time: (6, 40), 35.022.

    Examples
    --------
    >>> from scipy.stats import poisson
    >>> best = order_up_to_policy(poisson(10), order_cost=64, holding_cost=1, penalty_cost=9)
    >>> best.reorder_point, best.order_up_to, round(best.cost_per_period, 3)
    (6, 40, 35.022)
    """
    law = demand_of(demand_per_period, is_distribution=is_distribution)
    _check(order_cost, holding_cost, penalty_cost, lead_time, review)
    step = _spread(law, review)
    whole = _spread(law, lead_time + review)
    system = _System(step.chances(), whole, order_cost, holding_cost, penalty_cost)
    if (reorder_point is None) != (order_up_to is None):
        raise DecisionError(
            "Only one of the two levels was given.", "reorder_point, order_up_to",
            "give both to evaluate, or neither for the cheapest",
        )  # fmt: skip
    if reorder_point is not None and order_up_to is not None:
        if order_up_to <= reorder_point:
            raise DecisionError(
                f"order_up_to {order_up_to} must lie above reorder_point {reorder_point}.",
                "order_up_to",
            )
        s, top = int(reorder_point), int(order_up_to)
    else:
        s, top = _cheapest(system)
    return _result(system, s, top)


class _System:
    """Cost of positions and how long a policy stays at each."""

    def __init__(
        self, step: Array, whole: DemandLaw, order: float, hold: float, penalty: float
    ) -> None:
        self.step, self.whole, self.order = step, whole, order
        self.hold, self.penalty = hold, penalty
        self.visits = [1 / (1 - step[0])]
        self._each: dict[int, float] = {}

    def stays(self, n: int) -> Array:
        """Expected reviews at 0, 1, ... n - 1 pieces below the top between orders."""
        while len(self.visits) < n:
            j = len(self.visits)
            k = min(j, len(self.step) - 1)
            earlier = np.array(self.visits[j - k : j][::-1])
            self.visits.append(float(self.step[1 : k + 1] @ earlier) / (1 - self.step[0]))
        return np.array(self.visits[:n])

    def each(self, position: int) -> float:
        """Cost of a review that leaves the position there."""
        if position not in self._each:
            at = np.array([float(position)])
            left, short = float(self.whole.left(at)[0]), float(self.whole.short(at)[0])
            self._each[position] = self.hold * left + self.penalty * short
        return self._each[position]

    def cost(self, s: int, top: int) -> float:
        """Mean cost of a review."""
        stays = self.stays(top - s)
        each = np.array([self.each(top - j) for j in range(top - s)])
        return float((self.order + stays @ each) / stays.sum())


def _cheapest(system: _System) -> tuple[int, int]:
    """Zheng & Federgruen's search."""
    centre = int(system.whole.quantile(system.penalty / (system.penalty + system.hold)))
    s, best = centre - 1, centre
    while system.cost(s, best) > system.each(s):
        s -= 1
    cost = system.cost(s, best)
    top = best + 1
    while system.each(top) <= cost:
        if system.cost(s, top) < cost:
            best = top
            while s + 1 < best and system.cost(s, best) <= system.each(s + 1):
                s += 1
            cost = system.cost(s, best)
        top += 1
    return s, best


def _result(system: _System, s: int, top: int) -> OrderUpToPolicy:
    stays = system.stays(top - s)
    shares = stays / stays.sum()
    positions = top - np.arange(top - s)
    law = system.whole
    at = positions.astype(float)
    return OrderUpToPolicy(
        reorder_point=s,
        order_up_to=top,
        cost_per_period=system.cost(s, top),
        orders_per_period=float(1 / stays.sum()),
        backorders=float(shares @ law.short(at)),
        on_hand=float(shares @ law.left(at)),
        ready_rate=float(shares @ law.at_most(at)),
        positions=tuple(int(p) for p in positions),
        shares=tuple(shares.tolist()),
    )


def _spread(law: DemandLaw, periods: int) -> DemandLaw:
    if periods == 1:
        return law
    if law.over is not None:
        return law.over(periods)
    from dutylife.stock.demand_law import from_chances

    once = from_chances(law.chances() / law.chances().sum(), law.name)
    return once.over(periods) if once.over is not None else once


def _check(order: float, hold: float, penalty: float, lead: int, review: int) -> None:
    good = 0 <= order < math.inf and 0 < hold < math.inf and 0 < penalty < math.inf
    whole = lead == int(lead) and review == int(review) and lead >= 0 and review >= 1
    if not (good and whole):
        raise DecisionError(
            f"order_cost {order}, holding_cost {hold}, penalty_cost {penalty}, lead_time {lead}, "
            f"review {review} can't be.",
            "order_up_to_policy",
            "costs positive (an order may cost 0), lead time and review in whole periods",
        )
