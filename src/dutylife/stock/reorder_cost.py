"""Cheapest reorder point and order quantity."""

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from dutylife.errors import DecisionError
from dutylife.stock.reorder_terms import cost_parts

Array = npt.NDArray[np.float64]
_ROUNDS = 500


def cheapest(terms: Any, point: float | None, quantity: float | None) -> tuple[float, float]:
    """Reorder point and quantity with the least yearly cost; what is given is held.

    Raises
    ------
    DecisionError
        The penalty is so low that the reorder point falls without end.
    """
    if terms.law.is_whole:
        return _whole(terms, point, quantity)
    if point is not None:
        return point, _line(lambda q: sum(cost_parts(terms, point, q)), terms.economic)
    if quantity is not None:
        return _point(terms, quantity), quantity
    if terms.kind == "per piece short and year":
        best = _line(lambda q: sum(cost_parts(terms, _point(terms, q), q)), terms.economic)
        return _point(terms, best), best
    best = terms.economic
    for _ in range(_ROUNDS):
        s = _point(terms, best)
        after = _quantity(terms, s)
        if abs(after - best) <= 1e-12 * best:
            break
        best = after
    return _point(terms, best), best


def _quantity(terms: Any, point: float) -> float:
    """Best quantity for a point, in closed form."""
    law = terms.law
    at = np.array([point])
    hit = law.short(at)[0] if terms.kind == "per piece short" else law.above(at)[0]
    return math.sqrt(2 * terms.demand * (terms.order + terms.penalty * float(hit)) / terms.hold)


def _point(terms: Any, quantity: float) -> float:
    """Best point for a quantity."""
    from scipy.optimize import brentq

    law, hold, penalty = terms.law, terms.hold, terms.penalty
    if terms.kind == "per piece short":
        over = hold * quantity
        chance = over / (penalty * terms.demand + (over if terms.lost else 0.0))
        if chance >= 1:
            raise DecisionError(
                f"A piece short costs {penalty}, holding it for a cycle as much or more: no stock "
                "pays.", "penalty_cost", "a higher penalty, or a given order_quantity",
            )  # fmt: skip
        return float(law.quantile(1 - chance))
    if terms.kind == "per stockout":
        return _line(
            lambda s: sum(cost_parts(terms, s, quantity)), law.mean + law.sd, positive=False,
            low=law.mean, high=law.mean + 8 * law.sd,
        )  # fmt: skip

    def slope(s: float) -> float:
        # exact cost is level where the costs of both ends of the positions are equal
        ends = np.array([s, s + quantity])
        cost = hold * law.left(ends) + penalty * law.short(ends)
        return float(cost[1] - cost[0])

    low, high = law.mean - quantity - law.sd, law.mean + law.sd
    while slope(low) > 0:
        low -= quantity + law.sd
    while slope(high) < 0:
        high += quantity + law.sd
    return float(brentq(slope, low, high, xtol=1e-12 * max(abs(high), 1.0), rtol=1e-13))


def _line(
    cost: Any, near: float, *, positive: bool = True, low: float = 0.0, high: float = 0.0
) -> float:
    """Least cost along a line: a scan, then a bounded search beside its best."""
    from scipy.optimize import minimize_scalar

    net = near * np.geomspace(0.2, 20, 201) if positive else np.linspace(low, high, 201)
    values = [cost(float(x)) for x in net]
    at = int(np.argmin(values))
    if positive and at in (0, 200):
        raise DecisionError(
            "The best order quantity lies far from the square-root one.", "order_quantity",
            "state the order_quantity",
        )  # fmt: skip
    ends = net[max(at - 1, 0)], net[min(at + 1, 200)]
    found = minimize_scalar(cost, bounds=ends, method="bounded", options={"xatol": 1e-10 * near})
    return float(found.x)


def _whole(terms: Any, point: float | None, quantity: float | None) -> tuple[float, float]:
    """Best whole point and quantity."""
    law = terms.law
    top = int(law.quantile(1 - 1e-12)) + 1
    if terms.kind == "per piece short and year" and point is None and quantity is None:
        return _grown(terms)
    longest = math.ceil(terms.economic * 5) + top + 5
    quantities = range(1, longest + 1) if quantity is None else [int(quantity)]
    least = (math.inf, 0.0, 0.0)
    for q in quantities:
        low = _lowest(terms, q)
        points = np.arange(low, top + 1.0) if point is None else np.array([point])
        costs = _costs(terms, points, q)
        i = int(np.argmin(costs))
        least = min(least, (float(costs[i]), float(points[i]), float(q)))
    return least[1], least[2]


def _lowest(terms: Any, q: int) -> int:
    """Lowest point looked at: the textbook costs hold with stock left when an order arrives."""
    if terms.kind == "per piece short and year":
        return -q
    return math.ceil(terms.law.mean) if terms.kind == "per stockout" else 0


def _costs(terms: Any, points: Array, q: int) -> Array:
    """Yearly cost of each point with one quantity."""
    law = terms.law
    cycles = terms.demand / q
    if terms.kind == "per piece short and year":
        level = np.arange(points[0] + 1, points[-1] + q + 1)
        each = terms.hold * law.left(level) + terms.penalty * law.short(level)
        total = np.concatenate([[0.0], np.cumsum(each)])
        return np.asarray(terms.order * cycles + (total[q:] - total[:-q]) / q, dtype=float)
    short = law.short(points)
    held = q / 2 + points - law.mean + (short if terms.lost else 0.0)
    hit = short if terms.kind == "per piece short" else law.above(points)
    return np.asarray(
        terms.order * cycles + terms.hold * held + terms.penalty * cycles * hit, dtype=float
    )


def _grown(terms: Any) -> tuple[float, float]:
    """Exact optimum: positions are added, the cheaper neighbour first, while they lower the mean.

    Federgruen & Zheng (1992), from memory.
    """
    law = terms.law

    def each(level: int) -> float:
        at = np.array([float(level)])
        return float(terms.hold * law.left(at)[0] + terms.penalty * law.short(at)[0])

    ratio = terms.penalty / (terms.penalty + terms.hold)
    start = int(law.quantile(ratio))
    low = high = start
    spent = terms.order * terms.demand + each(start)
    while True:
        n = high - low + 1
        below, above = each(low - 1), each(high + 1)
        if min(below, above) >= spent / n:
            return float(low - 1), float(n)
        spent += min(below, above)
        low, high = (low - 1, high) if below < above else (low, high + 1)
