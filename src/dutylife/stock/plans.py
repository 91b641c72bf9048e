"""Plans of maintenance a demand can assume, and the planned replacements they bring."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.components import Component, short_name
from dutylife.errors import SettingsError
from dutylife.schema import days_at
from dutylife.settings import PLANS, Settings
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
_NEAR, _PAST = 0.75, 1.25  # of the planned age: done for it from here on, missed beyond; ours
NO_AGES = ("as seen", "none")  # plans that name no age
_FOLLOWED = 0.4  # share done from which on a record counts as under the schedule; our proposal


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedAge:
    """Age at which a plan replaces a component: in meter units, in days, whichever comes first."""

    hours: float | None
    days: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRecord:
    """How the record followed the plan in force.

    ``done``: share of due planned replacements that were done; ``is_new``: the record was not
    under this plan, so that what was replaced in it was replaced beside it.
    """

    done: float
    is_new: bool


def plans_of(settings: Settings, stated_plan: pd.DataFrame | None = None) -> list[str]:
    """Return the plan in force, then the recommended one where it is another.

    Raises
    ------
    SettingsError
        ``plan.in_force`` names no plan, and no plan was read from a file.
    """
    plan = settings.plan.in_force
    if plan not in PLANS and (stated_plan is None or stated_plan.empty):
        raise SettingsError(
            f"The plan in force '{plan}' is not known.",
            f"{settings.source}: plan.in_force",
            "one of: " + ", ".join(PLANS) + "; a schedule of your own goes into [present_schedule]",
        )
    return [plan] if plan == "recommended" else [plan, "recommended"]


def planned_ages(
    plan: str,
    cells: list[tuple[str, str]],
    intervals: pd.DataFrame,
    known: dict[str, Component],
    settings: Settings,
    stated_plan: pd.DataFrame | None = None,
) -> dict[tuple[str, str], PlannedAge]:
    """Age of planned replacement of each cell under a plan; cells without one are left out."""
    if plan not in PLANS and stated_plan is not None:
        told = _stated(stated_plan)
        return {cell: told[cell] for cell in cells if cell in told}
    if plan == "present_schedule":
        found: dict[tuple[str, str], PlannedAge] = {}
        for given, schedule in settings.present_schedule.items():
            name = short_name(given, known)
            days = None if schedule.months is None else schedule.months * DAYS_PER_MONTH
            for component, duty in cells:
                if component == name and (schedule.hours or days):
                    found[component, duty] = PlannedAge(hours=schedule.hours, days=days)
        return found
    if plan != "recommended":
        return {}
    words = dict.fromkeys(["component", "duty", "task", "clock"], "object")
    rows = intervals.astype(words)
    rows = rows[rows["task"] == "replace"]
    return {
        (str(r["component"]), str(r["duty"])): PlannedAge(
            hours=_figure(r["interval_hours"]) if r["clock"] not in ("days", "idle_days") else None,
            days=_figure(r["interval_days"]) if r["clock"] != "hours" else None,
        )
        for r in rows.to_dict("records")
    }


def planned_age_days(age: PlannedAge | None, use_per_week: Array) -> Array:
    """Planned age of each life in days, inf where the plan has none; shape as ``use_per_week``."""
    out = np.full(len(use_per_week), np.inf)
    if age is None:
        return out
    if age.hours is not None:
        by_meter = age.hours / use_per_week * 7
        out = np.where(np.isfinite(by_meter), by_meter, out)
    return out if age.days is None else np.minimum(out, age.days)


def seen_rates(failure_events: pd.DataFrame, units: pd.DataFrame) -> dict[tuple[str, str], Array]:
    """Planned replacements in the record and the days watched, by component and duty.

    Returns
    -------
    dict of (component, duty) to ndarray, shape (2,)
        Lives that ended `replaced`, and days watched, those of parts of unknown age included.
    """
    lives = failure_events.astype(_WORDS)
    first = units.astype({"unit_id": "object"}).set_index("unit_id")["first_seen"]
    start = lives["installed_on"].fillna(days_at(lives["unit_id"], first))
    watched = (lives["exit_days"] - lives["entry_days"]).fillna((lives["ended_on"] - start).dt.days)
    return _counted(lives, lives["event"] == "replaced", watched)


def rates_beside(
    failure_events: pd.DataFrame, ages: dict[tuple[str, str], PlannedAge], record: PlanRecord
) -> dict[tuple[str, str], Array]:
    """Planned replacements seen at ages the plan lets a part reach, and the days watched there.

    What goes on beside a plan: services that change a sound part, work brought forward. Under a
    plan the record did not have it is what was replaced before its age; under one it had, what was
    replaced clearly before. Only lives of known age can tell. As of `seen_rates`, for the cells of
    ``ages``.
    """
    limit = 1.0 if record.is_new else _NEAR
    lives = failure_events.astype(_WORDS)
    share = pd.Series(np.nan, index=lives.index)
    for (component, duty), age in ages.items():
        own = (lives["component"] == component) & (lives["duty"] == duty)
        share[own] = _lived_share(lives[own], age)
    known = (share > 0) & lives["exit_days"].notna()
    lives, share = lives[known], share[known]
    reached = lives["exit_days"] * np.minimum(limit / share, 1.0)
    watched = (reached - lives["entry_days"].fillna(0.0)).clip(lower=0.0)
    return _counted(lives, (lives["event"] == "replaced") & (share < limit), watched)


_WORDS = {"component": "object", "duty": "object", "event": "object", "unit_id": "object"}


def _counted(
    lives: pd.DataFrame, is_counted: pd.Series, days: pd.Series
) -> dict[tuple[str, str], Array]:
    table = pd.DataFrame(
        {
            "component": lives["component"], "duty": lives["duty"],
            "n": is_counted.astype(float), "days": days.clip(lower=0).fillna(0.0),
        }
    )  # fmt: skip
    total = table.groupby(["component", "duty"])[["n", "days"]].sum().reset_index()
    return {
        (str(r["component"]), str(r["duty"])): np.array([r["n"], r["days"]], dtype=float)
        for r in total.to_dict("records")
    }


def stated_ages(
    lives: pd.DataFrame,
    known: dict[str, Component],
    settings: Settings,
    stated_plan: pd.DataFrame | None = None,
) -> dict[tuple[str, str], PlannedAge]:
    """Ages of the plan in force where it is one that is stated, for the cells of the lives."""
    if settings.plan.in_force in (*NO_AGES, "recommended"):
        return {}
    cells = sorted(set(zip(lives["component"], lives["duty"], strict=True)))
    return planned_ages(settings.plan.in_force, cells, pd.DataFrame(), known, settings, stated_plan)


def days_until_plan(settings: Settings, as_of: pd.Timestamp) -> int:
    """Whole days after ``as_of`` before the plan in force starts; 0 where it is on already."""
    begins = settings.plan.from_
    return 0 if begins is None else max((pd.Timestamp(begins) - as_of).days - 1, 0)


def plan_record(
    failure_events: pd.DataFrame,
    known: dict[str, Component],
    settings: Settings,
    stated_plan: pd.DataFrame | None = None,
) -> PlanRecord:
    """Whether the record was under the plan in force, and the share of its work that was done.

    A life under the present schedule, or the plan given as a file, that was replaced while able,
    near its planned age or a multiple of it, was done then and missed before; one that went on past
    it was missed. Half a replacement done and half missed are added, so that few lives do not make
    it sure. Below `_FOLLOWED` the record was not under this plan, and not at all where the plan
    starts after it: it is a new one, taken as done in full. Done in full, too, without a plan by
    age.
    """
    begins = settings.plan.from_
    if begins is not None and settings.fleet.as_of is not None and begins > settings.fleet.as_of:
        return PlanRecord(done=1.0, is_new=True)
    done = missed = 0.0
    lives = failure_events.astype({"component": "object", "event": "object", "duty": "object"})
    duties = sorted(set(lives["duty"].dropna()))
    if settings.plan.in_force in PLANS:
        cells = [(str(short_name(g, known)), d) for g in settings.present_schedule for d in duties]
        ages = planned_ages("present_schedule", cells, pd.DataFrame(), known, settings)
    else:
        cells = sorted({(str(c), d) for c in lives["component"].dropna() for d in duties})
        ages = planned_ages(settings.plan.in_force, cells, pd.DataFrame(), known, settings,
                            stated_plan)  # fmt: skip
    for (component, duty), age in ages.items():
        own = lives[(lives["component"] == component) & (lives["duty"] == duty)]
        ratio = _lived_share(own, age)
        replaced = (own["event"] == "replaced") & (ratio > _NEAR)
        passed = np.where(replaced, np.maximum(np.round(ratio), 1.0) - 1.0, np.floor(ratio / _PAST))
        done += float(replaced.sum())
        missed += float(passed.sum())
    share = (done + 0.5) / (done + missed + 1.0) if done + missed > 0 else 1.0
    is_new = share < _FOLLOWED
    return PlanRecord(done=1.0 if is_new else share, is_new=is_new)


def _lived_share(lives: pd.DataFrame, age: PlannedAge) -> pd.Series:
    """Age reached as a share of the planned one, by whichever clock comes first."""
    ratio = pd.Series(0.0, index=lives.index)
    if age.hours:
        ratio = (lives["exit_hours"] / age.hours).fillna(0.0)
    if age.days:
        by_days = (lives["exit_days"] / age.days).fillna(0.0)
        ratio = ratio.where(ratio > by_days, by_days)
    return ratio


def _stated(stated_plan: pd.DataFrame) -> dict[tuple[str, str], PlannedAge]:
    """Ages of table "stated_plan"."""
    rows = stated_plan.astype({"component": "object", "duty": "object"})
    return {
        (str(r["component"]), str(r["duty"])): PlannedAge(
            hours=_figure(r["interval_hours"]), days=_figure(r["interval_days"])
        )
        for r in rows.to_dict("records")
    }


def _figure(value: float) -> float | None:
    return float(value) if np.isfinite(value) and value > 0 else None
