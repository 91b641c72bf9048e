"""Joint intervals: tasks or orders that share a visit, each at a multiple of one base interval."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.joint_bounds import lower_bound
from dutylife.errors import DecisionError
from dutylife.wording import count, number, percent

Array = npt.NDArray[np.float64]
Multiples = Literal["integer", "power of two", "equal"]
_MOST = 4096  # no item is done more rarely than at every so many-th visit
Cost = Callable[[Array], Array]


@dataclass(frozen=True, slots=True, kw_only=True)
class JointIntervals:
    """Base interval and multiples of items that share a cost.

    Parameters
    ----------
    base_interval : float
        Time between visits (joint orders). [unit of time]
    multiples : tuple of int
        Each item is done at every so many-th visit. [1]
    intervals : tuple of float
        ``base_interval`` x ``multiples``. [unit of time]
    cost_rate : float
        Total, shared cost included. [currency per unit of time]
    item_cost_rates : tuple of float
        Each item's own part of it. [currency per unit of time]
    lower_bound : float
        No policy of any kind costs less (Roundy's relaxation); missing with ``cost_rates``.
    cost_rate_alone : float
        Each item on its own best interval, the shared cost paid each time. [currency per unit
        of time]
    names : tuple of str
    method : str
        "integer", "power of two" or "equal".
    """

    base_interval: float
    multiples: tuple[int, ...]
    intervals: tuple[float, ...]
    cost_rate: float
    item_cost_rates: tuple[float, ...]
    lower_bound: float
    cost_rate_alone: float
    names: tuple[str, ...]
    method: str

    @property
    def ratio(self) -> float:
        """Cost over the lower bound [1]."""
        return self.cost_rate / self.lower_bound

    @property
    def table(self) -> pd.DataFrame:
        """Columns item, multiple, interval, cost_rate (without the shared cost)."""
        return pd.DataFrame(
            {"item": self.names, "multiple": self.multiples, "interval": self.intervals,
             "cost_rate": self.item_cost_rates}
        )  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        saved = percent(1 - self.cost_rate / self.cost_rate_alone)
        told = ", ".join(str(m) for m in self.multiples)
        return (
            f"Visit every {number(self.base_interval, 4)}, {count(len(self.names), 'item')} at "
            f"every {told} visits: {number(self.cost_rate, 4)} per unit of time, {saved} less "
            "than each on its own."
        )


def joint_intervals(
    own_cost: npt.ArrayLike | None = None,
    *,
    shared_cost: float,
    demand_rate: npt.ArrayLike | None = None,
    holding_cost: npt.ArrayLike = 1.0,
    cost_rates: Sequence[Cost] | None = None,
    multiples: Multiples = "integer",
    base_interval: float | None = None,
    longest: float | None = None,
    names: Sequence[str] | None = None,
) -> JointIntervals:
    """Intervals of items that share the cost of a visit or an order, at the lowest total cost.

    Parameters
    ----------
    own_cost : array_like, shape (n,)
        Cost of each item each time it is done or ordered. [currency]
    shared_cost : float
        Once each visit or order, whatever is done in it; 0 or more. [currency]
    demand_rate : array_like, shape (n,)
        Demand of each item. [pieces per unit of time]
    holding_cost : array_like, shape (n,) or float
        Cost of holding one piece for one unit of time; half an interval's demand is held on
        average. [currency per piece and unit of time]
    cost_rates : sequence of callable, length n, optional
        Instead of the three above: cost per unit of time of each item as a function of an array
        of intervals (an age-replacement curve, say). [currency per unit of time]
    multiples : {"integer", "power of two", "equal"}
        Allowed multiples of the base interval: 1, 2, 3, ...; 1, 2, 4, ...; all 1.
    base_interval : float, optional
        Held as given, or with power-of-two multiples times any power of two, halves included; by
        default the best. Held, power-of-two intervals may cost up to 6 % above the lower bound,
        free 2 %. [unit of time]
    longest : float, optional
        No interval beyond it; needed with ``cost_rates``. [unit of time]
    names : sequence of str, optional

    Returns
    -------
    JointIntervals

    Raises
    ------
    DecisionError
        Neither or both of the two ways to state the costs, unlike lengths, or a figure that is
        not positive.

    Notes
    -----
    Cost per unit of time = shared / T + sum of own / (k T) + holding x demand x k T / 2 (someone
    comes at each base interval). The best T is searched over all stretches between the points
    where a multiple changes, each in closed form; ``cost_rates`` by a scan and bounded searches.

    References
    ----------
    Roundy (1985), 98 %-effective lot sizing: power-of-two intervals, lower bound.

    Examples
    --------
    >>> best = joint_intervals([10, 20], shared_cost=50, demand_rate=[100, 5], holding_cost=1)
    >>> best.multiples, round(best.base_interval, 3)
    ((1, 3), 1.077)
    """
    if multiples not in ("integer", "power of two", "equal"):
        raise DecisionError(
            f"'{multiples}' is not known.", "multiples", "integer, power of two or equal"
        )
    if not 0 <= shared_cost < math.inf:
        raise DecisionError(f"shared_cost must be 0 or more, it is {shared_cost}.", "shared_cost")
    for name, value in (("base_interval", base_interval), ("longest", longest)):
        if value is not None and not 0 < value < math.inf:
            raise DecisionError(f"{name} must be positive, it is {value}.", name)
    if (own_cost is None) == (cost_rates is None):
        raise DecisionError(
            "Costs must be stated in one of two ways.", "own_cost, cost_rates",
            "own_cost with demand_rate and holding_cost, or cost_rates",
        )  # fmt: skip
    bound = math.nan
    if cost_rates is None:
        own, rise = _figures(own_cost, demand_rate, holding_cost)
        n = len(own)
        # own / t falls, rise x t grows with the interval t
        curves: list[Cost] = [_square_root(a, b) for a, b in zip(own, rise, strict=True)]
        bound = lower_bound(own, rise, shared_cost)
        alone = float(np.sum(2 * np.sqrt((own + shared_cost) * rise)))
        bases = _turning_points(own, rise, shared_cost, multiples, base_interval, longest)
    else:
        curves = list(cost_rates)
        n = len(curves)
        if n == 0 or longest is None:
            raise DecisionError(
                "cost_rates needs items and the longest interval.", "cost_rates, longest",
                "state the longest interval that is allowed",
            )  # fmt: skip
        net = longest * np.geomspace(1e-3, 1, 800)
        alone = sum(float(np.min(shared_cost / net + np.asarray(c(net)))) for c in curves)
        bases = net if base_interval is None else np.array([base_interval])
    total = _Total(curves, shared_cost, multiples, longest)
    best = _best_base(total, bases, searched=cost_rates is not None and base_interval is None)
    chosen = total.multiples(best)
    own_rates = [float(c(np.array([k * best]))[0]) for c, k in zip(curves, chosen, strict=True)]
    return JointIntervals(
        base_interval=best,
        multiples=tuple(chosen),
        intervals=tuple(best * k for k in chosen),
        cost_rate=shared_cost / best + sum(own_rates),
        item_cost_rates=tuple(own_rates),
        lower_bound=bound,
        cost_rate_alone=alone,
        names=tuple(names) if names is not None else tuple(f"item {i + 1}" for i in range(n)),
        method=multiples,
    )


@dataclass(frozen=True, slots=True)
class _Total:
    curves: list[Cost]
    shared: float
    allowed: str
    longest: float | None

    def multiples(self, base: float) -> list[int]:
        """Cheapest allowed multiple of each item."""
        most = _MOST if self.longest is None else max(int(self.longest / base + 1e-9), 1)
        k = {
            "integer": np.arange(1, min(most, _MOST) + 1),
            "power of two": 2 ** np.arange(int(math.log2(min(most, _MOST))) + 1),
            "equal": np.array([1]),
        }[self.allowed]
        return [int(k[int(np.argmin(np.asarray(c(k * base))))]) for c in self.curves]

    def cost(self, base: float, chosen: list[int] | None = None) -> float:
        picked = self.multiples(base) if chosen is None else chosen
        own = [float(c(np.array([k * base]))[0]) for c, k in zip(self.curves, picked, strict=True)]
        return self.shared / base + sum(own)


def _best_base(total: _Total, bases: Array, *, searched: bool) -> float:
    from scipy.optimize import minimize_scalar

    costs = np.array([total.cost(float(t)) for t in bases])
    at = int(np.flatnonzero(costs <= costs.min() * (1 + 1e-12))[-1])  # of equals the longest
    if not searched or at in (0, len(bases) - 1):
        return float(bases[at])
    found = minimize_scalar(
        total.cost, bounds=(bases[at - 1], bases[at + 1]), method="bounded",
        options={"xatol": 1e-9 * bases[at]},
    )  # fmt: skip
    return float(found.x) if found.fun <= costs[at] else float(bases[at])


def _turning_points(
    own: Array, rise: Array, shared: float, allowed: str, given: float | None, longest: float | None
) -> Array:
    """Best base of each stretch of bases in which the multiples stay the same."""
    if given is not None:
        # powers of two of a base, halves included (Roundy's class of policies)
        steps = np.arange(-14.0, 15.0) if allowed == "power of two" else np.zeros(1)
        bases = given * 2.0**steps
        return bases if longest is None else bases[bases <= max(longest, bases[0])]
    alone = np.sqrt(own / rise)
    # a base above the common best with all multiples 1 never pays; far below the shortest own
    # interval, visits stay empty
    top = math.sqrt((shared + own.sum()) / rise.sum())
    low = min([top, *alone[alone > 0].tolist()]) / 4
    if allowed == "equal":
        edges = np.array([])
    elif allowed == "power of two":
        powers = 2.0 ** np.arange(0, 13)
        edges = (alone[:, None] / (powers * math.sqrt(2))).ravel()
    else:
        k = np.arange(1, _MOST)
        edges = (alone[:, None] / np.sqrt(k * (k + 1.0))).ravel()
    edges = np.unique(np.concatenate([[low, top], edges[(edges > low) & (edges < top)]]))
    inside = np.sqrt(edges[:-1] * edges[1:]) if len(edges) > 1 else edges
    total = _Total(
        [_square_root(a, b) for a, b in zip(own, rise, strict=True)], shared, allowed, longest
    )
    out = []
    for base in inside:
        k = np.array(total.multiples(float(base)), dtype=float)
        best = math.sqrt((shared + float((own / k).sum())) / float((rise * k).sum()))
        out.append(best if longest is None else min(best, longest / float(k.max())))
    out.append(top if longest is None else min(top, longest))
    return np.array(sorted(set(out)))


def _square_root(own: float, rise: float) -> Cost:
    return lambda t: np.asarray(own / t + rise * t, dtype=float)


def _figures(own: Any, demand: Any, holding: Any) -> tuple[Array, Array]:
    if demand is None:
        raise DecisionError(
            "own_cost needs the demand of each item.",
            "demand_rate",
            "state pieces per unit of time",
        )
    first = np.atleast_1d(np.asarray(own, dtype=float))
    rate = np.atleast_1d(np.asarray(demand, dtype=float))
    held = np.asarray(holding, dtype=float)
    if first.ndim != 1 or rate.shape != first.shape or held.size not in (1, len(first)):
        raise DecisionError(
            f"Lengths differ: own_cost {first.shape}, demand_rate {rate.shape}, holding_cost "
            f"{held.shape}.", "own_cost, demand_rate, holding_cost", "one figure for each item",
        )  # fmt: skip
    rise = held * rate / 2
    if not (np.all(first >= 0) and np.all(rise > 0) and np.all(np.isfinite([first, rise]))):
        raise DecisionError(
            "Costs must be 0 or more, demand and holding cost positive.",
            "own_cost, demand_rate, holding_cost",
        )
    return first, rise
