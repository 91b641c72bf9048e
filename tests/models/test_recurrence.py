"""Renewals are not called a trend, trends are: by simulation, by hand, on the run's own tables."""

import itertools
import math

import numpy as np
import pandas as pd
import pytest
from made_machines import NEW_ON, as_events, in_a_row, machines, renewing, trending, units_of

from dutylife.errors import FitError
from dutylife.models import kaplan_meier, nelson_aalen, order_test, recurrence_of, trend_tests
from dutylife.models.recurrence import spans_in_a_row
from dutylife.settings import settings_from


@pytest.fixture(scope="module")
def settings():
    return settings_from(
        {"fleet": {"name": "f"}, "exports": [{"path": "x.csv"}], "duty": {"all": "d"}}
    )


def whole_lives(events: pd.DataFrame) -> tuple[pd.Series, pd.Series, pd.Series]:
    rows = events[events["event"] == "failed"].sort_values(["unit_id", "life_number"])
    return rows["unit_id"], rows["exit_days"], rows["event"] == "failed"


def test_mean_and_variance_are_those_over_all_orders():
    """Every order of each unit's lives, worked by brute force: the z of each has mean 0, sd 1."""
    units = {"a": [3.0, 9.0, 4.0], "b": [7.0, 2.0]}
    found = [
        order_test(["a"] * 3 + ["b"] * 2, [*x, *y], np.ones(5)).z
        for x in itertools.permutations(units["a"])
        for y in itertools.permutations(units["b"])
    ]
    assert np.mean(found) == pytest.approx(0.0, abs=1e-12)
    assert np.std(found) == pytest.approx(1.0)


def test_a_worked_case():
    """Two lives, 4 then 2: H is 1/2 at 2 and 3/2 at 4, so 1 - H is -1/2 then 1/2.

    Places -1/6 and 1/6: the sum is 1/6; its variance (1/18) x (1/2) / 1 = 1/36; z = 1.
    """
    found = order_test(["a", "a"], [4.0, 2.0], [1, 1])
    assert found.z == pytest.approx(1.0)
    assert found.p_value == pytest.approx(0.31731, abs=1e-5)
    assert nelson_aalen([4.0, 2.0], [1, 1]).at([2, 4]) == pytest.approx([0.5, 1.5])


def test_a_planned_change_is_no_failure():
    """Always changed at 5 once it came in: the ends are planned, so nothing trends."""
    found = order_test(["a"] * 4 + ["b"] * 4, [5, 5, 3, 5, 5, 3, 5, 5], [0, 0, 1, 0, 0, 1, 0, 0])
    assert found.n_failed == 2
    assert abs(found.z) < 1


@pytest.mark.parametrize(
    ("n_units", "shape", "mean_days"),
    [
        (30, 2.0, 250),
        (8, 2.0, 250),
        (30, 0.8, 250),
        pytest.param(100, 2.0, 500, marks=pytest.mark.slow),
    ],  # fmt: skip
)
def test_renewals_are_flagged_in_one_of_twenty_at_most(n_units, shape, mean_days):
    """600 records: 5 % and twice the error of 600 (0.0089); the plain Laplace test is fooled."""
    rng = np.random.default_rng(17)
    flagged, laplace = [], []
    for _ in range(600):
        unit, age, gap, ends = in_a_row(renewing(shape, mean_days), n_units, rng)
        flagged.append(order_test(unit, gap, np.ones(len(gap))).p_value < 0.05)
        laplace.append(trend_tests(age, unit=unit, end=ends).p_laplace < 0.05)
    print(f"renewals {n_units} x shape {shape}: order {np.mean(flagged):.3f}, "
          f"Laplace {np.mean(laplace):.3f}")  # fmt: skip
    assert np.mean(flagged) <= 0.05 + 2 * 0.0089
    if n_units == 100:
        assert np.mean(laplace) > 0.5


@pytest.mark.parametrize(("n_units", "count", "least"), [(30, 4.0, 0.85), (60, 3.0, 0.9)])
def test_failures_that_come_ever_faster_are_mostly_flagged(n_units, count, least):
    rng = np.random.default_rng(18)
    found = []
    for _ in range(300):
        unit, _, gap, _ = in_a_row(trending(1.6, count), n_units, rng)
        found.append(order_test(unit, gap, np.ones(len(gap))))
    power = np.mean([f.p_value < 0.05 and f.z > 0 for f in found])
    print(f"power 1.6, {n_units} machines with {count} failures by 1000 days: flagged {power:.3f}")
    assert power > least


def test_machines_of_unlike_laws_are_no_trend():
    """Half the machines are worked five times as hard: still renewals, each by its own law."""
    rng = np.random.default_rng(19)
    flagged = []
    for _ in range(600):
        hard, _, short, _ = in_a_row(renewing(2.0, 80), 12, rng)
        soft, _, long, _ = in_a_row(renewing(2.0, 400), 12, rng)
        gaps = np.concatenate([short, long])
        found = order_test(np.concatenate([hard, soft + 12]), gaps, np.ones(len(gaps)))
        flagged.append(found.p_value < 0.05)
    assert np.mean(flagged) <= 0.05 + 2 * 0.0089


def test_the_run_flags_the_trend_and_leaves_renewals_alone(settings):
    rng = np.random.default_rng(20)
    parts = [machines(renewing(2.0, 200), 20, rng, "drive belt", f"d{k}") for k in range(12)]
    trend = machines(trending(1.8, 6.0), 30, rng, "carburetor", "d0")
    events = as_events(*parts, trend)
    made = recurrence_of(events, units_of(events), settings)
    table = made["recurrence"].astype({"component": "object"}).set_index(["component", "duty"])
    assert table.loc[("carburetor", "d0"), "trend"] == "more often"
    assert "the life law overlooks that" in table.loc[("carburetor", "d0"), "verdict"]
    belts = table.loc["drive belt"]
    assert set(belts["trend"]) == {"renewals"}
    assert belts["verdict"].str.contains("each new part starts again").all()
    row = table.loc[("carburetor", "d0")]
    assert row["power_lower"] < 1.8 < row["power_upper"]
    assert row["n_events"] == int((trend["event"] == "failed").sum())
    # the adjusted chances, worked by the definition: least over larger ranks of n p / rank
    p = np.sort(table["p_renewal"].to_numpy())
    by_hand = np.minimum.accumulate((len(p) * p / np.arange(1, len(p) + 1))[::-1])[::-1]
    assert np.sort(table["p_adjusted"].to_numpy()) == pytest.approx(by_hand)


@pytest.mark.slow
def test_over_many_runs_of_renewals_few_have_any_flag(settings):
    """60 runs of 6 renewing duties: a run with any flag in 5 % and twice its error (0.028)."""
    rng = np.random.default_rng(21)
    any_flag = []
    for _ in range(60):
        parts = [machines(renewing(2.0, 250), 10, rng, "drive belt", f"d{k}") for k in range(6)]
        events = as_events(*parts)
        table = recurrence_of(events, units_of(events), settings)["recurrence"]
        any_flag.append(table["trend"].isin(["more often", "less often"]).any())
    assert np.mean(any_flag) <= 0.05 + 2 * 0.028


def test_mean_curves_are_those_of_the_machines(settings):
    """Two machines, failures at 100 and 300 and at 200; the second is watched to 250 only."""
    rows = machines(lambda rng, end: np.array([]), 2, np.random.default_rng(0)).iloc[:0]
    spans = [("a", 0, 100, "failed"), ("a", 100, 300, "failed"), ("a", 300, 400, "running"),
             ("b", 0, 200, "failed"), ("b", 200, 250, "running")]  # fmt: skip
    rows = pd.DataFrame(
        [
            {"unit_id": u, "component": "drive belt", "duty": "d", "life_number": n, "spell": 1,
             "installed_on": NEW_ON + pd.Timedelta(days=s),
             "ended_on": NEW_ON + pd.Timedelta(days=e),
             "entry_days": 0.0, "exit_days": e - s, "event": what, "weight": 1.0,
             "clock_source": "unknown"}
            for n, (u, s, e, what) in enumerate(spans, 1)
        ]
    )  # fmt: skip
    rows["life_number"] = rows.groupby("unit_id").cumcount() + 1
    events = as_events(rows)
    made = recurrence_of(events, units_of(events), settings)
    curve = made["recurrence_curves"].query("counted_by == 'machine age'")
    assert curve["age_days"].tolist() == [100, 200, 300]
    assert curve["mean_events"].tolist() == pytest.approx([0.5, 1.0, 2.0])
    assert curve["n_at_risk"].tolist() == [2, 2, 1]
    row = made["recurrence"].iloc[0]
    assert row["trend"] == "too few"
    assert math.isnan(row["p_renewal"])
    assert row["n_lives_in_a_row"] == 2


def test_which_lives_are_watched_whole():
    day = NEW_ON + pd.to_timedelta([0, 50, 90, 130, 170, 175, 300], unit="D")
    given = {
        # first life of unknown age; a whole one; changed before failure; a comeback; it goes on
        # elsewhere; there it runs
        "unit_id": "a", "component": "drive belt", "position": "", "duty": ["d"] * 5 + ["e"],
        "life_number": [1, 2, 3, 4, 5, 5], "spell": [1, 1, 1, 1, 1, 2],
        "installed_on": [pd.NaT, day[1], day[2], day[3], day[4], day[4]],
        "ended_on": [day[1], day[2], day[3], day[4], day[5], day[6]],
        "entry_days": [np.nan, 0, 0, 0, 0, 5], "exit_days": [np.nan, 40, 40, 40, 5, 130],
        "event": ["failed", "failed", "replaced", "failed", "lost", "running"],
        "is_comeback": [False, False, False, True, False, False], "weight": 1.0,
        "clock_source": ["unknown"] + ["meter"] * 5,
    }  # fmt: skip
    events = as_events(pd.DataFrame(given))
    rows = spans_in_a_row(events, units_of(events))
    assert rows["days"].tolist() == [40, 40, 5, 125]
    assert rows["whole"].tolist() == [True, True, False, False]
    assert rows["failed"].tolist() == [True, False, False, False]


def test_no_lives_give_empty_tables(settings):
    events = as_events(machines(renewing(2, 100), 1, np.random.default_rng(0)).iloc[:0])
    made = recurrence_of(events, units_of(events), settings)
    assert {name: len(t) for name, t in made.items()} == {"recurrence": 0, "recurrence_curves": 0}


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ((["a", "b"], [1, 2], [1, 1]), "0 lives on units with two or more"),
        ((["a", "a"], [2, 2], [1, 1]), "all alike"),
        ((["a", "a"], [1, np.nan], [1, 1]), "1 rows have a length that is missing"),
        ((["a"], [1, 2], [1, 1]), "1 units, 2 lengths"),
        ((["a", "a"], [1, 2], [1, 2]), "neither 0 nor 1"),
    ],
)
def test_what_can_not_be_tested_is_refused_in_words(given, told):
    with pytest.raises(FitError, match=told):
        order_test(*given)


def test_the_product_limit_of_whole_lives_needs_those_still_running():
    """Lives in a row leave out the running ones; a law must not stand on them."""
    events = machines(renewing(2.0, 400), 60, np.random.default_rng(3))
    every = kaplan_meier(events["exit_days"], events["event"] == "failed").median()
    _, length, failed = whole_lives(events)
    assert kaplan_meier(length, failed).median() < every
