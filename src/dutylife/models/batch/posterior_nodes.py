"""Weighted nodes of (log shape, log scale) that stand for what a small cell says of its law."""

import numpy as np

from dutylife.models.batch.blocks import Block
from dutylife.models.batch.posterior_modes import Prior, posterior_modes
from dutylife.models.checks import Array

N_SHAPES, N_SCALES, WIDER = 15, 19, 1.15
_FALLEN = 15.0  # of log density, where the nodes over log scale end: 3e-7 of the top
_CELLS_A_BATCH = 512  # 15 nodes of that many cells stay in a core's own cache,
_CELLS_A_PIECE = 64  # and 15 x 19 nodes of that many


def nodes(block: Block, prior: Prior) -> tuple[Array, Array, Array, Array]:
    """Log shapes (n_cells, 15), lines of log scale, weights (n_cells, 15, 19), and sums.

    Log scales lie at even steps: a line tells the first and the step, shape (n_cells, 15, 2). Sums
    over the scales, shape (3, n_cells, 15): weight, and mean and variance of log scale.
    """
    n = block.n_cells
    q_top, _, width = posterior_modes(block, prior)
    x, w = np.polynomial.hermite.hermgauss(N_SHAPES)
    wide = np.sqrt(2.0) * WIDER * width
    q = q_top[:, None] + wide[:, None] * x
    log_w = (np.log(w) + x * x) + np.log(wide)[:, None]
    scale, weight = np.empty((n, N_SHAPES, 2)), np.empty((n, N_SHAPES, N_SCALES))
    buffer = np.empty((_CELLS_A_PIECE, N_SHAPES, N_SCALES))
    sums = np.empty((3, n, N_SHAPES))
    with np.errstate(all="ignore"):
        s0 = block.lived(np.exp(q))
        for first in range(0, n, _CELLS_A_BATCH):
            some = slice(first, min(first + _CELLS_A_BATCH, n))
            lines = _lines(block, prior, some, q[some], s0[some], log_w[some])
            scale[some] = lines[2]
            for start in range(first, some.stop, _CELLS_A_PIECE):
                piece = slice(start, min(start + _CELLS_A_PIECE, some.stop))
                own = [v[start - first : piece.stop - first] for v in lines]
                sums[:, piece] = _noted(own, buffer[: len(own[0])], weight[piece])
    return q, scale, weight, sums


# powers of the number of a node, shape (3, 19): what is a polynomial in it is a matrix product
POWERS = np.arange(N_SCALES, dtype=float) ** np.arange(3.0)[:, None]


def _lines(
    block: Block, prior: Prior, some: slice, q: Array, s0: Array, log_w: Array
) -> list[Array]:
    """Polynomials in the number of the node over log scale, (cells, 15, 2, 3 and 2) each.

    They tell the log cumulative hazard added up, the rest of the log density, and log scale.
    """
    k, log_s0 = np.exp(q), np.log(s0)
    d, log_failed = block.failures[some, None], block.log_failed[some, None]
    middle, variance = prior.of_scale(q, some)
    target, precision = -k * middle, 1.0 / (variance * k * k)  # of b, by the prior
    # between the best b of the lives and that of the prior, by what each has to say
    b = (d * (np.log(d + 0.5) - log_s0) + precision * target) / (d + precision)
    b = np.minimum(b, np.log(d + 1.0 + precision * (1.0 + np.abs(target + log_s0))) - log_s0)
    for _ in range(60):
        hazard = np.exp(b + log_s0)
        step = (d - hazard - precision * (b - target)) / (hazard + precision)
        step = np.clip(step, -2.0, 2.0)
        b = b + step
        if not (np.abs(step) > 1e-4).any():  # the nodes have only to stand near the top
            break
    # at b + x the log density has fallen by fall(x) = H (e^x - 1 - x) + precision x^2 / 2
    hazard = np.exp(b + log_s0)
    tilt = d - precision * (b - target)  # with what the steps have left of the slope
    low, high = _reach(hazard, precision)
    gap = (high - low) / (N_SCALES - 1)
    # the step in log scale is that in b over k; the prior of log scale has its own width
    top = log_w + d * (q + b) + k * log_failed + prior.log_of_shape(q, some)
    top += np.log(gap) - q - 0.5 * np.log(variance) - 0.5 * precision * (b - target) ** 2
    top -= (top - hazard).max(axis=1)[:, None]
    rest = np.stack([
        top + (tilt - 0.5 * precision * low) * low, (tilt - precision * low) * gap,
        -0.5 * precision * gap * gap,
    ], axis=2)  # fmt: skip
    scale = np.stack([prior.centre[some, None] - (b + low) / k, -gap / k], axis=2)
    return [np.stack([b + log_s0 + low, gap], axis=2), rest, scale]


def _noted(lines: list[Array], hazard: Array, weight: Array) -> Array:
    """Fill in the weights of some cells; their sums, as `nodes` tells them."""
    lived, rest, scale = lines
    np.matmul(lived, POWERS[:2], out=hazard)
    np.exp(hazard, out=hazard)
    np.matmul(rest, POWERS, out=weight)
    weight -= hazard
    np.exp(weight, out=weight)
    moments = weight @ POWERS.T
    whole = 1.0 / moments[:, :, 0].sum(axis=1)
    weight *= whole[:, None, None]
    mean = moments[:, :, 1] / moments[:, :, 0]
    variance = moments[:, :, 2] / moments[:, :, 0] - mean * mean
    step = scale[:, :, 1]
    return np.stack([
        moments[:, :, 0] * whole[:, None], scale[:, :, 0] + step * mean, step * step * variance,
    ])  # fmt: skip


def _reach(hazard: Array, precision: Array) -> tuple[Array, Array]:
    """How far to either side of the top the log density has fallen by `_FALLEN`.

    From points beyond, Newton steps come back without passing, since the fall is convex.
    """
    low = np.maximum(-np.sqrt(2.0 * _FALLEN / precision), -1.0 - _FALLEN / hazard)
    high = np.minimum(
        np.sqrt(2.0 * _FALLEN / (hazard + precision)), np.log1p(_FALLEN / hazard) + 1.2
    )
    ends = []
    for x in (low, high):
        for _ in range(4):
            grown = np.expm1(x)
            fall = hazard * (grown - x) + 0.5 * precision * x * x
            x = x - (fall - _FALLEN) / (hazard * grown + precision * x)
        ends.append(x)
    return ends[0], ends[1]
