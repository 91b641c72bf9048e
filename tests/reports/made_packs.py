"""A run of planted names, money and machines, for the tests of packs and of the plan page."""

import datetime as dt
from pathlib import Path

import pandas as pd

from dutylife.run_folder import write_info, write_tables
from dutylife.schema import as_table

OTHERS = {
    "Zz Plughkontor <b>&</b> Søn": ("QX-71", "QX-72"),
    "=Fnordwerk, \"Süd\"; 'Hof'": ("WF-03",),
    "../../Grault\\Yard": ("GG-9", "GG-10"),
    "Xyzzy Straße": ("XY-1",),
    "XYZZY STRASSE": ("XY-2",),
    "שלום Waldo \u202e": ("WA-1",),
}
LAST = dt.date(2026, 3, 31)
BILLED = 7654.0
PURCHASE = 4321.0


def planted() -> dict[str, pd.DataFrame]:
    """Tables in which each customer's name, machines and tickets occur wherever they can."""
    tasks, visits, kept, keep, plans, spans, lived, events = [], [], [], [], [], [], [], []
    duties = {name: "wet" if i < 4 else "far" for i, name in enumerate(OTHERS)}
    for number, (customer, units) in enumerate(OTHERS.items()):
        duty = duties[customer]
        for unit in units:
            one = {"unit_id": unit, "customer": customer, "duty": duty,
                   "equipment_class": "pump"}  # fmt: skip
            for component in ("air filter", "spark plug"):
                tasks.append(
                    one | {"component": component, "task": "replace", "interval_hours": 123.0,
                           "interval_days": 77.0, "clock": "hours", "next_on": "2026-04-20",
                           "done_by": "yard", "basis": "own data", "is_overdue": False}
                )  # fmt: skip
                lived.append(
                    one | {"component": component, "life_number": 1, "spell": 1,
                           "event": "failed", "clock_source": "meter", "exit_hours": 90.0,
                           "exit_days": 40.0, "ticket": f"T{unit}", "weight": 1.0}
                )  # fmt: skip
            visits.append(one | {"due_on": "2026-04-20", "due_hours": 10.0, "cost": 100.0 + number,
                                 "tasks": "replace air filter;replace spark plug", "parts": "P-1",
                                 "labour_hours": 1.0})  # fmt: skip
            kept.append({"unit_id": unit, "customer": customer, "due_on": "2026-03-20",
                         "component": "air filter", "task": "replace", "kept": "skipped",
                         "failed_on": "2026-03-25"})  # fmt: skip
            keep.append(one | {"payer": "contractor", "billed_per_1000_hours": BILLED,
                               "own_factor": 1.1, "advice": "keep", "next_year_cost": 55.0,
                               "trend": "no trend", "n_failed": 3,
                               "sentence": f"{customer} {unit}"})  # fmt: skip
            spans.append({"unit_id": unit, "customer": customer, "duty": duty,
                          "from_date": "2024-01-01", "to_date": "2026-03-31"})  # fmt: skip
            events.append({"unit_id": unit, "component": "air filter", "activity": "replace",
                           "event_date": "2026-01-01", "reason": "failure",
                           "ticket": f"T{unit}"})  # fmt: skip
        for plan in ("recommended", "as seen"):
            for payer in ("contractor", "shop"):
                plans.append(
                    {"plan": plan, "payer": payer, "customer": customer, "n_machines": len(units)}
                    | {f"{n}{end}": 10.0 for n in ("failures_per_year", "visits_per_year",
                                                   "lost_days_per_year", "saving_per_year")
                       for end in ("", "_lower", "_upper")}
                    | {f"cost_per_year{end}": 1000.0 if payer == "contractor" else PURCHASE
                       for end in ("", "_lower", "_upper")}
                )  # fmt: skip
    # GG-9 was with the first customer before, and was billed there
    spans.append({"unit_id": "GG-9", "customer": next(iter(OTHERS)), "duty": "wet",
                  "from_date": "2023-01-01", "to_date": "2023-12-31"})  # fmt: skip
    cells = [(c, d) for c in ("air filter", "spark plug") for d in ("wet", "far")]
    intervals = [
        {"component": c, "duty": d, "task": "replace", "interval_hours": 123.0, "clock": "hours",
         "interval_days": 77.0, "n_failed": 12, "basis": "own data", "probability_it_pays": 0.9,
         "saving_per_1000_hours_cost": 30.0, "saving_per_1000_hours_cost_lower": 20.0,
         "saving_per_1000_hours_cost_upper": 40.0, "sentence": " ".join(OTHERS)}
        for c, d in cells
    ]  # fmt: skip
    costs = [
        {"component": c, "duty": d, "task": "replace", "planned_cost": 50.0, "failure_cost": 300.0,
         "payer": "contractor", "basis": "settings", "is_relative": False,
         "purchase_cost": PURCHASE}
        for c, d in cells
    ]  # fmt: skip
    life = [
        {"component": c, "duty": d, "clock": "hours", "own_data_share": 0.9, "basis": "own data",
         "n_lives": 4, "n_failed": 2}
        for c, d in cells
    ]  # fmt: skip
    found = {"finding_id": "f", "stage": "decisions", "kind": "note", "table": "plan_comparison",
             "source_row": 0, "message": " ".join(OTHERS), "key": " ".join(OTHERS)}  # fmt: skip
    made = {
        "machine_tasks": tasks, "visit_plan": visits, "visits_kept": kept, "keep_or_retire": keep,
        "plan_comparison": plans, "unit_spans": spans, "failure_events": lived, "costs": costs,
        "maintenance_events": events, "intervals": intervals, "life_models": life,
        "findings": [found],
    }  # fmt: skip
    return {name: as_table(name, typed(pd.DataFrame(rows))) for name, rows in made.items()}


def typed(frame: pd.DataFrame) -> pd.DataFrame:
    for column in frame.columns:
        if column.endswith(("_on", "_date")):
            frame[column] = pd.to_datetime(frame[column])
    return frame


def write_run(folder: Path, settings: dict[str, object], **tables: pd.DataFrame) -> Path:
    write_tables(planted() | tables, folder / "tables")
    info = {
        "fleet": {"name": "Depot", "currency": "EUR", "meter_unit": "hours"},
        "as_of": LAST.isoformat(), "confidence_level": 0.9, "horizon_months": 6,
        "plan_in_force": "as seen", "settings": settings,
        "earlier_run": {"as_of": "2026-02-28"},
    }  # fmt: skip
    write_info(info, folder)
    return folder
