"""The tables of one customer's pack: their rows alone, and only the columns a pack may show."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from dutylife.components import Component, components_of
from dutylife.decisions.keep_or_retire import UNKNOWN
from dutylife.decisions.starting import Start, looks_of, replacement_of
from dutylife.errors import RunError
from dutylife.provenance import Run
from dutylife.reports.facts import plain, records, table_or_empty
from dutylife.reports.maintenance.present_schedule import present_of
from dutylife.reports.packs.behind import OWN, WITHHELD, Behind, Cell
from dutylife.settings import PresentSchedule, Settings
from dutylife.vocabulary import TABLES

# everything a pack may know of a run; a column that is not named here never gets into one
SHOWN_COLUMNS = {
    "machine_tasks": "unit_id customer duty equipment_class component task interval_hours "
    "interval_days clock next_on is_overdue rides_along done_by part_number can_hurt basis mark",
    "visit_plan": "unit_id customer duty equipment_class due_on due_hours tasks parts cost",
    "intervals": "component duty task interval_hours interval_hours_lower interval_hours_upper "
    "interval_days interval_days_lower interval_days_upper clock basis mark can_hurt cautions "
    "probability_it_pays n_failed saving_per_1000_hours_cost saving_per_1000_hours_cost_lower "
    "saving_per_1000_hours_cost_upper sentence",
    "opportunities": "component duty change_if_open_past_hours change_if_open_past_days",
    "plan_comparison": "plan payer customer n_machines failures_per_year failures_per_year_lower "
    "failures_per_year_upper visits_per_year visits_per_year_lower visits_per_year_upper "
    "lost_days_per_year lost_days_per_year_lower lost_days_per_year_upper cost_per_year "
    "cost_per_year_lower cost_per_year_upper failures_spared_per_year "
    "failures_spared_per_year_lower failures_spared_per_year_upper saving_per_year "
    "saving_per_year_lower saving_per_year_upper",
    "keep_or_retire": "unit_id equipment_class duty customer payer billed_per_1000_hours "
    "lost_days_per_1000_hours own_factor own_factor_lower own_factor_upper trend next_year_cost "
    "next_year_cost_lower next_year_cost_upper new_one_cost_per_year advice would_tell "
    "safety_tasks",
    "visits_kept": "unit_id customer due_on component task kept done_on days_late failed_on",
}
_SAVING = tuple(f"saving_per_1000_hours_cost{end}" for end in ("", "_lower", "_upper"))
_OF_FACTOR = tuple(f"own_factor{end}" for end in ("", "_lower", "_upper"))
_MACHINE_POOLED = [
    *_OF_FACTOR, *(f"next_year_cost{end}" for end in ("", "_lower", "_upper")),
    "new_one_cost_per_year",
]  # fmt: skip
_MACHINE_PAST = ["billed_per_1000_hours", "lost_days_per_1000_hours", *_OF_FACTOR]
_INTERVALS = tuple(
    f"interval_{clock}{end}" for clock in ("hours", "days") for end in ("", "_lower", "_upper")
)


@dataclass(frozen=True, slots=True)
class PackRun(Run):
    """What the sections of a pack read in place of a run folder: one customer's tables."""

    tables: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    facts: Mapping[str, Any] = field(default_factory=dict)

    @property
    def info(self) -> dict[str, Any]:
        """Fleet, currency, as-of day and the like; nothing of the settings."""
        return dict(self.facts)

    def has_table(self, name: str) -> bool:
        """Whether the pack may know a table."""
        return name in self.tables

    def table(self, name: str) -> pd.DataFrame:
        """One of the pack's tables.

        Raises
        ------
        RunError
            A pack may not know it.
        """
        if name not in self.tables:
            raise RunError(f"A customer's pack has no table '{name}'.", "customers", "report it")
        return self.tables[name]


@dataclass(frozen=True, slots=True)
class Shop:
    """What all packs of a run are cut from; ``tables`` are those of the run.

    ``rows``: places of each customer's rows in each table that names customers, told once for all.
    """

    run: Run
    settings: Settings
    behind: Behind
    tables: Mapping[str, pd.DataFrame]
    known: Mapping[str, Component]
    present: Mapping[str, PresentSchedule]
    lost_day_cost: Mapping[str, float | None]
    rows: Mapping[str, Mapping[Any, Any]]


def shop_of(run: Run, settings: Settings, behind: Behind) -> Shop:
    """Read once what all packs of a run are cut from."""
    names = [*SHOWN_COLUMNS, "costs", "unit_spans"]
    tables = {name: plain(table_or_empty(run, name)) for name in names}
    return Shop(
        run, settings, behind, tables, components_of(settings), present_of(run),
        {name: c.lost_day_cost for name, c in settings.customers.items()},
        {n: of.groupby("customer").indices for n, of in tables.items()
         if "customer" in of and n != "unit_spans"},
    )  # fmt: skip


def pack_of(shop: Shop, customer: str) -> PackRun:
    """Cut one customer's tables out of a run's.

    Parameters
    ----------
    shop : Shop
    customer : str

    Returns
    -------
    PackRun
        Figures that rest on others' machines only where three customers stand behind them, else
        the starting value or none; money only where the customer pays it. A machine that was with
        someone else before brings nothing of its past along.
    """
    mine = {name: shop.tables[name].iloc[of.get(customer, [])] for name, of in shop.rows.items()}
    tasks = mine["machine_tasks"]
    cells = sorted({(str(c), str(d)) for c, d in zip(tasks["component"], tasks["duty"],
                                                     strict=True)})  # fmt: skip
    shown = {cell: shop.behind.source(cell, customer) for cell in cells}
    tables = {
        "machine_tasks": _tasks(tasks, shown, shop),
        "visit_plan": _visits(mine["visit_plan"], shop),
        "intervals": _intervals(shown, shop),
        "opportunities": _of_cells(shop.tables["opportunities"], _open(shown)),
        "plan_comparison": _comparison(mine["plan_comparison"], shown),
        "keep_or_retire": _machines(mine["keep_or_retire"], tasks, shown, customer, shop),
        "visits_kept": mine["visits_kept"][mine["visits_kept"]["unit_id"].isin(tasks["unit_id"])],
    }
    info = shop.run.info
    known = ("fleet", "as_of", "confidence_level", "horizon_months", "plan_in_force", "earlier_run")
    facts = {key: info[key] for key in known if key in info}
    facts["customer"] = customer
    facts["withheld"] = WITHHELD in shown.values()
    facts["lost_day_cost"] = shop.lost_day_cost.get(customer)
    facts["present_schedule"] = {n: s.model_dump() for n, s in shop.present.items()}
    return PackRun(shop.run.folder, {n: _cut(n, t) for n, t in tables.items()}, facts)


def _cut(name: str, rows: pd.DataFrame) -> pd.DataFrame:
    """Blank every column a pack may not show."""
    shown = SHOWN_COLUMNS[name].split()
    return rows.reindex(columns=shown).reindex(columns=list(TABLES[name].columns))


def _open(shown: Mapping[Cell, str]) -> set[Cell]:
    return {cell for cell, source in shown.items() if source != WITHHELD}


def _of_cells(rows: pd.DataFrame, cells: set[Cell]) -> pd.DataFrame:
    is_in = [(c, d) in cells for c, d in zip(rows["component"], rows["duty"], strict=True)]
    return rows[pd.Series(is_in, index=rows.index, dtype=bool)]


def _tasks(tasks: pd.DataFrame, shown: Mapping[Cell, str], shop: Shop) -> pd.DataFrame:
    """Tasks of the machines; how often where a figure is withheld: the starting value or none."""
    starts: dict[tuple[Cell, str], Start | None] = {}
    rows = tasks.to_dict("records")
    for row in rows:
        cell = (str(row["component"]), str(row["duty"]))
        if shown[cell] != WITHHELD or row["basis"] == "starting value":
            continue
        key = (cell, str(row["task"]))
        if key not in starts:
            starts[key] = _start(shop, *key)
        row.update(_as_start(starts[key]))
    return pd.DataFrame(rows, columns=tasks.columns)


def _as_start(start: Start | None) -> dict[str, Any]:
    """What stands in a row in place of a figure that is withheld."""
    hours, days, mark = (None, None, "") if start is None else (start.hours, start.days, start.mark)
    return {
        "interval_hours": np.nan if hours is None else hours,
        "interval_days": np.nan if days is None else days,
        "clock": "", "basis": "starting value", "mark": mark,
    }  # fmt: skip


def _intervals(shown: Mapping[Cell, str], shop: Shop) -> pd.DataFrame:
    """Intervals of the customer's components; withheld ones replaced by their starting value."""
    of_cells = _of_cells(shop.tables["intervals"], set(shown))
    theirs = {
        (str(r.component), str(r.duty))
        for r in records(shop.tables["costs"])
        if r.payer != "shop" and not r.is_relative
    }
    rows = of_cells.to_dict("records")
    for row in rows:
        cell = (str(row["component"]), str(row["duty"]))
        if cell not in theirs:
            row.update(dict.fromkeys(_SAVING, np.nan))
        if row["basis"] == "starting value":
            row["sentence"] = f"A starting value ({row['mark'] or 'our proposal'})."
        elif shown[cell] == WITHHELD:
            row.update(_withheld(_start(shop, cell, str(row["task"]))))
        else:
            whose = (
                "your own machines' record"
                if shown[cell] == OWN
                else "the record of like machines of three customers or more"
            )
            row["sentence"] = f"From {whose}."
    return pd.DataFrame(rows, columns=of_cells.columns)


def _withheld(start: Start | None) -> dict[str, Any]:
    """What stands in a row of "intervals" in place of figures that are withheld, and why."""
    why = "the record behind a closer figure is of fewer than three customers"
    said = (
        f"No figure: {why}. Ask the shop."
        if start is None
        else f"A starting value ({start.mark}): {why}."
    )
    blank = dict.fromkeys((*_INTERVALS, *_SAVING, "probability_it_pays"), np.nan)
    return blank | _as_start(start) | {"sentence": said, "n_failed": 0}


def _start(shop: Shop, cell: Cell, task: str) -> Start | None:
    component = shop.known.get(cell[0], Component(name=cell[0]))
    severe = cell[1] in shop.settings.duty.severe
    if task == "replace":
        return replacement_of(component, severe=severe)
    return next((s for s in looks_of(component, severe=severe) if s.task == task), None)


def _visits(visits: pd.DataFrame, shop: Shop) -> pd.DataFrame:
    """Visits with what the customer pays of each: the shop's own tasks and their part left out."""
    costs = shop.tables["costs"]
    whose = {(r.component, r.duty, r.task): r for r in records(costs)}
    if not any(r.payer == "shop" for r in whose.values()):
        return visits
    return visits.assign(cost=[_paid(row, whose) for row in records(visits)])


def _paid(visit: Any, whose: Mapping[tuple[str, str, str], Any]) -> float:
    planned = {"shop": 0.0, "customer": 0.0}
    n = {"shop": 0, "customer": 0}
    for words in (t.strip() for t in visit.tasks.split(";") if t.strip()):
        task, _, component = words.partition(" ")
        row = whose.get((component, visit.duty, task))
        payer = "shop" if row is not None and row.payer == "shop" else "customer"
        n[payer] += 1
        if row is not None and task == "replace" and not row.is_relative:
            planned[payer] += float(np.nan_to_num(row.planned_cost))
    if not n["customer"]:
        return float("nan")
    both = planned["shop"] + planned["customer"]
    rest = max(float(visit.cost) - both, 0.0)
    share = planned["customer"] / both if both > 0 else n["customer"] / sum(n.values())
    return planned["customer"] + share * rest


def _comparison(rows: pd.DataFrame, shown: Mapping[Cell, str]) -> pd.DataFrame:
    """A year of each plan, where no figure behind it is withheld."""
    if WITHHELD in shown.values():
        return rows.head(0)
    return rows[rows["payer"] == "contractor"]


def _machines(
    rows: pd.DataFrame, tasks: pd.DataFrame, shown: Mapping[Cell, str], customer: str, shop: Shop
) -> pd.DataFrame:
    """Machines with their own record, and the coming year where no figure behind it is withheld."""
    spans = shop.tables["unit_spans"]
    spans = spans[spans["unit_id"].isin(rows["unit_id"])]
    elsewhere = set(spans.loc[spans["customer"] != customer, "unit_id"])
    hidden = {
        str(r.unit_id) for r in records(tasks) if shown[str(r.component), str(r.duty)] == WITHHELD
    }
    # where the shop pays, its advice is about the shop's money
    out = rows[rows["payer"] != "shop"].copy()
    past, coming = out["unit_id"].isin(elsewhere), out["unit_id"].isin(hidden)
    out.loc[past, [*_MACHINE_PAST]] = np.nan
    out.loc[past, "trend"] = "too few"
    out.loc[past | coming, _MACHINE_POOLED] = np.nan
    out.loc[past | coming, "would_tell"] = ""
    out.loc[past | coming, "advice"] = UNKNOWN
    return out
