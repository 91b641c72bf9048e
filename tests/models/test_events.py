"""Hazards, looks, causes and events that come again: against lifelines, known truth, bad input."""

import numpy as np
import pandas as pd
import pytest

from dutylife.errors import FitError
from dutylife.models import (
    aalen_johansen,
    mean_cumulative,
    nelson_aalen,
    power_law,
    trend_tests,
    turnbull,
)


@pytest.fixture
def lives():
    """400 lives, a third entered late, ages rounded so that some tie."""
    rng = np.random.default_rng(5)
    age = np.ceil(100 * rng.weibull(1.8, 400))
    stop = np.ceil(rng.uniform(20, 200, 400))
    entry = np.where(rng.random(400) < 0.33, np.floor(rng.uniform(0, 40, 400)), 0.0)
    cause = np.where(age <= stop, rng.integers(1, 3, 400), 0)
    frame = pd.DataFrame({"exit": np.minimum(age, stop), "cause": cause, "entry": entry})
    return frame[frame["exit"] > frame["entry"]].reset_index(drop=True)


def test_the_hazard_is_that_of_lifelines_with_late_entry(lives):
    from lifelines import NelsonAalenFitter

    ours = nelson_aalen(lives["exit"], lives["cause"] > 0, entry=lives["entry"]).table
    fitter = NelsonAalenFitter(nelson_aalen_smoothing=False)
    fitter.fit(lives["exit"], lives["cause"] > 0, entry=lives["entry"])
    theirs = fitter.cumulative_hazard_.iloc[:, 0].reindex(ours["age"])
    np.testing.assert_allclose(ours["cumulative_hazard"], theirs, rtol=1e-12)


def test_incidence_is_that_of_lifelines_and_parts_add_up(lives):
    from lifelines import AalenJohansenFitter

    whole = lives[lives["entry"] == 0]
    curves = aalen_johansen(whole["exit"], whole["cause"])
    rng = np.random.default_rng(0)  # theirs can't take ties: a hair apart, ours is given the same
    apart = whole["exit"] + rng.uniform(0, 1e-6, len(whole))
    for cause in (1, 2):
        fitter = AalenJohansenFitter(calculate_variance=False)
        fitter.fit(apart, whole["cause"], event_of_interest=cause)
        theirs = fitter.cumulative_density_.iloc[:, 0]
        ours = aalen_johansen(apart, whole["cause"]).incidence_at(cause, theirs.index)
        np.testing.assert_allclose(ours, theirs, atol=1e-12)
    table = curves.table.pivot(index="age", columns="cause", values="incidence")
    free = curves.table.drop_duplicates("age").set_index("age")["event_free"]
    np.testing.assert_allclose(table.sum(axis=1) + free, 1.0, atol=1e-12)


def test_both_variances_agree_on_many_lives(lives):
    delta = aalen_johansen(lives["exit"], lives["cause"], entry=lives["entry"]).table
    pulls = aalen_johansen(
        lives["exit"], lives["cause"], entry=lives["entry"], variance="jackknife"
    ).table
    late = delta["incidence"] > 0.1
    ratio = pulls.loc[late, "standard_error"] / delta.loc[late, "standard_error"]
    assert ratio.between(0.9, 1.1).all()


def test_looks_at_known_lives_give_back_their_law():
    """Weibull lives of shape 2, scale 100, looked at about every 30: within 2 standard errors."""
    rng = np.random.default_rng(11)
    age = 100 * rng.weibull(2.0, 3000)
    looks = np.cumsum(rng.uniform(20, 40, (3000, 8)), axis=1)
    place = (looks < age[:, None]).sum(axis=1)
    padded = np.column_stack([np.zeros(3000), looks, np.full(3000, np.inf)])
    rows = np.arange(3000)
    curve = turnbull(np.round(padded[rows, place]), np.round(padded[rows, place + 1]))
    at = np.array([50.0, 100.0, 150.0])
    table = curve.table
    found = np.array([1.0 - table.loc[table["upper"] <= a, "mass"].sum() for a in at])
    np.testing.assert_allclose(found, np.exp(-((at / 100) ** 2)), atol=0.04)


def test_exact_ages_and_survivors_give_the_product_limit_curve(lives):
    from dutylife.models import kaplan_meier

    failed = lives["cause"] > 0
    curve = turnbull(lives["exit"], np.where(failed, lives["exit"], np.inf))
    plain = kaplan_meier(lives["exit"], failed)
    at = lives.loc[failed, "exit"].unique()
    np.testing.assert_allclose(curve.survival_at(at), plain.survival_at(at), atol=1e-7)


def test_the_mean_of_events_covers_a_known_rate():
    """Steady rate of 3 a year, 40 units watched 0.5 to 2 years: 95 % range holds in 90 to 99 %."""
    rng = np.random.default_rng(3)
    held = []
    for _ in range(200):
        rows = []
        for unit in range(40):
            end = rng.uniform(0.5, 2.0)
            ages = np.sort(rng.uniform(0, end, rng.poisson(3.0 * end)))
            rows += [(unit, a, 1) for a in ages] + [(unit, end, 0)]
        table = pd.DataFrame(rows, columns=["unit", "age", "event"])
        found = mean_cumulative(table["unit"], table["age"], table["event"]).at(1.0).iloc[0]
        held.append(found["lower"] <= 3.0 <= found["upper"])
    assert 0.90 <= np.mean(held) <= 0.99


def test_a_power_law_and_its_trend_are_given_back():
    """Power 1.6 on 30 units to age 10: mean of 200 fits within 3 %, a trend seen in most."""
    rng = np.random.default_rng(8)
    powers, seen = [], []
    for _ in range(200):
        counts = rng.poisson(3.0, 30)
        unit = np.repeat(np.arange(30), counts)
        age = 10.0 * rng.random(counts.sum()) ** (1 / 1.6)
        ends = dict.fromkeys(range(30), 10.0)
        powers.append(power_law(age, unit=unit, end=ends).power_unbiased)
        seen.append(trend_tests(age, unit=unit, end=ends).p_deteriorating < 0.05)
    assert abs(np.mean(powers) / 1.6 - 1) < 0.03
    assert np.mean(seen) > 0.9


def test_a_steady_rate_is_called_a_trend_in_one_of_ten_at_most():
    rng = np.random.default_rng(9)
    found = [trend_tests(rng.uniform(0, 10, 12), end=10.0) for _ in range(400)]
    called = [min(f.p_improving, f.p_deteriorating) < 0.05 for f in found]
    assert 0.06 <= np.mean(called) <= 0.14
    assert abs(np.mean([f.laplace for f in found])) < 0.15


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (lambda: nelson_aalen([1, -2], [1, 1]), "negative age"),
        (lambda: nelson_aalen([1, 2], [1, 1], level=2), "level"),
        (lambda: nelson_aalen([5], [1], entry=[6]), "entry not below its exit"),
        (lambda: turnbull([5, 1], [2, 3]), "1 rows have an upper age below the lower"),
        (lambda: turnbull([1], [2], weights=[0]), "Every weight is 0"),
        (lambda: turnbull([], []), "No lives"),
        (lambda: aalen_johansen([1, 2], [0, 0]), "No life ended from any cause"),
        (lambda: aalen_johansen([np.nan], ["worn"]), "not finite"),
        (lambda: mean_cumulative([1, 1], [3, np.inf], [1, 0]), "1 rows have an age"),
        (lambda: mean_cumulative([1], [3], [0]), "no event"),
        (lambda: power_law([3, 4, 5], end=4), "1 failure after the end"),
        (lambda: power_law([3], end=4), "too little for a power law"),
        (lambda: trend_tests([1, 2], unit=["a", "b"], end={"a": 3}), "no end of watching"),
        (lambda: trend_tests([1, 2], end=[3, 4]), "without their units"),
    ],
)
def test_what_can_not_stand_is_refused_in_words(made, told):
    with pytest.raises(FitError, match=told):
        made()
