"""Machines that come and go: how often, as the record tells it, and what is announced."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dutylife.decisions.usage import DAYS_PER_WEEK

RECENT_DAYS = 730.0  # arrivals of the last two years tell those to come; our proposal
FEWEST_KNOWN = 0.5  # share of machines whose day of entering service must be known


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """Machines leaving, a day and machine; new machines coming, a day and machine in service."""

    leaving_rate: float
    coming_rate: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Contract:
    """Announced machines: new parts from ``start_days`` after the as-of date on."""

    equipment_class: str
    duty: str
    n_machines: float
    start_days: float
    use: float | None


def flow_of(units: pd.DataFrame, as_of: pd.Timestamp) -> Flow:
    """Rates at which machines leave and new ones come.

    Notes
    -----
    Leaving: expected machines gone (1 - ``prob_in_service``) over the days all were watched.
    Coming: machines that entered service in the last two years, over the machine-days of those
    years. Machines without a day of entering service are taken to have come as often as those
    with one; where fewer than half have one the rate is 0, since a machine first seen late may
    have been there all along.
    """
    if units.empty:
        return Flow(leaving_rate=0.0, coming_rate=0.0)
    there = units["prob_in_service"].astype(float).fillna(1.0)
    there = there.where(~(units["left_on"] <= as_of), 0.0)
    last = units["left_on"].where(units["left_on"] <= as_of).fillna(
        units["last_seen"] + (as_of - units["last_seen"]) * there
    )  # fmt: skip
    watched = (last - units["first_seen"]).dt.days.clip(lower=0).fillna(0.0).sum()
    gone = float((1.0 - there).sum())
    leaving = gone / float(watched) if watched > 0 else 0.0
    entered = units["in_service_on"]
    known = float(entered.notna().mean())
    if known < FEWEST_KNOWN:
        return Flow(leaving_rate=leaving, coming_rate=0.0)
    start = max(as_of - pd.Timedelta(days=RECENT_DAYS), units["first_seen"].min())
    begin = entered.fillna(units["first_seen"]).clip(lower=start)
    days = (last.clip(lower=start) - begin).dt.days.clip(lower=0).fillna(0.0).sum()
    coming = float(((entered > start) & (entered <= as_of)).sum()) / known
    return Flow(
        leaving_rate=leaving, coming_rate=coming / float(days) if days > 0 else 0.0
    )  # fmt: skip


def contracts_ahead(contracts: pd.DataFrame, as_of: pd.Timestamp) -> list[Contract]:
    """Announced machines that start after ``as_of``, in the table's order."""
    rows = contracts.astype({"equipment_class": "object", "duty": "object"})
    rows = rows[(rows["from_date"] > as_of) & (rows["n_machines"] > 0)]
    return [
        Contract(
            equipment_class=str(r["equipment_class"]), duty=str(r["duty"]),
            n_machines=float(r["n_machines"]),
            start_days=float((r["from_date"] - as_of).days - 1),
            use=float(r["hours_per_week"]) if np.isfinite(r["hours_per_week"]) else None,
        )
        for r in rows.to_dict("records")
    ]  # fmt: skip


def days_per_unit(use: float | None, usual: float) -> float:
    """Days to run one unit of the clock at ``use`` a week; ``usual`` where it is not stated."""
    return usual if not use or use <= 0 else DAYS_PER_WEEK / use
