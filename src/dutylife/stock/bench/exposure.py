"""Exposure of the weeks: failures due and machines there, and the visits that a plan brings."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.settings import Settings
from dutylife.stock.bench.arrivals import Arrivals
from dutylife.stock.bench.fleet import Weeks, failures_by_week, machines_by_week
from dutylife.stock.comings import contracts_ahead, flow_of

Array = npt.NDArray[np.float64]
AS_SEEN = "as seen"


def exposures(
    tables: Mapping[str, pd.DataFrame], settings: Settings, seen: Arrivals, weeks: Weeks,
    as_of: pd.Timestamp,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """What arrivals are in proportion to, in the record and to come; further planned visits."""
    n = len(seen.classes)
    flow = flow_of(tables["units"], as_of)
    announced = tables.get("contracts")
    contracts = [] if announced is None or announced.empty else contracts_ahead(announced, as_of)
    there, there_ahead = machines_by_week(
        tables["units"], seen.row, n, as_of, weeks, flow, contracts
    )
    lived, due, planned_due = failures_by_week(
        tables, settings, seen.row, n, weeks, flow, contracts
    )
    failed = seen.weekly(seen.visits["is_failure"])
    plan = settings.plan.in_force
    among = plan in (AS_SEEN, "present_schedule")  # planned visits are among the record's
    others = seen.weekly(
        ~seen.visits["is_failure"] & (True if among else ~seen.visits["is_planned"])
    )
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
    if plan == "present_schedule":
        services = seen.weekly(seen.visits["is_planned"]).mean(axis=1)[:, None]
        extra = np.maximum(planned_due / _parts_a_service(tables) - services, 0.0)
    return (
        per_failure * lived + per_machine * there + 1e-9,
        per_failure * due + per_machine * there_ahead,
        extra,
    )


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
    week = (plan["due_on"] - mondays[0]).dt.days // 7
    week = week.where(week >= 0, 0)  # days before the first Monday fall to it
    rows = [seen.row(c) for c in plan["equipment_class"].astype("object")]
    table = pd.DataFrame(
        {"row": rows, "week": week, "hours": plan["labour_hours"].astype(float).fillna(0.0)}
    )
    for (row, at), own in table.groupby(["row", "week"]):
        if row >= 0 and at < len(mondays):
            out[int(row)][int(at)] = own["hours"].to_numpy(dtype=float)
    return out
