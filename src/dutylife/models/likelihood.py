"""Log-likelihood of Weibull and lognormal lives, both as a location and a spread of log age."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# value, first and second derivative of a function of the standardised log age z
Derivatives = tuple[Array, Array, Array]


@dataclass(frozen=True, slots=True)
class Lives:
    """Checked lives: exits and failures of shape (n,), late entries compressed.

    ``log_entry`` and ``entry_weight`` hold only the rows that entered late, since a life watched
    from age 0 needs no condition on having lived so far.
    """

    log_exit: Array
    failed: NDArray[np.bool_]
    weight: Array
    log_entry: Array
    entry_weight: Array

    @property
    def failures(self) -> float:
        """Sum of the weights of the failures [1]."""
        return float(self.weight[self.failed].sum())


def packed(ages: Array, failed: NDArray[np.bool_], starts: Array, shares: Array) -> Lives:
    """Lives as the likelihood takes them."""
    late = starts > 0
    return Lives(np.log(ages), failed, shares, np.log(starts[late]), shares[late])


def weibull_density(z: Array) -> Derivatives:
    """Log density of the smallest extreme value, and its derivatives."""
    e = np.exp(z)
    return z - e, 1.0 - e, -e


def weibull_survival(z: Array) -> Derivatives:
    """Log survival of the smallest extreme value, and its derivatives."""
    e = np.exp(z)
    return -e, -e, -e


def lognormal_density(z: Array) -> Derivatives:
    """Log density of the standard normal, and its derivatives."""
    return -0.5 * z * z - 0.5 * np.log(2.0 * np.pi), -z, -np.ones_like(z)


def lognormal_survival(z: Array) -> Derivatives:
    """Log survival of the standard normal, and its derivatives."""
    from scipy.special import log_ndtr

    log_s: Array = log_ndtr(-z)
    hazard = np.exp(-0.5 * z * z - 0.5 * np.log(2.0 * np.pi) - log_s)
    return log_s, -hazard, -hazard * (hazard - z)


DENSITY: dict[str, Callable[[Array], Derivatives]] = {
    "weibull": weibull_density,
    "lognormal": lognormal_density,
}
SURVIVAL: dict[str, Callable[[Array], Derivatives]] = {
    "weibull": weibull_survival,
    "lognormal": lognormal_survival,
}


def loglik(
    law: str, location: float, log_spread: float, lives: Lives
) -> tuple[float, Array, Array]:
    """Log-likelihood, its gradient and its second derivatives.

    Parameters
    ----------
    law : str
        ``weibull`` or ``lognormal``.
    location, log_spread : float
        Of log age: z = (log age - location) / exp(log_spread). For a Weibull law the location is
        log scale and the spread 1 / shape.
    lives : Lives

    Returns
    -------
    value : float
    gradient : ndarray, shape (2,)
        By location and log spread.
    hessian : ndarray, shape (2, 2)

    Notes
    -----
    A failure adds log density, a survivor log survival; each late entry subtracts the log survival
    at its entry. With dz/dlocation = -1/spread and dz/dlog_spread = -z the chain rule gives the
    rest.
    """
    spread = np.exp(log_spread)
    value, gradient, hessian = 0.0, np.zeros(2), np.zeros((2, 2))
    failed = lives.failed
    parts = (
        (lives.log_exit[failed], lives.weight[failed], DENSITY[law]),
        (lives.log_exit[~failed], lives.weight[~failed], SURVIVAL[law]),
        (lives.log_entry, -lives.entry_weight, SURVIVAL[law]),
    )
    with np.errstate(over="ignore", invalid="ignore"):
        for log_age, weight, function in parts:
            z = (log_age - location) / spread
            f, first, second = function(z)
            value += float(weight @ f)
            gradient += [-(weight @ first) / spread, -(weight @ (z * first))]
            cross = (weight @ (first + z * second)) / spread
            hessian += [
                [(weight @ second) / spread**2, cross],
                [cross, weight @ (z * first + z * z * second)],
            ]
    value -= lives.failures * log_spread
    value -= float(lives.weight[failed] @ lives.log_exit[failed])
    gradient[1] -= lives.failures
    return value, gradient, hessian


@dataclass(frozen=True, slots=True)
class Maximum:
    """Where climbing ended; ``converged`` when it is a maximum and the last step was tiny."""

    location: float
    log_spread: float
    value: float
    hessian: Array
    converged: bool


def polish(law: str, location: float, log_spread: float, lives: Lives, steps: int = 100) -> Maximum:
    """Climb from a start to the maximum by damped Newton steps."""
    here = np.array([location, log_spread])
    value, gradient, hessian = loglik(law, location, log_spread, lives)
    moved = np.inf
    for _ in range(steps):
        step = _uphill(gradient, hessian)
        size = 1.0
        while size > 1e-6:
            there = here + size * step
            after = loglik(law, float(there[0]), float(there[1]), lives)
            if np.isfinite(after[0]) and after[0] >= value - 1e-12 * abs(value):
                break
            size /= 2.0
        else:
            break
        here, (value, gradient, hessian) = there, after
        moved = float(np.abs(size * step).max())
        if moved < 1e-11:
            break
    is_maximum = _curves_down(hessian)
    return Maximum(
        float(here[0]), float(here[1]), value, hessian, bool(is_maximum and moved < 1e-7)
    )


def _curves_down(hessian: Array) -> bool:
    return bool(np.all(np.isfinite(hessian)) and np.all(np.linalg.eigvalsh(hessian) < 0))


def _uphill(gradient: Array, hessian: Array) -> Array:
    """Newton step where the surface curves down, else along the gradient; never longer than 1."""
    newton = _curves_down(hessian)
    step = np.asarray(-np.linalg.solve(hessian, gradient) if newton else gradient, dtype=np.float64)
    longest = float(np.abs(step).max())
    return step / max(longest, 1.0)
