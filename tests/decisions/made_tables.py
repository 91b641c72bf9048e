"""Tables of a run of the small invented fleet, decided upon."""

import pandas as pd

from dutylife.decisions import recommend_intervals
from dutylife.schema import as_table

NAMES = (
    "life_draws", "life_models", "failure_events", "service_lines", "maintenance_events",
    "units", "unit_spans",
)  # fmt: skip
STATED = {
    "costs": {
        "default": {"payer": "contractor", "labour_hours": 1.0, "lost_days_per_failure": 1.5},
        "ignition cap": {"planned_cost": 40, "failure_cost": 250},
        "air filter": {"planned_cost": 30, "failure_cost": 190},
        "carburetor": {"planned_cost": 120, "failure_cost": 400},
        "safety relief valve": {"planned_cost": 60, "failure_cost": 500},
        "recoil starter rope": {"planned_cost": 25, "failure_cost": 160},
    },
    "workshop": {"labour_rate": 50, "visit_cost": 20},
}
COST = {"CAP-5K": 5.0, "AF-12": 7.0, "CARB-3": 40.0, "RV-8": 12.0, "ROPE-1": 2.0}


def shelf(cost=None):
    rows = [
        {
            "part_number": number,
            "description": number,
            "unit_cost": each,
            "source_row": 2,
            "source_file": "parts.csv",
        }
        for number, each in (COST if cost is None else cost).items()
    ]
    return as_table("shelf", pd.DataFrame(rows))


def tables_of(fleet):
    tables = {name: getattr(fleet, name) for name in NAMES}
    tables |= recommend_intervals(
        fleet.life_draws, fleet.life_models, fleet.failure_events, fleet.service_lines,
        fleet.maintenance_events, fleet.unit_spans, fleet.settings,
    )  # fmt: skip
    return tables | {"shelf": shelf()}
