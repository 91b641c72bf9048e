"""Tasks of all machines as the planner needs them: worth by day, hours, limits, whose visit."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.cells import law_draws
from dutylife.decisions.visits.worth import (
    LawCurve,
    LawGrid,
    Worth,
    interval_worth,
    law_curve,
    law_grid,
    law_worth,
    ride_worth,
    with_limit,
)
from dutylife.schema import filled_from
from dutylife.settings import Workshop

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
GROUP_DAYS = 30.0  # a task without a visit of its own is done so long before it is due
DEFAULT_HOURS = 0.5  # workshop time of a task of unknown time: our proposal
VISIT_SHARE = 0.5  # of the middle planned cost: a visit whose cost is not stated, our proposal
FREQUENT_DAYS = 35.0  # tasks that come back sooner can't go by months
FAILURE_RATIO = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Jobs:
    """Tasks with their worth; every array has shape (n_tasks,).

    Parameters
    ----------
    frame : DataFrame
        Rows of `tasks_due`.
    worth : list of Worth
    curves : list of LawCurve or None
        Where a law tells.
    share : ndarray
        Part of a visit that the task bears. [currency]
    base_rate : ndarray
        Long-run cost, its share of visits included. [currency per day]
    group : ndarray
        Machine (or customer) whose visit the task belongs to; number in ``groups``.
    groups : list of str
    customer : list of str
        Of each group.
    due, period : ndarray
        [days]
    due_limit, limit : ndarray
        Last day of the first time, days to each next time; ``inf`` where there is no limit, or
        where it has passed. [days]
    hours : ndarray
        Workshop time. [hours]
    own_visit, is_hard, is_frequent : ndarray of bool
    looks_after : list of ndarray
        Of a replacement, the looks at the same part: they count from the new part on.
    visit_cost : float
        Stated, else our proposal. [currency]
    """

    frame: pd.DataFrame
    worth: list[Worth]
    curves: list[LawCurve | None]
    share: Floats
    base_rate: Floats
    group: Ints
    groups: list[str]
    customer: list[str]
    due: Floats
    period: Floats
    due_limit: Floats
    limit: Floats
    hours: Floats
    own_visit: Flags
    is_hard: Flags
    is_frequent: Flags
    looks_after: list[Ints]
    visit_cost: float

    def cost(self, task: int, last: int, days: Ints) -> Floats:
        """Cost of a task on each of some days, last done on day ``last``, below 0: not yet."""
        w = self.worth[task]
        out: Floats = w.first[days] if last < 0 else w.again[np.maximum(days - last, 0)]
        return out


def jobs_of(
    due: pd.DataFrame,
    customers: pd.Series,
    life_draws: pd.DataFrame | None,
    *,
    visit_cost: float | None,
    per_customer: bool,
    first_day: int,
    n_days: int,
) -> Jobs:
    """Tasks with the worth of each by day.

    Parameters
    ----------
    due : DataFrame
        Rows of `tasks_due`.
    customers : Series, index unit_id
    life_draws : DataFrame, table "life_draws", optional
        Without it every task goes by its interval alone.
    visit_cost : float, optional
        Settings' visit cost. [currency]
    per_customer : bool
        A visit is a customer's, with all his machines, not one machine's.
    first_day : int
        First working day; a limit before it has passed. [days]
    n_days : int
        Length of the tables of worth.
    """
    own, failure = _money(due, visit_cost)
    replaces = (due["task"] == "replace").to_numpy()
    shared = _proposed(own[replaces]) if visit_cost is None else visit_cost
    owner = _owners(due, customers)
    # a machine whose customer is not known makes its own visits
    named = owner.where(per_customer & (owner != ""), due["unit_id"].astype(str))
    codes, names = pd.factorize(named, sort=True)
    period, left = (due[c].to_numpy(dtype=float) for c in ("period_days", "due_days"))
    makes = due["own_visit"].to_numpy(dtype=bool)
    share = np.where(makes, _share(codes, period, makes, shared), 0.0)
    limit = due["limit_days"].fillna(np.inf).to_numpy(dtype=float)
    due_limit = due["limit_due_days"].fillna(np.inf).to_numpy(dtype=float)
    due_limit = np.where(due_limit < first_day, 0.0, due_limit)
    laws = Laws(life_draws)
    worth: list[Worth] = []
    curves: list[LawCurve | None] = []
    rate = np.zeros(len(due))
    records: list[Any] = list(due.itertuples(index=False))
    for i, row in enumerate(records):
        curve = _curve(row, laws, own[i], share[i], failure[i])
        if curve is not None:
            per_day = float(row.per_day)
            age = max((period[i] - left[i]) * per_day, 0.0)
            w = law_worth(curve, age, per_day, n_days)
            rate[i] = curve.rate * per_day
        elif makes[i]:
            w = interval_worth(
                own=own[i], share=share[i], failure=max(failure[i], own[i] + shared),
                due=left[i], period=period[i], n_days=n_days,
            )  # fmt: skip
            rate[i] = (own[i] + share[i]) / period[i]
        else:
            w = ride_worth(
                due=left[i], period=period[i], ahead=GROUP_DAYS, n_days=n_days,
                small=1e-3 * max(shared, 1e-3),
            )  # fmt: skip
        if np.isfinite(limit[i]):
            w = with_limit(w, due=due_limit[i], limit=limit[i], failure=failure[i] + shared)
        worth.append(w)
        curves.append(curve)
    return Jobs(
        frame=due, worth=worth, curves=curves, base_rate=rate, share=share,
        group=codes.astype(np.int64), groups=[str(n) for n in names],
        customer=owner.groupby(codes).first().tolist(),
        due=left, period=period, limit=limit,
        due_limit=np.where(due_limit > 0, due_limit, np.inf),
        hours=due["labour_hours"].fillna(DEFAULT_HOURS).clip(lower=0.05).to_numpy(dtype=float),
        own_visit=makes, is_hard=np.isfinite(limit),
        is_frequent=makes & (np.minimum(period, limit) < FREQUENT_DAYS),
        looks_after=_looks_after(due),
        visit_cost=float(shared),
    )  # fmt: skip


def visit_shares(due: pd.DataFrame, customers: pd.Series, workshop: Workshop) -> Floats:
    """Part of a visit that each task bears, without laws, in the fleet's currency.

    Parameters
    ----------
    due : DataFrame
        Rows of `tasks_due`.
    customers : Series, index unit_id
    workshop : Workshop
        Visit cost and whose visit it is.
    """
    own, _ = _money(due, workshop.visit_cost)
    replaces = (due["task"] == "replace").to_numpy()
    shared = _proposed(own[replaces]) if workshop.visit_cost is None else workshop.visit_cost
    owner = _owners(due, customers)
    named = owner.where(
        (workshop.visit_cost_per == "customer") & (owner != ""), due["unit_id"].astype(str)
    )
    makes = due["own_visit"].to_numpy(dtype=bool)
    codes = pd.factorize(named, sort=True)[0]
    share = _share(codes, due["period_days"].to_numpy(dtype=float), makes, float(shared))
    return np.where(makes, share, 0.0)


def _owners(due: pd.DataFrame, customers: pd.Series) -> pd.Series:
    return filled_from(due["unit_id"].map(customers), "").astype(str)


def _money(due: pd.DataFrame, visit_cost: float | None) -> tuple[Floats, Floats]:
    """Own cost of each task without the visit, and of a failure."""
    replaces = due["task"] == "replace"
    own = due["planned_cost"].astype(float)
    money = own[replaces & ~due["is_relative"].astype(bool)].median()
    unit = 1.0 if not money > 0 else float(money)
    # where no money is known a planned replacement counts as the middle one of the others
    scale = np.where(due["is_relative"].astype(bool), unit, 1.0)
    own = (own * scale).fillna(unit)
    failure = (due["failure_cost"].astype(float) * scale).fillna(FAILURE_RATIO * own)
    if visit_cost:  # a look is in the price of its visit
        own = own.where(replaces, 0.0)
    return own.to_numpy(dtype=float), failure.to_numpy(dtype=float)


def _looks_after(due: pd.DataFrame) -> list[Ints]:
    looks = (due["task"] != "replace").to_numpy()
    none = np.empty(0, dtype=np.int64)
    out = [none] * len(due)
    for _, rows in due.reset_index(drop=True).groupby(["unit_id", "component"]):
        at = rows.index.to_numpy()
        for task in at[~looks[at]]:
            out[int(task)] = at[looks[at]].astype(np.int64)
    return out


def _proposed(own: Floats) -> float:
    return VISIT_SHARE * float(np.median(own)) if len(own) else 1.0


def _share(codes: Ints, period: Floats, makes: Flags, visit_cost: float) -> Floats:
    """A task's part of a visit if the machine came as often as its most frequent task is due."""
    rates = np.where(makes, 1 / period, 0.0)
    # not by pandas: its sums of groups differ in the last digit from version to version, and of
    # plans that are equally good another one would be found
    total = np.bincount(codes, rates)
    most = np.zeros(len(total))
    np.maximum.at(most, codes, rates)
    share = np.divide(most, total, out=np.ones(len(total)), where=total > 0)
    return np.asarray(visit_cost * share[codes])


def _curve(row: Any, laws: "Laws", own: float, share: float, failure: float) -> LawCurve | None:
    """Law of the part, where one is known, planned work is dearer late, and its clock is kept."""
    if row.task != "replace" or row.basis == "starting value" or not row.own_visit:
        return None
    if not float(row.per_day) > 0 or not failure > own + share > 0:
        return None
    law = laws.of(str(row.component), str(row.duty), str(row.clock))
    if law is None:
        return None
    return law_curve(law, own=own, share=share, failure=failure)


class Laws:
    """Laws of the cells, each on its grid, made when first asked for."""

    def __init__(self, life_draws: pd.DataFrame | None) -> None:
        self._draws = law_draws(life_draws) if life_draws is not None and len(life_draws) else {}
        self._grids: dict[tuple[str, str], LawGrid] = {}

    def of(self, component: str, duty: str, clock: str) -> LawGrid | None:
        """Law of a cell on that clock (hours, else days), None where there is none."""
        key = (component, duty)
        draws = self._draws.get(key)
        if draws is None or (draws["clock"].iloc[0] == "hours") != (clock == "hours"):
            return None
        if key not in self._grids:
            shape, scale, weights = (
                draws[c].to_numpy(dtype=float) for c in ("shape", "scale", "weight")
            )
            self._grids[key] = law_grid(shape, scale, weights)
        return self._grids[key]
