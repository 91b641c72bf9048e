"""Exposure of the weeks: failures due and machines there, and the visits that a plan brings."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.settings import Settings
from dutylife.stock.bench.arrivals import Arrivals
from dutylife.stock.bench.fleet import Weeks, failures_by_week, machines_by_week
from dutylife.stock.comings import contracts_ahead, flow_of
from dutylife.stock.plans import days_until_plan

Array = npt.NDArray[np.float64]
AS_SEEN = "as seen"
REPLACES_ALL = ("none", "recommended")  # plans under which the record's planned visits end


def counted_visits(seen: Arrivals, plan: str) -> "pd.Series[bool]":
    """Visits of the record that go on under a plan: all, or those that were not planned."""
    planned = seen.visits["is_planned"].astype(bool)
    return ~planned if plan in REPLACES_ALL else planned | ~planned


def exposures(
    tables: Mapping[str, pd.DataFrame], settings: Settings, seen: Arrivals, weeks: Weeks,
    as_of: pd.Timestamp,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """What arrivals are in proportion to, in the record and to come; further planned visits.

    Visits with a failure grow by the root of what the lives in service and what the machines
    there grow by: on invented fleets the year that came lay 4 to 5 % below the lives' growth and
    5 % above the machines'. What a plan spares is told by the lives alone.
    """
    n = len(seen.classes)
    flow = flow_of(tables["units"], as_of)
    announced = tables.get("contracts")
    contracts = [] if announced is None or announced.empty else contracts_ahead(announced, as_of)
    there, there_ahead = machines_by_week(
        tables["units"], seen.row, n, as_of, weeks, flow, contracts
    )
    plan = settings.plan.in_force
    lived, due, planned_due = failures_by_week(
        tables, settings, AS_SEEN, as_of, seen.row, n, weeks, flow
    )
    spared: Array = np.ones_like(due)
    if plan != AS_SEEN:
        _, under, planned_due = failures_by_week(
            tables, settings, plan, as_of, seen.row, n, weeks, flow
        )
        spared = np.where(due > 0, under / np.maximum(due, 1e-12), 1.0)
    failed = seen.weekly(seen.visits["is_failure"])
    others = seen.weekly(counted_visits(seen, plan) & ~seen.visits["is_failure"])
    # a class whose lives tell nothing goes by its machines alone
    by_lives = (lived.sum(axis=1) > 0) & (due.sum(axis=1) > 0)
    per_failure = np.where(by_lives, failed.sum(axis=1) / np.maximum(lived.sum(axis=1), 1e-9), 0.0)[
        :, None
    ]
    rest = others.sum(axis=1) + np.where(by_lives, 0.0, failed.sum(axis=1))
    no_machines = there.sum(axis=1) <= 0
    there[no_machines], there_ahead[no_machines] = 1.0, 1.0
    per_machine = (rest / there.sum(axis=1))[:, None]
    extra = np.zeros_like(there_ahead)
    services = seen.weekly(seen.visits["is_planned"]).mean(axis=1)[:, None]
    if plan in REPLACES_ALL:  # until it starts the record's planned visits go on
        extra += services * (weeks.ahead < days_until_plan(settings, as_of))
    elif plan != AS_SEEN:
        extra = np.maximum(planned_due / _parts_a_service(tables) - services, 0.0)
    # half way between what lives and what machines make of it, in logs; then what the plan spares
    halves = np.sqrt(np.where(by_lives, lived.sum(axis=1) / there.sum(axis=1), 0.0))[:, None]
    by_failures = per_failure * halves * np.sqrt(lived * there)
    coming = per_failure * halves * np.sqrt(due * there_ahead) * spared
    return by_failures + per_machine * there + 1e-9, coming + per_machine * there_ahead, extra


def _parts_a_service(tables: Mapping[str, pd.DataFrame]) -> float:
    """Planned replacements on a planned visit that has any; 1 where the record has none."""
    events = tables["maintenance_events"].astype({"activity": "object", "reason": "object"})
    events = events[(events["activity"] == "replace") & (events["reason"] == "preventive")]
    n = events.groupby(["unit_id", "ticket"], observed=True).size()
    return max(float(n.mean()), 1.0) if len(n) else 1.0


def planned_visits(
    tables: Mapping[str, pd.DataFrame], settings: Settings, seen: Arrivals,
    mondays: pd.DatetimeIndex,
) -> list[list[Array]]:  # fmt: skip
    """Hours of each planned visit by class and week; none but under the recommended plan."""
    out = [[np.zeros(0) for _ in mondays] for _ in seen.classes]
    plan = tables["visit_plan"]
    if settings.plan.in_force != "recommended" or plan.empty:
        return out
    begins = settings.plan.from_
    if begins is not None:
        plan = plan[plan["due_on"] >= pd.Timestamp(begins)]
    week = (plan["due_on"] - mondays[0]).dt.days // 7
    week = week.where(week >= 0, 0)  # days before the first Monday fall to it
    rows = [seen.row(c) for c in plan["equipment_class"].astype("object")]
    hours = plan["labour_hours"].astype(float).fillna(0.0)
    found: dict[tuple[int, int], list[float]] = {}
    for row, at, own in zip(rows, week.astype(int), hours, strict=True):
        if row >= 0 and at < len(mondays):
            found.setdefault((row, at), []).append(own)
    for (row, at), every in found.items():
        out[row][at] = np.array(every)
    return out
