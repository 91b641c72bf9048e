"""Weibull, lognormal and exponential laws fitted to censored, late-entry lives."""

import math
import warnings
from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models import profile
from dutylife.models.checks import checked_lives
from dutylife.models.likelihood import Lives, polish
from dutylife.wording import count, number

Array = NDArray[np.float64]
Law = Literal["weibull", "lognormal", "exponential"]
Kind = Literal["wald log", "likelihood ratio"]
FEW_FAILURES = 5
WHAT = ("shape", "scale", "b10", "b50", "mean")


@dataclass(frozen=True, slots=True, kw_only=True)
class LifeLaw:
    """A fitted law. Ages are in the unit of the lives it was fitted to.

    ``location`` and ``spread`` are those of log age: scale = exp(location) and shape = 1 / spread
    for Weibull; mu and sigma for lognormal. ``covariance`` is that of (location, log spread) as
    (variance, covariance, variance); for an exponential law the spread is fixed at 1.
    ``n_failed`` counts the rows that failed, ``failures`` adds their weights.
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

    @property
    def shape(self) -> float:
        """Weibull shape; 1 for an exponential law [1]."""
        self._only("shape", "weibull", "exponential")
        return 1.0 / self.spread

    @property
    def scale(self) -> float:
        """Weibull scale (63.2 % have failed by it); the mean of an exponential law [age]."""
        self._only("scale", "weibull", "exponential")
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
        return 2.0 * len(self.parameters) - 2.0 * self.loglik

    def mean(self) -> float:
        """Mean life [age]."""
        if self.law == "lognormal":
            return math.exp(self.location + self.spread**2 / 2.0)
        return math.exp(self.location) * math.gamma(1.0 + self.spread)

    def sd(self) -> float:
        """Standard deviation of life [age]."""
        if self.law == "lognormal":
            return self.mean() * math.sqrt(math.expm1(self.spread**2))
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
        alive = ndtr(-z) if self.law == "lognormal" else np.exp(-np.exp(z))
        found: Array = np.where(ages <= 0, 1.0, alive)
        return found

    def bounds(
        self, what: str, level: float = 0.90, kind: Kind = "wald log"
    ) -> tuple[float, float]:
        """Lower and upper bound.

        Parameters
        ----------
        what : {"shape", "scale", "b10", "b50", "mean"}
            ``b10`` is the age by which 10 % have failed.
        level : float
            Confidence level of the two-sided range. [1]
        kind : {"wald log", "likelihood ratio"}
            Delta method on the log scale, or the range the likelihood ratio leaves (not for
            ``mean``); the latter is the better one below some 20 failures, and dearer.

        Raises
        ------
        FitError
            The law has no such figure, or the level or kind is not known.
        """
        from scipy.special import ndtri

        if what not in WHAT or kind not in get_args(Kind) or not 0 < level < 1:
            raise FitError(
                f"No bounds of kind '{kind}' for '{what}' at level {level}.",
                "LifeLaw.bounds(what, level, kind)",
                f"what: {', '.join(WHAT)}; kind: {', '.join(get_args(Kind))}; 0 < level < 1",
            )
        if what == "shape":
            self._only("shape", "weibull")
        if what == "scale":
            self._only("scale", "weibull", "exponential")
        if kind == "likelihood ratio":
            return profile.limits(self, what, level)
        centre, slope = self._log_figure(what)
        a, b, c = self.covariance
        variance = slope[0] ** 2 * a + 2.0 * slope[0] * slope[1] * b + slope[1] ** 2 * c
        half = float(ndtri(0.5 + level / 2.0)) * math.sqrt(variance)
        return math.exp(centre - half), math.exp(centre + half)

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
        rows = {k: (v, *self.bounds(k)) for k, v in figures.items()}
        return pd.DataFrame.from_dict(rows, orient="index", columns=["value", "lower", "upper"])

    @property
    def text(self) -> str:
        """One sentence."""
        told = ", ".join(f"{k} {number(v)}" for k, v in self.parameters.items())
        low, high = self.bounds("b50")
        return (
            f"{self.law.capitalize()} law from {count(self.n_failed, 'failure')} in "
            f"{count(self.n_lives, 'life', 'lives')}: {told}; half have failed by "
            f"{number(float(self.quantile(0.5)))} (90 % range {number(low)} to {number(high)}), "
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
    """Standardised log age by which a share ``p`` has failed."""
    from scipy.special import ndtri

    share = np.asarray(p, dtype=float)
    z: Array = ndtri(share) if law == "lognormal" else np.log(-np.log1p(-share))
    return z


def fit_law(
    law: Law,
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
) -> LifeLaw:
    """Fit a law by maximum likelihood to lives watched over (entry, exit].

    Parameters
    ----------
    law : {"weibull", "lognormal", "exponential"}
    exit : array_like, shape (n,)
        Age at the end of each life or of its watching. [one unit for all]
    event : array_like, shape (n,)
        1 where the life ended in failure.
    entry : array_like, shape (n,), optional
        Age at which watching began; the likelihood is divided by the survival there.
    weights : array_like, shape (n,), optional
        Share of each row; 1 by default.

    Returns
    -------
    LifeLaw

    Raises
    ------
    TooFewFailuresError
        No failure, or for a two-parameter law all failures at one age.
    FitError
        Ages that can't stand, or a likelihood without a maximum.

    Notes
    -----
    Newton steps of our own end at 1e-9, in a millisecond; where they do not settle, or below 5
    failures with late entry, they climb again from where lifelines ends (near 1e-6) and the
    better maximum stands. Small samples bias the shape upward; nothing is corrected here.
    """
    if law not in get_args(Law):
        raise FitError(
            f"'{law}' is not a law.", "fit_law(law)", "one of: " + ", ".join(get_args(Law))
        )
    ages, failed, starts, shares = checked_lives(exit, event, entry, weights)
    n_failed = int(failed.sum())
    if n_failed == 0:
        raise TooFewFailuresError(
            f"None of {count(len(ages), 'life', 'lives')} ended in failure: the record gives a "
            "lower bound of life, no law.",
            "fit_law(event)",
            "wait for failures, pool with like duties, or use a starting value",
        )
    if law != "exponential" and len(np.unique(ages[failed])) < 2:
        raise TooFewFailuresError(
            f"All {count(n_failed, 'failure')} lie at age {number(ages[failed][0])}: the spread "
            "of lives can't be told.",
            "fit_law(exit, event)",
            "fit an exponential law, or wait for a failure at another age",
        )
    lives = packed(ages, failed, starts, shares)
    if law == "exponential":
        location = math.log(float(shares @ (ages - starts)) / lives.failures)
        spread, covariance = 1.0, (1.0 / lives.failures, 0.0, 0.0)
        value = -lives.failures * (location + 1.0)
    else:
        location, spread, covariance, value = _two_parameters(law, lives, starts)
    return LifeLaw(
        law=law,
        location=location,
        spread=spread,
        covariance=covariance,
        loglik=value,
        n_lives=len(ages),
        n_failed=n_failed,
        failures=lives.failures,
        longest_life=float(ages.max()),
        lives=tuple(
            zip(ages.tolist(), failed.tolist(), starts.tolist(), shares.tolist(), strict=True)
        ),
    )


def packed(ages: Array, failed: NDArray[np.bool_], starts: Array, shares: Array) -> Lives:
    """Lives as the likelihood takes them."""
    late = starts > 0
    return Lives(np.log(ages), failed, shares, np.log(starts[late]), shares[late])


def _two_parameters(
    law: str, lives: Lives, starts: Array
) -> tuple[float, float, tuple[float, float, float], float]:
    """Location, spread, covariance of (location, log spread), log-likelihood."""
    best = polish(law, *_own_start(lives), lives)
    # right-censored lives have one maximum; few failures with late entry may have more, or none
    few = lives.failed.sum() < FEW_FAILURES and len(lives.log_entry) > 0
    if few or not best.converged:
        other = polish(law, *_lifelines_start(law, lives, starts), lives)
        if other.converged and (not best.converged or other.value > best.value):
            best = other
    if not best.converged:
        raise FitError(
            f"The likelihood of the {law} law has no maximum for these lives.",
            f"fit_law('{law}')",
            "few failures with late entry can do this: pool with like duties or fit an "
            "exponential law",
        )
    covariance = np.linalg.inv(-best.hessian)
    spread = math.exp(best.log_spread)
    both = (float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1]))
    return best.location, spread, both, best.value


def _own_start(lives: Lives) -> tuple[float, float]:
    """Location and log spread to climb from: an exponential law's scale, the failures' spread."""
    exposure = float(lives.weight @ np.exp(lives.log_exit))
    exposure -= float(lives.entry_weight @ np.exp(lives.log_entry))
    spread = max(float(lives.log_exit[lives.failed].std()) * 0.8, 0.05)
    return math.log(exposure / lives.failures), math.log(spread)


def _lifelines_start(law: str, lives: Lives, starts: Array) -> tuple[float, float]:
    """Location and log spread as lifelines finds them; our own start where it ends nowhere."""
    from lifelines import LogNormalFitter, WeibullFitter
    from lifelines.exceptions import (
        ApproximationWarning,
        ConvergenceError,
        StatisticalWarning,
    )

    fitter = WeibullFitter() if law == "weibull" else LogNormalFitter()
    late = starts if (starts > 0).any() else None
    with warnings.catch_warnings():
        # about its variance (not used) and about weights that are not whole
        warnings.filterwarnings("ignore", category=StatisticalWarning)
        warnings.filterwarnings("ignore", category=ApproximationWarning)
        warnings.filterwarnings("ignore", category=RuntimeWarning)
        try:
            fitter.fit(np.exp(lives.log_exit), lives.failed, entry=late, weights=lives.weight)
        except (ConvergenceError, np.linalg.LinAlgError):
            return _own_start(lives)
    if law == "weibull":
        start = math.log(fitter.lambda_), -math.log(fitter.rho_)
    else:
        start = float(fitter.mu_), math.log(fitter.sigma_)
    return start if all(np.isfinite(start)) and abs(start[1]) < 5 else _own_start(lives)
