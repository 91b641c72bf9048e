"""Two duties of a component at once: what lends to both moves both, so their ratio is surer."""

import numpy as np
from numpy.typing import NDArray

from dutylife.models.checks import Array
from dutylife.models.pooling.grids import CellGrid

# chances of a component's figures left out of the sum, as a share of the greatest; what is left
# out moves no bound by more than its own part in a thousand
_LEAST = 1e-5
N_DIFFERENCES = 2001


def joint_log_scales(
    weight: NDArray[np.float64], grids: tuple[CellGrid, CellGrid],
    by_shape: tuple[Array, Array], by_scale: tuple[Array, Array],
) -> NDArray[np.float64]:  # fmt: skip
    """Chances of the log scales of two duties together, over the steps of both grids.

    Parameters
    ----------
    weight : array, shape (n_variances, n_shape, n_scale)
        Chances of the component's figures: variance of customers; mean and spread of log shape;
        mean and spread of log scale.
    grids : (CellGrid, CellGrid)
        Likelihoods of the duties.
    by_shape, by_scale : (array, array)
        Densities of log shape, shape (n_shape, n_q), and of log scale, (n_scale, n_s), on each
        grid under the component's figures.

    Returns
    -------
    array, shape (n_s of the first, n_s of the second), adding up to 1

    Notes
    -----
    Given the component's figures the duties are independent, so their joint law is the product
    of both over the figures' chances: exact on the grids, nothing drawn.
    """
    told = [
        np.einsum("aq,vqs->vas", density, np.exp(grid.values), optimize=True)
        for density, grid in zip(by_shape, grids, strict=True)
    ]
    # each duty's likelihood under the figures: what its own factor in `weight` has to be rid of
    marginals = [t @ density.T for t, density in zip(told, by_scale, strict=True)]
    used = weight > _LEAST * weight.max()
    out: Array = np.zeros((by_scale[0].shape[1], by_scale[1].shape[1]))
    for v, a in np.argwhere(used.any(axis=2)):
        kept = used[v, a]
        share = weight[v, a, kept] / (marginals[0][v, a, kept] * marginals[1][v, a, kept])
        between = (by_scale[0][kept] * share[:, None]).T @ by_scale[1][kept]
        out += told[0][v, a][:, None] * told[1][v, a][None, :] * between
    return np.asarray(out / out.sum())


def difference_range(
    at: Array, at_other: Array, chances: Array, level: float
) -> tuple[float, float, float]:
    """Lower bound, median and upper bound of the first minus the second.

    The chance of a point of the first grid lies evenly over its step: the differences of two even
    grids fall on few values, and ends taken among these would be rough.
    """
    step = at[1] - at[0]
    edges = np.concatenate([at - 0.5 * step, [at[-1] + 0.5 * step]])
    upto = np.vstack([np.zeros(len(at_other)), np.cumsum(chances, axis=0)])
    x = np.linspace(edges[0] - at_other[-1], edges[-1] - at_other[0], N_DIFFERENCES)
    below = np.zeros(len(x))
    for j, other in enumerate(at_other):
        below += np.interp(x + other, edges, upto[:, j])
    ends = np.array([0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
    low, middle, high = np.interp(ends, below, x)
    return float(low), float(middle), float(high)
