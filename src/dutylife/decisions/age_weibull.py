"""Age replacement when the Weibull law is known only through weighted draws."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.age import check_costs
from dutylife.decisions.age_result import flat_stretch
from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]
_SMALLEST = 1e-3  # first age of the grid as a share of the longest
_N_AGES = 241


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeReplacementDraws:
    """Cheapest replacement age under what is not known about the law.

    Parameters
    ----------
    best_age, best_lower, best_upper : float
        Cheapest age up to the longest, and the stretch of ages within 2 % of its cost.
    cost_rate, cost_rate_run_to_failure : float
        Mean over the draws, per unit of age. [currency per unit of age]
    probability_it_pays : float
        Weighted share of draws in which ``best_age`` is cheaper than waiting for failure. [1]
    saving : float
        Share of the run-to-failure cost saved at ``best_age``; negative when it costs more. [1]
    beyond_seen : bool
        The mean cost still falls at the longest age.
    ages, cost_rates, cost_rates_lower, cost_rates_upper : tuple of float
        Curve of the mean and of the range over draws.
    """

    best_age: float
    best_lower: float
    best_upper: float
    cost_rate: float
    cost_rate_run_to_failure: float
    probability_it_pays: float
    saving: float
    beyond_seen: bool
    ages: tuple[float, ...]
    cost_rates: tuple[float, ...]
    cost_rates_lower: tuple[float, ...]
    cost_rates_upper: tuple[float, ...]

    @property
    def interval(self) -> float:
        """Best age, ``inf`` where replacing ahead of failure saves nothing."""
        return self.best_age if self.saving > 0 and not self.beyond_seen else math.inf

    @property
    def table(self) -> pd.DataFrame:
        """The curve: age, cost_rate, cost_rate_lower, cost_rate_upper."""
        return pd.DataFrame(
            {
                "age": self.ages,
                "cost_rate": self.cost_rates,
                "cost_rate_lower": self.cost_rates_lower,
                "cost_rate_upper": self.cost_rates_upper,
            }
        )


def age_replacement_weibull(
    shape: npt.ArrayLike,
    scale: npt.ArrayLike,
    weights: npt.ArrayLike | None = None,
    *,
    planned_cost: float,
    failure_cost: float,
    longest_age: float,
    confidence_level: float = 0.90,
    n_curve: int = 25,
) -> AgeReplacementDraws:
    """Replacement age with the lowest mean cost over weighted draws of a Weibull law.

    Parameters
    ----------
    shape, scale : array_like, shape (n_draws,)
        Weibull shape [1] and characteristic life [unit of age].
    weights : array_like, shape (n_draws,), optional
        Weight of each draw; equal when not given. [1]
    planned_cost, failure_cost : float
        Cost of one planned and of one failure replacement, all in. [currency]
    longest_age : float
        No age beyond it is considered. [unit of age]
    confidence_level : float
        Level of the range of the curve. [1]
    n_curve : int
        Ages of the curve that is kept.

    Returns
    -------
    AgeReplacementDraws

    Raises
    ------
    DecisionError
        A cost, law or age that can't be: not positive, not finite, lengths that differ, or planned
        work that costs as much as a failure.

    Notes
    -----
    The criterion is the posterior mean of the long-run cost rate, minimised over age: what is not
    known of the law is averaged over, never gated. Integrals of the survival run once over a
    common grid in log age, by the trapezoid with end-derivative correction.

    Examples
    --------
    >>> best = age_replacement_weibull([2.0], [100.0], planned_cost=1.0, failure_cost=5.0,
    ...                                longest_age=300.0)
    >>> round(best.best_age), round(best.saving, 2)
    (51, 0.28)
    """
    check_costs(planned_cost, failure_cost)
    k, eta, w = checked_draws(shape, scale, weights)
    if not (np.isfinite(longest_age) and longest_age > 0):
        raise DecisionError(f"longest_age must be positive, it is {longest_age}.", "longest_age")
    ages = longest_age * np.geomspace(_SMALLEST, 1.0, _N_AGES)
    hazard = (ages / eta[:, None]) ** k[:, None]
    alive = np.exp(-hazard)
    lived = lived_age(ages, k, hazard, alive)
    rates = (planned_cost * alive + failure_cost * (1 - alive)) / lived
    to_failure = failure_cost / weibull_mean(k, eta)
    mean, mean_to_failure = w @ rates, float(w @ to_failure)
    at = int(np.argmin(mean))
    low, high = flat_stretch(ages, mean)
    best_age, cheapest = refined(ages, mean, at)
    tail = (1 - confidence_level) / 2
    keep = np.unique(np.searchsorted(ages, longest_age * np.linspace(1 / n_curve, 1, n_curve)))
    keep = keep[keep < len(ages)]
    lower, upper = weighted_quantiles(rates[:, keep], w, (tail, 1 - tail))
    return AgeReplacementDraws(
        best_age=best_age,
        best_lower=min(low, best_age),
        best_upper=max(high, best_age),
        cost_rate=cheapest,
        cost_rate_run_to_failure=mean_to_failure,
        probability_it_pays=min(float(w @ (rates[:, at] < to_failure)), 1.0),
        saving=1 - cheapest / mean_to_failure,
        beyond_seen=at == len(ages) - 1,
        ages=tuple(ages[keep].tolist()),
        cost_rates=tuple(mean[keep].tolist()),
        cost_rates_lower=tuple(lower.tolist()),
        cost_rates_upper=tuple(upper.tolist()),
    )


def checked_draws(
    shape: npt.ArrayLike, scale: npt.ArrayLike, weights: npt.ArrayLike | None
) -> tuple[Array, Array, Array]:
    """Shape, scale and weights summing to one, each shape (n_draws,), or `DecisionError`."""
    k, eta = np.atleast_1d(np.asarray(shape, float)), np.atleast_1d(np.asarray(scale, float))
    w = np.ones_like(k) if weights is None else np.atleast_1d(np.asarray(weights, float))
    if k.size == 0 or not (k.shape == eta.shape == w.shape):
        raise DecisionError(
            f"{k.size} shapes, {eta.size} scales and {w.size} weights do not make draws of a law.",
            "shape, scale, weights",
            "give as many of each, at least one",
        )
    good = np.isfinite(k) & np.isfinite(eta) & np.isfinite(w) & (k > 0) & (eta > 0) & (w >= 0)
    if not good.all() or w.sum() <= 0:
        raise DecisionError(
            f"{int((~good).sum())} of {k.size} draws have a shape or scale that is not positive, "
            "or a negative weight.",
            f"first at draw {int(np.argmin(good))}",
            "fit the cell again",
        )
    return k, eta, w / w.sum()


def lived_age(ages: Array, k: Array, hazard: Array, alive: Array) -> Array:
    """Integral of the survival from 0 to each age of a grid even in log age, per draw."""
    step = float(np.log(ages[1] / ages[0]))
    integrand = alive * ages  # dt = t d(log t)
    slope = integrand * (1 - k[:, None] * hazard)
    # two terms of the series below the first age
    first = ages[0] * (1 - hazard[:, 0] / (k + 1) + hazard[:, 0] ** 2 / (2 * (2 * k + 1)))
    first = np.where(hazard[:, 0] < 0.5, first, ages[0] * alive[:, 0])
    pieces = (integrand[:, 1:] + integrand[:, :-1]) * (step / 2)
    pieces -= (slope[:, 1:] - slope[:, :-1]) * (step**2 / 12)
    out = np.empty_like(alive)
    out[:, 0] = first
    np.cumsum(pieces, axis=1, out=out[:, 1:])
    out[:, 1:] += first[:, None]
    return out


def weibull_mean(k: Array, eta: Array) -> Array:
    """Mean life of each draw."""
    from scipy.special import gamma

    return np.asarray(eta * gamma(1 + 1 / k), dtype=float)


def weighted_quantiles(values: Array, w: Array, levels: tuple[float, ...]) -> list[Array]:
    """Quantiles of each column of ``values``, shape (n_draws, n), under weights ``w``."""
    order = np.argsort(values, axis=0, kind="stable")
    in_order = np.take_along_axis(values, order, axis=0)
    share = np.cumsum(w[order], axis=0)
    rows = [np.minimum((share < level - 1e-12).sum(axis=0), len(w) - 1) for level in levels]
    return [np.take_along_axis(in_order, r[None, :], axis=0)[0] for r in rows]


def refined(ages: Array, rates: Array, at: int) -> tuple[float, float]:
    """Age and rate at the bottom of the parabola through the best point and its neighbours."""
    if at in (0, len(ages) - 1):
        return float(ages[at]), float(rates[at])
    left, mid, right = (float(r) for r in rates[at - 1 : at + 2])
    bend = left - 2 * mid + right
    move = 0.0 if bend <= 0 else 0.5 * (left - right) / bend
    age = float(ages[at] * (ages[at + 1] / ages[at]) ** move)
    return age, mid - 0.25 * (left - right) * move
