"""The log-likelihood of each cell by log shape q and b = -shape x log scale, with derivatives.

In (shape, b) the terms of exact ages, survivors and failures between two ages are concave; only
those of late entries are not. A constant, the sum of log ages of the failures, is left out.
"""

from dataclasses import dataclass

import numpy as np

from dutylife.models.batch.blocks import Block
from dutylife.models.checks import Array

HIGHEST = 300.0  # of a log cumulative hazard: far beyond it the surface is flat at nothing
LOWEST = -600.0  # of it, and of that of a ratio: nothing beside anything else
FARTHEST = -1e4  # a relative log age below which nothing depends on the law
HIGHEST_B = 690.0  # beyond, its exponential is more than a float holds


ROWS_A_PIECE = 8192  # some twenty buffers of that many rows stay in a core's own cache


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Value and derivatives at one point of each cell; every field has shape (n_cells,)."""

    value: Array
    q: Array
    b: Array
    qq: Array
    qb: Array
    bb: Array


def surface(block: Block, q: Array, b: Array) -> Surface:
    """Log-likelihood and its first and second derivatives by log shape and b."""
    shape = np.exp(q)
    s0, s1, s2 = block.sums(shape)
    return from_sums(block, q, b, shape, (s0, s1, s2))


def from_sums(
    block: Block, q: Array, b: Array, shape: Array, sums: tuple[Array, Array, Array]
) -> Surface:
    """Do the same from the sums of `Block.sums`."""
    s0, s1, s2 = sums
    rate = np.exp(np.minimum(b, HIGHEST_B))
    d, log_failed = block.failures, block.log_failed
    first = rate * shape * s1
    value = d * (q + b) + shape * log_failed - rate * s0
    by_q = d + shape * log_failed - first
    by_b = d - rate * s0
    qq = shape * log_failed - first - rate * shape * shape * s2
    qb, bb = -first, -rate * s0
    if block.has_between:
        more = _between(block, b, shape)
        value, by_q, by_b = value + more.value, by_q + more.q, by_b + more.b
        qq, qb, bb = qq + more.qq, qb + more.qb, bb + more.bb
    return Surface(value, by_q, by_b, qq, qb, bb)


def _between(block: Block, b: Array, shape: Array) -> Surface:
    """Failures between two ages: log of the fall of survival, given the entry."""
    kind = block.between
    out = np.zeros((6, block.n_cells))
    own = np.empty((6, len(kind.cells)))
    of_cell, rate_of_cell = shape[kind.cells], b[kind.cells]
    for rows, cells in kind.pieces(ROWS_A_PIECE):
        counts, starts = kind.counts[cells], kind.starts[cells] - rows.start
        k, rate = np.repeat(of_cell[cells], counts), np.repeat(rate_of_cell[cells], counts)
        weight = None if kind.weight is None else kind.weight[rows]
        for j, term in enumerate(_fall(kind.log_age[:, rows], k, rate)):
            np.add.reduceat(term if weight is None else weight * term, starts, out=own[j, cells])
    out[:, kind.cells] = own
    return Surface(*out)


def _fall(
    log_ages: Array, k: Array, rate: Array
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Value and derivatives of log(exp(-H1) - exp(-H2)) + H0, H0 at the entry.

    That is -(H1 - H0) + log(1 - exp(-(H2 - H1))). The entry belongs to its own row here: where a
    part was looked at first, H1 and H0 are one and vanish, however great.
    """
    low_age, high_age, since_age = log_ages
    with np.errstate(under="ignore", over="ignore"):
        y = k * high_age
        v = y.copy()
        y += rate
        # of age 0 the log is far below any: its hazard stands at e^-600, since to bring an
        # exponential down to nothing takes ten times as long
        low, since = _hazard(k, low_age, rate), _hazard(k, since_age, rate)
        high = np.exp(np.minimum(y, HIGHEST))
        # H1 over H2 and what is left: sound also where both are too small or great for a float
        apart = low_age - high_age
        apart *= k
        np.maximum(apart, LOWEST, out=apart)
        ratio, left = np.exp(apart), np.expm1(apart)
        np.negative(left, out=left)
        np.maximum(left, 1e-16, out=left)
        wider = high * left
        # odds x (H2 - H1), at most 1, with the odds of surviving the stretch
        some = np.clip(wider, 1e-12, 690.0)
        step = some / np.expm1(some)
        chance = np.log(-np.expm1(-some))
        if some.min() <= 1e-12:
            chance = np.where(wider > 1e-12, chance, y + np.log(left))
    # by y = log H at each end, then by (q, b): dy/dq = k log age, dy/db = 1; at age 0 nothing
    # depends on the law, and NEVER x 0 would be nothing but noise
    u, w = k * np.maximum(low_age, FARTHEST), k * np.maximum(since_age, FARTHEST)
    lu, sw = low * u, since * w
    lived, lived_q = low - since, lu - sw
    ratio *= u
    turn = v - ratio
    turn /= left
    step_q, wider_q = step * turn, wider * turn
    by_q, by_b = step_q - lived_q, step - lived
    v *= v
    ratio *= u
    v -= ratio
    v /= left
    v *= step
    lu *= u
    sw *= w
    wider_q += step_q
    wider += step
    qq = v - step_q * wider_q + by_q - lu + sw
    qb = by_q - step_q * wider
    bb = by_b - step * wider
    return chance - lived, by_q, by_b, qq, qb, bb


def _hazard(k: Array, log_age: Array, rate: Array) -> Array:
    out = k * log_age
    out += rate
    np.clip(out, LOWEST, HIGHEST, out=out)
    return np.asarray(np.exp(out, out=out))
