"""A fitted law of life: its figures, their bounds, its table and sentence."""

import math
from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models import chi_square, profile
from dutylife.models.chi_square import Ended
from dutylife.models.general import Rows
from dutylife.wording import count, number

Array = NDArray[np.float64]
Law = Literal["weibull", "lognormal", "exponential", "log-logistic"]
Kind = Literal["wald log", "likelihood ratio", "chi-square"]
Side = Literal["both", "lower", "upper"]
WHAT = ("shape", "scale", "b10", "b50", "mean")


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeLaw:
    """A fitted law. Ages are in the unit of the lives it was fitted to.

    ``location`` and ``spread`` are those of log age: scale = exp(location) and shape = 1 / spread
    for Weibull and log-logistic (whose scale is the median); mu and sigma for lognormal.
    ``covariance`` is that of (location, log spread) as (variance, covariance, variance); for an
    exponential law the spread is fixed at 1, ``shape_held`` says that a shape was given.
    ``loglik`` is that of ages (of log ages: `loglik_on`); it and ``covariance`` are missing after
    rank regression. An exponential law without failures has an infinite scale, and a lower bound
    by chi-square. ``n_failed`` counts the rows that failed, ``failures`` adds their weights.
    """

    law: Law
    location: float
    spread: float
    covariance: tuple[float, float, float]
    loglik: float
    n_lives: int
    n_failed: int
    failures: float
    longest_life: float
    lives: tuple[tuple[float, bool, float, float], ...] = field(repr=False)
    shape_held: bool = False
    rows: Rows | None = field(default=None, repr=False, compare=False)

    @property
    def shape(self) -> float:
        """Weibull or log-logistic shape; 1 for an exponential law [1]."""
        self._only("shape", "weibull", "exponential", "log-logistic")
        return 1.0 / self.spread

    @property
    def scale(self) -> float:
        """Weibull scale (63.2 % have failed by it); exponential mean; log-logistic median [age]."""
        self._only("scale", "weibull", "exponential", "log-logistic")
        return math.exp(self.location)

    @property
    def mu(self) -> float:
        """Mean of log age of a lognormal law [log age]."""
        self._only("mu", "lognormal")
        return self.location

    @property
    def sigma(self) -> float:
        """Standard deviation of log age of a lognormal law, by ML (divides by n) [1]."""
        self._only("sigma", "lognormal")
        return self.spread

    @property
    def parameters(self) -> dict[str, float]:
        """Parameters under the law's own names."""
        if self.law == "lognormal":
            return {"mu": self.mu, "sigma": self.sigma}
        if self.law == "exponential":
            return {"scale": self.scale}
        return {"shape": self.shape, "scale": self.scale}

    @property
    def aic(self) -> float:
        """Akaike's criterion: 2 x parameters - 2 x log-likelihood [1]."""
        return 2.0 * (len(self.parameters) - self.shape_held) - 2.0 * self.loglik

    def mean(self) -> float:
        """Mean life [age]."""
        if self.law == "lognormal":
            return math.exp(self.location + self.spread**2 / 2.0)
        if self.law == "log-logistic":
            if self.spread >= 1:
                return math.inf
            angle = math.pi * self.spread
            return math.exp(self.location) * angle / math.sin(angle)
        return math.exp(self.location) * math.gamma(1.0 + self.spread)

    def sd(self) -> float:
        """Standard deviation of life [age]."""
        if self.law == "lognormal":
            return self.mean() * math.sqrt(math.expm1(self.spread**2))
        if self.law == "log-logistic":
            if self.spread >= 0.5:
                return math.inf
            twice = 2.0 * math.pi * self.spread
            second = math.exp(2.0 * self.location) * twice / math.sin(twice)
            return math.sqrt(second - self.mean() ** 2)
        square = math.gamma(1.0 + 2.0 * self.spread) - math.gamma(1.0 + self.spread) ** 2
        return math.exp(self.location) * math.sqrt(square)

    def quantile(self, p: ArrayLike) -> Array:
        """Age by which a share ``p`` has failed, shape as ``p`` [age]."""
        return np.exp(self.location + self.spread * standard_quantile(self.law, p))

    def survival(self, age: ArrayLike) -> Array:
        """Share still working at ``age``, shape as ``age`` [1]."""
        from scipy.special import ndtr

        ages = np.asarray(age, dtype=float)
        with np.errstate(divide="ignore", invalid="ignore"):
            z = (np.log(ages) - self.location) / self.spread
            alive = {
                "lognormal": lambda: ndtr(-z),
                "log-logistic": lambda: 1.0 / (1.0 + np.exp(z)),
            }.get(self.law, lambda: np.exp(-np.exp(z)))()
        found: Array = np.where(ages <= 0, 1.0, alive)
        return found

    def bounds(
        self,
        what: str,
        level: float = 0.90,
        kind: Kind = "wald log",
        *,
        side: Side = "both",
        ended: Ended = "time",
    ) -> tuple[float, float]:
        """Lower and upper bound.

        Parameters
        ----------
        what : {"shape", "scale", "b10", "b50", "mean"}
            ``b10`` is the age by which 10 % have failed.
        level : float
            Confidence level of the range; of the one bound where ``side`` names one. [1]
        kind : {"wald log", "likelihood ratio", "chi-square"}
            Delta method on the log scale; the range the likelihood ratio leaves (not for
            ``mean``), the better one below some 20 failures, and dearer; or the chi-square range
            of an exponential law, which holds without failures too.
        side : {"both", "lower", "upper"}
            Both, or one bound with the other end left open (0 or infinite).
        ended : {"time", "failure"}
            For chi-square: watching ended at a set time (2 r + 2 degrees below, at least as sure
            as its level) or with the last failure (2 r degrees, exact); see
            `dutylife.models.chi_square`.

        Raises
        ------
        FitError
            The law has no such figure, or the level or kind is not known.
        """
        self._require_bounds(what, level, kind, side)
        if side != "both":
            low, high = self.bounds(what, 2.0 * level - 1.0, kind, ended=ended)
            return (low, math.inf) if side == "lower" else (0.0, high)
        if kind == "chi-square":
            return chi_square.limits(self, what, level, ended)
        if kind == "likelihood ratio":
            return profile.limits(self, what, level)
        from scipy.special import ndtri

        centre, slope = self._log_figure(what)
        a, b, c = self.covariance
        variance = slope[0] ** 2 * a + 2.0 * slope[0] * slope[1] * b + slope[1] ** 2 * c
        half = float(ndtri(0.5 + level / 2.0)) * math.sqrt(variance)
        return math.exp(centre - half), math.exp(centre + half)

    def _require_bounds(self, what: str, level: float, kind: str, side: str) -> None:
        known = what in WHAT and kind in get_args(Kind) and side in get_args(Side)
        if not known or not (0.5 if side != "both" else 0) < level < 1:
            raise FitError(
                f"No bounds of kind '{kind}' for '{what}' at level {level}, side '{side}'.",
                "LifeLaw.bounds(what, level, kind, side=)",
                f"what: {', '.join(WHAT)}; kind: {', '.join(get_args(Kind))}; side: "
                f"{', '.join(get_args(Side))}; 0 < level < 1, above 0.5 for one side",
            )
        if what == "shape":
            self._only("shape", "weibull", "log-logistic")
        if what == "scale":
            self._only("scale", "weibull", "exponential", "log-logistic")
        if math.isnan(self.loglik) or (what == "shape" and self.shape_held):
            why = "the shape was held" if self.shape_held else "rank regression has no likelihood"
            raise FitError(
                f"There are no bounds of '{what}': {why}.",
                "LifeLaw.bounds(what)",
                "fit by maximum likelihood with the shape free",
            )
        if self.failures == 0 and kind != "chi-square":
            raise FitError(
                f"There are no '{kind}' bounds of '{what}' where nothing has failed.",
                "LifeLaw.bounds(kind=)",
                "ask for kind='chi-square': a lower bound",
            )

    def _log_figure(self, what: str) -> tuple[float, tuple[float, float]]:
        """Log of a figure and its slope by (location, log spread)."""
        from scipy.special import digamma

        if what == "shape":
            return -math.log(self.spread), (0.0, -1.0)
        if what == "scale":
            return self.location, (1.0, 0.0)
        if what == "mean":
            if self.law == "lognormal":
                by_spread = self.spread**2
            elif self.law == "log-logistic":
                angle = math.pi * self.spread
                by_spread = 1.0 - angle / math.tan(angle)
            else:
                by_spread = self.spread * float(digamma(1.0 + self.spread))
            return math.log(self.mean()), (1.0, by_spread)
        shift = self.spread * float(standard_quantile(self.law, profile.SHARE[what]))
        return self.location + shift, (1.0, shift)

    @property
    def table(self) -> pd.DataFrame:
        """Each figure with its 90 % bounds: columns value, lower, upper."""
        figures = {"b10": float(self.quantile(0.1)), "b50": float(self.quantile(0.5))}
        figures |= {"mean": self.mean()}
        if self.law != "lognormal":
            own = {k: v for k, v in self.parameters.items() if k in WHAT}
            figures = own | figures
        rows = {k: (v, *self._bounds_or_none(k)) for k, v in figures.items()}
        return pd.DataFrame.from_dict(rows, orient="index", columns=["value", "lower", "upper"])

    def _bounds_or_none(self, what: str) -> tuple[float, float]:
        known = not (math.isnan(self.loglik) or (what == "shape" and self.shape_held))
        if what == "mean" and self.failures > 0 and not math.isfinite(self.mean()):
            known = False
        if not known:
            return math.nan, math.nan
        return self.bounds(what, kind="chi-square" if self.failures == 0 else "wald log")

    @property
    def text(self) -> str:
        """One sentence."""
        if self.failures == 0:
            low, _ = self.bounds("mean", kind="chi-square", side="lower")
            return (
                f"No failure in {count(self.n_lives, 'life', 'lives')}: at a steady rate the mean "
                f"life is {number(low)} or more (90 % lower bound), no upper bound."
            )
        told = ", ".join(f"{k} {number(v)}" for k, v in self.parameters.items())
        low, high = self._bounds_or_none("b50")
        span = "" if math.isnan(low) else f" (90 % range {number(low)} to {number(high)})"
        return (
            f"{self.law.capitalize()} law from {count(self.n_failed, 'failure')} in "
            f"{count(self.n_lives, 'life', 'lives')}: {told}; half have failed by "
            f"{number(float(self.quantile(0.5)))}{span}, "
            f"the longest life seen is {number(self.longest_life)}."
        )

    def _only(self, what: str, *laws: str) -> None:
        if self.law not in laws:
            raise FitError(
                f"A {self.law} law has no '{what}' of its own.",
                "LifeLaw",
                "ask for: " + ", ".join([*self.parameters, "b10", "b50", "mean"]),
            )


def standard_quantile(law: str, p: ArrayLike) -> Array:
    """Standardised log age by which a share ``p`` has failed; endless at 0 and 1."""
    from scipy.special import ndtri

    share = checked_share(p)
    if law == "lognormal":
        found: Array = np.asarray(ndtri(share))
        return found
    with np.errstate(divide="ignore"):
        if law == "log-logistic":
            return np.asarray(np.log(share) - np.log1p(-share))
        return np.asarray(np.log(-np.log1p(-share)))


def checked_share(p: ArrayLike) -> Array:
    """Shares of lives that have failed, refused where they are none.

    Raises
    ------
    FitError
        A share that is missing, below 0 or above 1.
    """
    share = np.asarray(p, dtype=float)
    if not ((share >= 0) & (share <= 1)).all():
        raise FitError(
            f"A share failed of {float(share[~((share >= 0) & (share <= 1))].flat[0])} can't be.",
            "quantile(p)", "give shares from 0 to 1: 0.1 for the age by which 10 % have failed",
        )  # fmt: skip
    return share
