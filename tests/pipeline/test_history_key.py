"""[report] history: where earlier calendars are; a place that is not there is told at once."""

from pathlib import Path

import pytest

from dutylife.errors import SettingsError
from dutylife.pipeline import run_stages
from dutylife.settings import settings_from


def test_a_history_that_is_not_there_names_its_key(tmp_path: Path):
    settings = settings_from({"report": {"history": "months"}}, tmp_path, "shop.toml")
    with pytest.raises(SettingsError) as error:
        run_stages(settings)
    assert "report.history" in str(error.value)
    assert "months" in str(error.value)
