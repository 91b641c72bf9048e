"""The simulation of lives in service against closed forms and exact renewal."""

import numpy as np
import pytest
from scipy.special import gammaincc, gammainccinv
from scipy.stats import kstest, poisson, weibull_min

from dutylife.decisions.equilibrium import residual_of_unknown_age
from dutylife.stock.renewals import LifeArrays, simulate

N = 4000


def lives(age, *, seen=0.0, n=1, planned=np.inf, days_per_unit=1.0, simulations=N):
    return LifeArrays(
        age=np.full(n, age), seen=np.full(n, seen), days_per_unit=np.full(n, days_per_unit),
        present=np.ones((n, simulations), dtype=bool), planned_age=np.full(n, planned),
    )  # fmt: skip


def run(given, shape, scale, horizon, rate=0.0, seed=11, simulations=N):
    return simulate(
        given, np.full(simulations, shape), np.full(simulations, scale),
        np.full(simulations, rate), horizon, np.random.default_rng(seed),
    )  # fmt: skip


def counts(found, simulations=N):
    return np.bincount(found.simulation, minlength=simulations)


@pytest.mark.parametrize("age", [0.0, 70.0, np.nan])
def test_constant_risk_is_a_poisson_process_whatever_the_age(age):
    found = run(lives(age, n=10, seen=40.0), 1.0, 100.0, 60.0)
    total = counts(found)
    mean = 10 * 60 / 100
    assert total.mean() == pytest.approx(mean, abs=4 * np.sqrt(mean / N))
    assert total.var() == pytest.approx(mean, rel=0.12)
    for level in (0.5, 0.8, 0.95):
        quantile = np.quantile(total, level, method="inverted_cdf")
        assert abs(quantile - poisson(mean).ppf(level)) <= 1
    assert not found.planned.any()


@pytest.mark.parametrize(("shape", "age"), [(2.5, 0.0), (2.5, 300.0), (0.8, 300.0)])
def test_first_failure_of_a_part_of_known_age(shape, age):
    found = run(lives(age), shape, 400.0, 120.0)
    fails = (counts(found) > 0).mean()
    law = weibull_min(shape, scale=400.0)
    exact = 1 - law.sf(age + 120.0) / law.sf(age)
    assert fails == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / N))


def test_renewals_match_the_exact_renewal_function():
    # Erlang-like check by the renewal equation m = F + m * f on a fine grid, shape 2, new part
    step, horizon = 0.25, 250.0
    grid = np.arange(step, horizon + step, step)
    law = weibull_min(2.0, scale=100.0)
    cumulative, mass = law.cdf(grid), np.diff(law.cdf(np.concatenate([[0.0], grid])))
    expected = np.zeros(len(grid))
    for i in range(len(grid)):
        before = expected[i - np.arange(1, i + 1)] if i else np.empty(0)
        expected[i] = cumulative[i] + (before * mass[:i]).sum()
    found = run(lives(0.0), 2.0, 100.0, horizon)
    assert counts(found).mean() == pytest.approx(expected[-1], abs=0.04)


@pytest.mark.parametrize("seen", [0.0, 150.0, 900.0])
@pytest.mark.parametrize("shape", [0.7, 1.0, 2.5])
def test_a_part_of_unknown_age_has_the_equilibrium_life_beyond_what_was_seen(shape, seen):
    random = np.random.default_rng(5)
    n = 4000
    left = residual_of_unknown_age(
        np.full(n, shape), np.full(n, 400.0), np.full(n, seen), 1 - random.random(n)
    )
    # the law by plain summing of the survival beyond what was seen
    ages = np.linspace(0, 40_000, 400_001)
    lived = np.concatenate([[0.0], np.cumsum(np.exp(-(((seen + ages[1:]) / 400) ** shape)))])
    assert kstest(left, lambda x: np.interp(x, ages, lived / lived[-1])).pvalue > 0.001
    assert (left >= 0).all()


def test_the_table_matches_the_functions_it_stands_for():
    random = np.random.default_rng(2)
    n = 3000
    k = np.exp(random.uniform(np.log(0.2), np.log(20.0), n))
    seen = random.uniform(0, 1.2, n)
    share = 1 - random.random(n)
    tail = share * gammaincc(1 / k, seen**k)
    exact = gammainccinv(1 / k, tail) ** (1 / k) - seen
    found = residual_of_unknown_age(k, np.ones(n), seen, share)
    assert found == pytest.approx(exact, rel=2e-3, abs=5e-4)


def test_years_without_a_failure_leave_a_finite_life():
    left = residual_of_unknown_age(
        np.array([3.0, 3.0]), np.array([100.0, 100.0]), np.array([900.0, 1e5]), np.array([0.5, 0.5])
    )
    assert np.isfinite(left).all()
    assert (left >= 0).all()


def test_planned_age_replaces_on_the_day_and_renews():
    found = run(lives(10.0, planned=50.0), 30.0, 1e6, 200.0)
    assert found.planned.all()
    assert sorted(set(found.day.round(6))) == [40.0, 90.0, 140.0, 190.0]


def test_overdue_parts_are_caught_up_over_the_first_month():
    found = run(lives(80.0, planned=50.0), 30.0, 1e6, 45.0)
    assert (counts(found) == 1).all()
    assert found.day.max() <= 30.0
    assert found.day.mean() == pytest.approx(15.0, abs=1.0)


def test_planned_rate_competes_with_failure():
    found = run(lives(0.0, n=5), 1.0, 200.0, 100.0, rate=1 / 100)
    assert found.planned.sum() / N == pytest.approx(5.0, rel=0.05)
    assert (~found.planned).sum() / N == pytest.approx(2.5, rel=0.07)


def test_machines_out_of_service_ask_for_nothing():
    given = lives(0.0, n=2)
    present = given.present.copy()
    present[0] = False
    found = simulate(
        LifeArrays(age=given.age, seen=given.seen, days_per_unit=given.days_per_unit,
                   present=present, planned_age=given.planned_age),
        np.full(N, 1.0), np.full(N, 20.0), np.zeros(N), 60.0, np.random.default_rng(1),
    )  # fmt: skip
    assert set(found.life) == {1}


def test_use_turns_meter_units_into_days():
    slow = counts(run(lives(0.0, days_per_unit=2.0), 1.0, 50.0, 200.0)).mean()
    assert slow == pytest.approx(2.0, rel=0.06)
