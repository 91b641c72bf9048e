"""For a shape, the scale that suits the lives of each cell best: the profile of the likelihood."""

import numpy as np

from dutylife.models.batch.blocks import Block
from dutylife.models.batch.surface import Surface, from_sums
from dutylife.models.checks import Array


def profile(block: Block, q: Array) -> tuple[Array, Array, Array, Array]:
    """Without failures between two ages: b of the best scale, and the profile's value and slopes.

    The best scale for a shape is known in closed form: exp(-b) = S0 / failures.
    """
    shape, d = np.exp(q), block.failures
    s0, s1, s2 = block.sums(shape)
    ratio = s1 / s0
    inner = block.log_failed - d * ratio
    slope = d + shape * inner
    bend = shape * inner - d * shape * shape * (s2 / s0 - ratio * ratio)
    b = np.log(d) - np.log(s0)
    return b, d * (q + b) + shape * block.log_failed - d, slope, bend


def first_b(block: Block, q: Array) -> Array:
    """Best b if each failure between two ages had come at the upper one."""
    kind, shape = block.between, np.exp(q)
    weight = 1.0 if kind.weight is None else kind.weight
    high = np.exp(kind.spread(shape) * kind.log_age[1])
    lived = block.moments(shape, 0)[0] + kind.total(weight * high, block.n_cells)
    first: Array = np.log(block.rows_failed) - np.log(lived)
    return first


def best_b(block: Block, q: Array) -> Array:
    """Best b for each shape; concave in b whatever the rows."""
    with np.errstate(all="ignore"):
        if not block.has_between:
            return np.asarray(np.log(block.failures) - np.log(block.moments(np.exp(q), 0)[0]))
        return best_b_between(block, q, block.sums(np.exp(q)), first_b(block, q))[0]


def best_b_between(
    block: Block,
    q: Array,
    sums: tuple[Array, Array, Array],
    b: Array,
    within: float = 1e-7,
    most: int = 100,
) -> tuple[Array, Surface]:
    """Best b from a first guess, the last step ``within`` it, and the surface, the sums known.

    Newton steps, halving what is known to hold the best b where a step leaves it.
    """
    shape = np.exp(q)
    low, high = _held_between(block, shape, sums[0])
    b = np.clip(b, low, high)
    for _ in range(most):
        at = from_sums(block, q, b, shape, sums)
        rises = at.b > 0
        low, high = np.where(rises, b, low), np.where(rises, high, b)
        to = b - at.b / at.bb
        to = np.where((to > low) & (to < high), to, 0.5 * (low + high))
        if not (np.abs(to - b) > within).any():
            break
        b = to
    return b, at


def _held_between(block: Block, shape: Array, s0: Array) -> tuple[Array, Array]:
    """Ends that hold the best b: had each failure come at its later, or at its earlier age.

    Where the earlier age is the entry and nothing else is known, the likelihood rises to a level
    as b grows: it is there, to the last digit, where H at the later age is 60.
    """
    kind = block.between
    weight = np.ones(kind.log_age.shape[1]) if kind.weight is None else kind.weight
    k = kind.spread(shape)
    total = block.failures + kind.total(weight, block.n_cells)
    early, late, since = (
        kind.total(weight * np.exp(k * kind.log_age[j]), block.n_cells) for j in range(3)
    )
    low = np.log(total) - np.log(s0 + late - since)
    high = np.log(total) - np.log(np.maximum(s0 + early - since, 0.0))
    level = np.full(block.n_cells, np.inf)
    level[kind.cells] = np.minimum.reduceat(k * kind.log_age[1], kind.starts)
    high = np.where(np.isfinite(high), high, np.log(60.0) - level)
    return low, np.maximum(high, low)
