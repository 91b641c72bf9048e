"""Log-likelihood of any mix of exact, censored and interval lives, with covariates, and its top."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.models.likelihood import DENSITY, SURVIVAL, Array, Derivatives


@dataclass(frozen=True, slots=True)
class Rows:
    """Checked lives with their design matrix.

    ``log_lower`` and ``log_upper`` are those of rows known to have failed between two ages
    (``-inf`` and up), blank (nan) elsewhere; ``log_entry`` is ``-inf`` where watched from age 0.
    """

    log_exit: Array
    failed: NDArray[np.bool_]
    weight: Array
    log_entry: Array
    log_lower: Array
    log_upper: Array
    design: Array

    @property
    def between(self) -> NDArray[np.bool_]:
        """Rows known to have failed between two ages."""
        found: NDArray[np.bool_] = ~np.isnan(self.log_upper)
        return found


def logistic_density(z: Array) -> Derivatives:
    """Log density of the standard logistic, and its derivatives."""
    share = 1.0 / (1.0 + np.exp(-z))
    return z - 2.0 * np.logaddexp(0.0, z), 1.0 - 2.0 * share, -2.0 * share * (1.0 - share)


def logistic_survival(z: Array) -> Derivatives:
    """Log survival of the standard logistic, and its derivatives."""
    share = 1.0 / (1.0 + np.exp(-z))
    return -np.logaddexp(0.0, z), -share, -share * (1.0 - share)


LOG_DENSITY: dict[str, Callable[[Array], Derivatives]] = DENSITY | {
    "log-logistic": logistic_density
}
LOG_SURVIVAL: dict[str, Callable[[Array], Derivatives]] = SURVIVAL | {
    "log-logistic": logistic_survival
}


def loglik(law: str, theta: Array, rows: Rows) -> tuple[float, Array, Array]:
    """Log-likelihood of ages (not of log ages), its gradient and second derivatives.

    Parameters
    ----------
    law : {"weibull", "lognormal", "log-logistic"}
    theta : ndarray, shape (p + 1,)
        Coefficients of the location of log age, then log spread.
    rows : Rows
        ``design`` of shape (n, p).

    Notes
    -----
    An exact age adds log density, a survivor log survival at its exit, a life known to have
    ended between two ages the log of the difference of survival at both; each late entry
    subtracts the log survival at its entry.
    """
    p = rows.design.shape[1]
    spread = float(np.exp(theta[p]))
    location = rows.design @ theta[:p]
    value, gradient, hessian = 0.0, np.zeros(p + 1), np.zeros((p + 1, p + 1))
    between = rows.between
    late = np.isfinite(rows.log_entry)
    exact, alive = rows.failed & ~between, ~rows.failed & ~between
    parts = (
        (rows.log_exit, exact, 1.0, LOG_DENSITY[law]),
        (rows.log_exit, alive, 1.0, LOG_SURVIVAL[law]),
        (rows.log_entry, late, -1.0, LOG_SURVIVAL[law]),
    )
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        for log_age, which, sign, function in parts:
            if not which.any():
                continue
            weight = sign * rows.weight[which]
            z, slope, bend = _standard(log_age[which], rows.design[which], location[which], spread)
            f, first, second = function(z)
            value += float(weight @ f)
            gradient += (weight * first) @ slope
            hessian += (slope * (weight * second)[:, None]).T @ slope
            hessian += _bent(weight * first, bend)
        if between.any():
            added = _between(law, rows, between, location[between], spread)
            value, gradient, hessian = value + added[0], gradient + added[1], hessian + added[2]
    n_exact = float(rows.weight[exact].sum())
    value -= n_exact * float(theta[p]) + float(rows.weight[exact] @ rows.log_exit[exact])
    gradient[p] -= n_exact
    return value, gradient, hessian


def _standard(
    log_age: Array, design: Array, location: Array, spread: float
) -> tuple[Array, Array, Array]:
    """Standardised log age, its slope by the parameters, and what bends it (see `_bent`)."""
    z = (log_age - location) / spread
    slope = np.column_stack([-design / spread, -z])
    return z, slope, np.column_stack([design / spread, z])


def _bent(weight: Array, bend: Array) -> Array:
    """Sum over rows of weight times the second derivatives of z: by log spread only."""
    p = bend.shape[1] - 1
    out = np.zeros((p + 1, p + 1))
    out[:, p] = weight @ bend
    out[p, :] = out[:, p]
    return out


def _between(
    law: str, rows: Rows, which: NDArray[np.bool_], location: Array, spread: float
) -> tuple[float, Array, Array]:
    """Lives known to have ended between two ages: log of the fall of survival between them."""
    weight, design = rows.weight[which], rows.design[which]
    lower, upper = rows.log_lower[which], rows.log_upper[which]
    # survival at age 0 is 1 whatever the law: any far z gives it, and its slope is 0 there
    start = np.isneginf(lower)
    z_low, slope_low, bend_low = _standard(np.where(start, 0.0, lower), design, location, spread)
    z_high, slope_high, bend_high = _standard(upper, design, location, spread)
    s_low, d_low, b_low = _survival(law, z_low)
    s_low, d_low, b_low = (
        np.where(start, 1.0, s_low), np.where(start, 0.0, d_low), np.where(start, 0.0, b_low)
    )  # fmt: skip
    s_high, d_high, b_high = _survival(law, z_high)
    fall = s_low - s_high
    a, b = d_low / fall, -d_high / fall
    value = float(weight @ np.log(fall))
    gradient = (weight * a) @ slope_low + (weight * b) @ slope_high
    hessian = (slope_low * (weight * (b_low / fall - a * a))[:, None]).T @ slope_low
    hessian += (slope_high * (weight * (-b_high / fall - b * b))[:, None]).T @ slope_high
    cross = (slope_low * (weight * (-a * b))[:, None]).T @ slope_high
    hessian += cross + cross.T + _bent(weight * a, bend_low) + _bent(weight * b, bend_high)
    return value, gradient, hessian


def _survival(law: str, z: Array) -> Derivatives:
    """Survival, and its first and second derivative by z."""
    log_s, first, second = LOG_SURVIVAL[law](z)
    s = np.exp(log_s)
    return s, s * first, s * (second + first * first)


def climb(
    law: str, start: Array, rows: Rows, held: NDArray[np.bool_], steps: int = 200
) -> tuple[Array, float, Array, bool]:
    """Climb by damped Newton steps over the parameters that are not held.

    Returns
    -------
    theta, value, hessian (of the free ones), converged
    """
    free = ~held
    here = start.copy()
    value, gradient, hessian = loglik(law, here, rows)
    moved = np.inf
    for _ in range(steps):
        inner = hessian[np.ix_(free, free)]
        down = bool(np.all(np.isfinite(inner)) and np.all(np.linalg.eigvalsh(inner) < 0))
        way = gradient[free]
        step = np.asarray(-np.linalg.solve(inner, way) if down else way / max(abs(way).max(), 1.0))
        size = min(1.0, 5.0 / max(float(np.abs(step).max()), 1e-300))
        risen = False
        while size > 1e-12 and not risen:
            there = here.copy()
            there[free] += size * step
            after = loglik(law, there, rows)
            risen = bool(np.isfinite(after[0]) and after[0] >= value - 1e-12 * abs(value))
            size /= 2.0
        if not risen:
            break
        moved = float((np.abs(there - here) / (1.0 + np.abs(here))).max())
        here, (value, gradient, hessian) = there, after
        if moved < 1e-11:
            break
    inner = hessian[np.ix_(free, free)]
    top = bool(np.all(np.isfinite(inner)) and np.all(np.linalg.eigvalsh(inner) < 0))
    return here, value, inner, top and moved < 1e-7
