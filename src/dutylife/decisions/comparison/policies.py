"""What each plan does with the parts of a cell: changes by age, looks, changes as seen."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.components import short_name
from dutylife.decisions.comparison.standing import Standing, StandingCell
from dutylife.decisions.due import CREW_DAYS
from dutylife.decisions.starting import OPERATOR_DAYS, OPERATOR_HOURS, warning_of
from dutylife.schema import days_at, spans_of_days
from dutylife.settings import Settings
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
RECOMMENDED, NONE, PRESENT, SEEN = "recommended", "none", "present_schedule", "as seen"
PLANS = (RECOMMENDED, SEEN, PRESENT, NONE)
_LOOKS = ("inspect", "measure", "clean", "test")


@dataclass(frozen=True, slots=True, kw_only=True)
class Spacing:
    """An age or spacing: in meter units, in days, whichever comes first."""

    hours: float | None = None
    days: float | None = None

    def in_days(self, use_per_week: Array) -> Array:
        """Days of each machine, shape (n,); inf where neither figure can be had."""
        out = np.full(len(use_per_week), np.inf)
        if self.hours is not None:
            by_meter = self.hours / use_per_week * 7
            out = np.where(np.isfinite(by_meter), by_meter, out)
        return out if self.days is None else np.minimum(out, self.days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A look in a plan: its task, spacing, warning time, and whether a visit is made for it."""

    task: str
    spacing: Spacing
    warning: Spacing
    own_visit: bool
    can_hurt: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """What a plan does in one cell.

    ``change_at`` is the age of planned changes, None without; ``seen`` has the planned changes
    and the days watched where the record's rate goes on instead, ``looks_a_day`` its looks.
    ``crew`` is true where the change rides along and makes no visit; ``is_safety`` where it keeps
    what can hurt someone from failing; ``is_weighed`` where cost and the record's law chose it.
    """

    change_at: Spacing | None = None
    crew: bool = False
    is_safety: bool = False
    is_weighed: bool = False
    looks: tuple[Look, ...] = ()
    seen: tuple[float, float] = (0.0, 0.0)
    looks_a_day: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A plan: its name, what it does in each cell (nothing in cells not named).

    ``visits_a_day``, by duty: planned visits and machine-days watched, where visits go on as the
    record shows them; None where they follow from the tasks.
    """

    name: str
    policies: Mapping[tuple[str, str], Policy]
    visits_a_day: Mapping[str, tuple[float, float]] | None = None


def plans_to_compare(
    standing: Standing, tables: Mapping[str, pd.DataFrame], settings: Settings
) -> list[Plan]:
    """Proposed plan, today's practice, the present schedule where one is stated, and none.

    Notes
    -----
    Looks at what can hurt stand in every plan alike: no plan is offered without them. Today's
    practice has the looks of the record, whose effect is in the lives already.
    """
    proposed = recommended(standing, tables["intervals"])
    plans = [proposed, as_seen(standing, tables)]
    if settings.present_schedule:
        plans.append(present(standing, proposed, settings))
    none = {key: _safety_only(policy) for key, policy in proposed.policies.items()}
    return [*plans, Plan(name=NONE, policies=none)]


def recommended(standing: Standing, intervals: pd.DataFrame) -> Plan:
    """Tasks of table "intervals" that are the shop's.

    Looks by whoever runs the machine stay out of every plan: they are made today as well, and
    what they find is in the lives already.
    """
    words = dict.fromkeys(["component", "duty", "task", "clock", "can_hurt", "basis"], "object")
    rows = intervals.astype(words)
    by_cell: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in rows.to_dict("records"):
        named = {str(k): v for k, v in row.items()}
        by_cell.setdefault((named["component"], named["duty"]), []).append(named)
    found = {c.key: _policy(c, by_cell.get(c.key, [])) for c in standing.cells}
    return Plan(name=RECOMMENDED, policies=found)


def present(standing: Standing, proposed: Plan, settings: Settings) -> Plan:
    """Changes of ``[present_schedule]``, and the looks at what can hurt."""
    known = {c.component.name: c.component for c in standing.cells}
    ages: dict[str, Spacing] = {}
    for given, schedule in settings.present_schedule.items():
        name = short_name(given, known)
        days = None if schedule.months is None else schedule.months * DAYS_PER_MONTH
        if name is not None and (schedule.hours or days):
            ages[name] = Spacing(hours=schedule.hours, days=days)
    kept = {key: _safety_only(policy) for key, policy in proposed.policies.items()}
    found = {
        key: replace(policy, change_at=ages[key[0]], crew=False) if key[0] in ages else policy
        for key, policy in kept.items()
    }
    return Plan(name=PRESENT, policies=found)


def as_seen(standing: Standing, tables: Mapping[str, pd.DataFrame]) -> Plan:
    """Planned changes, looks and planned visits go on at the rates of the record."""
    lives = tables["failure_events"].astype(
        dict.fromkeys(["unit_id", "component", "duty", "event"], "object")
    )
    first = tables["units"].astype({"unit_id": "object"}).set_index("unit_id")["first_seen"]
    start = lives["installed_on"].fillna(days_at(lives["unit_id"], first))
    watched = (lives["exit_days"] - lives["entry_days"]).fillna((lives["ended_on"] - start).dt.days)
    lives = lives.assign(days=watched.clip(lower=0).fillna(0.0))
    lives = lives.assign(n=(lives["event"] == "replaced").astype(float))
    total = lives.groupby(["component", "duty"])[["n", "days"]].sum().reset_index()
    rates = {
        (str(r["component"]), str(r["duty"])): (float(r["n"]), float(r["days"]))
        for r in total.to_dict("records")
    }
    duty_of = lives.drop_duplicates("unit_id", keep="last").set_index("unit_id")["duty"]
    events = tables["maintenance_events"].astype(
        dict.fromkeys(["unit_id", "component", "activity", "reason"], "object")
    )
    events = events.assign(duty=events["unit_id"].map(duty_of))
    looks = events[events["activity"].isin(["inspect", "test", "clean", "adjust"])]
    looks = looks[looks["reason"] != "failure"]
    n_looks = looks.groupby(["component", "duty"]).size()
    found = {}
    for cell in standing.cells:
        n, days = rates.get(cell.key, (0.0, 0.0))
        each = float(n_looks.get(cell.key, 0)) / days if days > 0 else 0.0
        found[cell.key] = Policy(seen=(n, days), looks_a_day=each)
    return Plan(name=SEEN, policies=found, visits_a_day=_visits_seen(events, lives))


def _visits_seen(
    events: pd.DataFrame, lives: pd.DataFrame
) -> dict[str, tuple[float, float]]:  # fmt: skip
    """Visits in which nothing had failed, and machine-days watched, by duty."""
    failed = events["reason"].eq("failure")
    grouped = events.assign(failed=failed).groupby(["unit_id", "event_date"])
    visits = grouped.agg(failed=("failed", "any"), duty=("duty", "first")).reset_index()
    planned = visits[~visits["failed"]].groupby("duty").size()
    begin = lives["ended_on"] - spans_of_days(lives["days"])
    span = lives.assign(begin=begin).groupby(["unit_id", "duty"])
    days = (span["ended_on"].max() - span["begin"].min()).dt.days.groupby("duty").sum()
    return {str(d): (float(planned.get(d, 0)), float(n)) for d, n in days.items() if n > 0}


def _policy(cell: StandingCell, rows: list[dict[str, Any]]) -> Policy:
    change, crew, safety, looks = None, False, False, []
    renewals = [r for r in rows if r["task"] in ("replace", "run to failure")]
    weighed = any(r["basis"] != "starting value" for r in renewals)
    per_week = float(np.nanmedian(7 / cell.days_per_unit)) if cell.on_meter else np.nan
    for row in rows:
        spacing = _spacing(row)
        if spacing is None:
            continue
        each = [_or_nan(row["interval_days"]), _or_nan(row["interval_hours"]) / per_week * 7]
        period = min((d for d in each if d > 0), default=np.inf)
        by_crew = row["basis"] == "starting value" and period < CREW_DAYS
        if row["task"] == "replace":
            change, crew, safety = spacing, by_crew, _hurts(row)
        elif row["task"] in _LOOKS and not by_crew and not _operators(row, period):
            looks += _look(cell, row, spacing)
    return Policy(
        change_at=change, crew=crew, is_safety=safety, is_weighed=weighed, looks=tuple(looks)
    )


def _look(cell: StandingCell, row: dict[str, Any], spacing: Spacing) -> list[Look]:
    warning = warning_of(cell.component, severe=cell.severe)
    if warning is None:
        return []
    hurts = _hurts(row)
    pays = not _or_nan(row["probability_it_pays"]) < 0.5
    return [
        Look(
            task=str(row["task"]),
            spacing=spacing,
            warning=Spacing(hours=warning.hours, days=warning.days),
            own_visit=hurts or pays,
            can_hurt=hurts,
        )
    ]


def _hurts(row: dict[str, Any]) -> bool:
    return isinstance(row["can_hurt"], str) and bool(row["can_hurt"])


def _operators(row: dict[str, Any], period: float) -> bool:
    short = _or_nan(row["interval_hours"]) < OPERATOR_HOURS and row["clock"] != "days"
    return period < OPERATOR_DAYS or short


def _spacing(row: dict[str, Any]) -> Spacing | None:
    hours, days = _or_nan(row["interval_hours"]), _or_nan(row["interval_days"])
    clock = row["clock"]
    by_meter = hours if clock not in ("days", "idle_days") or np.isnan(days) else np.nan
    by_days = days if clock != "hours" or np.isnan(hours) else np.nan
    if not (by_meter > 0 or by_days > 0):
        return None
    return Spacing(
        hours=float(by_meter) if by_meter > 0 else None,
        days=float(by_days) if by_days > 0 else None,
    )


def _safety_only(policy: Policy) -> Policy:
    looks = tuple(look for look in policy.looks if look.can_hurt)
    return replace(policy, looks=looks) if policy.is_safety else Policy(looks=looks)


def _or_nan(value: Any) -> float:
    return float("nan") if value is None else float(value)
