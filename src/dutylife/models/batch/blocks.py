"""Lives of many cells as flat arrays, cut into blocks of whole cells that stay in the cache.

Log ages are taken relative to the greatest log age of their cell, so that no power of an age can
overflow, whatever the shape.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.models.checks import Array

Codes = NDArray[np.intp]
ROWS_A_BLOCK = 32_768  # buffers of that many rows stay in a core's own cache
NEVER = -1e7  # relative log age that stands for age 0: any power of it is 0


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows of one kind, those of a cell beside each other.

    ``log_age`` has shape (n,), or (n, 2) for the two ages a failure lies between; ``weight`` is
    None where all are 1; ``starts``, ``cells`` and ``counts`` tell where the rows of
    which cell begin, and how many there are.
    """

    log_age: Array
    weight: Array | None
    starts: Codes
    cells: Codes
    counts: Codes

    def spread(self, values: Array) -> Array:
        """A value of each cell, for each row."""
        return np.repeat(values[self.cells], self.counts)

    def total(self, values: Array, n_cells: int) -> Array:
        """Sum over the rows of each cell, 0 for a cell without rows; shape (n_cells,)."""
        if len(self.cells) == n_cells:
            return np.asarray(np.add.reduceat(values, self.starts))
        out = np.zeros(n_cells)
        if len(self.cells):
            out[self.cells] = np.add.reduceat(values, self.starts)
        return out

    def pieces(self, most: int = ROWS_A_BLOCK) -> Iterator[tuple[slice, slice]]:
        """Rows and cells of pieces of whole cells that fit a core's own cache."""
        ends = self.starts + self.counts
        cell, row = 0, 0
        while cell < len(self.cells):
            last = max(int(np.searchsorted(ends, row + most, "right")), cell + 1)
            yield slice(row, int(ends[last - 1])), slice(cell, last)
            cell, row = last, int(ends[last - 1])

    def add_moments(self, out: Array, shape: Array, sign: float) -> None:
        """Add ``sign`` times the sums of t^k (log t)^j to ``out``, shape (order + 1, n_cells)."""
        whole = len(self.cells) == out.shape[1]
        own = np.empty((len(out), len(self.cells)))
        of_cell = shape if whole else shape[self.cells]
        for rows, cells in self.pieces():
            log_age, starts = self.log_age[rows], self.starts[cells] - rows.start
            power = np.repeat(of_cell[cells], self.counts[cells])
            power *= log_age
            np.exp(power, out=power)
            if self.weight is not None:
                power *= self.weight[rows]
            for j in range(len(out)):
                if j:
                    power *= log_age
                np.add.reduceat(power, starts, out=own[j, cells])
        if whole:
            out += sign * own
        else:
            out[:, self.cells] += sign * own

    def of(self, chosen: NDArray[np.bool_]) -> "Rows":
        """Rows of the chosen cells, those numbered from 0."""
        keep = chosen[self.cells]
        rows = np.repeat(keep, self.counts)
        counts = self.counts[keep]
        weight = None if self.weight is None else self.weight[rows]
        number = np.cumsum(chosen) - 1
        starts = np.cumsum(counts) - counts
        cells = number[self.cells[keep]].astype(np.intp)
        return Rows(self.log_age[rows], weight, starts, cells, counts)


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Whole cells: ``ended`` at a known age, failed or not, ``entered`` late, ``between``.

    Per cell, shape (n_cells,): ``failures`` at a known age (weights added), ``log_failed`` the sum
    of their log ages, ``rows_failed`` their number, those between two ages counted in,
    ``start`` a log shape to climb from.
    """

    ended: Rows
    entered: Rows
    between: Rows
    failures: Array
    log_failed: Array
    rows_failed: Array
    start: Array

    @property
    def n_cells(self) -> int:
        """Number of cells."""
        return len(self.failures)

    @property
    def has_between(self) -> bool:
        """Whether any failure is known between two ages only."""
        return len(self.between.cells) > 0

    def of(self, chosen: NDArray[np.bool_]) -> "Block":
        """A block of the chosen cells."""
        return Block(
            self.ended.of(chosen), self.entered.of(chosen), self.between.of(chosen),
            *(v[chosen] for v in self._by_cell),
        )  # fmt: skip

    @property
    def _by_cell(self) -> tuple[Array, Array, Array, Array]:
        return self.failures, self.log_failed, self.rows_failed, self.start

    def moments(self, shape: Array, order: int) -> Array:
        """Per cell: sums of t^k (log t)^j over the time watched, j = 0 to order.

        Shape (order + 1, n_cells).
        """
        out = np.zeros((order + 1, self.n_cells))
        self.ended.add_moments(out, shape, 1.0)
        self.entered.add_moments(out, shape, -1.0)
        return out

    def sums_at(self, shapes: Array, order: int) -> Array:
        """Sums of t^k (log t)^j, j = 0 to order (2 at most), at the same shapes in all cells.

        Shape (3, m, n_cells).
        """
        out = np.zeros((3, len(shapes), self.n_cells))
        for kind, sign in ((self.ended, 1.0), (self.entered, -1.0)):
            own = np.empty((3, len(shapes), len(kind.cells)))
            for rows, cells in kind.pieces(4 * ROWS_A_BLOCK // len(shapes)):
                log_age, starts = kind.log_age[rows], kind.starts[cells] - rows.start
                power = np.exp(shapes[:, None] * log_age)
                if kind.weight is not None:
                    power *= kind.weight[rows]
                for j in range(order + 1):
                    if j:
                        power *= log_age
                    np.add.reduceat(power, starts, axis=1, out=own[j, :, cells])
            out[: order + 1, :, kind.cells] += sign * own[: order + 1]
        return out

    def sums(self, shape: Array) -> tuple[Array, Array, Array]:
        """Per cell: sum of t^k, and of it times log t and its square, over the time watched."""
        s0, s1, s2 = self.moments(shape, 2)
        return s0, s1, s2


def packed(
    cell: Codes, n_cells: int, exit_: Array, failed: NDArray[np.bool_], entry: Array | None,
    lower: Array | None, upper: Array | None, weight: Array | None,
) -> tuple[Block, Array]:  # fmt: skip
    """Lives as a block, and the greatest log age of each cell.

    Parameters
    ----------
    cell : ndarray of int, shape (n,)
        Cell of each life, in rising order.
    exit_, entry : ndarray, shape (n,)
        Ages; without ``entry`` all are watched from age 0.
    lower, upper : ndarray, shape (n,), or None
        Of lives known to have failed between two ages; missing elsewhere.
    weight : ndarray, shape (n,), or None where all are 1
    """
    found = None if upper is None else np.isfinite(upper)
    if found is not None and not found.any():
        found = None
    last = exit_ if found is None or upper is None else np.where(found, upper, exit_)
    starts = firsts_of(cell)
    every = Rows(
        np.empty(len(cell)), weight, starts, cell[starts], np.diff(starts, append=len(cell))
    )
    known = failed if found is None else failed & ~found
    # a failure between two ages is placed at the upper one, only to have a start
    placed = known if found is None else known | found
    centre, sums = _centred(every, last, placed, known if found is not None else None)
    n_failed, first, second = _for_cells(sums[:3], every.cells, n_cells)
    failures, log_failed = _for_cells(sums[3:], every.cells, n_cells)
    middle = np.zeros(n_cells)
    middle[every.cells] = centre

    def rows(at: Codes, log_age: Array) -> Rows:
        cells = cell[at]
        firsts = firsts_of(cells)
        share = None if weight is None else weight[at]
        return Rows(log_age, share, firsts, cells[firsts], np.diff(firsts, append=len(at)))

    def since(ages: Array, at: Codes) -> Array:
        with np.errstate(divide="ignore"):
            out = np.log(ages[at])
        out -= middle[cell[at]]
        return np.asarray(np.maximum(out, NEVER, out=out))

    nothing = np.empty(0, dtype=np.intp)
    late = nothing
    if entry is not None:  # an entry of a failure between two ages stands with these
        late = np.flatnonzero(entry > 0 if found is None else (entry > 0) & ~found)
    entered = rows(late, np.empty(0) if entry is None else since(entry, late))
    if found is None or lower is None:
        ended, between = every, rows(nothing, np.empty((0, 3)))
    else:
        at = np.flatnonzero(found)
        entries = np.full(len(at), NEVER) if entry is None else since(entry, at)
        between = rows(at, np.column_stack([since(lower, at), every.log_age[at], entries]))
        at = np.flatnonzero(~found)
        ended = rows(at, every.log_age[at])
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = np.sqrt(np.maximum(second / n_failed - (first / n_failed) ** 2, 0.0))
        start = np.clip(np.log(1.2 / np.where(spread > 0, spread, 0.8)), -2.0, 3.0)
    return Block(ended, entered, between, failures, log_failed, n_failed, start), middle


def _centred(
    every: Rows, last: Array, placed: NDArray[np.bool_], known: NDArray[np.bool_] | None
) -> tuple[Array, Array]:
    """Fill in relative log ages, piece by piece; the centres, and sums over the failed rows.

    Sums, shape (5, cells that have rows): number placed, their log ages and squares; failures known
    (all that are placed where ``known`` is None) and their log ages, weighted.
    """
    centre, sums = np.empty(len(every.cells)), np.empty((5, len(every.cells)))
    for rows, cells in every.pieces():
        starts, log_age = every.starts[cells] - rows.start, every.log_age[rows]
        np.log(last[rows], out=log_age)
        np.maximum.reduceat(log_age, starts, out=centre[cells])
        log_age -= np.repeat(centre[cells], every.counts[cells])
        share = placed[rows].astype(float)
        np.add.reduceat(share, starts, out=sums[0, cells])
        of_failed = share * log_age
        np.add.reduceat(of_failed, starts, out=sums[1, cells])
        of_failed *= log_age
        np.add.reduceat(of_failed, starts, out=sums[2, cells])
        if known is None and every.weight is None:
            continue
        share = placed[rows].astype(float) if known is None else known[rows].astype(float)
        if every.weight is not None:
            share *= every.weight[rows]
        np.add.reduceat(share, starts, out=sums[3, cells])
        share *= log_age
        np.add.reduceat(share, starts, out=sums[4, cells])
    if known is None and every.weight is None:
        sums[3:] = sums[:2]
    return centre, sums


def _for_cells(values: Array, cells: Codes, n_cells: int) -> Array:
    """Sums by cell, 0 for cells without rows."""
    if len(cells) == n_cells:
        return values
    out = np.zeros((len(values), n_cells))
    out[:, cells] = values
    return out


def firsts_of(cell: Codes) -> Codes:
    """Where the rows of each cell begin, those of a cell beside each other."""
    begins = np.empty(len(cell), dtype=bool)
    begins[:1] = True
    np.not_equal(cell[1:], cell[:-1], out=begins[1:])
    return np.flatnonzero(begins)
