"""A budget shared over parts: where the next piece does most for its money."""

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.errors import DecisionError
from dutylife.stock.demand_law import demand_law, demand_of
from dutylife.stock.demand_shapes import DemandLaw
from dutylife.wording import count, number

Array = npt.NDArray[np.float64]
Objective = Literal["backorders", "all ready"]
_DEPTH = 1e-12
_MOST_STATES = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetAllocation:
    """Stock levels bought with a budget, and the whole curve.

    Parameters
    ----------
    levels : tuple of int
        Pieces of each part. [pieces]
    cost : float
        What they cost. [currency]
    backorders : float
        Expected pieces owed, weighted. [pieces]
    ready_rate : float
        Chance that no part is short: the product over parts. [1]
    availability : float
        Share of machines that wait for no part: product over parts of (1 - backorders /
        (machines x pieces each)) ** pieces each; missing without ``n_machines``. [1]
    names : tuple of str
    objective : str
    steps : tuple of tuple
        Rows of the curve: part, its new level, cost so far, backorders, ready rate, availability,
        gain by money.
    """

    levels: tuple[int, ...]
    cost: float
    backorders: float
    ready_rate: float
    availability: float
    names: tuple[str, ...]
    objective: str
    steps: tuple[tuple[Any, ...], ...]

    @property
    def table(self) -> pd.DataFrame:
        """The curve, from nothing on: part, level, cost, what it gives, gain_per_cost."""
        return pd.DataFrame(
            self.steps,
            columns=[
                "part",
                "level",
                "cost",
                "backorders",
                "ready_rate",
                "availability",
                "gain_per_cost",
            ],
        )

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"{count(sum(self.levels), 'piece')} of {count(len(self.levels), 'part')} for "
            f"{number(self.cost, 4)}: {number(self.backorders)} pieces owed on average, nothing "
            f"short {number(100 * self.ready_rate, 3)} % of times."
        )


def allocate_budget(
    demand: Sequence[Any] | npt.ArrayLike | pd.DataFrame,
    unit_cost: npt.ArrayLike | None = None,
    budget: float | None = None,
    *,
    backorders: float | None = None,
    objective: Objective = "backorders",
    weights: npt.ArrayLike | None = None,
    n_machines: int | None = None,
    per_machine: npt.ArrayLike = 1,
    names: Sequence[str] | None = None,
    method: Literal["marginal", "exact"] = "marginal",
    fill_rest: bool = True,
) -> BudgetAllocation:
    """Stock levels that do most for a budget, by marginal analysis or exactly.

    Parameters
    ----------
    demand : sequence of DemandLaw or frozen scipy law, array_like, or DataFrame
        Demand of each part over lead time (the pipeline): laws, or means of Poisson demand
        [pieces]; or a table with columns part_number, unit_cost, mean and, where demand varies
        more than Poisson, variance.
    unit_cost : array_like, shape (n,)
        Not with a table. [currency]
    budget : float, optional
        [currency]
    backorders : float, optional
        Instead of a budget: buy until the weighted pieces owed are no more than this. [pieces]
    objective : {"backorders", "all ready"}
        Expected pieces owed, summed; or the chance that no part is short, a product.
    weights : array_like, shape (n,), optional
        What a piece owed of each part counts; 1 by default. Backorders only. [1]
    n_machines : int, optional
        Machines that wait for the parts: the availability is told.
    per_machine : array_like, shape (n,) or int
        Pieces of each part in a machine.
    names : sequence of str, optional
    method : {"marginal", "exact"}
        One piece after another, the highest gain for its money first: best at each point of the
        curve; or best for this very budget, by going through all that is not beaten.
    fill_rest : bool
        Marginal: when the next piece is too dear, go on with those that still fit.

    Returns
    -------
    BudgetAllocation

    Raises
    ------
    DecisionError
        Not exactly one goal, unlike lengths, a figure that can't be, or too many parts for exact.

    References
    ----------
    Sherbrooke, Optimal Inventory Modeling of Systems, chapter 2, from memory.

    Examples
    --------
    >>> best = allocate_budget([1.0, 4.0], [5.0, 1.0], 14.0)
    >>> best.levels, round(best.backorders, 4)
    ((1, 9), 0.3801)
    """
    laws, cost, called = _parts(demand, unit_cost, names)
    _check(cost, budget, backorders, objective, method)
    weight = np.ones(len(laws)) if weights is None else np.asarray(weights, dtype=float)
    if weight.shape != cost.shape or not np.all(weight > 0):
        raise DecisionError("Weights must be positive, one for each part.", "weights")
    if n_machines is not None and not n_machines >= 1:
        raise DecisionError(f"n_machines is {n_machines}.", "n_machines", "1 or more")
    each = np.broadcast_to(np.asarray(per_machine, dtype=float), cost.shape)
    if not np.all(each >= 1):
        raise DecisionError("A machine holds at least one of each part.", "per_machine")
    parts = _Parts(laws, cost, weight, objective, n_machines, each)
    if method == "exact":
        if budget is None:
            raise DecisionError("The exact method needs a budget.", "budget", "state it")
        levels, steps = _exact(parts, budget), [parts.row(None, [0] * len(laws), math.nan)]
    else:
        levels, steps = _marginal(parts, budget, backorders, fill_rest=fill_rest)
    row = parts.row(None, levels, math.nan)
    named = [(("" if i is None else called[i]), *rest) for i, *rest in steps]
    return BudgetAllocation(
        levels=tuple(levels), cost=row[2], backorders=row[3], ready_rate=row[4],
        availability=row[5],
        names=tuple(called), objective=objective, steps=tuple(tuple(r) for r in named),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Parts:
    laws: list[DemandLaw]
    cost: Array
    weight: Array
    objective: str
    machines: int | None
    each: Array

    def gain(self, i: int, level: int) -> float:
        """What the piece beyond a level of a part adds to the objective."""
        law = self.laws[i]
        if self.objective == "backorders":
            ends = law.short(np.array([level, level + 1.0]))
            return float(self.weight[i] * (ends[0] - ends[1]))
        chance = law.at_most(np.array([level, level + 1.0]))
        return math.inf if chance[0] <= 0 else math.log(chance[1] / chance[0])

    def row(self, part: int | None, levels: list[int], ratio: float) -> tuple[Any, ...]:
        """Row of the curve."""
        at = [np.array([float(s)]) for s in levels]
        short = np.array([float(law.short(x)[0]) for law, x in zip(self.laws, at, strict=True)])
        ready = math.prod(float(law.at_most(x)[0]) for law, x in zip(self.laws, at, strict=True))
        up = math.nan
        if self.machines is not None:
            waits = np.clip(short / (self.machines * self.each), 0.0, 1.0)
            up = float(np.prod((1 - waits) ** self.each))
        owed = float(self.weight @ short)
        level = 0 if part is None else levels[part]
        return part, level, float(self.cost @ np.array(levels)), owed, ready, up, ratio


def _marginal(
    parts: _Parts, budget: float | None, goal: float | None, *, fill_rest: bool
) -> tuple[list[int], list[tuple[Any, ...]]]:
    n = len(parts.laws)
    levels, spent = [0] * n, 0.0
    steps = [parts.row(None, levels, math.nan)]
    heap = [(-parts.gain(i, 0) / parts.cost[i], i) for i in range(n)]
    heapq.heapify(heap)
    full = False
    while heap:
        if goal is not None and steps[-1][3] <= goal:
            break
        ratio, i = heapq.heappop(heap)
        if -ratio * parts.cost[i] < _DEPTH:
            break
        if budget is not None and spent + parts.cost[i] > budget * (1 + 1e-12):
            full = True
            if not fill_rest:
                break
            continue
        levels[i] += 1
        spent += float(parts.cost[i])
        if not full:
            steps.append(parts.row(i, levels, -ratio))
        heapq.heappush(heap, (-parts.gain(i, levels[i]) / parts.cost[i], i))
    return levels, steps


def _exact(parts: _Parts, budget: float) -> list[int]:
    """Best levels for a budget: partial choices that cost no less and do no more are dropped."""
    states: list[tuple[float, float, tuple[int, ...]]] = [(0.0, 0.0, ())]
    for i, law in enumerate(parts.laws):
        values, level = [_value(parts, law, i, 0)], 0
        while (level + 1) * parts.cost[i] <= budget * (1 + 1e-12) and (
            parts.gain(i, level) > _DEPTH
        ):
            level += 1
            values.append(_value(parts, law, i, level))
        grown = [
            (c + k * float(parts.cost[i]), v + gained, (*chosen, k))
            for c, v, chosen in states
            for k, gained in enumerate(values)
            if c + k * parts.cost[i] <= budget * (1 + 1e-12)
        ]
        grown.sort(key=lambda x: (x[0], -x[1]))
        states, best = [], -math.inf
        for one in grown:
            if one[1] > best or (best == -math.inf and not states):
                states.append(one)
                best = one[1]
        if len(states) > _MOST_STATES:
            raise DecisionError(
                f"More than {_MOST_STATES} choices are left after {i + 1} parts.", "method",
                "take method='marginal'",
            )  # fmt: skip
    return list(max(states, key=lambda x: x[1])[2])


def _value(parts: _Parts, law: DemandLaw, i: int, level: int) -> float:
    at = np.array([float(level)])
    if parts.objective == "backorders":
        return -float(parts.weight[i]) * float(law.short(at)[0])
    chance = float(law.at_most(at)[0])
    return math.log(chance) if chance > 0 else -1e6


def _parts(demand: Any, unit_cost: Any, names: Any) -> tuple[list[DemandLaw], Array, list[str]]:
    if isinstance(demand, pd.DataFrame):
        missing = {"unit_cost", "mean"} - set(demand.columns)
        if missing:
            raise DecisionError(
                f"The table lacks {', '.join(sorted(missing))}.", "demand",
                "columns part_number, unit_cost, mean, and variance where it is known",
            )  # fmt: skip
        if "variance" in demand.columns:
            spread = demand["variance"].fillna(demand["mean"]).tolist()
        else:
            spread = demand["mean"].tolist()
        laws = [
            demand_law("negative binomial", mean=m, variance=v)
            if v > m * (1 + 1e-9)
            else demand_law("poisson", mean=m)
            for m, v in zip(demand["mean"].tolist(), spread, strict=True)
        ]
        cost = demand["unit_cost"].to_numpy(dtype=float)
        called = demand["part_number"].astype(str).tolist() if "part_number" in demand else None
    else:
        laws = [
            demand_law("poisson", mean=float(d))
            if isinstance(d, int | float | np.number)
            else demand_of(d)
            for d in demand
        ]
        if unit_cost is None:
            raise DecisionError("What a piece costs is missing.", "unit_cost", "one for each part")
        cost = np.atleast_1d(np.asarray(unit_cost, dtype=float))
        called = None
    if len(laws) == 0 or cost.shape != (len(laws),):
        raise DecisionError(
            f"{len(laws)} demands and {cost.size} unit costs.", "demand, unit_cost", "one for each"
        )
    given = list(names) if names is not None else called
    return laws, cost, given or [f"part {i + 1}" for i in range(len(laws))]


def _check(
    cost: Array, budget: float | None, goal: float | None, objective: str, method: str
) -> None:
    if (budget is None) == (goal is None):
        raise DecisionError("Exactly one goal is needed.", "budget, backorders", "give one of them")
    for name, value in (("budget", budget), ("backorders", goal)):
        if value is not None and not 0 <= value < math.inf:
            raise DecisionError(f"{name} must be 0 or more, it is {value}.", name)
    if not (np.all(cost > 0) and np.all(np.isfinite(cost))):
        raise DecisionError("Every unit cost must be positive.", "unit_cost")
    if objective not in get_args(Objective) or method not in ("marginal", "exact"):
        raise DecisionError(
            f"'{objective}', '{method}' is not known.", "objective, method",
            "backorders or all ready; marginal or exact",
        )  # fmt: skip
