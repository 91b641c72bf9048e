"""Weighted draws of a Weibull law: from a fit, or from a prior moved by the lives seen."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.models.cells import CellLives
from dutylife.models.checks import Array

N_DRAWS = 64
N_CANDIDATES = 1024
WIDER = 1.3  # candidates are spread that much wider than the surface curves at its top
SMALLEST_SHAPE, LARGEST_SHAPE = 0.2, 10.0


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws of log shape and log scale with their weights, which add up to 1."""

    log_shape: Array
    log_scale: Array
    weight: Array

    @property
    def shape(self) -> Array:
        """Shapes, within `SMALLEST_SHAPE` and `LARGEST_SHAPE` [1]."""
        return np.clip(np.exp(self.log_shape), SMALLEST_SHAPE, LARGEST_SHAPE)

    @property
    def scale(self) -> Array:
        """Scales [age]."""
        return np.exp(self.log_scale)

    def figures(self) -> dict[str, Array]:
        """Shape, scale, b10, b50 and mean of each draw."""
        from scipy.special import gamma

        shape, scale = self.shape, self.scale
        return {
            "shape": shape,
            "scale": scale,
            "b10": scale * (-np.log(0.9)) ** (1.0 / shape),
            "b50": scale * np.log(2.0) ** (1.0 / shape),
            "mean": scale * gamma(1.0 + 1.0 / shape),
        }

    def range_of(self, what: str, level: float) -> tuple[float, float, float]:
        """Lower bound, median and upper bound of a figure over the draws."""
        values = self.figures()[what]
        order = np.argsort(values, kind="stable")
        share = np.cumsum(self.weight[order]) - 0.5 * self.weight[order]
        ends = np.array([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
        low, middle, high = np.exp(np.interp(ends, share, np.log(values[order])))
        return float(low), float(middle), float(high)

    @property
    def effective(self) -> float:
        """Number of equal draws worth as much as these weighted ones."""
        return float(1.0 / np.square(self.weight).sum())

    def thinned(self, seed: int, n: int = N_DRAWS) -> "Draws":
        """``n`` draws of equal weight that stand for these: systematic choice along log scale."""
        order = np.lexsort((self.log_shape, self.log_scale))
        edges = np.cumsum(self.weight[order])
        at = (np.arange(n) + np.random.default_rng(seed).uniform()) / n
        chosen = order[np.minimum(np.searchsorted(edges, at * edges[-1]), len(order) - 1)]
        return Draws(self.log_shape[chosen], self.log_scale[chosen], np.full(n, 1.0 / n))


def normal_draws(
    mean: Array, covariance: NDArray[np.float64], seed: int, n: int = N_DRAWS
) -> Draws:
    """Draws of (log shape, log scale) from a normal law, its mean and covariance met exactly.

    Parameters
    ----------
    mean : ndarray, shape (2,)
    covariance : ndarray, shape (2, 2)
    seed : int
        Orders the second coordinate against the first.

    Notes
    -----
    Both coordinates are spread evenly over their quantiles (a Latin hypercube), then brought to
    mean 0 and unit covariance, so that 64 draws carry what thousands of plain ones would.
    """
    from scipy.special import ndtri

    even = ndtri((np.arange(n) + 0.5) / n)
    order = np.random.default_rng(seed).permutation(n)
    z = np.column_stack([even, even[order]])
    z = z - z.mean(axis=0)
    z = z @ np.linalg.inv(np.linalg.cholesky(np.cov(z.T, bias=True))).T
    # the symmetric root, so that neither coordinate is favoured
    values, vectors = np.linalg.eigh(covariance)
    root = vectors @ np.diag(np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    found = mean + z @ root
    return Draws(found[:, 0], found[:, 1], np.full(n, 1.0 / n))


@dataclass(frozen=True, slots=True)
class Prior:
    """Normal law of log shape and of the log of an age: the scale, or the age of 10 % failed.

    ``mean`` has shape (2,), ``covariance`` (2, 2).
    """

    mean: Array
    covariance: Array
    is_b10: bool

    def log_scale(self, log_shape: Array, log_age: Array) -> Array:
        """Log scale behind a log shape and the log of the age the prior tells of."""
        if not self.is_b10:
            return log_age
        shape = np.clip(np.exp(log_shape), SMALLEST_SHAPE, LARGEST_SHAPE)
        return log_age - math.log(-math.log(0.9)) / shape

    def log_density(self, at: Array) -> Array:
        """Log density, up to a constant, of points of shape (n, 2)."""
        off = at - self.mean
        squared = np.einsum("ij,jk,ik->i", off, np.linalg.inv(self.covariance), off)
        return np.asarray(-0.5 * squared)

    def draws(self, seed: int, n: int = N_CANDIDATES) -> Draws:
        """Draws of the prior itself."""
        plain = normal_draws(self.mean, self.covariance, seed, n)
        log_scale = self.log_scale(plain.log_shape, plain.log_scale)
        return Draws(plain.log_shape, log_scale, plain.weight)


def moved_by(prior: Prior, lives: CellLives, seed: int) -> Draws:
    """Draws of what the prior and the lives seen say together.

    Candidates are spread around the most likely point, a little wider than the surface there
    curves, and weighted by prior x likelihood / density of the candidates; so lives that disagree
    with the prior still leave many draws of some weight.
    """
    from scipy.optimize import minimize

    if lives.n_lives == 0:
        return prior.draws(seed)

    def value(at: Array) -> Array:
        log_scale = prior.log_scale(at[:, 0], at[:, 1])
        return prior.log_density(at) + _loglik(at[:, 0], log_scale, lives)

    best = minimize(
        lambda x: -float(value(x[None, :])[0]),
        prior.mean,
        method="Nelder-Mead",
        options={"xatol": 1e-5, "fatol": 1e-7, "maxiter": 1000},
    )
    around = WIDER**2 * _curvature(value, best.x, prior)
    candidates = normal_draws(best.x, around, seed, N_CANDIDATES)
    at = np.column_stack([candidates.log_shape, candidates.log_scale])
    own = Prior(best.x, around, is_b10=False).log_density(at)
    log_weight = value(at) - own
    weight = np.exp(log_weight - log_weight.max())
    log_scale = prior.log_scale(candidates.log_shape, candidates.log_scale)
    return Draws(candidates.log_shape, log_scale, weight / weight.sum())


def _curvature(value: Callable[[Array], Array], at: Array, prior: Prior) -> Array:
    """Covariance of a normal law that curves like the surface at its top; at most the prior's."""
    step = 0.02 * np.sqrt(np.diag(prior.covariance))
    corners = [(i, j) for i in (1, 0, -1) for j in (1, 0, -1)]
    f = dict(zip(corners, value(at + np.array(corners) * step), strict=True))
    first = (f[1, 0] - 2 * f[0, 0] + f[-1, 0]) / step[0] ** 2
    second = (f[0, 1] - 2 * f[0, 0] + f[0, -1]) / step[1] ** 2
    cross = (f[1, 1] - f[1, -1] - f[-1, 1] + f[-1, -1]) / (4 * step[0] * step[1])
    precision = -np.array([[first, cross], [cross, second]])
    if not np.all(np.isfinite(precision)) or np.any(np.linalg.eigvalsh(precision) <= 0):
        return prior.covariance
    return np.linalg.inv(precision)


def _loglik(log_shape: Array, log_scale: Array, lives: CellLives) -> Array:
    """Weibull log-likelihood of the lives for each pair of parameters, shape (n,)."""
    shape = np.clip(np.exp(log_shape), SMALLEST_SHAPE, LARGEST_SHAPE)[:, None]
    scale = log_scale[:, None]

    def hazard(age: Array) -> Array:
        with np.errstate(divide="ignore"):
            return np.exp(np.minimum(shape * (np.log(age)[None, :] - scale), 500.0))

    known, found = lives.event & ~lives.found, lives.found
    failed_at, cause = lives.exit[known], lives.weight[known]
    log_rate = np.log(shape) - shape * scale + (shape - 1.0) * np.log(failed_at)[None, :]
    late = lives.entry > 0
    value = log_rate @ cause - hazard(lives.exit[~found]) @ lives.weight[~found]
    value = value + hazard(lives.entry[late]) @ lives.weight[late]
    if found.any() and lives.lower is not None:
        sooner = hazard(lives.lower[found])
        # at least the smallest step, so that a law far off stays finite
        step = np.maximum(hazard(lives.exit[found]) - sooner, 1e-300)
        value = value + (np.log(-np.expm1(-step)) - sooner) @ lives.weight[found]
    return np.asarray(value)
