"""The log-likelihood of each cell by log shape q and b = -shape x log scale, with derivatives.

In (shape, b) the terms of exact ages, survivors and failures between two ages are concave; only
those of late entries are not. A constant, the sum of log ages of the failures, is left out.
"""

from dataclasses import dataclass

import numpy as np

from dutylife.models.batch.blocks import Block
from dutylife.models.checks import Array

HIGHEST = 300.0  # of a log cumulative hazard: far beyond it the surface is flat at nothing


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
    rate = np.exp(np.minimum(b, HIGHEST))
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
    """Failures between two ages: log of the fall of survival, H the cumulative hazards there."""
    kind = block.between
    out = np.zeros((6, block.n_cells))
    own = np.empty((6, len(kind.cells)))
    of_cell, rate_of_cell = shape[kind.cells], b[kind.cells]
    for rows, cells in kind.pieces():
        counts, starts = kind.counts[cells], kind.starts[cells] - rows.start
        k, rate = np.repeat(of_cell[cells], counts), np.repeat(rate_of_cell[cells], counts)
        weight = None if kind.weight is None else kind.weight[rows]
        for j, term in enumerate(_fall(kind.log_age[rows], k, rate)):
            np.add.reduceat(term if weight is None else weight * term, starts, out=own[j, cells])
    out[:, kind.cells] = own
    return Surface(*out)


def _fall(
    log_ages: Array, k: Array, rate: Array
) -> tuple[Array, Array, Array, Array, Array, Array]:
    """Value and derivatives of log(exp(-H1) - exp(-H2)) = -H1 + log(1 - exp(-(H2 - H1)))."""
    with np.errstate(under="ignore"):
        low_age, high_age = log_ages[:, 0], log_ages[:, 1]
        low = np.exp(np.minimum(k * low_age + rate, HIGHEST))
        high = np.exp(np.minimum(k * high_age + rate, HIGHEST))
        # at least the smallest step, so that a law far off stays finite
        fall = np.maximum(high - low, 1e-290)
        odds = 1.0 / np.expm1(np.minimum(fall, 690.0))
    bend = odds * (1.0 + odds)
    value = -np.log1p(odds) - low  # 1 + odds is 1 over the chance of failing by then
    # by y = log H at either end, then by (q, b): dy/dq = k log age, dy/db = 1
    at_low, at_high = -(1.0 + odds) * low, odds * high
    low_low = at_low - bend * low * low
    high_high = at_high - bend * high * high
    cross = bend * low * high
    u, v = k * low_age, k * high_age
    # age 0: nothing depends on the law there, and NEVER x 0 would be nothing but noise
    u = np.where(low > 0, u, 0.0)
    by_q = at_low * u + at_high * v
    qq = low_low * u * u + 2.0 * cross * u * v + high_high * v * v + by_q
    qb = low_low * u + cross * (u + v) + high_high * v
    bb = low_low + 2.0 * cross + high_high
    return value, by_q, at_low + at_high, qq, qb, bb
