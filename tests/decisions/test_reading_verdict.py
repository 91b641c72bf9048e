"""One reading judged by its own part's figures.

Common practice, no source (used here only): a new resistor cap on this class of engine reads about
5 kilohm, caps taken off engines that would not rev have read close to 10, an ohmmeter on its
20 kilohm range reads both.
"""

import math

import pandas as pd
import pytest

from dutylife.components import shipped_components
from dutylife.decisions import judge_reading, judge_readings
from dutylife.errors import DecisionError
from dutylife.schema import as_table


def test_the_same_reading_keeps_one_part_and_rejects_another():
    kept = judge_reading(9.9, 10, tolerance=0.25, unit="kOhm")
    rejected = judge_reading(9.9, 5, tolerance=0.25, unit="kOhm")
    unknown = judge_reading(9.9, tolerance=0.25, unit="kOhm")
    assert [v.verdict for v in (kept, rejected, unknown)] == ["keep", "reject", "no verdict"]
    assert (kept.low_limit, kept.high_limit) == (7.5, 12.5)
    assert rejected.text == (
        "Reject it: it reads 9.9 kOhm, 3.75 to 6.25 kOhm is allowed for this part. The maker's "
        "manual stands above this."
    )
    assert "record the marking" in unknown.text
    assert judge_reading(5.02, 5, tolerance=0.25).verdict == "keep"


@pytest.mark.parametrize(
    ("value", "verdict"), [(3.74, "reject"), (3.75, "keep"), (6.25, "keep"), (6.26, "reject")]
)
def test_the_ends_of_the_tolerance_are_allowed(value, verdict):
    assert judge_reading(value, 5, tolerance=0.25).verdict == verdict


def test_the_parts_own_limits_stand_above_its_tolerance_one_by_one():
    assert judge_reading(7.0, 5, tolerance=0.25, high_limit=8.0).verdict == "keep"
    assert judge_reading(3.0, 5, tolerance=0.25, high_limit=8.0).verdict == "reject"
    assert judge_reading(7.0, high_limit=8.0).verdict == "keep"
    assert judge_reading(0.5, low_limit=0.6, high_limit=0.9).verdict == "reject"
    assert "at most 8" in judge_reading(9.0, high_limit=8.0).text


def test_over_range_says_something_only_where_the_range_reaches_the_limit():
    assert judge_reading(20, 5, tolerance=0.25, over_range=True).verdict == "reject"
    short = judge_reading(2, 5, tolerance=0.25, over_range=True, unit="kOhm")
    assert short.verdict == "no verdict"
    assert "take a wider range" in short.text
    assert judge_reading(None, 5, tolerance=0.25, over_range=True).verdict == "reject"
    assert judge_reading(None, over_range=True).verdict == "no verdict"
    # insulation: the more the better
    assert judge_reading(200, low_limit=1, over_range=True, unit="MOhm").verdict == "keep"


def test_without_a_limit_or_a_reading_there_is_no_verdict():
    assert "no limit of this part" in judge_reading(5.0, 5).text
    assert judge_reading(math.nan, 5, tolerance=0.25).verdict == "no verdict"
    assert judge_reading(5.0, math.nan, tolerance=0.25).verdict == "no verdict"
    assert judge_reading(5.0, 5, tolerance=0.25).table["verdict"].tolist() == ["keep"]


def test_impossible_limits_are_refused():
    with pytest.raises(DecisionError, match="tolerance of 25"):
        judge_reading(5.0, 5, tolerance=25)
    with pytest.raises(DecisionError, match="lies above"):
        judge_reading(5.0, low_limit=8, high_limit=6)


def test_readings_are_judged_by_the_catalogue_of_the_part_that_was_read():
    readings = as_table(
        "readings",
        pd.DataFrame(
            {
                "line_id": list("abcdefg"), "unit_id": "U1", "component": "ignition cap",
                "quantity": "resistance end to end", "moment": "as found", "reading_number": 1,
                "read_on": pd.Timestamp("2026-03-02"),
                "value": [9.9, 9.9, 9.9, 9.9, 20.0, 5.1, 9.9],
                "unit": "kOhm", "over_range": [False] * 4 + [True, False, False],
                "part_number": ["CAP-10", "CAP-5", None, "CAP-X", "CAP-5", "CAP-OHM", "CAP-MM"],
            }
        ),
    )  # fmt: skip
    catalogue = as_table(
        "catalogue",
        pd.DataFrame(
            {
                "part_number": ["CAP-10", "CAP-5", "CAP-X", "CAP-OHM", "CAP-MM"],
                "component": "ignition cap", "nominal": [10.0, 5.0, None, 5000.0, 5.0],
                "unit": ["kOhm", "kOhm", None, "Ohm", "mm"],
            }
        ),
    )  # fmt: skip
    found = judge_readings(readings, catalogue, shipped_components())
    by_line = found.set_index("line_id")["verdict"].to_dict()
    assert by_line == {
        "a": "keep", "b": "reject", "c": "no verdict", "d": "no verdict", "e": "reject",
        "f": "keep", "g": "no verdict",
    }  # fmt: skip
    told = found.set_index("line_id")
    assert "record the marking" in told.loc["c", "text"]
    assert told.loc["f", "high_limit"] == pytest.approx(6.25)
    assert judge_readings(readings.iloc[:0], catalogue, shipped_components()).empty
    # the shop's own limit in the catalogue stands above the tolerance of the list
    own = catalogue.assign(high_limit=catalogue["nominal"] * 2)
    again = judge_readings(readings, own, shipped_components()).set_index("line_id")
    assert again.loc["b", "verdict"] == "keep"
