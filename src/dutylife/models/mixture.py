"""Two Weibull lots of one shape in the same lives, one dying earlier: their likelihood."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
# share of the early lot and its scale over the others' at which the likelihood is tried
SHARES = (0.03, 0.10, 0.25)
TIMES_LIFE = (0.03, 0.10, 0.30)
MOST_EARLY = 0.5
LEAST_LOG_TIMES, MOST_LOG_TIMES = np.log(0.005), np.log(0.6)
_MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class TwoLots:
    """Many sets of lives at once: ``exit``, ``failed``, ``entry`` of shape (k, n)."""

    exit: Array
    failed: Flags
    entry: Array

    def ratio(self) -> tuple[Array, Array]:
        """Likelihood ratio of two lots against one, shape (k,), and the best two, shape (k, 4).

        The two are (share early, log of early scale over the others', log shape, log scale),
        the first two the best of `SHARES` and `TIMES_LIFE`.
        """
        k = len(self.exit)
        start = np.column_stack([np.zeros(k), np.log(self.exit).max(axis=1) - 0.5])
        plain, theta = self._best(np.zeros(k), np.zeros(k), start)
        top, best = np.full(k, -np.inf), np.zeros((k, 4))
        for share in SHARES:
            for log_times in np.log(TIMES_LIFE):
                given = np.full(k, share), np.full(k, log_times)
                value, found = self._best(*given, theta)
                better = value > top
                top = np.where(better, value, top)
                best[better] = np.column_stack([*given, found])[better]
        return 2.0 * (top - plain), best

    def freed(self, start: Array) -> Array:
        """The two lots of the first set with all four figures free, from a start of shape (4,)."""
        from scipy.optimize import minimize

        def height(at: Array) -> float:
            value, _, _ = self._value(at[None, 0], at[None, 1], at[None, 2:])
            return -float(value[0]) if np.isfinite(value[0]) else 1e300

        limits = [(1e-4, MOST_EARLY), (LEAST_LOG_TIMES, MOST_LOG_TIMES), (-3.0, 4.0), (None, None)]
        found: Array = minimize(
            height, start, method="Nelder-Mead", bounds=limits,
            options={"xatol": 1e-5, "fatol": 1e-8, "maxiter": 4000},
        ).x  # fmt: skip
        return found

    def chance_early(self, lots: Array) -> Array:
        """Chance of each life to be of the early lot, given what was seen of it, shape (k, n)."""
        parts = [
            self._lot(self.exit, self.failed, log_times, lots[None, 2:])[0]
            for log_times in (np.array([lots[1]]), np.zeros(1))
        ]
        early, other = np.log(lots[0]) + parts[0], np.log1p(-lots[0]) + parts[1]
        chance: Array = np.exp(early - np.logaddexp(early, other))
        return chance

    def _best(self, share: Array, log_times: Array, start: Array) -> tuple[Array, Array]:
        """Largest log-likelihood and its (log shape, log scale), by damped Newton steps."""
        theta = start.copy()
        value, slope, bend = self._value(share, log_times, theta)
        for _ in range(_MOST_STEPS):
            step = _uphill(slope, bend)
            size = np.ones(len(theta))
            for _ in range(14):
                there = theta + size[:, None] * step
                reached = self._value(share, log_times, there)
                worse = ~(reached[0] >= value - 1e-10)
                if not worse.any():
                    break
                size = np.where(worse, size / 3.0, size)
            stay = ~(reached[0] >= value - 1e-10)
            there = np.where(stay[:, None], theta, there)
            moved = np.abs(there - theta).max()
            theta = there
            value, slope, bend = self._value(share, log_times, theta)
            if moved < 1e-7:
                break
        return value, theta

    def _value(self, share: Array, log_times: Array, theta: Array) -> tuple[Array, Array, Array]:
        """Log-likelihood, its slope and bend by (log shape, log scale), one of each a set."""
        value, slope, bend = self._mixed(self.exit, self.failed, share, log_times, theta)
        late = (self.entry > 0).any(axis=0)
        if late.any():
            entry = self.entry[:, late]
            less = self._mixed(entry, np.zeros_like(entry, dtype=bool), share, log_times, theta)
            value, slope, bend = value - less[0], slope - less[1], bend - less[2]
        return value, slope, bend

    def _mixed(
        self, ages: Array, failed: Flags, share: Array, log_times: Array, theta: Array
    ) -> tuple[Array, Array, Array]:
        other = self._lot(ages, failed, np.zeros(len(theta)), theta)
        if not share.any():
            told, slopes, bends = other
            return told.sum(axis=1), slopes.sum(axis=1), bends.sum(axis=1)
        early = self._lot(ages, failed, log_times, theta)
        with np.errstate(divide="ignore"):
            one, two = np.log(share)[:, None] + early[0], np.log1p(-share)[:, None] + other[0]
        told = np.logaddexp(one, two)
        w = np.exp(one - told)[..., None]
        slopes = w * early[1] + (1.0 - w) * other[1]
        apart = early[1] - other[1]
        spread = (w * (1.0 - w))[..., None] * apart[..., :, None] * apart[..., None, :]
        bends = w[..., None] * early[2] + (1.0 - w)[..., None] * other[2] + spread
        return told.sum(axis=1), slopes.sum(axis=1), bends.sum(axis=1)

    @staticmethod
    def _lot(
        ages: Array, failed: Flags, log_times: Array, theta: Array
    ) -> tuple[Array, Array, Array]:
        """Log density or survival of each life in one lot, its slope and bend."""
        shape = np.exp(theta[:, :1])
        with np.errstate(divide="ignore"):
            log_age = np.log(ages)
        # an age of 0 (watched from the start) has survival 1 whatever the law
        x = shape * (np.maximum(log_age, -700.0) - theta[:, 1:] - log_times[:, None])
        h = np.exp(np.clip(x, -700.0, 300.0))
        told = np.where(failed, theta[:, :1] + x - log_age, 0.0) - h
        first = np.where(failed, 1.0, 0.0) - h
        slope = np.stack([np.where(failed, 1.0, 0.0) + first * x, -shape * first], axis=-1)
        bend = np.empty((*x.shape, 2, 2))
        bend[..., 0, 0] = first * x - h * x * x
        bend[..., 1, 1] = -h * shape * shape
        bend[..., 0, 1] = bend[..., 1, 0] = -shape * (first - h * x)
        return told, slope, bend


def _uphill(slope: Array, bend: Array) -> Array:
    """Newton steps of at most 1, along the slope where the surface does not curve down."""
    a, b, c = bend[:, 0, 0], bend[:, 0, 1], bend[:, 1, 1]
    det = a * c - b * b
    down = (a < 0) & (det > 0)
    safe = np.where(down, det, 1.0)
    newton = np.stack(
        [-(c * slope[:, 0] - b * slope[:, 1]) / safe, -(a * slope[:, 1] - b * slope[:, 0]) / safe],
        axis=1,
    )
    step = np.where(down[:, None], newton, slope)
    return np.asarray(step / np.maximum(np.abs(step).max(axis=1, keepdims=True), 1.0))
