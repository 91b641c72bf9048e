"""What a reorder point and a quantity cost, and the point that serves."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from dutylife.errors import DecisionError
from dutylife.stock.demand_shapes import DemandLaw

Array = npt.NDArray[np.float64]
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """Demand over the lead time and what ordering, holding and shortage cost."""

    law: DemandLaw
    demand: float | None
    order: float | None
    hold: float | None
    penalty: float | None
    kind: str
    lost: bool

    @property
    def economic(self) -> float:
        """Square-root quantity."""
        if self.demand is None or self.order is None or self.hold is None:
            raise DecisionError(
                "A quantity needs demand_per_year, order_cost and holding_cost.", "reorder_policy",
                "state them, or the order_quantity",
            )  # fmt: skip
        return math.sqrt(2 * self.demand * self.order / self.hold)


def mean_over_positions(law: DemandLaw, curve: Any, point: float, quantity: float) -> float:
    """Mean of a curve over the inventory positions of a policy."""
    if law.is_whole:
        return float(np.mean(curve(np.arange(point + 1, point + quantity + 1))))
    # panels of a quarter spread, so that bends within the stretch are followed
    n = int(np.clip(quantity / max(law.sd, quantity / 40) * 4, 1, 40))
    edges = np.linspace(point, point + quantity, n + 1)
    middle, half = (edges[:-1] + edges[1:]) / 2, np.diff(edges) / 2
    values = curve((middle[:, None] + half[:, None] * _NODES).ravel()).reshape(n, -1)
    return float(((values @ _WEIGHTS) * half).sum() / quantity)


def cost_parts(terms: Terms, point: float, quantity: float) -> tuple[float, float, float]:
    """Ordering, holding and penalty cost a year; missing without the costs."""
    if terms.demand is None or terms.order is None or terms.hold is None:
        return math.nan, math.nan, math.nan
    law, penalty = terms.law, terms.penalty or 0.0
    cycles = terms.demand / quantity
    if terms.kind == "per piece short and year":
        owed = mean_over_positions(law, law.short, point, quantity)
        left = mean_over_positions(law, law.left, point, quantity)
        return terms.order * cycles, terms.hold * left, penalty * owed
    at = np.array([point])
    short = float(law.short(at)[0])
    held = quantity / 2 + point - law.mean + (short if terms.lost else 0.0)
    chance = float(law.above(at)[0])
    hit = short if terms.kind == "per piece short" else chance
    return terms.order * cycles, terms.hold * held, penalty * cycles * hit


def point_for(law: DemandLaw, quantity: float, wanted: float, measure: str) -> float:
    """Smallest reorder point with the wanted service."""
    from scipy.optimize import brentq

    if measure == "cycle service":
        return law.quantile(wanted)

    def lacking(point: float) -> float:
        ends = law.short(np.array([point, point + quantity]))
        lost = ends[0] if measure == "fill rate" else ends[0] - ends[1]
        return float(wanted - (1 - lost / quantity))

    high = law.mean + law.sd + 1
    while lacking(high) > 0:
        high *= 2
    low = -quantity if lacking(0.0) <= 0 else 0.0
    if lacking(low) <= 0:
        return low
    if not law.is_whole:
        return float(brentq(lacking, low, high, xtol=1e-12 * max(high, 1.0), rtol=1e-13))
    points = np.arange(math.ceil(low), math.ceil(high) + 1)
    return float(next(p for p in points if lacking(float(p)) <= 1e-12))


def served_cheapest(terms: Terms, wanted: float, measure: str) -> float:
    """Quantity with the least ordering and holding cost at a wanted service."""
    from scipy.optimize import minimize_scalar

    def cost(quantity: float) -> float:
        point = point_for(terms.law, quantity, wanted, measure)
        return sum(cost_parts(terms, point, quantity)[:2])

    if terms.law.is_whole:
        sizes = range(1, math.ceil(5 * terms.economic + terms.law.mean) + 2)
        return float(min(sizes, key=cost))
    net = terms.economic * np.geomspace(0.3, 10, 121)
    at = int(np.argmin([cost(float(q)) for q in net]))
    ends = net[max(at - 1, 0)], net[min(at + 1, 120)]
    found = minimize_scalar(cost, bounds=ends, method="bounded", options={"xatol": 1e-8 * net[at]})
    return float(found.x)
