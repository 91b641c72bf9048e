"""Lives as a block of relative log ages, with what is told of each cell before any fit."""

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import NEVER, Block, Codes, Rows
from dutylife.models.checks import Array

Counts = NDArray[np.int64]


def packed(
    counts: Counts, exit_: Array, event: Array, entry: Array | None,
    lower: Array | None = None, upper: Array | None = None, weight: Array | None = None,
) -> tuple[Block, Array]:  # fmt: skip
    """Lives as a block, and the greatest log age of each cell.

    Parameters
    ----------
    counts : ndarray of int, shape (n_cells,)
        Lives of each cell; those of a cell stand together, cell after cell.
    exit_, event, entry : ndarray, shape (n,)
        Ages, and 1 or 0 (or true or false) for failed or not; without ``entry`` all are watched
        from age 0.
    lower, upper : ndarray, shape (n,), or None
        Of lives known to have failed between two ages; missing elsewhere.
    weight : ndarray, shape (n,), or None where all are 1
    """
    found = None if upper is None else np.isfinite(upper)
    looked = np.zeros(len(counts))
    if found is None or lower is None or upper is None or not found.any():
        every = _rows(counts, np.empty(len(exit_)), weight)
        middle = np.zeros(len(counts))
        placed, known = _known_ends(every, exit_, event, middle, known=False)
        ended, between = every, _rows(np.zeros_like(counts), np.empty((3, 0)), None)
        late = None if entry is None else np.flatnonzero(entry > 0)
    else:
        at = np.flatnonzero(found)
        own = _counts_of(at, counts)
        rest = np.flatnonzero(~found)
        ended = _rows(counts - own, np.empty(len(rest)), _some(weight, rest))
        ends, n_looked = exit_[rest], len(at)
        between = _rows(own, np.empty((3, n_looked)), _some(weight, at))
        middle = np.log(
            np.fmax(_greatest(ended, ends, counts), _greatest(between, upper[at], counts))
        )
        placed, known = _known_ends(ended, ends, event[rest], middle, known=True)
        ages = lower[at], upper[at], np.zeros(len(at)) if entry is None else entry[at]
        centre = between.spread(middle)
        for out, age in zip(between.log_age, ages, strict=True):
            out[:] = _since(age, centre)
        high = between.log_age[1]
        for j, power in enumerate((np.ones_like(high), high, high * high)):
            # a failure between two ages is placed at the upper one, only to have a start
            placed[j] += between.total(power, len(counts))
        looked = between.total(_or_ones(between.weight, n_looked), len(counts))
        # an entry of a failure between two ages stands with these
        late = None if entry is None else np.flatnonzero((entry > 0) & ~found)
    if late is None or entry is None:
        entered = _rows(np.zeros_like(counts), np.empty(0), None)
    else:
        entered = _rows(_counts_of(late, counts), entry[late], _some(weight, late))
        _since(entered.log_age, entered.spread(middle), entered.log_age)
    n_failed, first, second = placed
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = np.sqrt(np.maximum(second / n_failed - (first / n_failed) ** 2, 0.0))
        start = np.clip(np.log(1.2 / np.where(spread > 0, spread, 0.8)), -2.0, 3.0)
    return Block(ended, entered, between, known[0], known[1], looked, n_failed, start), middle


def _rows(counts: Counts, log_age: Array, weight: Array | None) -> Rows:
    """Rows of so many of each cell; those without any are left out."""
    cells = np.flatnonzero(counts)
    own = counts[cells]
    return Rows(log_age, weight, np.cumsum(own) - own, cells, own)


def _some(values: Array | None, at: Codes) -> Array | None:
    return None if values is None else values[at]


def _or_ones(values: Array | None, n: int) -> Array:
    return np.ones(n) if values is None else values


def _counts_of(at: Codes, counts: Counts) -> Counts:
    """How many of the rows ``at`` (rising) belong to each cell."""
    edges = np.searchsorted(at, np.cumsum(counts))
    return np.diff(edges, prepend=0)


def _since(ages: Array, centre: Array, out: Array | None = None) -> Array:
    """Log ages relative to the centres of their cells."""
    with np.errstate(divide="ignore"):
        out = np.log(ages, out=out)
    out -= centre
    return np.asarray(np.maximum(out, NEVER, out=out))


def _greatest(rows: Rows, ages: Array, counts: Counts) -> Array:
    """Greatest age of each cell, missing for those without rows."""
    out = np.where(counts > 0, np.nan, 1.0)
    if len(ages):
        out[rows.cells] = np.maximum.reduceat(ages, rows.starts)
    return out


def _known_ends(
    every: Rows, exit_: Array, event: Array, middle: Array, *, known: bool
) -> tuple[Array, Array]:
    """Fill in relative log ages, piece by piece, ``middle`` unless known, sums over the failures.

    Sums: number, log ages and squares of them; then number and log ages, weighted.
    """
    own = np.empty((5, len(every.cells)))
    centre = middle[every.cells]
    for rows, cells in every.pieces():
        starts, log_age = every.starts[cells] - rows.start, every.log_age[rows]
        np.log(exit_[rows], out=log_age)
        if not known:
            np.maximum.reduceat(log_age, starts, out=centre[cells])
        log_age -= np.repeat(centre[cells], every.counts[cells])
        share = event[rows].astype(float)
        np.add.reduceat(share, starts, out=own[0, cells])
        share *= log_age
        np.add.reduceat(share, starts, out=own[1, cells])
        if every.weight is not None:
            np.add.reduceat(share * every.weight[rows], starts, out=own[4, cells])
            np.add.reduceat(event[rows] * every.weight[rows], starts, out=own[3, cells])
        share *= log_age
        np.add.reduceat(share, starts, out=own[2, cells])
    if every.weight is None:
        own[3:] = own[:2]
    middle[every.cells] = centre
    if len(every.cells) == len(middle):
        return own[:3], own[3:]
    out = np.zeros((5, len(middle)))
    out[:, every.cells] = own
    return out[:3], out[3:]
