"""Lives of many cells as flat arrays, cut into blocks of whole cells that stay in the cache.

Log ages are taken relative to the greatest log age of their cell, so that no power of an age can
overflow, whatever the shape.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

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

    def part(self, first: int, last: int) -> "Rows":
        """Rows of cells first to last - 1, those numbered from 0."""
        at = np.searchsorted(self.cells, [first, last])
        ends = np.append(self.starts, len(self.log_age))[at]
        rows = slice(int(ends[0]), int(ends[1]))
        weight = None if self.weight is None else self.weight[rows]
        cells = slice(int(at[0]), int(at[1]))
        return Rows(
            self.log_age[rows], weight, self.starts[cells] - ends[0], self.cells[cells] - first,
            self.counts[cells],
        )  # fmt: skip

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

    def cut(self, rows: int = ROWS_A_BLOCK) -> Iterator[tuple[slice, "Block"]]:
        """Blocks of about that many rows, with the cells they hold."""
        size = np.zeros(self.n_cells, dtype=np.int64)
        for kind in (self.ended, self.entered, self.between):
            size[kind.cells] += kind.counts
        number = (np.cumsum(size) - size) // rows
        firsts = np.flatnonzero(np.diff(number, prepend=-1))
        edges = [*firsts.tolist(), self.n_cells]
        for first, last in pairwise(edges):
            yield slice(first, last), Block(
                self.ended.part(first, last), self.entered.part(first, last),
                self.between.part(first, last), *(v[first:last] for v in self._by_cell),
            )  # fmt: skip

    def sums(self, shape: Array) -> tuple[Array, Array, Array]:
        """Per cell: sum of t^k, and of it times log t and its square, over the time watched."""
        out: list[tuple[Array, Array, Array]] = []
        n = self.n_cells
        for kind in (self.ended, self.entered):
            if not len(kind.cells):
                out.append((np.zeros(n), np.zeros(n), np.zeros(n)))
                continue
            power = kind.spread(shape)
            power *= kind.log_age
            np.exp(power, out=power)
            if kind.weight is not None:
                power *= kind.weight
            zeroth = kind.total(power, n)
            power *= kind.log_age
            first = kind.total(power, n)
            power *= kind.log_age
            out.append((zeroth, first, kind.total(power, n)))
        ended, entered = out
        return ended[0] - entered[0], ended[1] - entered[1], ended[2] - entered[2]


def packed(
    cell: Codes, n_cells: int, log_exit: Array, failed: NDArray[np.bool_],
    log_entry: Array, log_lower: Array, log_upper: Array, weight: Array | None,
) -> tuple[Block, Array]:  # fmt: skip
    """Lives as a block, and the greatest log age of each cell.

    Parameters
    ----------
    cell : ndarray of int, shape (n,)
        Cell of each life, in rising order.
    log_exit, log_entry : ndarray, shape (n,)
        ``log_entry`` is -inf where watched from age 0.
    log_lower, log_upper : ndarray, shape (n,)
        Of lives known to have failed between two ages, ``log_lower`` -inf from age 0; missing
        elsewhere.
    weight : ndarray, shape (n,), or None where all are 1
    """
    found = np.isfinite(log_upper) if len(log_upper) else np.zeros(len(cell), dtype=bool)
    any_found = bool(found.any())
    last = np.where(found, log_upper, log_exit) if any_found else log_exit
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    present, counts = cell[starts], np.diff(np.append(starts, len(cell)))
    centre = np.zeros(n_cells)
    centre[present] = np.maximum.reduceat(last, starts) if len(cell) else 0.0
    of_row = np.repeat(centre[present], counts)

    def rows(log_age: Array, chosen: NDArray[np.bool_] | None) -> Rows:
        if chosen is None:
            return Rows(log_age, weight, starts, present, counts)
        cells = cell[chosen]
        firsts = np.flatnonzero(np.diff(cells, prepend=-1))
        n_rows = np.diff(np.append(firsts, len(cells)))
        share = None if weight is None else weight[chosen]
        return Rows(log_age[chosen], share, firsts, cells[firsts], n_rows)

    relative = log_exit - of_row
    late = np.isfinite(log_entry)
    ended = rows(relative, ~found if any_found else None)
    entered = rows(np.where(late, log_entry, 0.0) - of_row, late)
    both = np.column_stack([log_lower, log_upper]) if any_found else np.empty((len(cell), 2))
    if any_found:
        both = np.where(np.isneginf(both), NEVER, both - of_row[:, None])
    between = rows(both, found)
    known = failed & ~found if any_found else failed
    share = known.astype(float) if weight is None else np.where(known, weight, 0.0)
    kind = Rows(relative, None, starts, present, counts)
    # a failure between two ages is placed at the upper one, only to have a start
    placed = np.where(found, last - of_row, relative) if any_found else relative
    every = (failed | found).astype(float)
    n_failed = kind.total(every, n_cells)
    first = kind.total(every * placed, n_cells)
    second = kind.total(every * placed * placed, n_cells)
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = np.sqrt(np.maximum(second / n_failed - (first / n_failed) ** 2, 0.0))
        start = np.log(1.2 / np.where(spread > 0, spread, 0.8))
    failures = kind.total(share, n_cells)
    log_failed = kind.total(np.where(known, share * relative, 0.0), n_cells)
    block = Block(
        ended, entered, between, failures, log_failed, n_failed, np.clip(start, -2.0, 3.0)
    )
    return block, centre
