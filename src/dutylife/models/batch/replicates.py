"""Fits of drawn lives: by a series about the law drawn from, and those it doesn't serve by rows."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.climb import climbed
from dutylife.models.batch.draws import Draws, Single
from dutylife.models.batch.packing import packed
from dutylife.models.batch.search import searched
from dutylife.models.checks import Array

Flags = NDArray[np.bool_]
FINE = 1e-5  # slope over the failures that ends a fit: far below the spread of any replicates
_LOWEST, _HIGHEST = 0.2, 2.0  # no shape beyond is taken from the series: it holds from 0 to 3
_AT_ONCE = 16384  # replicates whose series are stepped together
_STEPS = 6
_FIRST_TERMS, _TERMS_OF_BEND = 6, 8
_SMALL = 1e-3  # a step that leaves less than 0.3 of FINE
_MOST_ROWS = 1_000_000  # lives kept for later, before they are fitted


def on_series(sums: Array) -> tuple[Array, Array, Flags]:
    """Shape and b of each replicate from its series, and whether they are good enough.

    ``sums``: failures, sum of their log hazards, Taylor coefficients of S0 about shape 1; shape
    (3 + order, replicates).
    """
    n = sums.shape[1]
    shape, b, fine = np.empty(n), np.empty(n), np.empty(n, dtype=bool)
    for first in range(0, n, _AT_ONCE):
        some = slice(first, min(first + _AT_ONCE, n))
        shape[some], b[some], fine[some] = _stepped(sums[:, some])
    return shape, b, fine


def _stepped(sums: Array) -> tuple[Array, Array, Flags]:
    d, log_failed, terms = sums[0], sums[1], sums[2:]
    order = len(terms) - 1
    # the first step needs no sum over the terms
    ratio = terms[1] / terms[0]
    slope, bend = d + log_failed - d * ratio, d * (ratio * ratio - 2.0 * terms[2] / terms[0] - 1.0)
    step = np.clip(-slope / bend, _LOWEST - 1.0, _HIGHEST - 1.0)
    s0, fine, moving = terms[0].copy(), np.zeros(len(d), dtype=bool), np.arange(len(d))
    for turn in range(_STEPS):
        now = step[moving]
        # the second has not to be exact either
        here = _sums(now, terms[: None if turn else _FIRST_TERMS])
        k, ratio = 1.0 + now, here[1] / here[0]
        slope = d / k + log_failed - d * ratio
        bend = -d / k**2 - d * (2.0 * here[2] / here[0] - ratio * ratio)
        near = np.abs(slope / bend) <= _SMALL
        to = np.clip(now - slope / bend, _LOWEST - 1.0, _HIGHEST - 1.0)
        by = to - now
        step[moving], s0[moving] = to, here[0] + by * (here[1] + by * here[2])
        if not turn:
            continue
        # what is left of the slope after a step falls with its square
        power = np.exp((order - 1) * np.log(np.abs(to)))
        error = np.abs(order * terms[-1] * power) * (1.0 + to) / here[0]
        error *= np.minimum(2.0 * np.abs(to) / (1.0 + to), 1.0)
        fine[moving] = near & (error <= 0.7 * FINE) & (bend < 0) & (d > 0)
        # at the ends of what the series tells it stays; who is near stops, whatever the others do
        far = ~near & (to > _LOWEST - 1.0) & (to < _HIGHEST - 1.0)
        if not far.any():
            break
        if not far.all():
            on = np.flatnonzero(far)
            moving, d, log_failed, terms = moving[on], d[on], log_failed[on], terms.take(on, 1)
    return 1.0 + step, np.log(sums[0] / s0), fine


def _sums(step: Array, terms: Array) -> tuple[Array, Array, Array]:
    """S0, its slope by shape, and half its bend, at shape 1 + step."""
    s0, s1, s2 = terms[-1].copy(), np.zeros_like(step), np.zeros_like(step)
    for j in range(len(terms) - 2, -1, -1):
        if j < _TERMS_OF_BEND:  # Newton steps need it roughly only
            s2 *= step
            s2 += s1
        s1 *= step
        s1 += s0
        s0 *= step
        s0 += terms[j]
    return s0, s1, s2


class Left:
    """Replicates that the series doesn't serve, kept until they are many, then fitted by rows."""

    def __init__(self) -> None:
        self._emptied()

    def _emptied(self) -> None:
        self.log_hazard: list[Single] = []
        self.failed: list[Flags] = []
        self.since: list[Array] = []
        self.n_lives: list[NDArray[np.int64]] = []
        self.whose: list[tuple[int, NDArray[np.intp]]] = []
        self.n_rows = 0

    def add(self, cell: int, drawn: Draws, mine: Flags) -> None:
        """Keep the lives of some replicates of a cell."""
        which = np.flatnonzero(mine)
        ends = np.cumsum([h.shape[1] for h, _ in drawn.pieces])
        own = np.split(mine, ends[:-1])
        self.log_hazard += [h[:, c].T.ravel() for (h, _), c in zip(drawn.pieces, own, strict=True)]
        self.failed += [f[:, c].T.ravel() for (_, f), c in zip(drawn.pieces, own, strict=True)]
        self.since.append(np.tile(drawn.since, len(which)))
        self.n_lives.append(np.full(len(which), len(drawn.since)))
        self.whose.append((cell, which))
        self.n_rows += len(which) * len(drawn.since)

    @property
    def many(self) -> bool:
        """Whether it is time to fit them."""
        return self.n_rows > _MOST_ROWS

    def fitted(self) -> Iterator[tuple[int, NDArray[np.intp], Array, Array]]:
        """Cell, its replicates, their shapes and b, missing without a law; then none are left."""
        if not self.whose:
            return
        lives, hazard = np.concatenate(self.n_lives), np.concatenate(self.log_hazard)
        block, centre = packed(
            lives, np.exp(hazard.astype(float)), np.concatenate(self.failed).astype(float),
            np.concatenate(self.since),
        )  # fmt: skip
        top = climbed(block)
        q, b = np.where(top.found, top.q, np.nan), np.where(top.found, top.b, np.nan)
        missed = ~top.found
        if missed.any():
            more = searched(block.of(missed), top.of(missed))
            q[missed] = np.where(more.found, more.q, np.nan)
            b[missed] = np.where(more.found, more.b, np.nan)
        shape = np.exp(q)
        b -= shape * centre
        at, whose = 0, self.whose
        self._emptied()
        for cell, which in whose:
            own = slice(at, at + len(which))
            yield cell, which, shape[own], b[own]
            at += len(which)
