"""Weibull, lognormal and exponential laws of exact and cut-off ages, by their own fast climb."""

import math
import warnings

import numpy as np
from numpy.typing import NDArray

from dutylife.errors import FitError
from dutylife.models.laws import Law, LifeLaw
from dutylife.models.likelihood import Lives, packed, polish

Array = NDArray[np.float64]
FEW_FAILURES = 5


def no_maximum(law: str) -> FitError:
    """The likelihood rises without end."""
    return FitError(
        f"The likelihood of the {law} law has no maximum for these lives.",
        f"fit_law('{law}')",
        "few failures with late entry or wide intervals can do this: pool with like duties, hold "
        "the shape, or fit an exponential law",
    )


def exact_or_censored(
    law: Law, ages: Array, failed: NDArray[np.bool_], starts: Array, shares: Array
) -> LifeLaw:
    """Fit checked lives; called by `fit_law`.

    Raises
    ------
    FitError
        A likelihood without a maximum.
    """
    n_failed = int(failed.sum())
    lives = packed(ages, failed, starts, shares)
    if law == "exponential" and lives.failures == 0:  # the longer the mean, the likelier
        location, spread, value = math.inf, 1.0, 0.0
        covariance = (math.inf, 0.0, 0.0)
    elif law == "exponential":
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
        raise no_maximum(law)
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
