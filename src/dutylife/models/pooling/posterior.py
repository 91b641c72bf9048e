"""What is known of the law of a cell: chances over a grid of log shape and log scale."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.models.checks import Array
from dutylife.models.draws import Draws, Prior
from dutylife.models.pooling.grids import CellGrid

N_CUTS = 8  # of log shape, and of log scale in each: 64 draws


@dataclass(frozen=True, slots=True, eq=False)
class CellPosterior:
    """Chances ``weight`` of shape (n_q, n_s), adding up to 1, over ``q`` and ``s``."""

    q: Array
    s: Array
    weight: NDArray[np.float64]

    @property
    def points(self) -> Draws:
        """Every point of the grid as a weighted draw."""
        log_shape, log_scale = np.meshgrid(self.q, self.s, indexing="ij")
        return Draws(log_shape.ravel(), log_scale.ravel(), self.weight.ravel())

    def moments(self) -> tuple[Array, Array]:
        """Mean (2,) and covariance (2, 2) of log shape and log scale."""
        by_q, by_s = self.weight.sum(axis=1), self.weight.sum(axis=0)
        mean = np.array([by_q @ self.q, by_s @ self.s])
        off_q, off_s = self.q - mean[0], self.s - mean[1]
        both = float(off_q @ self.weight @ off_s)
        covariance = np.array([[by_q @ off_q**2, both], [both, by_s @ off_s**2]])
        return mean, covariance

    def range_of(self, what: str, level: float) -> tuple[float, float, float]:
        """Lower bound, median and upper bound of a figure; see `Draws.range_of`."""
        if what == "shape":
            by_q = self.weight.sum(axis=1)
            return Draws(self.q, np.zeros_like(self.q), by_q).range_of(what, level)
        if what == "scale":
            by_s = self.weight.sum(axis=0)
            return Draws(np.zeros_like(self.s), self.s, by_s).range_of(what, level)
        return self.points.range_of(what, level)

    def draws(self) -> Draws:
        """64 draws of equal weight: means of equal shares, mean and covariance met exactly.

        The grid is cut into eight equal shares by log shape and each of these by log scale.
        """
        by_q = _equal_shares(self.weight.sum(axis=1))
        out = []
        with np.errstate(invalid="ignore", divide="ignore"):
            for share in by_q:
                # part of each row of the grid that falls into this share
                part = np.nan_to_num(share / self.weight.sum(axis=1))
                rows = part[:, None] * self.weight
                by_s, q_of_s = rows.sum(axis=0), self.q @ rows
                for inner in _equal_shares(by_s):
                    total = inner.sum()
                    mean_q = np.nan_to_num(inner * q_of_s / by_s).sum() / total
                    out.append((mean_q, inner @ self.s / total))
        found = np.array(out)
        mean, covariance = self.moments()
        off = found - found.mean(axis=0)
        now = np.linalg.cholesky(off.T @ off / len(off))
        found = mean + off @ np.linalg.inv(now).T @ np.linalg.cholesky(covariance).T
        # the last digits depend on the machine; an interval must not turn on them
        found = np.round(found, 11)
        return Draws(found[:, 0], found[:, 1], np.full(len(found), 1.0 / len(found)))


def _equal_shares(weight: Array) -> NDArray[np.float64]:
    """Cut weights along their order into `N_CUTS` equal totals; shape (N_CUTS, n)."""
    edges = np.concatenate([[0.0], np.cumsum(weight)])
    cuts = np.linspace(0.0, edges[-1], N_CUTS + 1)
    inside = np.clip(edges[None, :], cuts[:-1, None], cuts[1:, None])
    return np.diff(inside, axis=1)


def alone(grid: CellGrid, prior: Prior) -> CellPosterior:
    """What a prior and a cell's own lives say together, customers alike."""
    q, s = np.meshgrid(grid.q, grid.s, indexing="ij")
    age = s + np.log(-np.log(0.9)) / np.exp(q)  # by which one in ten has failed
    density = prior.log_density(np.column_stack([q.ravel(), age.ravel()])).reshape(q.shape)
    value = grid.values[0] + density
    weight = np.exp(value - value.max())
    return CellPosterior(grid.q, grid.s, weight / weight.sum())
