"""Visits of a plan: what falls due soon after is done at the same one, and what each one uses."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.usage import DAYS_PER_WEEK
from dutylife.stock.part_law import Lines
from dutylife.stock.plans import PlannedAge, planned_age_days
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
_AHEAD_DAYS = 366.0  # planned work due by then tells how much of it shares a visit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VisitUse:
    """Pieces a planned visit takes beside the parts it was for: oil, seals, small parts.

    ``n_lines`` on the ``n_visits`` planned visits of the record, of ``sizes`` pieces each.
    """

    n_lines: float
    n_visits: float
    sizes: Array

    def law(self, visits: float) -> Lines:
        """Law of the pieces of so many visits more than the record's rate brings."""
        return Lines(shape=self.n_lines, months_seen=self.n_visits, months=visits,
                     sizes=np.ceil(self.sizes))  # fmt: skip


def done_together(
    lives: pd.DataFrame, ages: dict[tuple[str, str], PlannedAge], together_days: float
) -> tuple[Array, float]:
    """How much sooner planned work is done because the machine is in for other planned work.

    Parameters
    ----------
    lives : DataFrame
        Lives in service as of `current_lives`.
    ages : dict of (component, duty) to PlannedAge
    together_days : float
        Work that falls due so soon after the first due is done at its visit. [d]

    Returns
    -------
    sooner : ndarray, shape (n_lives,)
        Days by which each life's planned replacement comes early; 0 for what starts a visit, for
        parts of unknown age and for parts without a plan. [d]
    share : float
        Visits for each replacement due within a year: 1 where nothing comes together. [1]

    Notes
    -----
    On each machine the work is gone through as it falls due: the first opens a visit, all that
    falls due within ``together_days`` of it joins it. Overdue work is due at once. Found for parts
    now in service only: those of one visit fall due together afterwards.
    """
    due = _due_days(lives, ages)
    sooner = np.zeros(len(lives))
    told = np.flatnonzero(np.isfinite(due))
    units = lives["unit_id"].astype(str).to_numpy()[told]
    order = told[np.lexsort((due[told], units))]
    unit = pd.factorize(lives["unit_id"].astype(str))[0]
    opens = np.zeros(len(lives), dtype=np.bool_)
    last, first = -1, 0.0
    for i in order:
        if unit[i] != last or due[i] > first + together_days:
            last, first, opens[i] = unit[i], due[i], True
        else:
            sooner[i] = due[i] - first
    soon = due <= _AHEAD_DAYS
    n_due = np.count_nonzero(soon)
    return sooner, np.count_nonzero(opens & soon) / n_due if n_due else 1.0


def _due_days(lives: pd.DataFrame, ages: dict[tuple[str, str], PlannedAge]) -> Array:
    """Days until each life's planned replacement; inf without one, or where no age is known."""
    due = np.full(len(lives), np.inf)
    use = lives["use"].to_numpy(dtype=float)
    by_days = lives["age_days"].to_numpy(dtype=float)
    by_hours = lives["age_hours"].to_numpy(dtype=float) / use * DAYS_PER_WEEK
    of_cell = lives.groupby(["component", "duty"], observed=True).indices
    for pair, age in ages.items():
        mine = of_cell.get(pair, np.empty(0, dtype=int))
        if len(mine):
            lived = np.where(np.isfinite(by_days[mine]), by_days[mine], by_hours[mine])
            if age.hours is not None:
                lived = np.where(np.isfinite(by_hours[mine]), by_hours[mine], lived)
            left = planned_age_days(age, use[mine]) - lived
            due[mine] = np.where(np.isfinite(left), np.maximum(left, 0.0), np.inf)
    return due


def use_of_visits(
    service_lines: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    explained: set[str],
    current: dict[str, str],
    months: float,
    as_of: pd.Timestamp,
) -> dict[str, VisitUse]:
    """Pieces beside the planned parts on the planned visits of the last ``months``, by part.

    A planned visit is a ticket with planned replacements and no failure. Lines that lives stand
    for are left out.

    Parameters
    ----------
    service_lines, maintenance_events : DataFrame, the tables of those names
    explained : set of str
        line_id of the lines that lives stand for.
    current : dict
        Numbers in use now.
    months : float
        Looked back. [months]
    as_of : Timestamp
    """
    events = maintenance_events[["ticket", "activity", "reason", "event_date"]].astype(
        {"ticket": "object", "activity": "object", "reason": "object"}
    )
    start = as_of - pd.Timedelta(days=months * DAYS_PER_MONTH)
    events = events[(events["event_date"] > start) & (events["event_date"] <= as_of)]
    failed = set(events["ticket"][events["reason"] == "failure"])
    planned = set(events["ticket"][events["activity"] == "replace"].dropna()) - failed
    if not planned or "ticket" not in service_lines:
        return {}
    lines = service_lines[["line_id", "ticket", "line_kind", "part_number", "quantity"]].astype(
        {"ticket": "object", "line_kind": "object", "part_number": "object"}
    )
    lines = lines[(lines["line_kind"] == "part") & lines["part_number"].notna()]
    lines = lines[lines["ticket"].isin(planned) & ~lines["line_id"].isin(explained)]
    quantity = lines["quantity"].fillna(1.0)
    lines = lines.assign(quantity=quantity)[quantity > 0].sort_values("line_id", kind="stable")
    number = lines["part_number"].map(lambda p: current.get(p, p))
    return {
        str(name): VisitUse(n_lines=float(len(own)), n_visits=float(len(planned)),
                            sizes=own["quantity"].to_numpy(dtype=float))
        for name, own in lines.groupby(number)
    }  # fmt: skip
