"""Forecasts of kept months meet what came, once each; few months alone weigh nothing."""

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from test_snapshot import run_of

from dutylife.history.rerun import history_folder, months_of
from dutylife.history.scoring import ENOUGH_MONTHS, joined, own_scores, scores_to_use
from dutylife.history.snapshot import keep_month, months_kept
from dutylife.schema import as_table, empty_table
from dutylife.settings import settings_from

FLEET = "Depot & Sons"


def forecast(day: str) -> pd.DataFrame:
    row = {"part_number": "0007", "plan": "as seen", "from_date": pd.Timestamp(day) +
           pd.Timedelta(days=1), "p50": 1.0, "p80": 2.0, "p95": 4.0, "life_p50": 3.0,
           "life_p80": 3.0, "life_p95": 3.0, "n_scored": 0}  # fmt: skip
    return as_table("demand_forecast", pd.DataFrame([row | {"months": m} for m in (1.0, 3.0)]))


def lines(*days: str) -> pd.DataFrame:
    return as_table(
        "service_lines",
        pd.DataFrame(
            {"line_id": [str(n) for n in range(len(days))], "source_file": "f", "source_row": 1,
             "line_kind": "part", "part_number": "0007", "quantity": 1.0, "service_date": days}
        ),
    )  # fmt: skip


def kept_month(folder: Path, day: str, scores: pd.DataFrame | None = None) -> None:
    run = run_of(day)
    run.tables["demand_forecast"] = forecast(day)
    if scores is not None:
        run.tables["forecast_scores"] = scores
    keep_month(folder, run)


def test_a_month_is_scored_when_it_has_ended_and_only_once(tmp_path: Path):
    kept_month(tmp_path, "2025-09-30")
    came = lines("2025-01-02", "2025-10-05", "2025-10-30", "2025-10-31")
    catalogue = empty_table("catalogue")
    months = months_kept(tmp_path, FLEET)
    early = own_scores(months, came, catalogue, pd.Timestamp("2025-10-29"))
    assert early.empty
    first = own_scores(months, came, catalogue, pd.Timestamp("2025-10-31"))
    said = first[first["method"] == "forecast"]
    assert said["months"].tolist() == [1.0]
    assert said["asked"].tolist() == [2.0]  # the month from 1 October ends on 30 October
    assert said["pinball_loss"].tolist() == [pytest.approx(np.mean([0.5 * 1, 0.8 * 0, 0.05 * 2]))]
    assert set(first["method"]) == {"forecast", "lives", "series"}
    kept_month(tmp_path, "2025-10-31", first)
    later = own_scores(
        months_kept(tmp_path, FLEET), lines("2025-01-02"), catalogue, pd.Timestamp("2025-11-30")
    )
    old = later[(later["method"] == "forecast") & (later["as_of"] == "2025-09-30")]
    assert old["asked"].tolist() == [2.0]  # as it was found then
    assert (later["as_of"] == "2025-10-31").any()


def scored(day: str, loss: float) -> pd.DataFrame:
    return as_table(
        "forecast_scores",
        pd.DataFrame(
            {"as_of": [day], "part_number": "A", "from_date": [day], "months": 1.0,
             "method": "lives", "pinball_loss": loss}
        ),
    )  # fmt: skip


def test_a_few_months_alone_do_not_weigh():
    days = [f"2025-{m:02d}-28" for m in range(1, ENOUGH_MONTHS + 1)]
    own = pd.concat([scored(d, 1.0) for d in days])
    assert scores_to_use(None, as_table("forecast_scores", own)) is not None
    assert scores_to_use(None, as_table("forecast_scores", own.iloc[1:])) is None
    assert scores_to_use(None, empty_table("forecast_scores")) is None
    given = scored("2024-01-28", 2.0)
    assert len(scores_to_use(given, as_table("forecast_scores", own.iloc[:1]))) == 2


def test_of_two_scores_of_the_same_forecast_the_kept_month_s_stands():
    both = joined(scored("2025-01-28", 9.0), scored("2025-01-28", 1.0))
    assert both["pinball_loss"].tolist() == [1.0]


def test_months_lie_outside_every_run_folder(tmp_path: Path):
    (tmp_path / "months").mkdir()
    (tmp_path / "back" / "tables").mkdir(parents=True)
    run = tmp_path / "runs" / "2025-11-30"
    for key, place in (("", "runs/history"), ("months", "months"), ("back", "runs/history")):
        settings = settings_from({"report": {"history": key}}, folder=tmp_path)
        assert history_folder(settings, run) == tmp_path / place


def test_only_a_day_behind_which_a_later_month_stands_is_taken_up(tmp_path: Path):
    history = tmp_path / "history"
    for day in ("2025-10-31", "2025-11-30"):
        keep_month(history, run_of(day))
    settings = settings_from({"fleet": {"name": FLEET}})
    run = tmp_path / "run"
    for day, before, is_taken, closed in (
        ("2025-10-31", 0, True, True), ("2025-11-15", 1, False, True),
        ("2025-11-30", 1, False, False), ("2025-12-31", 2, False, False),
    ):  # fmt: skip
        found = months_of(settings, run, dt.date.fromisoformat(day))
        assert (len(found.before), found.taken_up is not None, found.is_closed) == (
            before, is_taken, closed,
        )  # fmt: skip
