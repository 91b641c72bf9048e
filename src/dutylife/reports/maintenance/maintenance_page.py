"""Maintenance page: intervals, what they save, what can hurt."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.components import components_of
from dutylife.provenance import Run
from dutylife.reports import figures
from dutylife.reports.cautions import CAUTIONS
from dutylife.reports.facts import Facts, facts_of, plain, records
from dutylife.reports.layout import Section, listed, side_by_side
from dutylife.reports.maintenance.card_cautions import OF_A_PART, hazards_of
from dutylife.reports.tables import Shown, html_table
from dutylife.settings import settings_from

FIRST_COMPONENTS = ("ignition cap", "carburetor", "air filter")
TOP_FIGURES = 3
REPLACED_ON_FAILURE = "replace when it fails"


def interval_words(row: Any, given: Facts) -> str:
    """Return an interval in hours and weeks, as one would say it.

    Parameters
    ----------
    row : named row of table "intervals"
    given : Facts

    Returns
    -------
    str
    """
    if row.task == "run to failure":
        return "run to failure"
    hours, days = float(row.interval_hours), float(row.interval_days)
    along = rides_along(row)
    meter = wording.meter(hours, given.meter_unit) if np.isfinite(hours) else ""
    calendar = wording.weeks(days) if np.isfinite(days) else ""
    if row.clock in ("days", "idle_days"):
        meter, calendar = calendar, meter
    if meter and calendar:
        meter += f" ({calendar})" if row.clock else f" or {calendar}"
    if not (meter or calendar):
        return str(row.task)
    if along:
        return f"{row.task} whenever in; {meter or calendar} would catch most"
    return f"{row.task} {'at' if row.task == 'replace' else 'each'} {meter or calendar}"


_HOW_TO_READ = (
    "In brackets: about the same at the usual rate of use; with 'or': whichever comes first. Below "
    "each interval: the failures it stands on."
)


def rides_along(row: Any) -> bool:
    """Say whether a look is worth doing when the machine is in, but not worth a visit."""
    pays = float(row.probability_it_pays)
    looks = row.task not in ("replace", "run to failure")
    return looks and not row.can_hurt and np.isfinite(pays) and pays < 0.5


def intervals_in_short(run: Run) -> Section:
    """Return intervals of the components asked about most, one column for each duty.

    Below them whose money the saving of the first screen is, and why the shop's own goes another
    way: it needs more words than the first screen has room for.
    """
    from dutylife.reports.maintenance.coming_year import saving_in_short

    given, intervals = facts_of(run), plain(run.table("intervals"))
    chosen = _first_components(intervals)
    table = _matrix(intervals[intervals["component"].isin(chosen)], chosen, given)
    below = (_HOW_TO_READ, *saving_in_short(run)[1:])
    notes = [Markup("<p>{}</p>").format(t) for t in below]
    return Section("Intervals in short", "", (), (table, *notes))


def _first_components(intervals: pd.DataFrame) -> list[str]:
    """Return the components that stop engines most often in the record, the usual three first."""
    have = set(intervals["component"])
    first = [c for c in FIRST_COMPONENTS if c in have]
    failures = intervals.groupby("component")["n_failed"].sum()
    rest = failures.sort_values(ascending=False, kind="stable").index
    return (first + [c for c in rest if c not in first])[: max(3, len(first))]


def _matrix(rows: pd.DataFrame, components: list[str], given: Facts) -> Markup:
    duties = sorted(set(rows["duty"]))
    cells = {key: _cell(of, given) for key, of in rows.groupby(["component", "duty"], sort=False)}
    frame = pd.DataFrame(
        [{"component": c} | {d: cells.get((c, d), "") for d in duties} for c in components],
        columns=["component", *duties],
    )
    shown = [Shown(name="component", heading="component")] + [
        Shown(name=d, heading=d) for d in duties
    ]
    return html_table(
        frame,
        shown,
        caption="Intervals by component and duty.",
        caption_unseen=True,
        none="No interval could be worked out from this record.",
    )


def _cell(tasks: pd.DataFrame, given: Facts) -> str:
    """All tasks of one component in one duty, the timed ones first, and what they stand on."""
    order = {"replace": 0, "run to failure": 2}
    rows = records(tasks)
    rows.sort(key=lambda r: 3 if rides_along(r) else order.get(r.task, 1))
    best = max(rows, key=lambda r: (r.basis != "starting value", r.n_failed))
    # how often a look that rides along would have to be is in the full list
    said = [f"{r.task} whenever in" if rides_along(r) else interval_words(r, given) for r in rows]
    if len(said) > 1:  # beside a look, this is about the change of the part alone
        said = [REPLACED_ON_FAILURE if s == "run to failure" else s for s in said]
    return "\n".join(said + [f"{wording.count(best.n_failed, 'failure')}, {best.basis}"])


def all_intervals(run: Run) -> Section:
    """Return every interval with its range, money, evidence and sentence."""
    given, rows = facts_of(run), plain(run.table("intervals"))
    unit, relative = given.meter_short, _without_money(run)
    rows = rows.assign(
        at=[interval_words(r, given) for r in records(rows)],
        span=[range_words(r, given) for r in records(rows)],
        money=[_money_words(r, (r.component, r.duty) in relative) for r in records(rows)],
        stands_on=[
            f"{wording.count(r.n_failed, 'failure')}\n{r.basis}"
            + (f"\n{r.mark}" if r.mark and r.basis == "starting value" else "")
            for r in records(rows)
        ],
    )
    shown = [
        Shown(name="component", heading="component"),
        Shown(name="duty", heading="duty"),
        Shown(name="at", heading="do"),
        Shown(name="span", heading="costs nearly the same"),
        Shown(
            name="money",
            heading="cost, against waiting for failure",
            unit=f"{given.money_unit} per 1000 {unit}",
        ),
        Shown(name="probability_it_pays", heading="it pays", write=wording.chances),
        Shown(name="stands_on", heading="stands on"),
        Shown(name="sentence", heading="why", wide=True, write=wording.without_keys),
    ]
    table = html_table(rows, shown, caption="All recommendations, by component and duty.")
    return Section("All intervals", parts=(table,))


def range_words(row: Any, given: Facts) -> str:
    """Return the ages that cost nearly the same as the interval; blank where they aren't known.

    Parameters
    ----------
    row : named row of table "intervals"
    given : Facts

    Returns
    -------
    str
    """
    clock = "days" if row.clock in ("days", "idle_days") else "hours"
    low, high = getattr(row, f"interval_{clock}_lower"), getattr(row, f"interval_{clock}_upper")
    at = getattr(row, f"interval_{clock}")
    if not (np.isfinite(low) and np.isfinite(high)) or not low <= at <= high:
        return ""
    return wording.age_range(low, high, clock, given.meter_unit)


def _without_money(run: Run) -> set[tuple[str, str]]:
    """Component and duty whose costs are counted in planned replacements, no money being known."""
    costs = plain(run.table("costs"))
    relative = costs[costs["is_relative"]]
    return set(zip(relative["component"], relative["duty"], strict=True))


def _money_words(row: Any, is_relative: bool) -> str:
    mine = float(row.cost_per_1000_hours)
    without = float(row.cost_per_1000_hours_run_to_failure)
    if not np.isfinite(mine):
        starting = row.basis == "starting value"
        return "not costed: a starting value" if starting else "not costed: see why"
    unit = "\nin planned replacements" if is_relative else ""
    against = f"\nagainst {wording.number(without)}" if np.isfinite(without) else ""
    return f"{wording.number(mine)}{against}{unit}"


def what_it_saves(run: Run) -> Section:
    """Return cost curves of the recommendations that save most."""
    given, intervals = facts_of(run), plain(run.table("intervals"))
    curves, relative = plain(run.table("cost_curves")), _without_money(run)
    saving = intervals["cost_per_1000_hours_run_to_failure"] - intervals["cost_per_1000_hours"]
    cells = zip(intervals["component"], intervals["duty"], strict=True)
    rows = intervals.assign(saving=saving, is_relative=[c in relative for c in cells])
    rows = rows[(rows["task"] == "replace") & (rows["saving"] > 0)]
    rows = rows.sort_values(
        ["is_relative", "saving", "component", "duty"], ascending=[True, False, True, True]
    )
    drawn, sentences = [], []
    for row in records(rows.head(TOP_FIGURES)):
        curve = curves[(curves["component"] == row.component) & (curves["duty"] == row.duty)]
        if curve.empty:
            continue
        drawn.append(figures.as_figure(_drawer(curve, row, given)))
        sentences.append(
            f"{row.component}, {row.duty}: saves {_saving_words(row, given)} per 1000 "
            f"{given.meter_short} of running."
        )
    if not drawn:
        return Section("What replacing in time saves", "No timed replacement saves money here.")
    return Section("What replacing in time saves", "", (), (listed(sentences), side_by_side(drawn)))


def _saving_words(row: Any, given: Facts) -> str:
    if row.is_relative:
        return f"the cost of {wording.number(row.saving, 2)} planned replacements"
    low, high = row.saving_per_1000_hours_cost_lower, row.saving_per_1000_hours_cost_upper
    if not (np.isfinite(low) and np.isfinite(high)):
        return wording.money(row.saving, given.currency)
    span = f"{wording.money(low, '')} to {wording.money(high, '')}"
    return f"{wording.money(row.saving, given.currency)} ({span})"


def _drawer(curve: pd.DataFrame, row: Any, given: Facts) -> Callable[[Any], str]:
    unit = "planned replacements" if row.is_relative else given.money_unit
    return lambda axes: figures.draw_costs(axes, curve, row, unit, given)


def can_hurt(run: Run) -> Section:
    """Return the components whose failure can hurt someone, never run to failure."""
    rows = plain(run.table("intervals"))
    rows = rows[rows["can_hurt"] != ""]
    given = facts_of(run)
    rows = rows.assign(at=[interval_said(r, given) for r in records(rows)])
    shown = [
        Shown(name="component", heading="component"),
        Shown(name="duty", heading="duty"),
        Shown(name="can_hurt", heading="how it can hurt"),
        Shown(name="at", heading="do"),
    ]
    table = html_table(
        rows.drop_duplicates(["component", "duty", "task"]),
        shown,
        caption="Never run to failure. The maker's or legal limit is the ceiling.",
        none="No component in this record is marked as one that can hurt.",
    )
    return Section("What can hurt someone", parts=(table,))


def interval_said(row: Any, given: Facts) -> str:
    """Return an interval in words; in a pack, one whose figure is held back is the shop's to plan.

    Parameters
    ----------
    row : named row of table "intervals"
    given : Facts

    Returns
    -------
    str
    """
    words = interval_words(row, given)
    held_back = given.customer and words == row.task and row.task != "run to failure"
    return f"{words}, when the shop plans it" if held_back else words


def cautions(run: Run) -> Section:
    """Return the cautions for the work itself, as far as these machines have what they are about.

    All of them where a component's place in the machine isn't known.
    """
    rows = plain(run.table("intervals"))
    known = components_of(settings_from(run.info.get("settings", {})))
    parts = {str(r.component): str(r.can_hurt) for r in records(rows)}
    systems = {name: known[name].system if name in known else "" for name in parts}
    needed = {h for name, how in parts.items() for h in hazards_of(systems[name], how)}
    told = [
        f"{hazard}. {line}"
        for hazard, line in CAUTIONS
        if hazard in needed or hazard not in OF_A_PART or not all(systems.values()) or not parts
    ]
    return Section(
        "Before anyone touches a machine",
        "",
        (
            "The maker's manual, local codes and licensed trades stand above every line here; "
            "the rules named are examples from one country.",
        ),
        (listed(told),),
    )
