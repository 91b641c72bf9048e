"""Conventions that published figures differ by: each variance, divisor and likelihood by hand."""

import math

import numpy as np
import pytest

from dutylife.errors import FitError
from dutylife.models import aalen_johansen, fit_law, loglik_on, mean_cumulative, nelson_aalen

# six lives of a published case (see CR-03 in tests/reference); the R package cmprsk prints
# 0.046944 and 0.077778 for it, by Aalen's formula, seen in the record of that case
TIME, CAUSE = [1, 2, 3, 4, 5, 6], [0, 1, 1, 2, 2, 0]


def test_incidence_by_aalens_variance():
    table = aalen_johansen(TIME, CAUSE, variance="aalen").table
    rows = table[table["cause"] == "2"].set_index("age")
    assert rows.loc[4.0, "standard_error"] ** 2 == pytest.approx(0.046944, abs=1e-6)
    assert rows.loc[5.0, "standard_error"] ** 2 == pytest.approx(0.077778, abs=1e-6)
    # age 4 by hand: 0.2^2 (1/16 + 1/9) for lives lost before, 0.6^2 x 2 / (9 x 2) for its own
    by_hand = 0.04 * (1 / 16 + 1 / 9) + 0.36 * 2 / 18
    assert rows.loc[4.0, "standard_error"] ** 2 == pytest.approx(by_hand)
    assert list(rows["incidence"]) == list(
        aalen_johansen(TIME, CAUSE).table.query("cause == '2'")["incidence"]
    )


def test_the_three_variances_of_an_incidence_agree_on_many_lives():
    rng = np.random.default_rng(6)
    age = np.round(100 * rng.weibull(1.5, 800)) + 1
    cause = rng.integers(0, 3, 800)
    by = {v: aalen_johansen(age, cause, variance=v).table for v in ("delta", "jackknife", "aalen")}
    late = (by["delta"]["incidence"] > 0.1) & (by["delta"]["at_risk"] > 30)
    for name in ("jackknife", "aalen"):
        ratio = by[name].loc[late, "standard_error"] / by["delta"].loc[late, "standard_error"]
        assert ratio.between(0.95, 1.05).all()


def test_hazard_by_both_variances_and_both_ways_with_ties():
    """Two of 5 fail at 1, one of 2 at 3 (one cut off at 2).

    Together: 2/5^2 + 1/2^2, binomial 2 x 3/5^3 + 1 x 1/2^3. One after another: 1/5^2 + 1/4^2 +
    1/2^2, binomial 4/5^3 + 3/4^3 + 1/2^3.
    """
    age, failed = [1, 1, 2, 3, 4], [1, 1, 0, 1, 0]
    expected = {
        ("together", "poisson"): 2 / 25 + 1 / 4,
        ("together", "binomial"): 6 / 125 + 1 / 8,
        ("one after another", "poisson"): 1 / 25 + 1 / 16 + 1 / 4,
        ("one after another", "binomial"): 4 / 125 + 3 / 64 + 1 / 8,
    }
    for (ties, variance), square in expected.items():
        curve = nelson_aalen(age, failed, ties=ties, variance=variance)
        last = curve.table.set_index("age").loc[3.0]
        assert last["standard_error"] ** 2 == pytest.approx(square)
        assert curve.variance == variance


def test_mean_events_by_each_divisor():
    """Three units watched to 10 with 1, 2 and 3 events: squares about 2 are 1, 0, 1.

    n: 2/9; n - 1: 2 / (3 x 2) = 1/3, the variance of a mean of three; poisson: 6/9.
    """
    unit = ["a", "b", "b", "c", "c", "c", "a", "b", "c"]
    age = [5, 2, 8, 1, 4, 9, 10, 10, 10]
    event = [1, 1, 1, 1, 1, 1, 0, 0, 0]
    expected = {"robust": 2 / 9, "robust n - 1": 1 / 3, "poisson": 6 / 9}
    for variance, square in expected.items():
        last = mean_cumulative(unit, age, event, variance=variance).table.iloc[-1]
        assert last["mean_events"] == pytest.approx(2.0)
        assert last["standard_error"] ** 2 == pytest.approx(square)
    counts = np.array([1, 2, 3])
    assert expected["robust n - 1"] == pytest.approx(counts.var(ddof=1) / 3)
    alone = mean_cumulative(["a", "a"], [3, 9], [1, 0], variance="robust n - 1").table
    assert math.isnan(alone["standard_error"].iloc[0])


@pytest.mark.parametrize("law", ["weibull", "lognormal", "exponential", "gamma", "log-logistic"])
def test_log_likelihood_of_ages_and_of_log_ages(law):
    """Written out with scipy: density of age, and of log age (age times as great); a survivor."""
    from scipy import stats

    age, failed = np.array([54.0, 187, 216, 240, 500]), np.array([1, 1, 1, 1, 0])
    fit = fit_law(law, age, failed)
    known = {
        "weibull": lambda p: stats.weibull_min(p["shape"], scale=p["scale"]),
        "exponential": lambda p: stats.expon(scale=p["scale"]),
        "lognormal": lambda p: stats.lognorm(p["sigma"], scale=np.exp(p["mu"])),
        "gamma": lambda p: stats.gamma(p["shape"], scale=p["scale"]),
        "log-logistic": lambda p: stats.fisk(p["shape"], scale=p["scale"]),
    }[law](fit.parameters)
    of_age = known.logpdf(age[:4]).sum() + known.logsf(500.0)
    assert fit.loglik == pytest.approx(of_age, rel=1e-6)
    assert loglik_on(fit, "age") == fit.loglik
    assert loglik_on(fit) == pytest.approx(of_age + np.log(age[:4]).sum(), rel=1e-6)


def test_log_likelihood_of_weighted_interval_and_regression_rows():
    age, failed = np.array([54.0, 187, 216, 240, 500]), np.array([1, 1, 1, 1, 0])
    weights = np.array([2.0, 1, 1, 1, 1])
    twice = fit_law("weibull", np.r_[54.0, age], np.r_[1, failed])
    assert loglik_on(fit_law("weibull", age, failed, weights=weights)) == pytest.approx(
        loglik_on(twice), rel=1e-8
    )
    # a life known between two ages has a chance, not a density: the same on both scales
    looked = fit_law("weibull", lower=[50.0, 180, 200], upper=[60.0, 190, np.inf])
    assert loglik_on(looked) == looked.loglik
    import pandas as pd

    hot = pd.DataFrame({"hot": [0, 1, 0, 1, 0]})
    fit = fit_law("weibull", age, failed, covariates=hot)
    assert loglik_on(fit) - fit.loglik == pytest.approx(np.log(age[:4]).sum())
    with pytest.raises(FitError, match="scale of 'time'"):
        loglik_on(fit, "time")


@pytest.mark.parametrize(
    "made",
    [
        lambda: nelson_aalen([1], [1], variance="robust"),
        lambda: mean_cumulative([1], [1], [1], variance="n"),
        lambda: aalen_johansen([1], [1], variance="gray"),
    ],
)
def test_a_variance_that_is_not_known_is_refused(made):
    with pytest.raises(FitError, match="variance '.*' .*not known"):
        made()
