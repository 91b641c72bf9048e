"""What each task costs in each duty: stated, else billed, else proposed, and which of them."""

import math
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dutylife.components import Component, short_name
from dutylife.decisions.billed import billed_costs, purchase_costs
from dutylife.decisions.starting import looks_of
from dutylife.errors import DecisionError
from dutylife.settings import Cost, Settings

PROPOSED_RATIO = 3.0  # failure to planned, where nothing says: our proposal
LOOK_HOURS = 0.3  # workshop time of a look: our proposal
LOOK_SHARE = 0.15  # of a planned replacement, where no labour rate is known: our proposal


@dataclass(frozen=True, slots=True, kw_only=True)
class _Replacement:
    planned: float
    failure: float
    labour_hours: float | None
    payer: str | None
    basis: str
    is_relative: bool
    purchase_cost: float | None
    assumed: tuple[str, ...]


def task_costs(
    cells: list[tuple[str, str]],
    known: dict[str, Component],
    service_lines: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    unit_spans: pd.DataFrame,
    settings: Settings,
    shelf: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Cost of replacing and of each kind of look, by component and duty.

    Parameters
    ----------
    cells : list of (component, duty)
    known : dict of str to Component
    service_lines, maintenance_events, unit_spans : DataFrame, the tables of those names
    settings : Settings
    shelf : DataFrame, table "shelf", optional
        What the shop pays for its parts; ``unit_cost`` in the settings stands above it.

    Returns
    -------
    DataFrame
        Rows of table "costs". Settings stand above the shop's billed lines, these above our
        proposal (a failure costs 3 planned replacements, a look 0.3 h of labour or 15 % of a
        replacement). Where no money at all can be had, a planned replacement is the unit
        (``is_relative``). Where the shop pays, a billed price is no cost: without the part's
        purchase cost and the hours of work only how costs compare is known, by what was billed.

    Raises
    ------
    DecisionError
        Settings state a failure that costs no more than planned work; every such key at once.
    """
    stated = {name: stated_cost(settings, name, known) for name in dict(cells)}
    check_stated(stated, settings)
    billed = billed_costs(service_lines, maintenance_events)
    bought = purchase_costs(maintenance_events, shelf, settings)
    lost_day = lost_day_costs(unit_spans, settings)
    rows: list[dict[str, Any]] = []
    for name, duty in cells:
        component = known.get(name, Component(name=name))
        own = billed.loc[name].to_dict() if name in billed.index else {}
        found = _replacement(
            stated[name], own | {"purchase": bought.get(name)}, lost_day.get(duty), settings
        )
        base = {
            "component": name, "duty": duty, "failure_cost": found.failure, "payer": found.payer,
            "visit_cost": settings.workshop.visit_cost, "is_relative": found.is_relative,
            "purchase_cost": found.purchase_cost,
        }  # fmt: skip
        rows.append(
            base
            | {"task": "replace", "planned_cost": found.planned, "basis": found.basis}
            | {"labour_hours": found.labour_hours, "assumed": ";".join(found.assumed)}
        )
        severe = duty in settings.duty.severe
        for look in looks_of(component, severe=severe):
            cost, basis = _look_cost(found, settings)
            rows.append(
                base
                | {"task": look.task, "planned_cost": cost, "basis": basis}
                | {"labour_hours": LOOK_HOURS}
                | {"assumed": ";".join(_look_assumed(basis, found))}
            )
    return pd.DataFrame(rows)


def stated_cost(settings: Settings, name: str, known: dict[str, Component]) -> Cost:
    """Return costs in the settings under the component's name or one of its aliases."""
    given = [g for g in settings.costs if g != "default" and short_name(g, known) == name]
    return settings.cost_of(given[0] if given else name)


def check_stated(stated: dict[str, Cost], settings: Settings) -> None:
    """Raise `DecisionError` naming each key that is 0, or whose failure costs no more than planned.

    A cost of 0 says that the work is free, and waiting for failure would then never be best.
    """
    bad = []
    for name, cost in sorted(stated.items()):
        for key in ("planned_cost", "failure_cost"):
            if getattr(cost, key) == 0:
                bad.append(f'costs."{name}": {key} 0')
        if cost.planned_cost and cost.failure_cost and cost.failure_cost <= cost.planned_cost:
            bad.append(
                f'costs."{name}": failure_cost {cost.failure_cost:g}, '
                f"planned_cost {cost.planned_cost:g}"
            )
    if bad:
        raise DecisionError(
            f"{len(bad)} component{'s have' if len(bad) > 1 else ' has'} a failure_cost that is "
            "not above its planned_cost, or a cost of 0 (own or from costs.default).",
            f"{settings.source}: " + "; ".join(bad),
            "failure_cost is all-in: part, labour, call-out and lost days; where a failure truly "
            "costs no more, leave failure_cost out; leave a cost out that is not known",
        )


def _replacement(
    stated: Cost, billed: dict[Any, Any], lost_day: float | None, settings: Settings
) -> _Replacement:
    used: set[str] = set()
    assumed: list[str] = []
    planned, is_relative = _planned(stated, billed, settings, used, assumed)
    failure = stated.failure_cost
    lost = None
    if lost_day is not None and stated.lost_days_per_failure is not None:
        lost = lost_day * stated.lost_days_per_failure
    total = billed.get("failure_total", math.nan)
    # what the shop pays is not what it billed: only how the two compare is taken from the lines
    shop_pays = stated.payer == "shop"
    if is_relative:
        failure, lost = PROPOSED_RATIO, None
        both = billed.get("part_cost", math.nan) + _or_nothing(billed.get("labour_cost", math.nan))
        if shop_pays and total > both:
            failure = total / both
            used.add("billed lines")
            assumed.append("ratio of costs: as billed")
        else:
            assumed.append(f"failure_cost: {PROPOSED_RATIO:g} planned")
    elif failure is not None:
        used.add("settings")
    elif total > planned and not shop_pays:
        used.add("billed lines")
        failure = total
    elif lost is not None and lost > 0:
        # a failed part costs the same work as a planned change, and the days lost with it
        failure = planned
        assumed.append("failure_cost: planned work and lost days")
    else:
        used.add("our proposal")
        failure = PROPOSED_RATIO * planned
        assumed.append(f"failure_cost: {PROPOSED_RATIO:g} planned")
    if stated.failure_cost is None and lost is not None:
        used.add("settings")
        failure += lost
    if failure <= planned:  # one of the two is billed or proposed: both stated was refused above
        used.add("our proposal")
        failure = PROPOSED_RATIO * planned
        assumed.append(f"failure_cost: {PROPOSED_RATIO:g} planned, less was found")
    weakest = next(b for b in ("our proposal", "billed lines", "settings") if b in used)
    return _Replacement(
        planned=planned,
        failure=failure,
        labour_hours=stated.labour_hours,
        payer=stated.payer or ("contractor" if "billed lines" in used else None),
        basis=weakest,
        is_relative=is_relative,
        purchase_cost=billed.get("purchase"),
        assumed=tuple(assumed),
    )


def _or_nothing(amount: float) -> float:
    return amount if amount > 0 else 0.0


def _planned(
    stated: Cost, billed: dict[Any, Any], settings: Settings, used: set[str], assumed: list[str]
) -> tuple[float, bool]:
    """Cost of a planned replacement, and whether it is only a unit of account."""
    if stated.planned_cost:
        used.add("settings")
        return stated.planned_cost, False
    part, labour = billed.get("part_cost", math.nan), billed.get("labour_cost", math.nan)
    rate = settings.workshop.labour_rate
    worked = rate * stated.labour_hours if rate and stated.labour_hours is not None else None
    if stated.payer == "shop":
        bought = billed.get("purchase")
        if bought and worked is not None:
            used.add("settings")
            return bought + worked, False
        used.add("our proposal")
        assumed.append("planned_cost: not known")
        return 1.0, True
    labour = labour if worked is None else worked
    if part > 0:
        used.add("billed lines")
        return part + _or_nothing(labour), False
    total = stated.failure_cost or billed.get("failure_total", math.nan)
    used.add("our proposal")
    if total > 0:
        assumed.append(f"planned_cost: failure / {PROPOSED_RATIO:g}")
        return total / PROPOSED_RATIO, False
    assumed.append("planned_cost: not known")
    return 1.0, True


def _look_assumed(basis: str, found: _Replacement) -> list[str]:
    return [*(["planned_cost of a look"] if basis == "our proposal" else []), *found.assumed]


def _look_cost(found: _Replacement, settings: Settings) -> tuple[float, str]:
    shop = settings.workshop
    if found.is_relative:
        return LOOK_SHARE * found.planned, "our proposal"
    if shop.visit_cost:
        return shop.visit_cost, "settings"
    if shop.labour_rate:
        return LOOK_HOURS * shop.labour_rate, "our proposal"
    return LOOK_SHARE * found.planned, "our proposal"


def lost_day_costs(unit_spans: pd.DataFrame, settings: Settings) -> dict[str, float]:
    """Mean cost of a lost day over the customers of each duty who state one."""
    spans = unit_spans[["customer", "duty"]].astype(object).drop_duplicates()
    cost = spans["customer"].map({name: c.lost_day_cost for name, c in settings.customers.items()})
    known = pd.to_numeric(cost, errors="coerce")
    mean = known.groupby(spans["duty"]).mean().dropna()
    return {str(duty): float(value) for duty, value in mean.items()}
