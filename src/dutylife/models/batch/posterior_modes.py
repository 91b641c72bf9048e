"""The top of each cell's likelihood times a normal prior, and how wide it is in log shape."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.batch.blocks import Block
from dutylife.models.batch.series import Series
from dutylife.models.batch.surface import from_sums
from dutylife.models.checks import Array

_MOST_SERIES, _STEPS = 8, 6
_NEAR = 1e-4  # slope times width: a top so near serves as the middle of the nodes


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """Normal prior of (log shape, log scale); ``shape`` and ``scale``: means, shape (n_cells,).

    ``scale`` is relative to ``centre``, the greatest log age of each cell, as the lives are.
    """

    shape: Array
    scale: Array
    centre: Array
    cov: Array

    @classmethod
    def of(cls, mean: ArrayLike, cov: ArrayLike, centre: Array) -> "Prior":
        """Checked, one mean for each cell."""
        both, spread = np.asarray(cov, dtype=float), np.asarray(mean, dtype=float)
        good = both.shape == (2, 2) and np.isfinite(both).all() and np.allclose(both, both.T)
        if not good or both[0, 0] <= 0 or np.linalg.det(both) <= 0:
            raise FitError(
                "The covariance of the prior is not positive definite.",
                "cell_posteriors(cov), of log shape and log scale",
                "give variances above 0 and a correlation between -1 and 1",
            )
        if spread.shape not in ((2,), (len(centre), 2)) or not np.isfinite(spread).all():
            raise FitError(
                f"The prior's mean has shape {spread.shape}.", "cell_posteriors(mean)",
                "give log shape and log scale, once or for each cell",
            )  # fmt: skip
        means = np.broadcast_to(spread, (len(centre), 2))
        return cls(means[:, 0].copy(), means[:, 1] - centre, centre, both)

    def of_scale(self, q: Array, some: slice) -> tuple[Array, Array]:
        """Mean (relative) and variance of log scale, the log shapes given; shape (cells, m)."""
        turn = self.cov[0, 1] / self.cov[0, 0]
        variance = self.cov[1, 1] - turn * self.cov[0, 1]
        middle = self.scale[some, None] + turn * (q - self.shape[some, None])
        return middle, np.full_like(q, variance)

    def log_of_shape(self, q: Array, some: slice) -> Array:
        """Log density of log shape, up to a constant."""
        return np.asarray(-0.5 * (q - self.shape[some, None]) ** 2 / self.cov[0, 0])


def posterior_modes(block: Block, prior: Prior) -> tuple[Array, Array, Array]:
    """Log shape and b at the top in every cell, and the width by log shape; shape (n_cells,) each.

    Newton steps on series of the sums; a cell that finds no top within eight series keeps the place
    of greatest density it came to, with the prior's width.
    """
    n = block.n_cells
    q, b = prior.shape.copy(), np.zeros(n)
    width = np.full(n, np.sqrt(prior.cov[0, 0]))
    todo, piece = np.arange(n), block
    inverse: Array = np.linalg.inv(prior.cov).astype(float)
    with np.errstate(all="ignore"):
        for turn in range(_MOST_SERIES):
            series = Series.about(piece, q[todo])
            if turn == 0:
                lived = series.terms[0]
                d, k = block.failures, np.exp(q)
                target, precision = -k * prior.scale, 1.0 / (prior.cov[1, 1] * k * k)
                b = (d * np.log((d + 0.5) / lived) + precision * target) / (d + precision)
                b = np.minimum(b, np.log((d + 5.0 + precision * np.abs(target)) / lived))
            q[todo], b[todo], found, near = _stepped(
                piece, series, (q[todo], b[todo]), (prior.shape[todo], prior.scale[todo]), inverse
            )
            good = np.isfinite(found) & (found > 0)
            width[todo[good]] = np.minimum(found[good], 1.5 * np.sqrt(prior.cov[0, 0]))
            if near.all():
                break
            if (~near).sum() < 0.7 * len(todo):
                todo, piece = todo[~near], piece.of(~near)
    return q, b, width


def _stepped(
    block: Block, series: Series, at: tuple[Array, Array], mean: tuple[Array, Array], inverse: Array
) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    (q, b), (mean_q, mean_s) = at, mean
    for step_number in range(_STEPS + 1):
        shape = np.exp(q)
        here = from_sums(block, q, b, shape, series.sums(shape))
        u = -b / shape  # log scale, relative
        off_q, off_s = q - mean_q, u - mean_s
        pull_q = inverse[0, 0] * off_q + inverse[0, 1] * off_s
        pull_s = inverse[0, 1] * off_q + inverse[1, 1] * off_s
        by_q, by_b = here.q - pull_q + pull_s * u, here.b + pull_s / shape
        # du/dq = -u, du/db = -1 / shape
        qq = here.qq - inverse[0, 0] + 2.0 * inverse[0, 1] * u - inverse[1, 1] * u * u - pull_s * u
        qb = here.qb + inverse[0, 1] / shape - inverse[1, 1] * u / shape - pull_s / shape
        bb = here.bb - inverse[1, 1] / shape**2
        determinant = qq * bb - qb * qb
        down = (determinant > 0) & (bb < 0)
        profile = np.where(down, -determinant / bb, inverse[0, 0])
        width = 1.0 / np.sqrt(np.maximum(profile, inverse[0, 0] * 0.2))
        step_q = np.where(down, -(bb * by_q - qb * by_b) / determinant, 0.3 * np.sign(by_q))
        step_b = np.where(down, -(qq * by_b - qb * by_q) / determinant, -by_b / bb)
        far = np.maximum(np.maximum(np.abs(step_q) / 0.7, np.abs(step_b) / 2.0), 1.0)
        near = down & (np.abs(step_q) < _NEAR * width) & np.isfinite(step_q)
        if step_number == _STEPS or (~near).sum() <= 0.02 * len(near):
            break
        step_q, step_b = np.nan_to_num(step_q / far), np.nan_to_num(step_b / far)
        q, b = series.within(q + step_q), b + step_b
    return q, b, width, near & (np.abs(q - series.middle) < 0.35)
