"""Small published lifetime tables, taken through the failure-event table, give their answers.

Source: data "reliability" of the R package survival 3.8-6, from Meeker and Escobar, Statistical
Methods for Reliability Data (1998); the answers stand in the data folder's README.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dutylife.lives import build_lives
from dutylife.models import fit_law
from dutylife.models.cells import lives_on, usable_lives
from dutylife.schema import as_table
from dutylife.settings import settings_from

NEW = pd.Timestamp("2000-01-01")
PART = "part"


def table_of(ends: pd.DataFrame) -> pd.DataFrame:
    """Lives of machines seen when new, on one day; ``ends``: unit, day, meter, failed."""
    new = pd.DataFrame({"unit": ends["unit"].unique(), "day": 0.0, "failed": False})
    new["meter"] = 0.0 if ends["meter"].notna().any() else np.nan
    ends = pd.concat([new, ends], ignore_index=True)
    on = NEW + pd.to_timedelta(ends["day"], unit="D")
    name = "T" + ends.index.astype(str)
    lines = pd.DataFrame(
        {"line_id": name, "source_file": "f", "source_row": range(len(ends)), "ticket": name,
         "unit_id": ends["unit"], "service_date": on, "meter_hours": ends["meter"],
         "line_kind": "labour"}
    )  # fmt: skip
    events = lines.assign(
        component=PART, event_date=on, activity="replace", reason="failure", confidence=1.0,
        line_ids=name,
    )  # fmt: skip
    events = events.loc[ends["failed"].to_numpy(bool), ["unit_id", "component", "event_date",
             "activity", "reason", "confidence", "ticket", "line_ids"]]  # fmt: skip
    last = on.groupby(ends["unit"]).max()
    units = pd.DataFrame({"unit_id": last.index, "in_service_on": NEW, "left_on": last.to_numpy(),
                          "equipment_class": "engine"})  # fmt: skip
    spans = pd.DataFrame({"unit_id": last.index, "from_date": NEW, "duty": "use"})
    settings = settings_from(
        {"fleet": {"as_of": last.max().date() + pd.Timedelta(days=1)},
         "coding": {"comeback_days": 0}, "lives": {"first_part": "original"}}
    )  # fmt: skip
    return build_lives(
        as_table("maintenance_events", events), as_table("service_lines", lines),
        as_table("units", units), as_table("unit_spans", spans), settings,
    )["failure_events"]  # fmt: skip


@pytest.mark.shared
def test_generator_fans(shared: Path) -> None:
    fans = pd.read_csv(shared / "data/lifetimes_classic/generator_fan.csv")
    ends = pd.DataFrame(
        {"unit": [f"F{i}" for i in range(len(fans))], "day": np.ceil(fans["hours"] / 12.0),
         "meter": fans["hours"], "failed": fans["status"] == 1}
    )  # fmt: skip
    table = table_of(ends)
    first = table[table["life_number"] == 1]
    assert (len(first), int((first["event"] == "failed").sum())) == (70, 12)
    lives = lives_on(usable_lives(first, 0), "hours")
    assert lives.exit.sum() == pytest.approx(344440, abs=1)
    law = fit_law("weibull", lives.exit, lives.event, entry=lives.entry)
    assert law.shape == pytest.approx(1.058, abs=0.001)
    assert law.scale == pytest.approx(26297, abs=10)


@pytest.mark.shared
@pytest.mark.parametrize(("batch", "n_units", "n_replaced"), [(1, 15, 24), (2, 18, 26)])
def test_braking_grids_are_lives_in_a_row(
    batch: int, n_units: int, n_replaced: int, shared: Path
) -> None:
    rows = pd.read_csv(shared / "data/lifetimes_classic/locomotive_braking_grid.csv")
    rows = rows[rows["batch"] == batch].reset_index(drop=True)
    ends = pd.DataFrame({"unit": rows["locomotive"].astype(str), "day": rows["day2"],
                         "meter": np.nan, "failed": rows["status"] == 1})  # fmt: skip
    table = table_of(ends)
    failed = table[table["event"] == "failed"]
    assert (table["unit_id"].nunique(), len(failed)) == (n_units, n_replaced)
    truth = (rows["day2"] - rows["day1"])[rows["status"] == 1]
    assert sorted(failed["exit_days"]) == sorted(truth.astype(float))
