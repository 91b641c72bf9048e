"""Past scores reach the next run through the folder the settings name."""

import datetime as dt

import pandas as pd
import pytest

from dutylife.errors import SettingsError
from dutylife.pipeline import past_scores
from dutylife.settings import settings_from


def test_scores_that_had_ended_by_then_are_taken(tmp_path):
    folder = tmp_path / "back" / "tables"
    folder.mkdir(parents=True)
    rows = pd.DataFrame(
        {"as_of": ["2025-06-30", "2025-08-31"], "part_number": ["0017", "0017"],
         "from_date": ["2025-07-01", "2025-09-01"], "months": [1.0, 1.0],
         "method": ["lives", "lives"], "pinball_loss": [0.5, 0.7], "under_p80": [1, 0],
         "under_p95": [1, 1]}
    )  # fmt: skip
    rows.to_csv(folder / "forecast_scores.csv", index=False)
    given = {"report": {"history": "back"}, "fleet": {"as_of": dt.date(2025, 8, 31)}}
    found = past_scores(settings_from(given, folder=tmp_path))
    assert found["part_number"].tolist() == ["0017"]
    assert found["pinball_loss"].tolist() == [0.5]
    assert past_scores(settings_from({})) is None


def test_a_history_without_scores_is_refused(tmp_path):
    told = {"report": {"history": "nowhere"}, "fleet": {"as_of": dt.date(2025, 8, 31)}}
    given = settings_from(told, folder=tmp_path)
    with pytest.raises(SettingsError, match="no past forecasts"):
        past_scores(given)
