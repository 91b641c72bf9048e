"""A small invented fleet with known laws, as the tables the later stages read."""

import datetime as dt
import functools
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dutylife.schema import as_table
from dutylife.settings import settings_from

sys.path.insert(0, str(Path(__file__).parent))  # for made_standing.py, tasks_of_the_list.py

AS_OF = pd.Timestamp("2026-03-15")
START = pd.Timestamp("2023-01-01")
# component: clock, shape, scale in harbour on that clock, part number, price, share replaced early
LAWS = {
    "ignition cap": ("days", 2.2, 420.0, "CAP-5K", 9.0, 0.2),
    "air filter": ("hours", 3.0, 260.0, "AF-12", 14.0, 0.5),
    "carburetor": ("days", 1.0, 700.0, "CARB-3", 65.0, 0.0),
    "safety relief valve": ("days", 1.3, 1500.0, "RV-8", 22.0, 0.1),
    "recoil starter rope": ("hours", 1.8, 500.0, "ROPE-1", 4.0, 0.0),
}
DUTY_FACTOR = {"harbour": 1.0, "orchard": 2.0}
USE = 14.0


def make_fleet(
    n_units=30, *, duties=("harbour", "orchard"), money=True, parts=True, meter=True, settings=None
):
    """The tables of a fleet, and its settings."""
    tables = _tables(n_units, duties, money, parts, meter)
    given = {"fleet": {"as_of": dt.date(2026, 3, 15), "currency": "EUR"}} | (settings or {})
    return SimpleNamespace(**tables, settings=settings_from(given))


@functools.cache
def _tables(n_units, duties, money, parts, meter, seed=7, n_draws=60):
    """Lives of every component drawn from LAWS; every third life of the first kind has no age."""
    random = np.random.default_rng(seed)
    rows, events, lines, units, spans = [], [], [], [], []
    for i in range(n_units):
        unit, duty = f"U{i:03d}", duties[i % len(duties)]
        units.append(
            {"unit_id": unit, "equipment_class": "trench pump", "in_service_on": START,
             "first_seen": START, "last_seen": AS_OF, "prob_in_service": 1.0,
             "hours_per_week": USE if meter else None,
             "usage_source": "meter" if meter else "unknown", "meter_unit": "hours"}
        )  # fmt: skip
        spans.append(
            {"unit_id": unit, "from_date": START, "to_date": AS_OF, "customer": f"C-{duty}",
             "duty": duty, "hours_per_week": USE if meter else None}
        )  # fmt: skip
        for name, (clock, shape, scale, number, price, early) in LAWS.items():
            day, life = 0.0, 0
            known = not (i % 3 == 0 and name == "ignition cap")
            while True:
                life += 1
                days_scale = scale * DUTY_FACTOR[duty] * (1 if clock == "days" else 7 / USE)
                to_fail = days_scale * random.weibull(shape)
                to_change = random.exponential(days_scale / early) if early else np.inf
                length = min(to_fail, to_change)
                begin, end = START + pd.Timedelta(days=int(day)), day + length
                over = START + pd.Timedelta(days=int(end)) > AS_OF
                stop = AS_OF if over else START + pd.Timedelta(days=int(end))
                event = "running" if over else ("failed" if to_fail < to_change else "replaced")
                aged = known or life > 1
                age = float((stop - begin).days) + (0.0 if over else 0.5)
                ticket = "" if over else f"T{unit}{name[:3]}{life}"
                rows.append(
                    {"unit_id": unit, "component": name, "life_number": life, "spell": 1,
                     "duty": duty, "customer": f"C-{duty}", "equipment_class": "trench pump",
                     "part_number": number if parts and life > 1 else None,
                     "installed_on": begin if aged else None, "ended_on": stop,
                     "entry_days": 0.0 if aged else None, "exit_days": age if aged else None,
                     "entry_hours": 0.0 if aged and meter else None,
                     "exit_hours": age / 7 * USE if aged and meter else None, "event": event,
                     "clock_source": "meter" if aged else "unknown", "prob_in_service": 1.0,
                     "weight": 1.0, "ticket": ticket}
                )  # fmt: skip
                if over:
                    break
                lines.append(
                    {"line_id": f"L{ticket}", "source_file": "lines.csv", "source_row": len(lines),
                     "ticket": ticket, "service_date": stop, "unit_id": unit, "duty": duty,
                     "part_number": number if parts else None, "description": name,
                     "line_kind": "part", "quantity": 1.0, "unit_price": price if money else None}
                )  # fmt: skip
                if money:
                    lines.append(
                        {"line_id": f"W{ticket}", "source_file": "lines.csv",
                         "source_row": len(lines), "ticket": ticket, "service_date": stop,
                         "unit_id": unit, "duty": duty, "line_kind": "labour", "quantity": 1.0,
                         "unit_price": 40.0 if event == "failed" else 15.0}
                    )  # fmt: skip
                events.append(
                    {"unit_id": unit, "component": name, "event_date": stop,
                     "activity": "replace", "ticket": ticket,
                     "reason": "failure" if event == "failed" else "preventive",
                     "finding": "failed" if event == "failed" else "worn", "confidence": 0.9,
                     "part_number": number if parts else None, "quantity": 1.0,
                     "line_ids": f"L{ticket}"}
                )  # fmt: skip
                day = float((stop - START).days)
    failure_events = as_table("failure_events", pd.DataFrame(rows))
    draws, models = _laws(failure_events, duties, n_draws, random)
    numbers = [law[3] for law in LAWS.values()]
    catalogue = pd.DataFrame({"part_number": numbers, "component": list(LAWS)})
    return dict(
        failure_events=failure_events,
        maintenance_events=as_table("maintenance_events", pd.DataFrame(events)),
        service_lines=as_table("service_lines", pd.DataFrame(lines)),
        units=as_table("units", pd.DataFrame(units)),
        unit_spans=as_table("unit_spans", pd.DataFrame(spans)),
        life_draws=draws,
        life_models=models,
        catalogue=as_table("catalogue", catalogue if parts else catalogue.iloc[:0]),
        shelf=as_table(
            "shelf",
            pd.DataFrame(
                {"part_number": numbers, "on_hand": [3.0, None, 1.0, 0.0, 2.0],
                 "unit_cost": [4.0, 6.0, 30.0, None, 1.5], "lead_time_days": 10.0,
                 "supplier": "north store", "pack_size": [5.0, 1.0, 1.0, 1.0, 1.0],
                 "source_row": [2, 3, 4, 5, 6]}
            ) if parts else pd.DataFrame(columns=["part_number"]),
        ),
    )  # fmt: skip


def _laws(failure_events, duties, n_draws, random):
    draws, models = [], []
    lives = failure_events.astype({"component": object, "duty": object, "event": object})
    for name, (clock, shape, scale, *_) in LAWS.items():
        for duty in duties:
            own = lives[(lives["component"] == name) & (lives["duty"] == duty)]
            spread = 0.08
            for draw in range(n_draws):
                draws.append(
                    {"component": name, "duty": duty, "clock": clock, "draw": draw,
                     "weight": 1 / n_draws, "distribution": "weibull", "basis": "own data",
                     "shape": shape * np.exp(spread * random.standard_normal()),
                     "scale": scale * DUTY_FACTOR[duty] * np.exp(spread * random.standard_normal())}
                )  # fmt: skip
            models.append(
                {"component": name, "duty": duty, "clock": clock, "distribution": "weibull",
                 "n_lives": len(own), "n_failed": int((own["event"] == "failed").sum()),
                 "basis": "own data", "own_data_share": 1.0,
                 "longest_life_hours": own["exit_hours"].max(),
                 "longest_life_days": own["exit_days"].max()}
            )  # fmt: skip
    return as_table("life_draws", pd.DataFrame(draws)), as_table(
        "life_models", pd.DataFrame(models)
    )


@pytest.fixture(scope="session")
def make():
    return make_fleet


@pytest.fixture(scope="session")
def fleet():
    return make_fleet()
