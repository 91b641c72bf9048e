"""Laws of demand, each with its expected shortage in closed form or by sums."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]
Curve = Callable[[Array], Array]
_TAIL = 1e-18


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandLaw:
    """Demand over a span of time.

    Parameters
    ----------
    name : str
    mean, sd : float
        [pieces]
    is_whole : bool
        Demand comes in whole pieces.
    at_most, above : callable
        Chance of demand <= x and > x at an array of levels, same shape. [1]
    short : callable
        Expected pieces asked for beyond a level, E(D - x)+, same shape. [pieces]
    quantile : callable
        Smallest demand not exceeded with a chance. [pieces]
    over : callable or None
        Law of the demand over a multiple of the span, where it is known.
    """

    name: str
    mean: float
    sd: float
    is_whole: bool
    at_most: Curve
    above: Curve
    short: Curve
    quantile: Callable[[float], float]
    over: Callable[[float], "DemandLaw"] | None = None

    def left(self, level: npt.ArrayLike) -> Array:
        """Expected pieces left on the shelf, E(x - D)+, shape as ``level``."""
        x = np.asarray(level, dtype=float)
        return np.asarray(x - self.mean + self.short(x), dtype=float)

    def chances(self) -> Array:
        """Chance of 0, 1, 2, ... pieces, to a tail of 1e-15; demand in whole pieces only."""
        if not self.is_whole:
            raise DecisionError(
                f"{self.name} demand does not come in whole pieces.", "demand",
                "give poisson, negative binomial, samples or probabilities",
            )  # fmt: skip
        top = int(self.quantile(1 - 1e-15)) + 1
        return np.diff(self.at_most(np.arange(top + 1.0)), prepend=0.0)


def whole(
    name: str,
    mean: float,
    sd: float,
    above_whole: Curve,
    quantile: Callable[[float], float],
    over: Callable[[float], DemandLaw] | None,
) -> DemandLaw:
    """Law of whole pieces from the chance of more than k pieces, k = 0, 1, 2, ..."""
    top = int(quantile(1 - 1e-15)) + 2
    while above_whole(np.array([float(top)]))[0] > _TAIL and top < 10**8:
        top = int(1.2 * top) + 1
    beyond = np.asarray(above_whole(np.arange(top + 1.0)), dtype=float)
    # the shortage falls by the chance of asking for more at each further piece
    shortage = np.append(np.cumsum(beyond[::-1])[::-1], 0.0)

    def above(level: Array) -> Array:
        x = np.floor(np.asarray(level, dtype=float) + 1e-9)
        inside = beyond[np.clip(x, 0, top).astype(int)]
        return np.where(x < 0, 1.0, np.where(x > top, 0.0, inside))

    def short(level: Array) -> Array:
        x = np.asarray(level, dtype=float)
        whole = np.clip(np.floor(x), 0, top).astype(int)
        part = np.clip(x - whole, 0.0, 1.0)
        inside = shortage[whole] - part * beyond[whole]
        return np.where(x < 0, mean - x, np.where(x > top, 0.0, inside))

    return DemandLaw(
        name=name, mean=mean, sd=sd, is_whole=True, above=above, short=short, quantile=quantile,
        at_most=lambda x: 1 - above(x), over=over,
    )  # fmt: skip


def poisson(mean: float) -> DemandLaw:
    """Poisson demand."""
    from scipy import stats

    law = stats.poisson(mean)
    return whole("poisson", mean, math.sqrt(mean), law.sf, lambda p: float(law.ppf(p)),
                  lambda n: poisson(n * mean))  # fmt: skip


def negative_binomial(mean: float, variance: float) -> DemandLaw:
    """Negative binomial demand."""
    from scipy import stats

    if variance <= mean:
        raise DecisionError(
            f"A negative binomial's variance ({variance}) must lie above its mean ({mean}).",
            "variance", "take poisson where demand varies no more than its mean",
        )  # fmt: skip
    law = stats.nbinom(mean**2 / (variance - mean), mean / variance)
    return whole("negative binomial", mean, math.sqrt(variance), law.sf,
                  lambda p: float(law.ppf(p)),
                  lambda n: negative_binomial(n * mean, n * variance))  # fmt: skip


def continuous(
    law: Any, name: str, short: Curve, over: Callable[[float], DemandLaw] | None
) -> DemandLaw:
    """Law of demand of a continuous frozen law and its expected shortage."""
    return DemandLaw(
        name=name, mean=float(law.mean()), sd=float(law.std()), is_whole=False,
        at_most=lambda x: np.asarray(law.cdf(x), dtype=float),
        above=lambda x: np.asarray(law.sf(x), dtype=float),
        short=lambda x: np.asarray(short(np.asarray(x, dtype=float)), dtype=float),
        quantile=lambda p: float(law.ppf(p)), over=over,
    )  # fmt: skip


def normal(mean: float, sd: float) -> DemandLaw:
    """Normal demand."""
    from scipy import stats

    law = stats.norm(mean, sd)

    def short(x: Array) -> Array:
        z = (x - mean) / sd
        return np.asarray(sd * stats.norm.pdf(z) - (x - mean) * stats.norm.sf(z), dtype=float)

    return continuous(law, "normal", short, lambda n: normal(n * mean, math.sqrt(n) * sd))


def gamma(mean: float, sd: float, name: str) -> DemandLaw:
    """Gamma demand."""
    from scipy import stats

    shape, scale = (mean / sd) ** 2, sd**2 / mean
    law, next_one = stats.gamma(shape, scale=scale), stats.gamma(shape + 1, scale=scale)
    return continuous(
        law, name, lambda x: mean * next_one.sf(x) - x * law.sf(x),
        lambda n: gamma(n * mean, math.sqrt(n) * sd, "gamma"),
    )  # fmt: skip


def lognormal(mu: float, sigma: float) -> DemandLaw:
    """Lognormal demand, by mean and spread of its log."""
    from scipy import stats

    law, mean = stats.lognorm(sigma, scale=math.exp(mu)), math.exp(mu + sigma**2 / 2)

    def short(x: Array) -> Array:
        with np.errstate(divide="ignore", invalid="ignore"):
            z = (np.log(np.maximum(x, 0.0)) - mu) / sigma
        return np.asarray(mean * stats.norm.sf(z - sigma) - x * stats.norm.sf(z), dtype=float)

    return continuous(law, "lognormal", short, None)


def uniform(low: float, high: float) -> DemandLaw:
    """Demand even between two levels."""
    from scipy import stats

    if not 0 <= low < high:
        raise DecisionError(f"lower {low} and upper {high} can't be.", "lower, upper")

    def short(x: Array) -> Array:
        inside = np.clip(high - x, 0.0, high - low) ** 2 / (2 * (high - low))
        return np.asarray(inside + np.maximum(low - x, 0.0), dtype=float)

    return continuous(stats.uniform(low, high - low), "uniform", short, None)
