"""Lives drawn from the law of a cell, as cumulative hazards under it, and the sums a fit needs."""

from collections.abc import Iterator
from math import factorial

import numpy as np
from numpy.typing import NDArray

from dutylife.models.checks import Array

Single = NDArray[np.float32]
_DRAWS_A_PIECE = 65_536  # single-precision buffers of that many draws stay in a core's own cache
_LEAST = np.float32(1e-30)


class Store:
    """Memory used again by batch after batch: fetching it anew would take as long as the draws."""

    def __init__(self) -> None:
        self.hazard, self.log, self.failed = np.empty(0, "f4"), np.empty(0, "f4"), np.empty(0, "?")
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
            self.hazard = np.empty(n, np.float32)
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
        since = self.since.astype(np.float32)[:, None]
        until = self.until.astype(np.float32)[:, None]
        late = bool((self.since > 0).any())
        width = max(_DRAWS_A_PIECE // max(len(since), 1), 16)
        for first in range(0, self.n, width):
            some = slice(first, min(first + width, self.n))
            size = len(since), some.stop - first
            hazard, log_hazard, failed = self.store.take(*size)
            self.rng.standard_exponential(dtype=np.float32, out=hazard)
            if late:
                hazard += since
            np.less(hazard, until, out=failed)
            np.minimum(hazard, until, out=hazard)
            np.maximum(hazard, _LEAST, out=hazard)
            np.log(hazard, out=log_hazard)
            self.pieces.append((log_hazard, failed))
            yield some, hazard, log_hazard, failed


def sums_of(draws: Draws, order: int) -> Array:
    """Failures, sum of their log hazards, Taylor coefficients of S0 about 1; (3 + order, n)."""
    out = np.empty((order + 3, draws.n))
    late = draws.since[draws.since > 0]
    before = (late * np.log(late) ** np.arange(order + 1)[:, None]).sum(axis=1)
    ones = np.ones(len(draws.since), dtype=np.float32)
    for some, hazard, log_hazard, failed in draws.drawn():
        share = failed.astype(np.float32)
        out[0, some] = ones @ share
        share *= log_hazard
        out[1, some] = ones @ share
        for j in range(order + 1):
            if j:
                hazard *= log_hazard
            out[2 + j, some] = ones @ hazard
    out[2:] -= before[:, None]
    out[2:] /= np.array([[float(factorial(j))] for j in range(order + 1)])
    return out
