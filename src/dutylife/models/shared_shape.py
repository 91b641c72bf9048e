"""Weibull lives of one shape, a scale for each stratum, one part of them lasting a ratio as long.

Many sets of lives at once: ages of shape (k, n), so that a test's own draws cost little.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
# log of the hazard's ratio that stands for "none of that part failed"
_FAR = 40.0
_LEAST_LOG_SHAPE, _MOST_LOG_SHAPE = -3.5, 4.5


@dataclass(frozen=True, slots=True)
class SharedShape:
    """Lives by set and row; ``strata`` of shape (n, s) marks the stratum of each row."""

    exit: Array
    failed: Flags
    entry: Array
    strata: Array
    part: Flags

    def best(self, *, apart: bool) -> tuple[Array, Array, Array]:
        """Largest log-likelihood of each set, its log shape and log ratio of lives, shape (k,).

        Parameters
        ----------
        apart : bool
            Whether the part's lives may be a ratio of the others'; else the log ratio is 0.

        Notes
        -----
        For a shape b and hazards' ratio r the scales have a closed form, which leaves
        D log b + (b - 1) sum log t + d log r - sum over strata of D_s log(A_s + r B_s), A_s and
        B_s the sums of t^b over others and part. Newton steps go over log b and log r; the
        lives' ratio is r^(-1/b). Where none of the part failed, or none of the others beside it,
        the ratio has no end and stands at a far value, where the likelihood has its limit.
        """
        sums = _Sums.of(self)
        n = len(self.exit)
        psi, free = np.zeros(n), np.full(n, apart)
        if apart:
            none, all_ = sums.part_failed == 0, sums.others_failed_beside == 0
            psi = np.where(none, -_FAR, np.where(all_, _FAR, 0.0))
            free = ~(none | all_)
        log_shape = np.zeros(n)
        value, slope, bend = sums.at(log_shape, psi)
        going = np.ones(n, dtype=bool)
        for _ in range(80):
            step = _step(slope, bend, free)
            size = np.ones(n)
            for _ in range(12):
                new_shape = np.clip(
                    log_shape + size * step[:, 0], _LEAST_LOG_SHAPE, _MOST_LOG_SHAPE
                )
                new_psi = np.clip(psi + size * step[:, 1], -_FAR, _FAR)
                reached = sums.at(new_shape, new_psi)
                worse = going & ~(reached[0] >= value - 1e-10)
                if not worse.any():
                    break
                size = np.where(worse, size / 4.0, size)
            moved = np.maximum(np.abs(new_shape - log_shape), np.abs(new_psi - psi))
            log_shape, psi, (value, slope, bend) = new_shape, new_psi, reached
            going = moved > 1e-9
            if not going.any():
                break
        ratio = -psi / np.exp(log_shape)
        ratio[psi <= -_FAR], ratio[psi >= _FAR] = np.inf, -np.inf
        return value, log_shape, ratio

    def with_ratio(self, log_ratio: float) -> Array:
        """Largest log-likelihood of each set where the part lasts a given log ratio as long."""
        times = np.where(self.part, np.exp(-log_ratio), 1.0)
        same = SharedShape(
            self.exit * times, self.failed, self.entry * times, self.strata, self.part
        )
        value, _, _ = same.best(apart=False)
        # ages of the part were told in a unit of their own
        return np.asarray(value - log_ratio * (self.failed & self.part).sum(axis=1))

    def scales(self, log_shape: Array) -> Array:
        """Log scale of each set and stratum, the part like the others, shape (k, s)."""
        shape = np.exp(log_shape)[:, None]
        lived = (self.exit**shape - self.entry**shape) @ self.strata
        return np.asarray(np.log(lived / (self.failed @ self.strata)) / shape)


def _step(slope: Array, bend: Array, free: Flags) -> Array:
    """Newton steps of at most 1, along the slope where the surface does not curve down."""
    a, b, c = bend[:, 0, 0], bend[:, 0, 1] * free, np.where(free, bend[:, 1, 1], -1.0)
    g, h = slope[:, 0], slope[:, 1] * free
    det = a * c - b * b
    down = (a < 0) & (det > 0)
    det = np.where(down, det, 1.0)
    step = np.stack(
        [np.where(down, -(c * g - b * h) / det, g), np.where(down, -(a * h - b * g) / det, h)],
        axis=1,
    )
    longest = np.abs(step).max(axis=1, keepdims=True)
    return np.asarray(step / np.maximum(longest, 1.0))


@dataclass(frozen=True, slots=True)
class _Sums:
    """What the likelihood needs of the lives, in a unit near their own size."""

    log_exit: Array
    log_entry: Array
    unit: Array
    sides: Array
    n_failed: Array
    by_stratum: Array
    part_failed: Array
    others_failed_beside: Array
    log_sum: Array

    @classmethod
    def of(cls, lives: SharedShape) -> "_Sums":
        part, strata, failed = lives.part, lives.strata, lives.failed.astype(float)
        beside = strata[part].any(axis=0).astype(float) if part.any() else np.zeros(strata.shape[1])
        with np.errstate(divide="ignore"):
            log_exit, log_entry = np.log(lives.exit), np.log(lives.entry)
        unit = log_exit.mean(axis=1, keepdims=True)
        return cls(
            log_exit - unit, log_entry - unit, unit[:, 0],
            np.concatenate([strata * ~part[:, None], strata * part[:, None]], axis=1),
            failed.sum(axis=1), failed @ strata, failed @ part.astype(float),
            (failed * ~part) @ strata @ beside,
            (failed * (log_exit - unit)).sum(axis=1),
        )  # fmt: skip

    def at(self, log_shape: Array, psi: Array) -> tuple[Array, Array, Array]:
        """Log-likelihood, its slope and bend by (log shape, log hazards' ratio)."""
        shape = np.exp(log_shape)
        x = shape[:, None] * self.log_exit
        power = np.exp(np.minimum(x, 600.0))
        late = np.isfinite(self.log_entry)
        y = np.where(late, shape[:, None] * np.where(late, self.log_entry, 0.0), 0.0)
        began = np.where(late, np.exp(np.minimum(y, 600.0)), 0.0)
        # sums of t^b, and of its first and second derivative by log b
        zero = (power - began) @ self.sides
        one = (x * power - y * began) @ self.sides
        two = (x * (1.0 + x) * power - y * (1.0 + y) * began) @ self.sides
        s = zero.shape[1] // 2
        r = np.exp(psi)[:, None]
        total, first, second = (v[:, :s] + r * v[:, s:] for v in (zero, one, two))
        share, part_first = r * zero[:, s:] / np.where(total > 0, total, 1.0), r * one[:, s:]
        d = self.by_stratum
        safe = np.where(total > 0, total, 1.0)
        # a stratum without failures has a scale without end and says nothing
        log_total = np.where(d > 0, np.log(safe / np.where(d > 0, d, 1.0)), 0.0)
        rate = first / safe
        value = (
            self.n_failed * log_shape + (shape - 1.0) * self.log_sum + psi * self.part_failed
            - (d * log_total).sum(axis=1) - self.n_failed - self.n_failed * self.unit
        )  # fmt: skip
        slope = np.stack(
            [
                self.n_failed + shape * self.log_sum - (d * rate).sum(axis=1),
                self.part_failed - (d * share).sum(axis=1),
            ],
            axis=1,
        )
        bend = np.empty((len(psi), 2, 2))
        bend[:, 0, 0] = shape * self.log_sum - (d * (second / safe - rate**2)).sum(axis=1)
        bend[:, 1, 1] = -(d * share * (1.0 - share)).sum(axis=1)
        bend[:, 0, 1] = bend[:, 1, 0] = -(d * (part_first / safe - share * rate)).sum(axis=1)
        return value, slope, bend
