"""A small record of complaints and what they turned out to be, for the tests of causes and sheets.

Two classes, two duties, three parts with Weibull laws on days; every part in place is 200 days
old. ``CASES`` says how often a complaint on a machine turned out to be a part.
"""

import datetime as dt
from typing import Any

import pandas as pd

from dutylife.schema import as_table
from dutylife.settings import Settings, settings_from

AS_OF = dt.date(2026, 1, 1)
COMPONENTS = ("air filter", "carburetor", "spark plug")
SCALES = {"air filter": 300.0, "carburetor": 600.0, "spark plug": 400.0}
MACHINES = {f"TA-{n}": ("tamper", "yard" if n < 4 else "quay") for n in range(1, 8)} | {
    f"PU-{n}": ("pump", "yard") for n in range(1, 5)
}
# machine, complaint, part at fault, how often
CASES = (
    ("TA-1", "no power", "air filter", 6),
    ("TA-2", "No power", "spark plug", 3),
    ("TA-5", "no power", "spark plug", 6),
    ("TA-6", "hard to start", "spark plug", 4),
    ("TA-3", "floods", "carburetor", 5),
    ("PU-1", "smokes", "air filter", 2),
    ("PU-2", "smokes", "carburetor", 6),
)
PRICE = {"air filter": 10.0, "carburetor": 90.0, "spark plug": 6.0}


def settings(**more: Any) -> Settings:
    """Settings of the record, its last day filled."""
    fleet = {"name": "yard & quay", "currency": "crowns", "as_of": AS_OF}
    return settings_from({"fleet": fleet} | more)


def tables(text: str = "") -> dict[str, pd.DataFrame]:
    """Tables that causes and the sheet are told from; ``text`` ends every free text."""
    events, lines = _events(text)
    frames = {
        "units": [
            {"unit_id": u, "equipment_class": kind, "first_seen": "2022-01-01",
             "last_seen": "2025-12-20", "prob_in_service": 0.95, "hours_per_week": 14.0,
             "usage_source": "meter", "meter_unit": "hours", "meter_now_hours": 2900.0}
            for u, (kind, _) in MACHINES.items()
        ],
        "unit_spans": [
            {"unit_id": u, "from_date": "2022-01-01", "to_date": "2026-01-01",
             "customer": f"Crew{text}", "duty": duty, "hours_per_week": 14.0}
            for u, (_, duty) in MACHINES.items()
        ],
        "failure_events": [
            {"unit_id": u, "component": c, "life_number": 1, "spell": 1, "duty": duty,
             "customer": "Crew", "equipment_class": kind, "part_number": f"N-{c[:2]}",
             "installed_on": "2025-06-15", "ended_on": "2026-01-01", "entry_hours": 0.0,
             "exit_hours": 400.0, "entry_days": 0.0, "exit_days": 200.0, "event": "running",
             "clock_source": "meter", "prob_in_service": 0.95, "weight": 1.0}
            for u, (kind, duty) in MACHINES.items() for c in COMPONENTS
        ],
        "life_draws": [
            {"component": c, "duty": duty, "clock": "days", "draw": n, "weight": 0.5,
             "distribution": "weibull", "shape": 2.0, "scale": SCALES[c] * spread,
             "basis": "own data"}
            for c in COMPONENTS
            for duty in ("yard", "quay")
            for n, spread in enumerate((0.95, 1.05))
        ],
        "maintenance_events": events,
        "service_lines": lines,
    }  # fmt: skip
    return {name: as_table(name, _dated(pd.DataFrame(rows))) for name, rows in frames.items()}


def _events(text: str) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    events, lines = [], []
    day = pd.Timestamp("2023-01-02")
    for unit, complaint, component, times in CASES:
        for _ in range(times):
            day += pd.Timedelta(days=20)
            ticket = f"J{len(events) + 1:03d}"
            events.append(
                {"unit_id": unit, "component": component, "event_date": day, "ticket": ticket,
                 "activity": "replace", "reason": "failure", "finding": "failed",
                 "is_comeback": False, "found_at_service": False, "confidence": 1.0,
                 "part_number": f"N-{component[:2]}", "quantity": 1.0, "line_ids": f"l{ticket}"}
            )  # fmt: skip
            same = {"ticket": ticket, "service_date": day, "unit_id": unit, "quantity": 1.0,
                    "complaint": complaint, "work_done": f"{component} renewed{text}",
                    "source_file": "lines.csv", "source_row": len(lines) + 2}  # fmt: skip
            lines += [
                same | {"line_id": f"l{ticket}", "line_kind": "part", "unit_price":
                        PRICE[component], "description": component},
                same | {"line_id": f"m{ticket}", "line_kind": "labour", "unit_price": 40.0,
                        "description": "labour"},
            ]  # fmt: skip
    return events, lines


def _dated(frame: pd.DataFrame) -> pd.DataFrame:
    for name in frame.columns:
        if name.endswith(("_date", "_on", "_seen")):
            frame[name] = pd.to_datetime(frame[name])
    return frame
