"""Sums of t^k near a shape k0 from one pass over the rows: a Taylor series in the shape.

The derivatives of S0(k) = sum of t^k are the sums of t^k (log t)^j. With them, steps in the shape
cost nothing by row; a second series, about where those steps end, leaves an error below 1e-10.
"""

from dataclasses import dataclass
from math import factorial

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import Block
from dutylife.models.checks import Array

ORDER, LATER_ORDER = 5, 4  # of a series that leads far, and of those near the end
# log shapes a series is trusted to go from its middle, before the next one is made
FURTHEST_DOWN, FURTHEST_UP = -0.5, 0.4


def factorials(order: int) -> Array:
    """0! to order!, shape (order + 1, 1)."""
    return np.array([[float(factorial(j))] for j in range(order + 1)])


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Taylor coefficients of S0 about log shape ``middle``; shape (order + 1, n_cells)."""

    middle: Array
    terms: Array

    @classmethod
    def about(cls, block: Block, q: Array, order: int = ORDER) -> "Series":
        """Series of every cell about its log shape."""
        terms = block.moments(np.exp(q), order)
        return cls(q, terms / factorials(order))

    def of(self, chosen: NDArray[np.intp]) -> "Series":
        """Series of some cells."""
        return Series(self.middle[chosen], self.terms[:, chosen])

    def within(self, q: Array) -> Array:
        """Log shapes brought to where the series is trusted."""
        return np.minimum(np.maximum(q, self.middle + FURTHEST_DOWN), self.middle + FURTHEST_UP)

    def sums(self, shape: Array) -> tuple[Array, Array, Array]:
        """S0 and its first two derivatives by the shape, as `Block.sums`."""
        step = shape - np.exp(self.middle)
        s0 = self.terms[-1].copy()
        s1, s2 = np.zeros_like(s0), np.zeros_like(s0)
        for term in self.terms[-2::-1]:
            s2 *= step
            s2 += s1
            s1 *= step
            s1 += s0
            s0 *= step
            s0 += term
        return s0, s1, 2.0 * s2

    def error(self, shape: Array, counts: Array) -> Array:
        """What S1 lacks, times what a unit of it ``counts`` for in the slope over the failures.

        The terms fall by about step / k or faster, so what is left out is less than the last term
        used times twice that.
        """
        order = len(self.terms) - 1
        step = np.abs(shape - np.exp(self.middle))
        out = np.minimum(2.0 * step / shape, 1.0)
        for _ in range(order - 1):  # a power of its own takes longer
            out *= step
        out *= np.abs(self.terms[-1])
        out *= order * counts
        return np.asarray(out)
