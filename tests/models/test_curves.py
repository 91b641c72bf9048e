"""Product-limit curves: worked by hand, late entry, limits, what is refused."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dutylife.errors import FitError
from dutylife.models import kaplan_meier


def test_a_curve_worked_by_hand() -> None:
    curve = kaplan_meier([2, 3, 3, 5, 8], [1, 1, 0, 0, 1])
    table = curve.table
    assert table["age"].tolist() == [2, 3, 5, 8]
    assert table["at_risk"].tolist() == [5, 4, 2, 1]
    assert table["survival"].tolist() == pytest.approx([0.8, 0.6, 0.6, 0.0])
    # Greenwood: 0.8^2 x 1/(5x4), then 0.6^2 x (1/20 + 1/(4x3))
    assert table["standard_error"].tolist()[:2] == pytest.approx(
        [0.8 * np.sqrt(1 / 20), 0.6 * np.sqrt(1 / 20 + 1 / 12)]
    )
    assert table.loc[3, ["standard_error", "lower", "upper"]].isna().all()
    assert curve.survival_at([0, 1.99, 2, 4, 100]).tolist() == pytest.approx([1, 1, 0.8, 0.6, 0])


def test_limits_on_each_scale() -> None:
    ages, event = [2, 3, 5, 8, 9, 10], [1, 1, 0, 1, 0, 0]
    z = 1.959963985
    s, g = 5 / 6, np.sqrt(1 / 30)
    expected = {
        "plain": (max(s - z * s * g, 0), min(s + z * s * g, 1)),
        "log": (s * np.exp(-z * g), min(s * np.exp(z * g), 1)),
        "log-log": (s ** np.exp(z * g / -np.log(s)), s ** np.exp(-z * g / -np.log(s))),
    }
    for limits, ends in expected.items():
        row = kaplan_meier(ages, event, limits=limits).table.iloc[0]
        assert (row["lower"], row["upper"]) == pytest.approx(ends)


def test_who_enters_at_an_age_is_not_at_risk_there() -> None:
    # the second life enters at 4, the age of the first failure: one of two at risk, not of three
    table = kaplan_meier([4, 9, 7], [1, 1, 0], entry=[0, 4, 2]).table.set_index("age")
    assert table.loc[4, "at_risk"] == 2
    assert table.loc[4, "survival"] == 0.5
    assert table.loc[7, "at_risk"] == 2
    assert table.loc[9, "at_risk"] == 1


def test_an_early_gap_without_failures_does_no_harm() -> None:
    curve = kaplan_meier([1, 10, 12, 14], [0, 1, 1, 0], entry=[0, 5, 5, 5])
    assert curve.survival_at([10, 12]).tolist() == pytest.approx([2 / 3, 1 / 3])


def test_a_curve_that_falls_to_zero_early_is_refused_with_a_way_out() -> None:
    with pytest.raises(FitError, match="falls to 0") as caught:
        kaplan_meier([3, 10, 12], [1, 1, 0], entry=[0, 5, 5])
    assert "max(entry, age)" in caught.value.mend


def test_median_in_the_middle_of_a_flat_stretch_and_missing_above_a_half() -> None:
    assert kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1]).median() == 2.5
    assert kaplan_meier([1, 2, 3, 4], [1, 1, 0, 0]).median() == 2.0  # flat to the end: its begin
    curve = kaplan_meier([1, 2, 3, 4], [1, 0, 0, 0])
    assert np.isnan(curve.median())
    assert curve.text == "1 failure in 4 lives; 75 % still work at the longest age seen."


def test_weights_count_as_lives() -> None:
    whole = kaplan_meier([2, 2, 3, 5, 5], [1, 1, 0, 1, 0]).table
    weighed = kaplan_meier([2, 3, 5, 5], [1, 0, 1, 0], weights=[2, 1, 1, 1]).table
    pd.testing.assert_frame_equal(whole, weighed)
    shared = kaplan_meier([2, 2, 3], [1, 0, 0], weights=[0.7, 0.3, 1.0])
    assert shared.survival_at(2) == pytest.approx(1 - 0.7 / 2)


def test_weights_that_just_add_up_end_at_zero() -> None:
    curve = kaplan_meier([2, 2, 3], [1, 1, 1], weights=[0.1, 0.2, 0.3])
    assert curve.table["survival"].tolist() == pytest.approx([0.5, 0.0])


def test_without_censoring_it_is_the_share_still_working() -> None:
    rng = np.random.default_rng(2)
    ages = np.sort(rng.weibull(1.5, 50))
    curve = kaplan_meier(ages, np.ones(50))
    assert curve.survival_at(ages) == pytest.approx(1 - np.arange(1, 51) / 50)


def test_a_result_is_equal_to_itself_and_its_faults_are_told() -> None:
    assert kaplan_meier([1, 2], [1, 0]) == kaplan_meier([1, 2], [1, 0])
    with pytest.raises(FitError, match="limits 'exact'"):
        kaplan_meier([1, 2], [1, 0], limits="exact")
    with pytest.raises(FitError, match=r"negative age \(rows 1\)"):
        kaplan_meier([1, -2], [1, 0])


@pytest.mark.shared
@pytest.mark.parametrize(
    ("group", "ignoring", "using"), [("a452372", 182900, 171300), ("a530872", 207700, 205400)]
)
def test_bus_engines_medians(shared: Path, group: str, ignoring: float, using: float) -> None:
    """Known answers: README of the data set."""
    spells = pd.read_csv(shared / "data/bus_engine_odometer/derived/engine_spells.csv")
    rows = spells[spells["group"] == group]
    found = [
        kaplan_meier(rows["exit_miles"], rows["event"]).median(),
        kaplan_meier(rows["exit_miles"], rows["event"], entry=rows["entry_miles"]).median(),
    ]
    assert found == pytest.approx([ignoring, using], abs=50)
