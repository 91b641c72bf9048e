"""Chance for the practice fleet: uniforms turned by inverse laws, the same on every machine."""

import math
from collections.abc import Mapping, Sequence
from statistics import NormalDist
from typing import TypeVar

import numpy as np

T = TypeVar("T")
_NORMAL = NormalDist()


class Stream:
    """One stream of chance, named by its seed and key.

    Only uniforms are taken from the generator: numpy keeps those stable from release to release,
    its other laws it may change, and the committed demonstration data must not move.

    Parameters
    ----------
    *key : int
        Seed, then whatever names the stream (machine, purpose).
    """

    def __init__(self, *key: int) -> None:
        self._rng = np.random.default_rng(key)

    def uniform(self, low: float = 0.0, high: float = 1.0) -> float:
        """Return a number in [low, high)."""
        return low + (high - low) * float(self._rng.random())

    def chance(self, probability: float) -> bool:
        """Return True with the given probability."""
        return self.uniform() < probability

    def integer(self, low: int, high: int) -> int:
        """Return a whole number from low to high, both included."""
        return min(low + math.floor(self.uniform() * (high - low + 1)), high)

    def pick(self, among: Sequence[T], weights: Sequence[float] | None = None) -> T:
        """Return one of ``among``, by weight when weights are given."""
        if weights is None:
            return among[self.integer(0, len(among) - 1)]
        left = self.uniform(0.0, math.fsum(weights))
        for item, weight in zip(among, weights, strict=True):
            left -= weight
            if left < 0:
                return item
        return among[-1]

    def pick_key(self, weights: Mapping[str, float]) -> str:
        """Return one key by its weight."""
        return self.pick(list(weights), list(weights.values()))

    def exponential(self, mean: float) -> float:
        """Return a waiting time with that mean."""
        return self.weibull(1.0, mean)

    def weibull(self, shape: float, scale: float) -> float:
        """Return a life from the Weibull law: scale (-log(1 - u)) ** (1 / shape)."""
        return float(scale * (-math.log1p(-self.uniform())) ** (1.0 / shape))

    def normal(self) -> float:
        """Return a standard normal number."""
        return _NORMAL.inv_cdf(max(self.uniform(), 1e-12))

    def lognormal(self, coefficient_of_variation: float) -> float:
        """Return a positive factor with mean 1 and that coefficient of variation."""
        sigma = math.sqrt(math.log1p(coefficient_of_variation**2))
        return math.exp(sigma * self.normal() - sigma**2 / 2.0)

    def arrivals(self, start: float, end: float, per_unit: float) -> list[float]:
        """Return the times of a Poisson process in (start, end)."""
        times: list[float] = []
        if per_unit <= 0:
            return times
        at = start + self.exponential(1.0 / per_unit)
        while at < end:
            times.append(at)
            at += self.exponential(1.0 / per_unit)
        return times
