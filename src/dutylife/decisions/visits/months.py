"""Months of all machines under the workshop's hours: courses of machines, priced by the hour."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from dutylife.decisions.visits.programme import Course, Programme, best_course

Array = npt.NDArray[np.float64]
GAP = 0.004  # courses are added until the cost of their mix is so near its bound
WHOLE_GAP = 0.005  # whole courses are searched until they are so near the known ones' mix
FEW = 50  # machines for which the gap may be a tenth of it
MOST_ROUNDS = 60
MOST_MENDS = 8
NEARLY_FULL = 0.85
NODES = 200  # of the search for whole courses: a count, not a time, so that runs are alike


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MonthPlan:
    """A course for each machine, what all cost, and what no plan can cost less than.

    ``over_hours`` has shape (n_months,): hours that no plan within the limits can do without.
    """

    courses: list[Course]
    cost: float
    bound: float
    over_hours: Array
    n_rounds: int

    @property
    def gap(self) -> float:
        """Cost above the bound, as a share of the cost's size [1]."""
        return (self.cost - self.bound) / max(abs(self.cost), 1e-9)


def plan_months(programmes: list[Programme], capacity: Array | None) -> MonthPlan:
    """Months of every machine's tasks at the least cost within the workshop's hours.

    Parameters
    ----------
    programmes : list of Programme
        Each with a course within its own limits.
    capacity : ndarray, shape (n_months,), optional
        Workshop hours of each month. [hours]

    Notes
    -----
    Machines meet only at the workshop's hours, so the programme falls apart by machine
    (Dantzig-Wolfe): a linear programme over the courses known prices the hours, each machine
    answers with its best course at these prices, and the sum of their costs less the price of all
    hours is a bound (Lagrange). In the end HiGHS picks one whole course of each machine.
    """
    found = [best_course(p)[0] for p in programmes]
    base = float(sum(p.base_cost for p in programmes))
    cost = base + float(sum(c.cost for c in found))
    zero = np.zeros(0)
    if not found or capacity is None:
        return MonthPlan(courses=found, cost=cost, bound=cost, over_hours=zero, n_rounds=0)
    needed = np.sum([c.hours for c in found], axis=0)
    if np.all(needed <= capacity + 1e-9):
        none = np.zeros(len(capacity))
        return MonthPlan(courses=found, cost=cost, bound=cost, over_hours=none, n_rounds=0)
    columns = [[c] for c in found]
    dear = _dear(programmes)
    near = GAP if len(programmes) > FEW else GAP / 10
    bound, n_rounds = -np.inf, 0
    prices, here = np.zeros(len(capacity)), np.zeros(len(capacity))
    for n_rounds in range(1, MOST_ROUNDS + 1):
        prices, alone, value = _master(columns, capacity, dear)
        # prices half way to those of the best bound so far swing less
        for asked in (0.5 * (prices + here), prices) if n_rounds > 1 else (prices,):
            answers = [best_course(p, asked) for p in programmes]
            low = sum(best for _, best in answers) - float(asked @ capacity)
            if low > bound:
                bound, here = low, asked
            news = 0
            for i, (course, best) in enumerate(answers):
                at_prices = course.cost + float(course.hours @ prices)
                if at_prices < alone[i] - 1e-7 * (1 + abs(alone[i])) and best < np.inf:
                    columns[i].append(course)
                    news += 1
            if news:
                break
        if not news or value - bound <= near * max(abs(base + value), 1e-9):
            break
    picked, over = _whole(columns, capacity, dear, base)
    for _ in range(MOST_MENDS):
        if not over.any():
            break
        _lighter(programmes, picked, columns, capacity, prices, dear)
        picked, over = _whole(columns, capacity, dear, base)
    cost = base + float(sum(c.cost for c in picked))
    return MonthPlan(
        courses=picked, cost=cost, bound=base + bound, over_hours=over, n_rounds=n_rounds
    )


def _dear(programmes: list[Programme]) -> float:
    """Price of an hour above all that any course can save by it."""
    largest = 1.0
    for p in programmes:
        figures = np.concatenate([p.first.ravel(), p.end_first, p.end_again.ravel()])
        known = np.abs(figures[np.isfinite(figures)])
        visits = p.visit_costs[np.isfinite(p.visit_costs)]
        largest = max(largest, float(known.max(initial=0.0)), float(visits.max(initial=0.0)))
    least = min(float(p.labour_hours.min(initial=1.0)) for p in programmes)
    return 20.0 * largest / max(least, 0.05)


def _master(
    columns: list[list[Course]], capacity: Array, dear: float
) -> tuple[Array, Array, float]:
    """Prices of hours, of machines, and the value of the linear programme over known courses."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_matrix, hstack

    costs, hours, ones = _matrices(columns)
    n_months = len(capacity)
    over = csr_matrix(-np.eye(n_months))
    found = linprog(
        np.concatenate([costs, np.full(n_months, dear)]),
        A_ub=hstack([hours, over], format="csr"), b_ub=capacity,
        A_eq=hstack([ones, csr_matrix((len(columns), n_months))], format="csr"),
        b_eq=np.ones(len(columns)), bounds=(0, None), method="highs-ds",
    )  # fmt: skip
    if found.status != 0:
        raise ArithmeticError(f"the programme of the months did not end: {found.message}")
    return -found.ineqlin.marginals, found.eqlin.marginals, float(found.fun)


def _whole(
    columns: list[list[Course]], capacity: Array, dear: float, base: float
) -> tuple[list[Course], Array]:
    """One whole course of each machine, and the hours over the workshop's."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_matrix, hstack

    costs, hours, ones = _matrices(columns)
    n, n_months = len(costs), len(capacity)
    over = csr_matrix(-np.eye(n_months))
    # costs are counted from each machine's cheapest course; a last variable that is always 1 adds
    # what is left out, so that a gap in shares is one of the whole cost
    cheapest = [min(c.cost for c in mine) for mine in columns]
    above = costs - np.repeat(cheapest, [len(mine) for mine in columns])
    rest = max(base + float(sum(cheapest)), 0.0)
    rules = [
        LinearConstraint(
            hstack([hours, over, csr_matrix((n_months, 1))], format="csr"), -np.inf, capacity
        ),
        LinearConstraint(hstack([ones, csr_matrix((len(columns), n_months + 1))]), 1, 1),
    ]
    for most_over in (0.0, np.inf):  # hours over the workshop's only where nothing else is left
        found = milp(
            np.concatenate([above, np.full(n_months, dear), [rest]]),
            constraints=rules,
            integrality=np.concatenate([np.ones(n), np.zeros(n_months + 1)]),
            bounds=Bounds(
                np.concatenate([np.zeros(n + n_months), [1.0]]),
                np.concatenate([np.ones(n), np.full(n_months, most_over), [1.0]]),
            ),
            options={"mip_rel_gap": WHOLE_GAP, "node_limit": NODES},
        )
        if found.x is not None:
            break
    else:
        raise ArithmeticError(f"no whole courses were found: {found.message}")
    picked, at = [], 0
    for mine in columns:
        picked.append(mine[int(np.argmax(found.x[at : at + len(mine)]))])
        at += len(mine)
    used = np.sum([c.hours for c in picked], axis=0)
    return picked, np.where(used > capacity + 1e-6, used - capacity, 0.0)


def _lighter(
    programmes: list[Programme], picked: list[Course], columns: list[list[Course]],
    capacity: Array, prices: Array, dear: float,
) -> None:  # fmt: skip
    """Add courses that take fewer hours in months that whole courses overfill.

    The prices know mixes of courses; of whole ones a month may want a few hours less. Each machine
    that comes in such a month is asked for its best course at a higher price of that month, of
    every month that is nearly full, without that month, and for the one of fewest hours.
    """
    used = np.sum([c.hours for c in picked], axis=0)
    full = used > NEARLY_FULL * capacity
    for month in np.flatnonzero(used > capacity + 1e-6):
        for i, (programme, course) in enumerate(zip(programmes, picked, strict=True)):
            if course.hours[month] <= 0:
                continue
            visit = np.where(np.isfinite(programme.visit_costs), programme.visit_costs, 0.0).max()
            higher, all_higher = prices.copy(), prices.copy()
            higher[month] = 2 * prices[month] + visit / course.hours[month]
            all_higher[full] = 2 * prices[full] + visit / course.hours[month]
            closed = programme.visit_costs.copy()
            closed[month] = np.inf
            asked = [
                (programme, higher), (programme, all_higher),
                (replace(programme, visit_costs=closed), prices),
                (replace(programme, visit_costs=closed), all_higher),
                (programme, np.full_like(prices, dear / 20)),
            ]  # fmt: skip
            for machine, at in asked:
                found, cost = best_course(machine, at)
                new = not any(np.array_equal(found.done, c.done) for c in columns[i])
                if np.isfinite(cost) and new:
                    columns[i].append(found)


def _matrices(columns: list[list[Course]]) -> tuple[Array, object, object]:
    from scipy.sparse import csr_matrix

    every = [(i, c) for i, mine in enumerate(columns) for c in mine]
    costs = np.array([c.cost for _, c in every])
    hours = csr_matrix(np.array([c.hours for _, c in every]).T)
    owner = np.array([i for i, _ in every])
    n = len(every)
    ones = csr_matrix((np.ones(n), (owner, np.arange(n))), shape=(len(columns), n))
    return costs, hours, ones
