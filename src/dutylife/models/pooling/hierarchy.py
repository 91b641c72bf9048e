"""One component in several duties: how alike the duties are is learnt, and lends to each.

Given the component's mean log shape and log scale and how far duties and customers differ, the
duties stand apart: the likelihood of a cell under them is a sum over its grid. So the chances of
all these are known on a grid, and each cell's law follows without drawing anything.
"""

from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dutylife.models.checks import Array
from dutylife.models.pooling import priors
from dutylife.models.pooling.grids import CellGrid
from dutylife.models.pooling.pairs import difference_range, joint_log_scales
from dutylife.models.pooling.posterior import CellPosterior

# steps of the mean of log shape and of log scale, over the stretch that carries the chances: two
# looks find it, the third counts. Its steps stay within the narrowest spread of duties.
N_MEANS = ((17, 25), (25, 33), (33, 81))
_REACH = 14.0  # of a log chance below the greatest: less than one in a million


@dataclass(frozen=True, slots=True, eq=False)
class Pooled:
    """What the lives of a component say of it, and of its law in each duty.

    Chances of the mean log shape, spread of log shape, mean log scale, spread of log scale and
    variance of customers: ``weight`` of that shape, order (variance, shape mean, shape spread,
    scale mean, scale spread). ``without`` tells, for each cell, mean and variance of its log
    scale by the other cells alone; ``grids`` holds their likelihoods.
    """

    shape_mean: Array
    scale_mean: Array
    weight: NDArray[np.float64]
    cells: tuple[CellPosterior, ...]
    without: tuple[tuple[float, float], ...]
    grids: tuple[CellGrid, ...]

    def own_share(self, number: int) -> float:
        """Share of a cell's answer that is its own lives': by how much they narrow log scale."""
        _, covariance = self.cells[number].moments()
        return float(np.clip(1.0 - covariance[1, 1] / self.without[number][1], 0.0, 1.0))

    def factor(self, number: int, other: int, level: float) -> tuple[float, float, float]:
        """Lower bound, median and upper bound of the lives of a cell over those of another [1].

        What the component's figures say moves both, so the two go together: their joint law is
        summed over these figures.
        """
        grids = self.grids[number], self.grids[other]
        sides = [_sides(g, self.shape_mean, self.scale_mean) for g in grids]
        n_shape, n_scale = len(sides[0][0]), len(sides[0][1])
        with one_thread():
            chances = joint_log_scales(
                self.weight.reshape(-1, n_shape, n_scale), grids,
                (sides[0][0], sides[1][0]), (sides[0][1], sides[1][1]),
            )  # fmt: skip
        low, middle, high = difference_range(grids[0].s, grids[1].s, chances, level)
        return float(np.exp(low)), float(np.exp(middle)), float(np.exp(high))

    @property
    def probability_wears(self) -> float:
        """Chance that the component's mean log shape is above 0: risk rises with age [1]."""
        chance = self.weight.sum(axis=(0, 2, 3, 4))
        step = self.shape_mean[1] - self.shape_mean[0]
        # each point stands for its step; the one that holds 0 counts by its part above
        above = np.clip(self.shape_mean / step + 0.5, 0.0, 1.0)
        return float(chance @ above)

    @property
    def customer_variance(self) -> float:
        """Mean variance of the factor by which customers differ [1]."""
        return float(self.weight.sum(axis=(1, 2, 3, 4)) @ priors.CUSTOMER_VARIANCE)


def one_thread() -> AbstractContextManager[Any]:
    """Products on one thread: several are slower on small matrices, and round in their own order.

    So the same tables give the same laws to the last digit.
    """
    from threadpoolctl import threadpool_limits

    limits: AbstractContextManager[Any] = threadpool_limits(limits=1, user_api="blas")
    return limits


def pooled(grids: list[CellGrid], scale_start: float) -> Pooled:
    """Pool the cells of a component.

    Parameters
    ----------
    grids : list of CellGrid
        One for each duty, flat where a duty has no lives.
    scale_start : float
        Log scale at which the prior of the mean stands. [log age]
    """
    q_ends = priors.LOG_SHAPE_MEAN + 5.5 * priors.LOG_SHAPE_SD * np.array([-1.0, 1.0])
    # a mean may lie beyond all its duties by as much as they can differ
    beyond = 4.0 * priors.SCALE_BETWEEN[-1]
    s_ends = np.array([min(g.s[0] for g in grids) - beyond, max(g.s[-1] for g in grids) + beyond])
    weight = np.empty(0)
    marginals: list[NDArray[np.float64]] = []
    for look, (n_q, n_s) in enumerate(N_MEANS):
        q = np.linspace(q_ends[0], q_ends[1], n_q)
        s = np.linspace(s_ends[0], s_ends[1], n_s)
        marginals = [_marginal(g, q, s) for g in grids]
        value = _log_prior(q, s, scale_start) + sum(np.log(m) for m in marginals)
        weight = np.exp(value - value.max())
        if look < len(N_MEANS) - 1:
            q_ends = _stretch(q, value.max(axis=(0, 2, 3, 4)))
            s_ends = _stretch(s, value.max(axis=(0, 1, 2, 4)))
    weight /= weight.sum()
    cells = [_cell(g, q, s, weight / m) for g, m in zip(grids, marginals, strict=True)]
    without = [_without(s, weight / m) for m in marginals]
    return Pooled(q, s, weight, tuple(cells), tuple(without), tuple(grids))


def _stretch(at: Array, height: Array) -> Array:
    """Ends of the stretch that carries the chances, a step wider on either side."""
    held = np.flatnonzero(height > height.max() - _REACH)
    step = at[1] - at[0]
    first, last = max(held[0] - 1, 0), min(held[-1] + 1, len(at) - 1)
    return np.array([at[first], max(at[last], at[first] + 0.5 * step)])


def _log_prior(q: Array, s: Array, scale_start: float) -> NDArray[np.float64]:
    by_q = -0.5 * ((q - priors.LOG_SHAPE_MEAN) / priors.LOG_SHAPE_SD) ** 2
    by_s = -0.5 * ((s - scale_start) / priors.LOG_SCALE_SD) ** 2
    parts = (
        np.log(priors.CUSTOMER_VARIANCE_CHANCE), by_q, np.log(priors.SHAPE_BETWEEN_CHANCE), by_s,
        np.log(priors.SCALE_BETWEEN_CHANCE),
    )  # fmt: skip
    out = np.zeros([len(p) for p in parts])
    for axis, part in enumerate(parts):
        out += part.reshape([-1 if a == axis else 1 for a in range(5)])
    return out


def _normal(at: Array, mean: Array, sd: Array) -> NDArray[np.float64]:
    """Density at each point for each mean and sd, shape (n_mean x n_sd, n_at)."""
    z = (at[None, None, :] - mean[:, None, None]) / sd[None, :, None]
    density: Array = np.exp(-0.5 * z * z) / (sd[None, :, None] * np.sqrt(2.0 * np.pi))
    return density.reshape(len(mean) * len(sd), len(at))


def _sides(grid: CellGrid, q: Array, s: Array) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return (
        _normal(grid.q, q, priors.SHAPE_BETWEEN), _normal(grid.s, s, priors.SCALE_BETWEEN)
    )  # fmt: skip


def _marginal(grid: CellGrid, q: Array, s: Array) -> NDArray[np.float64]:
    """Likelihood of a cell given the component's figures, in the order of `Pooled.weight`."""
    by_shape, by_scale = _sides(grid, q, s)
    out = by_shape @ np.exp(grid.values) @ by_scale.T * grid.step
    sizes = len(q), len(priors.SHAPE_BETWEEN), len(s), len(priors.SCALE_BETWEEN)
    # far from all a cell allows nothing is left of a float; the least one keeps logs finite
    return np.maximum(out, 1e-300).reshape(len(out), *sizes)


def _cell(grid: CellGrid, q: Array, s: Array, rest: NDArray[np.float64]) -> CellPosterior:
    """Law of a cell: its likelihood times what the others and the prior say of it."""
    by_shape, by_scale = _sides(grid, q, s)
    flat = rest.reshape(len(rest), by_shape.shape[0], by_scale.shape[0])
    weight = (np.exp(grid.values) * (by_shape.T @ flat @ by_scale)).sum(axis=0)
    return CellPosterior(grid.q, grid.s, weight / weight.sum())


def _without(s: Array, rest: NDArray[np.float64]) -> tuple[float, float]:
    """Mean and variance of a cell's log scale by the other cells alone."""
    chance = rest.sum(axis=(0, 1, 2)) / rest.sum()
    mean = float(chance.sum(axis=1) @ s)
    between = float(chance.sum(axis=0) @ priors.SCALE_BETWEEN**2)
    return mean, between + float(chance.sum(axis=1) @ (s - mean) ** 2)
