"""Days become spans of time; a missing number stays missing and brings no warning."""

import re
from pathlib import Path

import numpy as np
import pandas as pd

from dutylife.schema import spans_of_days


def test_missing_days_stay_missing():
    spans = spans_of_days(pd.Series([1.5, np.nan, 400.0]))
    assert spans[0] == pd.Timedelta(hours=36)
    assert pd.isna(spans[1])
    assert spans[2] == pd.Timedelta(days=400)


def test_no_stage_goes_round_it():
    src = Path(__file__).parents[2] / "src" / "dutylife"
    direct = re.compile(r"to_timedelta\(")
    users = [p.name for p in src.rglob("*.py") if direct.search(p.read_text("utf-8"))]
    assert users == ["schema.py"]
