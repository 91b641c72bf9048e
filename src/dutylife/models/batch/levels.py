"""For a shape, the scale that suits the lives of each cell best: the profile of the likelihood."""

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import Block
from dutylife.models.batch.surface import HIGHEST, HIGHEST_B
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


def best_b(block: Block, q: Array) -> Array:
    """Best b for each shape; concave in b whatever the rows."""
    with np.errstate(all="ignore"):
        if not block.has_between:
            return np.asarray(np.log(block.failures) - np.log(block.moments(np.exp(q), 0)[0]))
        return Between.at(block, q).best()[:, 0]


_STEPS_TOGETHER = 6  # in b, after which slow cells go on alone


class Between:
    """Where failures lie between two ages: the likelihood by b at shapes held, m for each cell.

    What the rows tell of a shape is worked out once; then each b costs two exponentials a row.
    Log shapes and b have shape (n_cells, m).
    """

    def __init__(self, block: Block, q: Array, s0: Array, s1: Array) -> None:
        self.kind, self.q, self.shape = block.between, q, np.exp(q)
        self.failures, self.log_failed = block.failures[:, None], block.log_failed[:, None]
        kind, shape = block.between, self.spread(self.shape)
        low, high, since = kind.log_age[:, :, None]
        apart = shape * (low - high)
        # H1 over H2 and what is left: see `surface`
        ratio, left = np.exp(apart), np.maximum(-np.expm1(apart), 1e-16)
        late = shape * high
        self.log_wide = late + np.log(left)
        self.turn = (late - ratio * shape * np.where(ratio > 0, low, 0.0)) / left
        until, entered = np.exp(shape * low), np.exp(shape * since)
        watched, ended = until - entered, self.total(np.exp(late) - until)
        self.s0 = s0 + self.total(watched)
        self.s1 = s1 + self.total(until * low - entered * since)
        # ends that hold the best b: had each failure come at its later, or at its earlier age;
        # where the earlier is the entry and nothing else is known, the likelihood rises to a level
        # as b grows: it is there, to the last digit, where H at the later age is 60
        self.every = self.failures + block.looked[:, None]
        log_failures = np.log(self.every)
        self.low = log_failures - np.log(self.s0 + ended)
        high_b = log_failures - np.log(np.maximum(self.s0, 0.0))
        level = np.full_like(self.shape, np.inf)
        level[kind.cells] = np.minimum.reduceat(late, kind.starts, axis=0)
        self.high = np.maximum(
            np.where(np.isfinite(high_b), high_b, np.log(60.0) - level), self.low
        )

    @classmethod
    def at(cls, block: Block, q: Array) -> "Between":
        """At one shape for each cell."""
        s0, s1 = block.moments(np.exp(q), 1)
        return cls(block, q[:, None], s0[:, None], s1[:, None])

    def spread(self, values: Array) -> Array:
        """Values of the cells, for each row; shape (rows, m)."""
        kind = self.kind
        return np.repeat(values[kind.cells], kind.counts, axis=0)

    def total(self, values: Array) -> Array:
        """Sum over the rows of each cell; shape (n_cells, m)."""
        kind = self.kind
        if kind.weight is not None:
            values = values * kind.weight[:, None]
        out = np.zeros((len(self.failures), values.shape[1]))
        out[kind.cells] = np.add.reduceat(values, kind.starts, axis=0)
        return out

    def best(self, within: float = 1e-7, most: int = 100) -> Array:
        """Best b of each cell and shape, the last step ``within`` it.

        Newton steps; one that leaves what is known to hold the best b goes to the end of it, or
        halfway where that has been looked at. A slope of nothing on a level ends the search too.
        """
        low, high = self.low, self.high
        low_seen, high_seen = np.zeros((2, *low.shape), dtype=bool)
        nothing = 1e-13 * self.every
        b = low + np.minimum(0.5 * (high - low), 1.0)
        for turn in range(most):
            wide, odds = self._odds(b)
            lived = np.exp(np.minimum(b, HIGHEST_B)) * self.s0
            by_b = self.failures - lived + self.total(odds)
            bb = self.total(odds * (1.0 - odds - wide)) - lived
            rises = by_b > 0
            low, high = np.where(rises, b, low), np.where(rises, high, b)
            low_seen |= rises
            high_seen |= ~rises
            to, half = b - by_b / bb, 0.5 * (low + high)
            beyond = high_seen & (to > high + within) | low_seen & (to < low - within)
            to = np.where(np.isfinite(to) & ~beyond, np.clip(to, low, high), half)
            far = (np.abs(to - b) > within) & (np.abs(by_b) > nothing)
            b = to
            slow = far.any(axis=1)
            if not slow.any():
                break
            if turn >= _STEPS_TOGETHER and slow.mean() < 0.5:
                b[slow] = self._of(slow).best(within, most - turn)
                break
        return np.asarray(b)

    def _of(self, chosen: NDArray[np.bool_]) -> "Between":
        """Some of the cells; what `told` alone needs is left behind."""
        out, rows = object.__new__(Between), np.repeat(chosen[self.kind.cells], self.kind.counts)
        out.kind, out.log_wide = self.kind.of(chosen), self.log_wide[rows]
        out.failures, out.every = self.failures[chosen], self.every[chosen]
        out.s0, out.low, out.high = (v[chosen] for v in (self.s0, self.low, self.high))
        return out

    def told(self, b: Array) -> tuple[Array, Array]:
        """Slope by log shape and height; missing where figures pass what a float holds."""
        wide, odds = self._odds(b)
        rate, d = np.exp(np.minimum(b, HIGHEST_B)), self.failures
        slope = d + self.shape * (self.log_failed - rate * self.s1) + self.total(odds * self.turn)
        chance = np.where(
            wide > 1e-12, np.log(-np.expm1(-np.maximum(wide, 1e-12))),
            self.spread(b) + self.log_wide,
        )  # fmt: skip
        value = d * (self.q + b) + self.shape * self.log_failed - rate * self.s0
        value += self.total(chance)
        return np.where(b > HIGHEST_B - 1.0, np.nan, slope), value

    def _odds(self, b: Array) -> tuple[Array, Array]:
        """H2 - H1 of each row, and it times the odds of surviving the stretch."""
        wide = np.exp(np.minimum(self.spread(b) + self.log_wide, HIGHEST))
        odds = np.where(wide > 1e-12, wide / np.expm1(np.clip(wide, 1e-12, 690.0)), 1.0)
        return wide, odds
