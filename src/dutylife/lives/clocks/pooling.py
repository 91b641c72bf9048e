"""Rates of machines drawn towards those of machines alike, by how much each has told."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.lives.clocks.standing import Array

Codes = NDArray[np.int64]
# spread of log rates between machines of one duty and class, between classes of one duty, between
# duties: taken for so many of each beside the data; our proposal
PRIOR_MACHINES, PRIOR_SPREAD = 3.0, 0.35
PRIOR_CELLS, CELL_SPREAD = 3.0, 0.3
PRIOR_DUTIES, DUTY_SPREAD = 3.0, 0.5
ROUNDS = 200
CLOSE = 1e-8


@dataclass(frozen=True, slots=True)
class _Members:
    """Mean and variance of each member, and the expected square of its distance from above."""

    mean: Array
    variance: Array
    square: Array


def pooled_log_rates(
    log_rate: Array, variance: Array, cell: Codes, duty_of_cell: Codes
) -> tuple[Array, Array]:
    """Log rate of each machine from its own readings and from machines alike.

    Parameters
    ----------
    log_rate, variance : ndarray, shape (n,)
        Own log rate and the variance of its error; ``nan`` and ``inf`` where nothing is known.
    cell : ndarray of int, shape (n,)
        Duty x class of each machine.
    duty_of_cell : ndarray of int, shape (cells,)

    Returns
    -------
    mean, variance : ndarray, shape (n,)
        Of the log rate of each machine; ``nan`` where no machine has told anything.

    Notes
    -----
    Log rates of the machines of a cell are normal about the cell's mean, those means about the
    duty's, those about the fleet's: parametric empirical Bayes (C. N. Morris, "Parametric
    empirical Bayes inference", Journal of the American Statistical Association 78, 1983; from
    memory). The three variances are found by EM, each with a few made-up members of the stated
    spread beside the data, so that two machines alike by chance don't make a cell certain.
    """
    known = np.isfinite(log_rate) & np.isfinite(variance)
    if not known.any():
        return np.full(len(log_rate), np.nan), np.full(len(log_rate), np.nan)
    n_cells, n_duties = len(duty_of_cell), int(duty_of_cell.max()) + 1
    within, between, among = PRIOR_SPREAD**2, CELL_SPREAD**2, DUTY_SPREAD**2
    y, own = np.where(known, log_rate, 0.0), np.where(known, variance, np.inf)
    for _ in range(ROUNDS):
        old = np.array([within, between, among])
        # upwards: what each level says of the one above it
        cell_mean, cell_var = _combined(y, own + within, cell, n_cells)
        duty_mean, duty_var = _combined(cell_mean, cell_var + between, duty_of_cell, n_duties)
        one = np.zeros(n_duties, dtype=np.int64)
        fleet_mean, fleet_var = _combined(duty_mean, duty_var + among, one, 1)
        # downwards: each level knowing all of the fleet
        duties = _members(duty_mean, duty_var, fleet_mean[one], fleet_var[one], among)
        cells = _members(
            cell_mean, cell_var, duties.mean[duty_of_cell], duties.variance[duty_of_cell], between
        )
        machines = _members(y, own, cells.mean[cell], cells.variance[cell], within)
        within = _spread(machines, known, PRIOR_MACHINES, PRIOR_SPREAD)
        between = _spread(cells, np.isfinite(cell_var), PRIOR_CELLS, CELL_SPREAD)
        among = _spread(duties, np.isfinite(duty_var), PRIOR_DUTIES, DUTY_SPREAD)
        if np.abs(np.array([within, between, among]) - old).max() < CLOSE:
            break
    return machines.mean, machines.variance


def _combined(mean: Array, variance: Array, group: Codes, n_groups: int) -> tuple[Array, Array]:
    """Weighted mean of each group and its variance, infinite where nothing is known."""
    weight = 1.0 / variance  # 0 where nothing is known
    total = np.bincount(group, weight, minlength=n_groups)
    sums = np.bincount(group, weight * np.where(weight > 0, mean, 0.0), minlength=n_groups)
    empty = total <= 0
    safe = np.where(empty, 1.0, total)
    return np.where(empty, 0.0, sums / safe), np.where(empty, np.inf, 1.0 / safe)


def _members(own: Array, own_var: Array, above: Array, above_var: Array, spread: float) -> _Members:
    """Members by their own data and by the mean they are spread about, known with ``above_var``."""
    known = np.isfinite(own_var)
    safe = np.where(known, own_var, 1.0)
    weight = np.where(known, spread / (spread + safe), 0.0)
    alone = np.where(known, weight * safe, spread)
    return _Members(
        mean=above + weight * (own - above),
        variance=alone + (1.0 - weight) ** 2 * above_var,
        square=(weight * (own - above)) ** 2 + alone + weight**2 * above_var,
    )


def _spread(members: _Members, seen: NDArray[np.bool_], n_prior: float, prior: float) -> float:
    """Variance of members about the mean above them, the next step of EM."""
    return float((n_prior * prior**2 + members.square[seen].sum()) / (n_prior + seen.sum()))
