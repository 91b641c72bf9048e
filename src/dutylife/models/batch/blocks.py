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

    ``log_age`` has shape (n,), or (3, n) for the two ages a failure lies between and its entry;
    ``weight`` is None where all are 1; ``starts``, ``cells`` and ``counts`` tell where the rows of
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
        counts = self.counts[keep]
        starts = np.cumsum(counts) - counts
        rows = np.repeat(self.starts[keep] - starts, counts)
        rows += np.arange(len(rows))
        weight = None if self.weight is None else self.weight[rows]
        number = np.cumsum(chosen) - 1
        cells = number[self.cells[keep]].astype(np.intp, copy=False)
        return Rows(self.log_age.take(rows, axis=-1), weight, starts, cells, counts)


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Whole cells: ``ended`` at a known age, failed or not, ``entered`` late, ``between``.

    Per cell, shape (n_cells,): ``failures`` at a known age (weights added), ``log_failed`` the sum
    of their log ages, ``looked`` the failures between two ages (weights added), ``rows_failed`` the
    number of rows of both, ``start`` a log shape to climb from.
    """

    ended: Rows
    entered: Rows
    between: Rows
    failures: Array
    log_failed: Array
    looked: Array
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
    def _by_cell(self) -> tuple[Array, Array, Array, Array, Array]:
        return self.failures, self.log_failed, self.looked, self.rows_failed, self.start

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

    def lived(self, shapes: Array) -> Array:
        """Sum of t^k over the time watched, at several shapes of each cell; shape (n_cells, m)."""
        out = np.zeros_like(shapes)
        for kind, sign in ((self.ended, 1.0), (self.entered, -1.0)):
            for rows, cells in kind.pieces(ROWS_A_BLOCK // shapes.shape[1]):
                own = kind.cells[cells]
                power = np.repeat(shapes[own], kind.counts[cells], axis=0)
                power *= kind.log_age[rows, None]
                np.exp(power, out=power)
                if kind.weight is not None:
                    power *= kind.weight[rows, None]
                out[own] += sign * np.add.reduceat(power, kind.starts[cells] - rows.start, axis=0)
        return out

    def sums(self, shape: Array) -> tuple[Array, Array, Array]:
        """Per cell: sum of t^k, and of it times log t and its square, over the time watched."""
        s0, s1, s2 = self.moments(shape, 2)
        return s0, s1, s2
