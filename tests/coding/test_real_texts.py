"""Texts nobody here wrote, and a practice fleet whose truth is known."""

from pathlib import Path

import pandas as pd
import pytest

from dutylife.coding import code_lines
from dutylife.intake import read_exports
from dutylife.practice import make_practice
from dutylife.settings import read_settings, settings_from


@pytest.mark.shared
def test_hose_days_of_five_excavators(shared: Path):
    settings = settings_from(
        {
            "exports": [
                {
                    "path": "excavator_work_orders.csv",
                    "columns": {
                        "unit_id": "Asset", "service_date": "BscStartDate",
                        "description": "OriginalShorttext", "unit_price": "Cost",
                    },
                }
            ],
            "coding": {
                "default_reason": "failure", "components": {"hose": {"words": ["*hose*"]}},
            },
        },
        folder=shared / "data" / "excavator_work_orders",
    )  # fmt: skip
    tables = read_exports(settings).tables
    coded = code_lines(tables["service_lines"], tables["units"], tables["shelf"], settings)
    events = coded["maintenance_events"]
    hose = events[events["component"] == "hose"]
    # unit-days of the data set's README: 356 gaps and the five machines' last ones
    assert len(hose[["unit_id", "event_date"]].drop_duplicates()) == 361
    assert len(tables["service_lines"]) == 5485


def test_failures_of_a_practice_fleet_are_found_through_its_messy_export(tmp_path: Path):
    files = make_practice(tmp_path, n_units=40, n_years=2, seed=11)
    settings = read_settings(files["settings"])
    tables = read_exports(settings).tables
    coded = code_lines(tables["service_lines"], tables["units"], tables["shelf"], settings)
    events = coded["maintenance_events"].astype({"unit_id": "object", "component": "object"})
    failed = events[events["reason"] == "failure"][["unit_id", "component", "event_date"]]
    truth = pd.read_csv(files["lives"], parse_dates=["ended_on"])
    truth["ended_on"] = truth["ended_on"].astype("datetime64[ns]")  # pandas 3 reads microseconds
    first, last = tables["service_lines"]["service_date"].agg(["min", "max"])
    inside = truth["ended_on"].between(first, last - pd.Timedelta(days=7))
    lives = truth[inside & (truth["event"] == "failed")].sort_values("ended_on")
    found = pd.merge_asof(
        lives, failed.sort_values("event_date").assign(seen_on=lambda f: f["event_date"]),
        left_on="ended_on", right_on="event_date", by=["unit_id", "component"],
        direction="forward", tolerance=pd.Timedelta(days=6),
    )  # fmt: skip
    assert len(lives) > 100
    assert found["seen_on"].notna().mean() > 0.97
    sound = truth[inside & (truth["event"] == "replaced") & ~truth["is_comeback"]]
    wrong = pd.merge_asof(
        sound.sort_values("ended_on"), failed.sort_values("event_date"), left_on="ended_on",
        right_on="event_date", by=["unit_id", "component"], direction="forward",
        tolerance=pd.Timedelta(days=3),
    )  # fmt: skip
    assert wrong["event_date"].notna().mean() < 0.06
