"""Lives drawn from the law of a cell, as cumulative hazards under it, and the sums a fit needs."""

from collections.abc import Iterator
from math import factorial

import numpy as np
from numpy.typing import NDArray

from dutylife.models.checks import Array

Single = NDArray[np.float32]
_DRAWS_A_PIECE = 65_536  # single-precision buffers of that many draws stay in a core's own cache
_LEAST = 2.0**-33
_UNIT, _MOST = np.float32(2.0**-32), np.float32(1.0 - 2.0**-24)


class Store:
    """Memory used again by batch after batch: fetching it anew would take as long as the draws."""

    def __init__(self) -> None:
        self.hazard, self.share, self.log = np.empty((3, 0), "f4")
        self.failed = np.empty(0, "?")
        self.used = 0

    def emptied(self, size: int) -> "Store":
        """Ready for a batch of that many draws."""
        if size > len(self.log):
            self.log, self.failed = np.empty(size, np.float32), np.empty(size, np.bool_)
        self.used = 0
        return self

    def take(self, n_lives: int, width: int) -> tuple[Single, Single, NDArray[np.bool_]]:
        """Room for one piece: hazards (lost at the next piece), their logs, who failed."""
        n = n_lives * width
        if n > len(self.hazard):
            self.hazard, self.share = np.empty((2, n), np.float32)
        own = slice(self.used, self.used + n)
        self.used += n
        size = (n_lives, width)
        return (
            self.hazard[:n].reshape(size),
            self.log[own].reshape(size),
            self.failed[own].reshape(size),
        )


class Draws:
    """Lives of one cell drawn n times; pieces of (log hazards, failed), each (n_lives, some)."""

    def __init__(
        self, seed: int, cell: int, n: int, since: Array, until: Array, store: "Store"
    ) -> None:
        self.store = store
        self.n, self.since, self.until = n, since, until
        self.rng = np.random.Generator(np.random.SFC64(np.random.SeedSequence((seed, cell))))
        self.pieces: list[tuple[Single, NDArray[np.bool_]]] = []

    def drawn(self) -> Iterator[tuple[slice, Single, Single, NDArray[np.bool_]]]:
        """Replicates, cumulative hazards at the end, their logs, and who failed."""
        # of age 0 as good as: keeps a draw of nothing from standing at an age of nothing
        since = np.maximum(self.since, _LEAST).astype(np.float32)[:, None]
        until = self.until.astype(np.float32)[:, None]
        width = max(_DRAWS_A_PIECE // max(len(since), 1), 16)
        for first in range(0, self.n, width):
            some = slice(first, min(first + width, self.n))
            size = len(since), some.stop - first
            hazard, log_hazard, failed = self.store.take(*size)
            self._exponentials(hazard, since)
            np.less(hazard, until, out=failed)
            np.minimum(hazard, until, out=hazard)
            np.log(hazard, out=log_hazard)
            self.pieces.append((log_hazard, failed))
            yield some, hazard, log_hazard, failed

    def _exponentials(self, out: Single, since: Single) -> None:
        """Fill in ``since`` and exponential draws of at most 16.6: quicker than numpy's own.

        The share u below each is uniform, with 32 bits where it is small and 24 where it is great.
        """
        raw = self.rng.bit_generator.random_raw((out.size + 1) // 2)
        bits = raw.view(np.uint32)[: out.size].reshape(out.shape)
        np.multiply(bits, -_UNIT, out=out, casting="unsafe", dtype=np.float32)
        np.maximum(out, -_MOST, out=out)
        np.log1p(out, out=out)
        np.subtract(since, out, out=out)


def sums_of(draws: Draws, out: Array) -> None:
    """Fill in failures, sum of their log hazards, Taylor coefficients of S0 about 1; (3 + m, n)."""
    order = len(out) - 3
    late = draws.since[draws.since > 0]
    before, power, log_late = np.empty(order + 1), late.copy(), np.log(late)
    for j in range(order + 1):
        before[j] = power.sum()
        power *= log_late
    ones = np.ones(len(draws.since), dtype=np.float32)
    for some, hazard, log_hazard, failed in draws.drawn():
        share = draws.store.share[: failed.size].reshape(failed.shape)
        np.copyto(share, failed)
        out[0, some] = ones @ share
        share *= log_hazard
        out[1, some] = ones @ share
        for j in range(order + 1):
            if j:
                hazard *= log_hazard
            out[2 + j, some] = ones @ hazard
    out[2:] -= before[:, None]
    out[2:] /= np.array([[float(factorial(j))] for j in range(order + 1)])
