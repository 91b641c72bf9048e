"""Age replacement: the age at which a planned change costs least in the long run."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.age_periods import by_period
from dutylife.decisions.age_result import AgeReplacement, flat_stretch
from dutylife.decisions.life import life_of, survival_of
from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]
_PANELS = 256
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_DOUBLINGS = 60


def age_replacement(
    life: Any,
    *,
    planned_cost: float,
    failure_cost: float,
    longest_age: float | None = None,
    planned_time: float = 0.0,
    failure_time: float = 0.0,
    ages: npt.ArrayLike | None = None,
) -> AgeReplacement:
    """Replacement age with the lowest long-run cost, for any law of life.

    Parameters
    ----------
    life : callable, Life, fitted law, frozen scipy law or array_like, shape (n,)
        The survival function (share still working at an array of ages, the same shape comes
        back), or anything with ``survival(age)`` or ``sf(age)``; `known_life` makes one. Or the
        chances to fail in period 1, 2, ... n: failures are met at the end of their period, and
        ages are whole periods.
    planned_cost, failure_cost : float
        Cost of one planned and of one failure replacement, all in. [currency]
    longest_age : float, optional
        No age beyond it is recommended; the longest life seen, or the end of the law. By default
        the age by which all but 1 in 100 million have failed. [age]
    planned_time, failure_time : float
        Time a planned and a failure replacement takes, added to the cycle; 0 where replacements
        take none. For the least downtime give the same figures as costs and as times. [age]
    ages : array_like, shape (n,), optional
        Ages at which the curve is wanted; by default 60 between 1/60 of the longest and it.

    Returns
    -------
    AgeReplacement

    Raises
    ------
    DecisionError
        A cost or an age is not positive, or planned work costs as much as a failure.

    Notes
    -----
    Cost per unit of age at T is (planned S(T) + failure (1 - S(T))) / length of a cycle, which is
    the integral of S from 0 to T + planned_time S(T) + failure_time (1 - S(T)). Each replacement
    renews the part. Integrals are 8-point Gauss sums over 256 panels.

    References
    ----------
    Jardine & Tsang, "Maintenance, Replacement and Reliability", chapter 2, and its solutions
    manual; age replacement with times to replace from memory.

    Examples
    --------
    >>> best = age_replacement(lambda t: np.clip(1 - t / 40000, 0, 1), planned_cost=100,
    ...                        failure_cost=200, longest_age=40000)
    >>> round(best.interval)
    29282
    """
    check_costs(planned_cost, failure_cost)
    if isinstance(life, list | tuple | np.ndarray | pd.Series):
        return by_period(
            life, planned_cost, failure_cost, planned_time, failure_time, longest_age, ages
        )
    survival = survival_of(life)
    # without a stated end the best age may lie far below the end of the law: a wider, finer net
    whole = life_of(life) if longest_age is None else None
    first, n = (1 / 300, 241) if longest_age is not None else (1e-5, 601)
    longest_age = _end_of(survival) if longest_age is None else longest_age
    if not (np.isfinite(longest_age) and longest_age > 0):
        raise DecisionError(
            f"longest_age must be a positive number, it is {longest_age}.", "age_replacement"
        )
    if not (0 <= planned_time < math.inf and 0 <= failure_time < math.inf):
        raise DecisionError(
            f"Times must be 0 or more: planned {planned_time}, failure {failure_time}.",
            "planned_time, failure_time",
        )
    given = np.linspace(longest_age / 60, longest_age, 60) if ages is None else _ages(ages)

    def rate(at: Array) -> Array:
        alive = np.asarray(survival(at), dtype=float)
        cost = planned_cost * alive + failure_cost * (1 - alive)
        if whole is None:
            length = np.array([_integral(survival, 0.0, t) for t in at])
        else:
            length = whole.lived(at)
        if planned_time or failure_time:
            length += planned_time * alive + failure_time * (1 - alive)
        return np.asarray(cost / length, dtype=float)

    grid = longest_age * np.geomspace(first, 1, n)
    if planned_time or failure_time:
        on_grid = rate(grid)
    else:
        on_grid = _rates_on_grid(survival, grid, planned_cost, failure_cost)
    low, best, high = _refined(rate, grid, on_grid)
    cheapest = float(rate(np.array([best]))[0])
    mean = _mean_life(survival, longest_age) if whole is None else whole.mean
    to_failure = failure_cost / (mean + failure_time)
    beyond = bool(best >= longest_age * (1 - 1e-9) and float(survival(np.array([best]))[0]) > 1e-9)
    pays = cheapest < to_failure and not beyond
    return AgeReplacement(
        interval=best if pays else math.inf,
        interval_lower=low if pays else math.inf,
        interval_upper=high if pays else math.inf,
        cost_rate=cheapest if pays else to_failure,
        cost_rate_run_to_failure=to_failure,
        best_age=best,
        beyond_seen=beyond,
        ages=tuple(given.tolist()),
        cost_rates=tuple(rate(given).tolist()),
    )


def check_costs(planned_cost: float, failure_cost: float) -> None:
    """Raise `DecisionError` unless ``0 < planned_cost < failure_cost``, both finite."""
    if not (0 < planned_cost < math.inf and 0 < failure_cost < math.inf):
        raise DecisionError(
            f"Costs must be positive: planned {planned_cost}, failure {failure_cost}.",
            "planned_cost, failure_cost",
            "state what one replacement costs, all in",
        )
    if failure_cost <= planned_cost:
        raise DecisionError(
            f"A failure ({failure_cost}) must cost more than planned work ({planned_cost}).",
            "planned_cost, failure_cost",
            "add to the failure what it costs beyond the part: lost days, call-out, rental; "
            "where it truly costs no more, replace nothing ahead of failure",
        )


def _end_of(survival: Callable[[Array], Any]) -> float:
    """Age by which all but 1 in 100 million have failed, to within a fifth."""
    age = 1.0
    for step in (2.0, 1 / 1.2):
        for _ in range(400):
            gone = float(np.asarray(survival(np.array([age])))[0]) <= 1e-8
            if gone == (step > 1):
                break
            age *= step
        else:
            raise DecisionError(
                "The survival function does not fall to 0.", "longest_age", "state the longest age"
            )
    return age * 1.2


def _ages(ages: npt.ArrayLike) -> Array:
    given = np.atleast_1d(np.asarray(ages, dtype=float))
    if given.size == 0 or not np.all(given > 0):
        raise DecisionError("Every age of the curve must be positive.", "ages")
    return given


def _integral(survival: Callable[[Array], Any], start: float, end: float) -> float:
    edges = np.linspace(start, end, _PANELS + 1)
    half = np.diff(edges) / 2
    points = (edges[:-1] + half)[:, None] + half[:, None] * _NODES
    values = np.asarray(survival(points.ravel()), dtype=float).reshape(points.shape)
    return float(((values @ _WEIGHTS) * half).sum())


def _rates_on_grid(
    survival: Callable[[Array], Any], grid: Array, planned: float, failure: float
) -> Array:
    edges = np.concatenate([[0.0], grid])
    half = np.diff(edges) / 2
    points = (edges[:-1] + half)[:, None] + half[:, None] * _NODES
    values = np.asarray(survival(points.ravel()), dtype=float).reshape(points.shape)
    lived = np.cumsum((values @ _WEIGHTS) * half)
    alive = np.asarray(survival(grid), dtype=float)
    return np.asarray((planned * alive + failure * (1 - alive)) / lived, dtype=float)


def _refined(
    rate: Callable[[Array], Array], grid: Array, on_grid: Array
) -> tuple[float, float, float]:
    """Lower end of the flat stretch, best age, upper end."""
    from scipy.optimize import minimize_scalar

    at = int(np.argmin(on_grid))
    best = float(grid[at])
    if 0 < at < len(grid) - 1:
        found = minimize_scalar(
            lambda t: float(rate(np.array([t]))[0]),
            bounds=(grid[at - 1], grid[at + 1]),
            method="bounded",
            options={"xatol": 1e-9 * best},
        )
        best = float(found.x)
    low, high = flat_stretch(grid, on_grid)
    return min(low, best), best, max(high, best)


def _mean_life(survival: Callable[[Array], Any], longest_age: float) -> float:
    """Integral of the survival to where doubling adds no more; ``inf`` where it never stops."""
    total, start, end = _integral(survival, 0.0, longest_age), longest_age, 2 * longest_age
    for _ in range(_DOUBLINGS):
        more = _integral(survival, start, end)
        total += more
        if more <= 1e-12 * total:
            return total
        start, end = end, 2 * end
    return math.inf
