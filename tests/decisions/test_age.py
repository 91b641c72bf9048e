"""Age replacement: against brute force, at its edges, and what it refuses."""

import math
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from dutylife.decisions import age_replacement, age_replacement_weibull, inspection_interval
from dutylife.errors import DecisionError


def weibull_survival(age, k, eta):
    return math.exp(-((age / eta) ** k))


def brute_rate(age, shapes, scales, weights, planned, failure):
    total = 0.0
    for k, eta, w in zip(shapes, scales, weights, strict=True):
        alive = weibull_survival(age, k, eta)
        lived = quad(weibull_survival, 0, age, args=(k, eta), limit=200)[0]
        total += w * (planned * alive + failure * (1 - alive)) / lived
    return total


def test_mean_over_draws_matches_a_brute_scan():
    random = np.random.default_rng(3)
    shapes, scales = random.uniform(1.1, 3.5, 12), random.uniform(200, 600, 12)
    weights = random.dirichlet(np.ones(12))
    best = age_replacement_weibull(
        shapes, scales, weights, planned_cost=30, failure_cost=170, longest_age=900
    )
    scan = np.linspace(20, 900, 300)
    rates = [brute_rate(a, shapes, scales, weights, 30, 170) for a in scan]
    assert best.cost_rate == pytest.approx(min(rates), rel=2e-5)
    assert best.best_age == pytest.approx(scan[int(np.argmin(rates))], rel=0.02)
    for age, rate in list(zip(best.ages, best.cost_rates, strict=True))[::6]:
        assert rate == pytest.approx(brute_rate(age, shapes, scales, weights, 30, 170), rel=1e-5)
    # the stated stretch is where the brute curve lies within 2 % of its best
    flat = scan[np.array(rates) <= 1.02 * min(rates)]
    assert best.best_lower == pytest.approx(flat[0], rel=0.04)
    assert best.best_upper == pytest.approx(flat[-1], rel=0.04)


@pytest.mark.parametrize("shape", [0.4, 0.8, 1.0])
def test_no_wear_out_is_run_to_failure(shape):
    best = age_replacement_weibull(
        [shape], [100.0], planned_cost=1, failure_cost=20, longest_age=400.0
    )
    assert best.interval == math.inf
    assert best.cost_rate_run_to_failure == pytest.approx(
        20 / (100 * math.gamma(1 + 1 / shape)), rel=1e-9
    )


def test_the_longest_life_seen_is_a_limit():
    best = age_replacement_weibull(
        [2.0], [100.0], planned_cost=1.0, failure_cost=5.0, longest_age=30.0
    )
    assert best.beyond_seen
    assert best.best_age <= 30.0
    assert best.interval == math.inf


def test_probability_counts_the_draws_that_save():
    # half of the weight wears out, half does not
    best = age_replacement_weibull(
        [3.0, 0.7], [100.0, 100.0], [0.75, 0.25],
        planned_cost=1.0, failure_cost=8.0, longest_age=300.0,
    )  # fmt: skip
    assert best.probability_it_pays == pytest.approx(0.75)


@settings(max_examples=25, deadline=None)
@given(st.floats(1.2, 5.0), st.floats(1.5, 40.0), st.floats(1.05, 4.0))
def test_dearer_failures_shorten_the_interval(shape, ratio, dearer):
    def best(failure):
        return age_replacement_weibull(
            [shape], [50.0], planned_cost=1.0, failure_cost=failure, longest_age=400.0
        ).best_age

    assert best(ratio * dearer) <= best(ratio) * (1 + 1e-6)


@settings(max_examples=25, deadline=None)
@given(st.floats(1.2, 5.0), st.floats(1.5, 20.0), st.floats(0.01, 1000.0))
def test_units_of_age_and_money_only_scale(shape, ratio, factor):
    one = age_replacement_weibull(
        [shape], [50.0], planned_cost=1.0, failure_cost=ratio, longest_age=200.0
    )
    other = age_replacement_weibull(
        [shape], [50.0 * factor], planned_cost=7.0, failure_cost=7 * ratio,
        longest_age=200.0 * factor,
    )  # fmt: skip
    assert other.best_age == pytest.approx(one.best_age * factor, rel=1e-9)
    assert other.saving == pytest.approx(one.saving, rel=1e-9, abs=1e-12)


def test_general_and_weibull_routes_agree():
    draws = age_replacement_weibull(
        [1.8], [75.0], planned_cost=4.0, failure_cost=30.0, longest_age=250.0
    )
    whole = age_replacement(
        lambda t: np.exp(-((t / 75.0) ** 1.8)), planned_cost=4.0, failure_cost=30.0,
        longest_age=250.0,
    )  # fmt: skip
    assert draws.cost_rate == pytest.approx(whole.cost_rate, rel=1e-4)
    assert draws.best_age == pytest.approx(whole.interval, rel=0.01)
    assert draws.cost_rate_run_to_failure == pytest.approx(whole.cost_rate_run_to_failure)


def test_results_are_values():
    best = age_replacement(
        lambda t: np.exp(-((t / 75.0) ** 2)), planned_cost=4, failure_cost=30, longest_age=250
    )
    assert pickle.loads(pickle.dumps(best)) == best
    assert "less than waiting for failure" in best.text
    assert list(best.table) == ["age", "cost_rate"]


@pytest.mark.parametrize(
    "bad",
    [
        {"planned_cost": 10, "failure_cost": 10},
        {"planned_cost": 0, "failure_cost": 10},
        {"planned_cost": 1, "failure_cost": math.inf},
        {"planned_cost": 1, "failure_cost": 2, "longest_age": 0.0},
    ],
)
def test_costs_that_cannot_be_are_refused(bad):
    with pytest.raises(DecisionError):
        age_replacement_weibull([2.0], [9.0], **({"longest_age": 5.0} | bad))


def test_draws_that_cannot_be_are_refused():
    given = {"planned_cost": 1, "failure_cost": 2, "longest_age": 5.0}
    for shape, scale, weights in [
        ([], [], None), ([2.0], [1.0, 2.0], None), ([2.0, -1.0], [1.0, 2.0], None),
        ([2.0], [np.nan], None), ([2.0], [1.0], [0.0]),
    ]:  # fmt: skip
        with pytest.raises(DecisionError):
            age_replacement_weibull(shape, scale, weights, **given)


def test_looks_against_a_scan():
    best = inspection_interval(
        1 / 300, 60, look_cost=5, planned_cost=40, failure_cost=300, longest=200
    )
    spacing = np.linspace(1, 200, 4000)
    share = 1 - (1 - np.exp(-spacing / 60)) / (spacing / 60)
    rate = (5 + spacing / 300 * (share * 300 + (1 - share) * 40)) / spacing
    assert best.interval == pytest.approx(spacing[int(np.argmin(rate))], rel=0.01)
    assert best.rate == pytest.approx(rate.min(), rel=1e-5)
    assert best.rate_without_looking == pytest.approx(1.0)
    capped = inspection_interval(
        1 / 300, 60, look_cost=5, planned_cost=40, failure_cost=300, longest=10
    )
    assert capped.interval == 10
    assert capped.at_limit
    with pytest.raises(DecisionError, match="look_cost"):
        inspection_interval(0.1, 20, look_cost=0, failure_cost=1)
