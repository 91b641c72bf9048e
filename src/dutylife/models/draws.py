"""Weighted draws of a Weibull law, and the stated prior of a law nothing is known of."""

from dataclasses import dataclass

import numpy as np

from dutylife.models.checks import Array

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


@dataclass(frozen=True, slots=True)
class Prior:
    """Normal law of log shape and of the log of the age by which 10 % have failed.

    ``mean`` has shape (2,), ``covariance`` (2, 2).
    """

    mean: Array
    covariance: Array

    def log_density(self, at: Array) -> Array:
        """Log density, up to a constant, of points of shape (n, 2)."""
        off = at - self.mean
        squared = np.einsum("ij,jk,ik->i", off, np.linalg.inv(self.covariance), off)
        return np.asarray(-0.5 * squared)
