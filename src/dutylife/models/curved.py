"""Laws that are no line on log age: gamma, and Weibull beyond a threshold age."""

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.laws import checked_share
from dutylife.wording import count, number

Array = NDArray[np.float64]
Curved = Literal["gamma", "three-parameter weibull"]
NAMES = {"gamma": "Gamma law", "three-parameter weibull": "Three-parameter Weibull law"}
_STEP = 1e-5
# below it a continued fraction takes over: the plain share soon rounds to 0
_TINY = 1e-280


def log_survival(law: str, age: Array, log_scale: Array, log_shape: Array) -> Array:
    """Log share still working at ages above a threshold, broadcast over the parameters."""
    if law != "gamma":
        with np.errstate(over="ignore"):
            return -np.exp(np.exp(log_shape) * (np.log(age) - log_scale))
    from scipy.special import gammaincc

    shape, x = np.exp(log_shape), age * np.exp(-log_scale)
    shape, x = np.broadcast_arrays(shape, x)
    alive = gammaincc(shape, x)
    with np.errstate(divide="ignore"):
        told = np.log(alive)
    far = alive < _TINY
    if far.any():
        told[far] = _far_survival(shape[far], x[far])
    return np.asarray(told)


def _far_survival(shape: Array, x: Array) -> Array:
    """Log of the upper gamma share by Legendre's continued fraction (x far above the shape)."""
    from scipy.special import gammaln

    fraction = np.zeros_like(x)
    with np.errstate(all="ignore"):
        for k in range(60, 0, -1):
            fraction = k * (shape - k) / (x - shape + 1.0 + 2.0 * k + fraction)
        below = x - shape + 1.0 + fraction
        told: Array = shape * np.log(x) - x - gammaln(shape) - np.log(below)
    return told


def log_density(law: str, age: Array, log_scale: Array, log_shape: Array) -> Array:
    """Log density of ages above a threshold, broadcast over the parameters [1 / age, log]."""
    from scipy.special import gammaln

    shape = np.exp(log_shape)
    off = np.log(age) - log_scale
    with np.errstate(over="ignore"):
        if law == "gamma":
            found: Array = shape * off - np.exp(off) - gammaln(shape) - np.log(age)
        else:
            found = log_shape + shape * off - np.exp(shape * off) - np.log(age)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvedLaw:
    """A fitted gamma or three-parameter Weibull law, in the age unit of its lives.

    ``loglik`` is that of ages.

    No life ends below ``threshold`` (0 for a gamma law). ``covariance`` is that of (log scale,
    log shape, threshold); the last is 0 where ``threshold_known``: for a gamma law, where the
    likelihood puts the threshold at 0, and for shapes of 2 or less, where the threshold is told
    faster than the rest and has no normal bounds (Smith, Biometrika 72, 1985; from memory).
    """

    law: Curved
    scale: float
    shape: float
    threshold: float
    covariance: tuple[tuple[float, ...], ...] = field(repr=False)
    threshold_known: bool
    loglik: float
    n_lives: int
    n_failed: int
    failures: float
    longest_life: float
    lives: tuple[tuple[float, bool, float, float], ...] = field(repr=False)

    @property
    def parameters(self) -> dict[str, float]:
        """Parameters under the law's own names."""
        own = {"shape": self.shape, "scale": self.scale}
        return own if self.law == "gamma" else own | {"threshold": self.threshold}

    @property
    def aic(self) -> float:
        """Akaike's criterion: 2 x parameters - 2 x log-likelihood [1]."""
        return 2.0 * len(self.parameters) - 2.0 * self.loglik

    def mean(self) -> float:
        """Mean life [age]."""
        return _figure(self.law, "mean", self._theta)

    def sd(self) -> float:
        """Standard deviation of life [age]."""
        if self.law == "gamma":
            return math.sqrt(self.shape) * self.scale
        one = math.gamma(1.0 + 1.0 / self.shape)
        return self.scale * math.sqrt(math.gamma(1.0 + 2.0 / self.shape) - one**2)

    def quantile(self, p: ArrayLike) -> Array:
        """Age by which a share ``p`` has failed, shape as ``p`` [age]."""
        return _quantile(self.law, checked_share(p), self._theta)

    def survival(self, age: ArrayLike) -> Array:
        """Share still working at ``age``, shape as ``age`` [1]."""
        return np.exp(-self.cumulative_hazard(age))

    def cumulative_hazard(self, age: ArrayLike) -> Array:
        """Minus log survival at ``age``, shape as ``age`` [1]."""
        past = np.asarray(age, dtype=float) - self.threshold
        inside = np.where(past > 0, past, 1.0)
        theta = self._theta
        told = -log_survival(self.law, inside, theta[0], theta[1])
        found: Array = np.where(past > 0, told, 0.0)
        return found

    def bounds(self, what: str, level: float = 0.90) -> tuple[float, float]:
        """Lower and upper bound by the delta method, on the log scale (a threshold plainly).

        Parameters
        ----------
        what : {"shape", "scale", "threshold", "b10", "b50", "mean"}
        level : float
            Confidence level of the two-sided range. [1]

        Raises
        ------
        FitError
            The law has no such figure or no normal bounds of it, or the level is not known.
        """
        from scipy.special import ndtri

        known = [*self.parameters, "b10", "b50", "mean"]
        if what not in known or not 0 < level < 1:
            raise FitError(
                f"No bounds for '{what}' at level {level}.", "CurvedLaw.bounds(what, level)",
                f"what: {', '.join(known)}; 0 < level < 1",
            )  # fmt: skip
        if what == "threshold" and self.threshold_known:
            why = "lies at 0" if self.threshold == 0 else "has no normal bounds at a shape up to 2"
            raise FitError(
                f"The threshold {why}.", "CurvedLaw.bounds('threshold')",
                "ask for b10 or b50, whose bounds take the threshold as it stands",
            )  # fmt: skip
        z = float(ndtri(0.5 + level / 2.0))
        covariance = np.array(self.covariance)
        if what == "threshold":
            half = z * math.sqrt(covariance[2, 2])
            first = min(age for age, failed, _, _ in self.lives if failed)
            return max(self.threshold - half, 0.0), min(self.threshold + half, first)
        slope = self._slope(what)
        half = z * math.sqrt(float(slope @ covariance @ slope))
        middle = math.log(_figure(self.law, what, self._theta))
        return math.exp(middle - half), math.exp(middle + half)

    @property
    def table(self) -> pd.DataFrame:
        """Each figure with its 90 % bounds: columns value, lower, upper."""
        figures = self.parameters | {
            what: _figure(self.law, what, self._theta) for what in ("b10", "b50", "mean")
        }
        rows = {
            what: (value, *self.bounds(what))
            if not (what == "threshold" and self.threshold_known)
            else (value, math.nan, math.nan)
            for what, value in figures.items()
        }
        return pd.DataFrame.from_dict(rows, orient="index", columns=["value", "lower", "upper"])

    @property
    def text(self) -> str:
        """One sentence."""
        told = ", ".join(f"{k} {number(v)}" for k, v in self.parameters.items())
        low, high = self.bounds("b50")
        none = " (these lives ask for none)" if "threshold" in told and not self.threshold else ""
        return (
            f"{NAMES[self.law]} from {count(self.n_failed, 'failure')} in "
            f"{count(self.n_lives, 'life', 'lives')}: {told}{none}; half have failed by "
            f"{number(float(self.quantile(0.5)))} (90 % range {number(low)} to {number(high)}), "
            f"the longest life seen is {number(self.longest_life)}."
        )

    @property
    def _theta(self) -> Array:
        return np.array([math.log(self.scale), math.log(self.shape), self.threshold])

    def _slope(self, what: str) -> Array:
        """Slope of the log of a figure by log scale, log shape and threshold."""
        out = np.zeros(3)
        for i in range(2 if self.threshold_known else 3):
            step = np.zeros(3)
            step[i] = _STEP * (self.scale if i == 2 else 1.0)
            up, down = (_figure(self.law, what, self._theta + s * step) for s in (1, -1))
            out[i] = math.log(up / down) / (2.0 * step[i])
        return out


def _quantile(law: str, p: Array, theta: Array) -> Array:
    from scipy.special import gammaincinv

    scale, shape, threshold = math.exp(theta[0]), math.exp(theta[1]), theta[2]
    if law == "gamma":
        found: Array = threshold + scale * gammaincinv(shape, p)
    else:
        with np.errstate(divide="ignore"):
            found = threshold + scale * (-np.log1p(-p)) ** (1.0 / shape)
    return found


def _figure(law: str, what: str, theta: Array) -> float:
    scale, shape = math.exp(theta[0]), math.exp(theta[1])
    if what == "mean":
        many = shape if law == "gamma" else math.gamma(1.0 + 1.0 / shape)
        return float(theta[2] + scale * many)
    if what in ("scale", "shape"):
        return scale if what == "scale" else shape
    return float(_quantile(law, np.array({"b10": 0.1, "b50": 0.5}[what]), theta))
