"""Likelihood-ratio limits of a law's figures: what the data do not contradict."""

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from dutylife.errors import FitError
from dutylife.models import general
from dutylife.models.likelihood import loglik, packed

if TYPE_CHECKING:
    from dutylife.models.laws import LifeLaw

SHARE = {"b10": 0.10, "b50": 0.50}  # of lives that have failed by that age


def limits(law: "LifeLaw", what: str, level: float) -> tuple[float, float]:
    """Ends of the set of values whose profile log-likelihood stays within chi-square / 2.

    Parameters
    ----------
    law : LifeLaw
    what : {"shape", "scale", "b10", "b50"}
    level : float
        Confidence level. [1]

    Raises
    ------
    FitError
        ``mean`` is asked for, or a limit is beyond reach of the data.
    """
    from scipy.optimize import brentq
    from scipy.special import chdtri

    if what == "mean":
        raise FitError(
            "The mean has no likelihood-ratio limits here.",
            "LifeLaw.bounds('mean', kind=)",
            "ask for b50, or for kind 'wald log'",
        )
    if law.law == "weibull" and not law.shape_held:
        return _of_weibull(law, what, level)
    profile, centre, width = _profile(law, what)
    allowed = law.loglik - float(chdtri(1, 1.0 - level)) / 2.0

    def excess(x: float) -> float:
        height = profile(x) - allowed
        # far out the likelihood overflows to nothing; it is below any level there
        return height if math.isfinite(height) else -1e9

    ends = []
    for side in (-1.0, 1.0):
        far = centre + side * width
        for _ in range(60):
            if excess(far) < 0:
                break
            far = centre + 1.5 * (far - centre)
        else:
            raise FitError(
                f"The data leave '{what}' without a {'lower' if side < 0 else 'upper'} limit.",
                "LifeLaw.bounds(kind='likelihood ratio')",
                "more failures are needed",
            )
        ends.append(math.exp(brentq(excess, centre, far, xtol=1e-12, rtol=1e-12)))
    return ends[0], ends[1]


def _of_weibull(law: "LifeLaw", what: str, level: float) -> tuple[float, float]:
    """Do it by the fits of many cells at once, for one cell: those see every row kind and end."""
    from dutylife.models.batch import fit_cells

    exit_, event, entry, weight = (np.array(v, dtype=float) for v in zip(*law.lives, strict=True))
    between = {}
    if law.rows is not None and law.rows.between.any():
        found = law.rows.between
        between = {
            "lower": np.where(found, np.exp(law.rows.log_lower), np.nan),
            "upper": np.where(found, np.exp(law.rows.log_upper), np.nan),
        }
    cell = np.zeros(len(exit_), dtype=int)
    fits = fit_cells(cell, exit_, event, entry=entry, weights=weight, **between)
    found_limits = fits.limits(what, level).iloc[0]
    for name, end in (("lower", 0.0), ("upper", math.inf)):
        if not 0.0 < found_limits[name] < math.inf:
            raise FitError(
                f"The data leave '{what}' without a {name} limit (it runs to {end}).",
                "LifeLaw.bounds(kind='likelihood ratio')",
                "more failures are needed",
            )
    return float(found_limits["lower"]), float(found_limits["upper"])


def _profile(law: "LifeLaw", what: str) -> tuple[Callable[[float], float], float, float]:
    """Profile log-likelihood of the log of a figure, the figure's log, a first step."""
    from scipy.optimize import minimize_scalar

    from dutylife.models.laws import standard_quantile

    value = _height(law)
    low, high = law.bounds(what, 0.95)
    width = math.log(high / low) / 2.0
    name = "weibull" if law.law == "exponential" else law.law
    here = math.log(law.spread)
    if law.shape_held:
        held = law.spread * (
            0.0 if what == "scale" else float(standard_quantile(name, SHARE[what]))
        )
        return lambda x: value(x - held, here), law.location + held, width
    spread_sd = max(math.sqrt(law.covariance[2]), 0.05)
    if law.law == "exponential":
        shift = 0.0 if what == "scale" else float(standard_quantile(name, SHARE[what]))
        return lambda x: value(x - shift, 0.0), law.location + shift, width
    if what == "shape":
        location_sd = max(math.sqrt(law.covariance[0]), 0.05)

        def of_shape(x: float) -> float:
            best = minimize_scalar(
                lambda m: -value(m, -x),
                bracket=(law.location - location_sd, law.location + location_sd),
                tol=1e-10,
            )
            return -float(best.fun)

        return of_shape, -here, width
    z = 0.0 if what == "scale" else float(standard_quantile(name, SHARE[what]))

    def of_age(x: float) -> float:
        best = minimize_scalar(
            lambda s: -value(x - math.exp(s) * z, s),
            bracket=(here - spread_sd, here + spread_sd),
            tol=1e-10,
        )
        return -float(best.fun)

    return of_age, law.location + law.spread * z, width


def _height(law: "LifeLaw") -> Callable[[float, float], float]:
    """Log-likelihood of the law's own lives by location and log spread."""
    name = "weibull" if law.law == "exponential" else law.law
    rows = law.rows
    if rows is not None:
        return lambda m, s: general.loglik(name, np.array([m, s]), rows)[0]
    ages, failed, starts, shares = (np.array(v) for v in zip(*law.lives, strict=True))
    lives = packed(ages, failed.astype(bool), starts, shares)
    return lambda m, s: loglik(name, m, s, lives)[0]
