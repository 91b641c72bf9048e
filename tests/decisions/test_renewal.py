"""Renewal function: against laws whose sums of lives are known, simulation and recursion."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from dutylife.decisions import known_life, renewal_counts, renewal_function
from dutylife.errors import DecisionError


def summed_gamma(shape, age):
    """Renewals of a gamma life: the chances that 1, 2, 3, ... lives end by the age."""
    return sum(float(stats.gamma.cdf(age, shape * k)) for k in range(1, 400))


@pytest.mark.parametrize("shape", [0.4, 0.8, 1.0, 2.5, 9.0])
def test_gamma_lives_add_up(shape):
    ages = [0.05, 0.7, 3.0, 20.0]
    found = renewal_function(stats.gamma(shape), ages)
    expected = [summed_gamma(shape, t) for t in ages]
    assert found.expected == pytest.approx(expected, rel=1e-6, abs=1e-12)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.1, 500), st.floats(0.01, 30))
def test_constant_failing_renews_by_age_over_scale(scale, share):
    age = scale * share
    found = renewal_function(known_life("exponential", scale=scale), age)
    assert found.expected[0] == pytest.approx(share, rel=1e-8)


@pytest.mark.parametrize(
    "law",
    [
        known_life("weibull", shape=3, scale=70),
        known_life("lognormal", mean=50, sd=30),
        known_life("gamma", shape=0.7, mean=90),
        known_life("uniform", lower=20, upper=60),
        known_life("log-logistic", shape=4, scale=40),
    ],
    ids=lambda law: law.name,
)
def test_old_age_is_the_asymptote(law):
    far = 60 * law.mean
    found = renewal_function(law, [far], tolerance=1e-6)
    assert found.expected[0] == pytest.approx(found.asymptotes[0], abs=2e-3)
    assert found.asymptotes[0] == pytest.approx(
        far / law.mean + (law.sd**2 / law.mean**2 - 1) / 2, rel=1e-9
    )


def test_a_part_of_random_age_renews_evenly_from_the_start():
    law = known_life("weibull", shape=2.5, scale=100)

    def residual(age):
        return 1 - law.lived(age) / law.mean

    ages = np.array([5.0, 40.0, 170.0])
    found = renewal_function(law, ages, first_life=residual, tolerance=1e-7)
    assert found.expected == pytest.approx(ages / law.mean, rel=1e-6)


def test_simulated_renewals():
    random = np.random.default_rng(11)
    law = stats.lognorm(0.6, scale=30)
    ends = np.cumsum(law.rvs((40_000, 14), random_state=random), axis=1)
    seen = (ends <= 75).sum(axis=1)
    found = renewal_function(law, 75).expected[0]
    assert found == pytest.approx(seen.mean(), abs=4 * seen.std() / 200)
    chance = renewal_counts(law, 75)
    simulated = np.bincount(seen, minlength=len(chance))[: len(chance)] / len(seen)
    np.testing.assert_allclose(chance, simulated, atol=0.01)
    assert chance.sum() == pytest.approx(1)
    assert chance @ np.arange(len(chance)) == pytest.approx(found, rel=1e-5)


def test_chances_by_period_by_hand():
    # after 1 period 0.2; after 2 another 0.3 and a fifth of the first ones again: 0.54
    found = renewal_function([0.2, 0.3, 0.5], [0, 1, 2, 3])
    assert found.expected == pytest.approx(
        [0, 0.2, 0.54, 0.2 + 0.34 + 0.5 + 0.2 * 0.34 + 0.3 * 0.2]
    )
    assert found.mean == pytest.approx(2.3)


def test_renewals_never_fall_and_stand_between_their_bounds():
    law = known_life("weibull", shape=4, scale=10)
    ages = np.linspace(0, 40, 81)
    table = renewal_function(law, ages).table
    assert (np.diff(table["expected"]) >= -1e-12).all()
    failed = law.failed(ages)
    assert (table["expected"] >= failed - 1e-12).all()
    some = failed < 1
    most = failed[some] / (1 - failed[some])
    assert (table["expected"][some] <= most + 1e-9).all()
    assert list(table.columns) == ["age", "expected", "error", "asymptote"]


def test_known_lives_have_the_mean_and_spread_stated():
    for law in (
        known_life("gamma", mean=40, sd=15),
        known_life("lognormal", mean=40, sd=15),
        known_life("normal", mean=40, sd=15),
    ):
        assert law.mean == pytest.approx(40, rel=2e-3)  # the normal one is cut off below 0
        assert law.sd == pytest.approx(15, rel=1e-2)
    assert known_life("weibull", shape=0.5, mean=6).sd == pytest.approx(3 * math.sqrt(20), rel=1e-9)


def test_what_cannot_be_is_refused():
    law = known_life("exponential", mean=1)
    for call, named in (
        (lambda: renewal_function(law, -1), "age"),
        (lambda: renewal_function([0.5, 0.6], 1), "sum to at most 1"),
        (lambda: renewal_function([0.5, 0.5], 1.5), "whole periods"),
        (lambda: renewal_function("weibull", 1), "known_life"),
        (lambda: renewal_function(lambda t: np.where(t < 2, 1.0, 0.0), [8, 9]), "tolerance"),
        (lambda: known_life("weibull", shape=2), "scale"),
        (lambda: known_life("weibull", shape=-2, scale=1), "shape"),
        (lambda: known_life("luck", mean=1), "one of"),
        (lambda: renewal_counts(law, 0), "age"),
    ):
        with pytest.raises(DecisionError, match=named):
            call()
