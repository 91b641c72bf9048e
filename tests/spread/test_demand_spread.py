"""Demand of the cells computed by other processes is the demand computed here."""

import importlib.util
from pathlib import Path

import numpy as np
import pandas as pd

from dutylife.settings.sections import Compute
from dutylife.stock.demand import days_ahead
from dutylife.stock.fleet_demand import fleet_demand

_FILE = Path(__file__).parents[1] / "decisions" / "conftest.py"
_SPEC = importlib.util.spec_from_file_location("small_fleet", _FILE)
small_fleet = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(small_fleet)


def test_demand_by_two_processes_is_the_same():
    fleet = small_fleet.make_fleet(
        12, settings={"plan": {"in_force": "present_schedule"},
                      "present_schedule": {"air filter": {"hours": 60}}},
    )  # fmt: skip
    spans = [days_ahead(pd.Timestamp("2026-03-15"), days) for days in (30, 180)]
    found = []
    for compute in (Compute(), Compute(workers=2)):
        settings = fleet.settings.model_copy(update={"compute": compute})
        demand = fleet_demand(
            fleet.failure_events, fleet.life_draws, pd.DataFrame(), fleet.units, fleet.unit_spans,
            fleet.service_lines, fleet.maintenance_events, fleet.catalogue, settings,
        )  # fmt: skip
        cells = demand.inputs.lives[["component", "duty"]].drop_duplicates()
        assert len(cells) > 1
        found.append({plan: demand.laws(plan, spans) for plan in ("present_schedule", "as seen")})
    here, there = found
    for plan, laws in here.items():
        assert laws.keys() == there[plan].keys()
        for part, of_spans in laws.items():
            for key, law in of_spans.items():
                other = there[plan][part][key]
                assert np.array_equal(law.chances(), other.chances())
                assert law.mean_planned == other.mean_planned
