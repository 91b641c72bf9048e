"""The stock stage told the truth: true laws, true ages, who is still here, true use."""

import datetime as dt

import pandas as pd

from dutylife.practice import PracticeFleet
from dutylife.practice.fleet import date_of
from dutylife.practice.truth import oil_of
from dutylife.prove.truth import TrueCell
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.stock import plan_stock
from dutylife.stock.comings import Flow
from dutylife.stock.fleet_demand import FleetDemand, fleet_demand
from dutylife.vocabulary.spans import DAYS_PER_YEAR


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


def oracle_demand(
    fleet: PracticeFleet,
    cells: dict[tuple[str, str], TrueCell],
    tables: dict[str, pd.DataFrame],
    settings: Settings,
) -> FleetDemand:
    """`fleet_demand` told all that can be known at the cut-off.

    True laws, ages, use and presence; every repair as it was done; what went over the counter
    apart from it; the rates at which machines truly come and leave. Which machine comes, leaves
    or fails when is chance to it as well.
    """
    return fleet_demand(
        _lives(fleet), _draws(cells), pd.DataFrame(), _units(fleet, tables["units"]),
        _spans(fleet, tables["unit_spans"]), _sold_beside(fleet), _done(fleet),
        tables["catalogue"], settings, contracts=tables["contracts"], flow=_flow(fleet),
        use_seasons=_seasons(fleet),
    )  # fmt: skip


def _seasons(fleet: PracticeFleet) -> pd.DataFrame:
    rows = [
        {"duty": duty, "month_of_year": month, "use_share": share / (sum(own) / len(own))}
        for duty, place in fleet.scenario.duties.items()
        for own in (place.season,)
        for month, share in enumerate(own, start=1)
    ]
    return as_table("use_seasons", pd.DataFrame(rows))


def _flow(fleet: PracticeFleet) -> Flow:
    scenario = fleet.scenario
    here = sum(m.is_customer_here and m.leaves > fleet.span.end for m in fleet.machines)
    a_year = scenario.arrivals.share_of_fleet_a_year * fleet.n_units
    return Flow(
        leaving_rate=scenario.record.leaving_per_year / DAYS_PER_YEAR,
        coming_rate=a_year / DAYS_PER_YEAR / max(here, 1),
    )


def _sold_beside(fleet: PracticeFleet) -> pd.DataFrame:
    """Lines of parts that no life explains: over the counter, credits, oil of services."""
    moves = [(s.part_number, s.day, s.quantity, "") for s in fleet.sales]
    for visit in fleet.visits:
        oil = oil_of(fleet.scenario, visit)
        if oil:
            moves.append((oil, visit.day, 1, _ticket(visit.machine.unit_id, date_of(visit.day))))
    # the record's first day stands for how long it is
    first = next(iter(fleet.scenario.other_parts))
    moves = [(first, fleet.span.start, 0, ""), *(m for m in moves if m[1] < fleet.span.end)]
    lines = pd.DataFrame(moves, columns=["part_number", "day", "quantity", "ticket"])
    return lines.assign(
        service_date=pd.to_datetime([date_of(d) for d in lines["day"]]),
        line_kind="part", line_id=[f"{i:08d}" for i in range(len(lines))],
    )  # fmt: skip


def _done(fleet: PracticeFleet) -> pd.DataFrame:
    """Table "maintenance_events" of all that was done within the record."""
    events = fleet.events
    quantity = {name: law.quantity for name, law in fleet.scenario.components.items()}
    again = events.groupby(["unit_id", "event_date", "component"]).cumcount()
    return as_table(
        "maintenance_events",
        events.assign(
            position="", quantity=events["component"].map(quantity).astype(float), finding="",
            ticket=[
                _ticket(u, d.date()) + ("" if n == 0 else f" {n + 1}")
                for u, d, n in zip(events["unit_id"], events["event_date"], again, strict=True)
            ],
            line_ids="", confidence=1.0,
        ),
    )  # fmt: skip


def _ticket(unit_id: str, day: dt.date) -> str:
    """Return one ticket a machine and day."""
    return f"{unit_id} {day.isoformat()}"


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
