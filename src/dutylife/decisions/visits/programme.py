"""The months in which one machine comes in: its own integer programme, solved exactly."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
MOST_MONTHS = 12  # 2 to the power of it sets of months are gone through


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Programme:
    """Costs of the tasks that share visits, by the month they are done in.

    Parameters
    ----------
    first : ndarray, shape (n_tasks, n_months)
        Each task done for the first time in each month; ``inf`` where it may not be. [currency]
    again : ndarray, shape (n_tasks, n_months, n_months)
        Done in the second month after it was done in the first one. [currency]
    end_first, end_again : ndarray, shape (n_tasks,), (n_tasks, n_months)
        Not done at all; not done again after that month. [currency]
    visit_costs : ndarray, shape (n_months,)
        Of a visit in each month; ``inf`` where none can be. [currency]
    labour_hours : ndarray, shape (n_tasks,)
    base_cost : float
        Long-run cost of the months, which the other figures are relative to. [currency]
    """

    first: Array
    again: Array
    end_first: Array
    end_again: Array
    visit_costs: Array
    labour_hours: Array
    base_cost: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """What is done when: one column of the months' programme.

    ``done`` has shape (n_tasks, n_months); ``cost`` leaves prices of hours out; ``hours`` has
    shape (n_months,).
    """

    done: Flags
    cost: float
    hours: Array


def best_course(programme: Programme, hour_prices: Array | None = None) -> tuple[Course, float]:
    """Cheapest course of one machine at given prices of the workshop's hours.

    Parameters
    ----------
    programme : Programme
        At most 12 months.
    hour_prices : ndarray, shape (n_months,), optional
        Added for each hour of labour in each month. [currency per hour]

    Returns
    -------
    tuple
        The course, and its cost with these prices; ``inf`` where no course keeps every limit.

    Notes
    -----
    The programme is: a path of each task from now to the end of the months, over arcs from one
    month it is done in to the next (continuous; a path is whole by itself), each month on a path
    visited (binary). Given the visited months the paths are shortest paths, found for all sets of
    months at once, from the last month back.
    """
    n_months = programme.first.shape[1]
    prices = np.zeros(n_months) if hour_prices is None else hour_prices
    dear = programme.labour_hours[:, None] * prices
    first = programme.first + dear
    again = programme.again + dear[:, None, :]
    # visited months after month m: a number of n_months - m - 1 bits, the last month lowest
    ahead: list[Array] = [np.empty(0)] * n_months
    for month in range(n_months - 1, -1, -1):
        ahead[month] = _best_over_sets(
            again[:, month, :], programme.end_again[:, month], ahead, month + 1
        )
    whole = _best_over_sets(first, programme.end_first, ahead, 0)
    total = whole.sum(axis=0) + _visits(programme.visit_costs)
    chosen = int(np.argmin(total))
    best = float(total[chosen])
    done = _paths(first, again, programme, ahead, chosen)
    hours = programme.labour_hours @ done
    cost = best - float(hours @ prices) if np.isfinite(best) else np.inf
    return Course(done=done, cost=cost, hours=hours), best


def _best_over_sets(arcs: Array, end: Array, ahead: list[Array], start: int) -> Array:
    """Least cost of each task for each set of the months from ``start`` on."""
    n_months = arcs.shape[1]
    n_bits = n_months - start
    best = np.repeat(end[:, None], 2**n_bits, axis=1)
    for month in range(start, n_months):
        low = n_months - month - 1
        sets = best.reshape(len(end), 2 ** (month - start), 2, 2**low)
        there = arcs[:, month, None] + ahead[month]
        np.minimum(sets[:, :, 1, :], there[:, None, :], out=sets[:, :, 1, :])
    return best


def _visits(costs: Array) -> Array:
    total = np.zeros(1)
    for cost in costs:
        # the first month is the highest bit
        total = np.stack([total, total + cost], axis=-1).reshape(-1)
    return total


def _paths(
    first: Array, again: Array, programme: Programme, ahead: list[Array], chosen: int
) -> Flags:
    n_tasks, n_months = first.shape
    done = np.zeros((n_tasks, n_months), dtype=bool)
    for task in range(n_tasks):
        arcs, end, start = first[task], programme.end_first[task], 0
        while True:
            best, to = end, -1
            for month in range(start, n_months):
                low = n_months - month - 1
                if not chosen >> low & 1:
                    continue
                there = arcs[month] + ahead[month][task, chosen & ((1 << low) - 1)]
                if there < best:
                    best, to = there, month
            if to < 0:
                break
            done[task, to] = True
            arcs, end, start = again[task, to], programme.end_again[task, to], to + 1
    return done
