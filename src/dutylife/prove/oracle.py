"""The stock stage told the truth: true laws, true ages, who is still here, true use."""

import pandas as pd

from dutylife.practice import PracticeFleet
from dutylife.prove.truth import TrueCell
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.stock import plan_stock


def oracle_stock(
    fleet: PracticeFleet,
    cells: dict[tuple[str, str], TrueCell],
    tables: dict[str, pd.DataFrame],
    settings: Settings,
) -> dict[str, pd.DataFrame] | None:
    """Forecast and levels of `plan_stock` on true lives; None where a law is not Weibull.

    What is left of its loss is chance and the stock stage's own: the distance of the chain from
    it is what reading, coding, ages and fits cost.
    """
    if not all(cell.is_weibull for cell in cells.values()):
        return None
    units, spans = _units(fleet, tables["units"]), _spans(fleet, tables["unit_spans"])
    return plan_stock(
        _lives(fleet), _draws(cells), tables["intervals"], units, spans, tables["service_lines"],
        tables["maintenance_events"], tables["catalogue"], tables["shelf"], settings,
        contracts=tables["contracts"],
    )  # fmt: skip


def _lives(fleet: PracticeFleet) -> pd.DataFrame:
    machine = {m.unit_id: m for m in fleet.machines}
    lives = fleet.lives[fleet.lives["event"] != "moved"].copy()  # the part goes on elsewhere
    for clock in ("hours", "days"):
        lives[f"entry_{clock}"] = lives.get(f"entry_{clock}", 0.0)
    lives["equipment_class"] = [machine[u].equipment_class for u in lives["unit_id"]]
    lives["customer"] = [machine[u].customer for u in lives["unit_id"]]
    return as_table(
        "failure_events",
        lives.assign(
            spell=1, exit_hours=lives["age_hours"],
            exit_days=lives["age_days"], age_se_hours=0.0, clock_source="meter", weight=1.0,
            prob_in_service=1.0,
        ),
    )  # fmt: skip


def _draws(cells: dict[tuple[str, str], TrueCell]) -> pd.DataFrame:
    rows = [
        {
            "component": cell.component, "duty": cell.duty, "clock": cell.clock, "draw": 1,
            "weight": 1.0, "distribution": "weibull", "shape": cell.shape, "scale": cell.scale,
            "basis": "own data",
        }
        for cell in cells.values()
    ]  # fmt: skip
    return as_table("life_draws", pd.DataFrame(rows))


def _units(fleet: PracticeFleet, units: pd.DataFrame) -> pd.DataFrame:
    here = {
        m.unit_id: float(m.is_customer_here and m.leaves > fleet.span.end) for m in fleet.machines
    }
    use = {m.unit_id: m.hours_per_week for m in fleet.machines}
    names = units["unit_id"].astype("object")
    return as_table(
        "units",
        units.assign(
            prob_in_service=names.map(here).fillna(0.0),
            hours_per_week=names.map(use).fillna(units["hours_per_week"]),
            left_on=units["left_on"].where(names.map(here) == 0.0),
        ),
    )


def _spans(fleet: PracticeFleet, spans: pd.DataFrame) -> pd.DataFrame:
    use = {m.unit_id: m.hours_per_week for m in fleet.machines}
    rate = spans["unit_id"].astype("object").map(use).fillna(spans["hours_per_week"])
    return as_table("unit_spans", spans.assign(hours_per_week=rate))
