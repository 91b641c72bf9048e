"""Replacement ages of many cells at once: least expected cost over each cell's draws."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.decisions.age_table import optimal_ages
from dutylife.decisions.age_weibull import weibull_mean
from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]
N_AGES = 17
_FAR = 4.0  # mean scales: beyond it hardly any part still works
_BLOCK = 65_536  # draws taken together


@dataclass(frozen=True, slots=True, kw_only=True)
class CellOptima:
    """Age of least expected cost of each cell, cost rate there and waiting; shape (n_cells,).

    ``age`` is ``inf`` where no planned age costs less than waiting.
    """

    age: Array
    cost_rate: Array
    cost_rate_run_to_failure: Array


def cell_optima(
    shape: npt.ArrayLike,
    scale: npt.ArrayLike,
    weights: npt.ArrayLike,
    planned_cost: npt.ArrayLike,
    failure_cost: npt.ArrayLike,
) -> CellOptima:
    """Age at which the expected cost rate over the draws of each cell is least.

    Parameters
    ----------
    shape, scale, weights : array_like, shape (n_cells, n_draws)
        Weibull draws; weights of a cell add up to 1, 0 for a draw that only fills the row.
    planned_cost, failure_cost : array_like, shape (n_cells,)
        Of one replacement, all in. [currency]

    Returns
    -------
    CellOptima

    Raises
    ------
    DecisionError
        Arrays that do not go together, or a failure that costs no more than planned work.

    Notes
    -----
    The cost rate of a draw has one minimum, so the mean's lies between the least and the greatest
    best age of the draws (`optimal_ages`): there a grid of 17 ages even in log age is laid, the
    integral of the survival run over it, and the bottom taken by a parabola. Ages go up to four
    mean characteristic lives. The age costs at most 1e-4 more than the best; rates are to 5e-4.

    Examples
    --------
    >>> found = cell_optima([[2.0, 2.0]], [[100.0, 100.0]], [[0.5, 0.5]], [1.0], [5.0])
    >>> found.age.round(1).tolist()
    [51.1]
    """
    k, eta, w = (np.asarray(v, dtype=float) for v in (shape, scale, weights))
    planned, failure = (np.asarray(v, dtype=float) for v in (planned_cost, failure_cost))
    if (
        k.ndim != 2
        or not (k.shape == eta.shape == w.shape)
        or not (planned.shape == failure.shape == (len(k),))
    ):
        raise DecisionError(
            f"Shapes {k.shape}, scales {eta.shape}, weights {w.shape}, costs {planned.shape} do "
            "not go together.", "cell_optima", "a row of draws and two costs for each cell",
        )  # fmt: skip
    bad = np.flatnonzero(~((planned > 0) & (failure > planned)))
    if bad.size:
        raise DecisionError(
            f"A failure must cost more than planned work: {bad.size} cells, first {bad[0]}.",
            "cell_optima(planned_cost, failure_cost)", "all-in costs; add lost days to failures",
        )  # fmt: skip
    out = np.empty((3, len(k)))
    rows = max(_BLOCK // max(k.shape[1], 1), 1)
    best = optimal_ages(k, failure / planned, eta)
    for start in range(0, len(k), rows):
        part = slice(start, start + rows)
        out[:, part] = _block(k[part], eta[part], w[part], planned[part], failure[part],
                              best[part])  # fmt: skip
    return CellOptima(age=out[0], cost_rate=out[1], cost_rate_run_to_failure=out[2])


def _block(
    k: Array, eta: Array, w: Array, planned: Array, failure: Array, best: Array
) -> tuple[Array, Array, Array]:
    counts = w > 0
    reach = _FAR * (w * eta).sum(axis=1)
    first = np.where(counts, best, np.inf).min(axis=1)
    last = np.where(counts, best, 0.0).max(axis=1)
    last = np.minimum(last, reach)
    first = np.minimum(first, last)
    # a step more on either side, so that the least age is never the first or the last
    low, high = np.log(first) - 0.02, np.log(last) + 0.02
    step = (high - low) / (N_AGES - 1)
    ages = np.exp(low[:, None] + step[:, None] * np.arange(N_AGES))
    rates, before, lived = np.empty(ages.shape), None, None
    with np.errstate(over="ignore", under="ignore"):
        hazard = np.exp(k * (low[:, None] - np.log(eta)))
        growth = np.exp(k * step[:, None])
        for j in range(N_AGES):
            hazard = hazard * growth if j else hazard
            alive = np.exp(-hazard)
            weighed = alive * ages[:, j, None]
            slope = weighed * (1 - k * hazard)
            if before is None:
                lived = _lived(k, eta, hazard)
            else:
                half, twelfth = step[:, None] / 2, step[:, None] ** 2 / 12
                lived = lived + half * (weighed + before[0]) - twelfth * (slope - before[1])
            before = (weighed, slope)
            per_age = w / lived
            total = per_age.sum(axis=1)
            renewed = (per_age * alive).sum(axis=1)
            rates[:, j] = planned * renewed + failure * (total - renewed)
    waiting = failure * (w / weibull_mean(k, eta)).sum(axis=1)
    at = np.clip(rates.argmin(axis=1), 1, N_AGES - 2)
    row = np.arange(len(k))
    left, middle, right = (rates[row, at + j] for j in (-1, 0, 1))
    bend = left - 2 * middle + right
    move = np.where(bend > 0, 0.5 * (left - right) / np.where(bend > 0, bend, 1.0), 0.0)
    move = np.clip(move, -1, 1)
    age = ages[row, at] * np.exp(move * step)
    least = np.where(bend > 0, middle - 0.25 * (left - right) * move, rates.min(axis=1))
    pays = (least < waiting) & (age < reach)
    return np.where(pays, age, np.inf), np.where(pays, least, waiting), waiting


def _lived(k: Array, eta: Array, hazard: Array) -> Array:
    """Integral of the survival up to the age of that cumulative hazard."""
    from scipy.special import gammainc

    return np.asarray(weibull_mean(k, eta) * gammainc(1 / k, hazard), dtype=float)
