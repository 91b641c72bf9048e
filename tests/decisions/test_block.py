"""Block replacement: against age replacement, brute scans and hand recursion."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from dutylife.decisions import (
    age_replacement,
    block_replacement,
    known_life,
    recommend_intervals,
)
from dutylife.decisions.block_draws import block_replacement_weibull
from dutylife.errors import DecisionError


@settings(max_examples=8, deadline=None)
@given(st.floats(1.3, 5), st.floats(1.5, 20))
def test_blocks_cost_at_least_as_much_as_going_by_age(shape, ratio):
    law = known_life("weibull", shape=shape, scale=100)
    by_age = age_replacement(law, planned_cost=1, failure_cost=ratio)
    block = block_replacement(law, planned_cost=1, failure_cost=ratio)
    assert block.cost_rate >= by_age.cost_rate * (1 - 1e-6)
    assert block.cost_rate <= block.cost_rate_without * (1 + 1e-9)
    assert block.cost_rate_without == pytest.approx(by_age.cost_rate_run_to_failure, rel=1e-6)


def test_the_best_spacing_matches_a_brute_scan():
    # gamma lives: renewals are sums of gamma chances
    def rate(t):
        renewals = sum(stats.gamma.cdf(t, 6 * k) for k in range(1, 60))
        return (20 + 130 * renewals) / t

    scan = np.linspace(0.5, 12, 500)
    rates = [rate(t) for t in scan]
    best = block_replacement(stats.gamma(6), planned_cost=20, failure_cost=130)
    assert best.cost_rate == pytest.approx(min(rates), rel=1e-5)
    assert best.interval == pytest.approx(scan[int(np.argmin(rates))], rel=0.02)
    flat = scan[np.array(rates) <= 1.02 * min(rates)]
    assert best.interval_lower == pytest.approx(flat[0], rel=0.05)
    assert best.interval_upper == pytest.approx(flat[-1], rel=0.05)
    assert best.failures == pytest.approx((best.cost_rate * best.interval - 20) / 130, rel=1e-6)


@pytest.mark.parametrize("between", ["replacement", "minimal repair"])
def test_constant_failing_is_left_alone(between):
    best = block_replacement(
        known_life("exponential", mean=50), planned_cost=1, failure_cost=20, between=between
    )
    assert best.interval == math.inf
    assert best.cost_rate == pytest.approx(20 / 50, rel=1e-6)
    assert "No block replacement" in best.text


@settings(max_examples=20, deadline=None)
@given(st.floats(1.2, 6), st.floats(0.05, 50))
def test_minimal_repair_in_closed_form(shape, ratio):
    # Barlow & Hunter (1960), from memory
    best = block_replacement(
        known_life("weibull", shape=shape, scale=9.0),
        planned_cost=ratio, failure_cost=1.0, between="minimal repair",
    )  # fmt: skip
    expected = 9.0 * (ratio / (shape - 1)) ** (1 / shape)
    assert best.interval == pytest.approx(expected, rel=1e-4)
    assert best.cost_rate == pytest.approx(ratio * shape / (shape - 1) / expected, rel=1e-7)


def test_a_group_shares_its_visit():
    law = known_life("weibull", shape=3, scale=100)
    alone = block_replacement(law, planned_cost=1, failure_cost=10, visit_cost=4)
    group = block_replacement(law, planned_cost=1, failure_cost=10, visit_cost=4, n_units=8)
    bare = block_replacement(law, planned_cost=1.5, failure_cost=10)
    assert group.cost_rate == pytest.approx(8 * bare.cost_rate, rel=1e-7)
    assert group.interval == pytest.approx(bare.interval, rel=1e-4)
    assert group.interval < alone.interval
    assert group.cost_rate < 8 * alone.cost_rate


def test_lamps_by_period_by_hand():
    # 1 000 lamps, chances to fail in months 1 to 4; group change 1 each, single change 4 each
    chance = [0.1, 0.2, 0.3, 0.4]
    failed = [100.0]
    failed.append(1000 * 0.2 + failed[0] * 0.1)
    failed.append(1000 * 0.3 + failed[0] * 0.2 + failed[1] * 0.1)
    failed.append(1000 * 0.4 + failed[0] * 0.3 + failed[1] * 0.2 + failed[2] * 0.1)
    by_hand = [(1000 + 4 * sum(failed[:m])) / m for m in (1, 2, 3, 4)]
    best = block_replacement(
        chance, planned_cost=1, failure_cost=4, n_units=1000, intervals=[1, 2, 3, 4]
    )
    assert best.cost_rates == pytest.approx(by_hand)
    assert best.expected_failures == pytest.approx(np.cumsum(failed))
    assert best.best_interval == 1 + int(np.argmin(by_hand))
    assert best.cost_rate_without == pytest.approx(4000 / 3.0)


def test_least_downtime_by_a_scan():
    law = known_life("weibull", shape=3, scale=100)
    best = block_replacement(law, planned_cost=1, failure_cost=8, planned_time=1)
    table = block_replacement(
        law, planned_cost=1, failure_cost=8, planned_time=1, intervals=np.linspace(5, 120, 300)
    ).table
    by_hand = (1 + 8 * table["expected_failures"]) / (table["interval"] + 1)
    assert table["cost_rate"].to_numpy() == pytest.approx(by_hand.to_numpy())
    assert best.cost_rate == pytest.approx(by_hand.min(), rel=1e-4)
    assert best.cost_rate <= by_hand.min() + 1e-12


def test_age_replacement_counts_the_time_replacing_takes():
    law = known_life("weibull", shape=2.5, scale=100)
    best = age_replacement(
        law, planned_cost=2, failure_cost=9, planned_time=2, failure_time=9, ages=[30, 60, 200]
    )
    alive = law.survival(np.array([30.0, 60, 200]))
    down = 2 * alive + 9 * (1 - alive)
    up = law.lived([30, 60, 200])
    assert best.cost_rates == pytest.approx(down / (up + down), rel=1e-9)
    assert best.cost_rate_run_to_failure == pytest.approx(9 / (law.mean + 9), rel=1e-9)
    assert best.cost_rate < min(best.cost_rates)


def test_age_replacement_in_whole_periods_by_hand():
    # fail in period 1 to 4 with 0.1, 0.2, 0.3, 0.4; lived: 1, 1.9, 2.6, 3.0 periods
    best = age_replacement([0.1, 0.2, 0.3, 0.4], planned_cost=1, failure_cost=6)
    by_hand = [(0.9 + 0.6) / 1, (0.7 + 1.8) / 1.9, (0.4 + 3.6) / 2.6, 6 / 3.0]
    assert best.cost_rates == pytest.approx(by_hand)
    assert best.interval == 2
    assert best.cost_rate_run_to_failure == pytest.approx(2.0)
    cheap = age_replacement([0.5, 0.3, 0.2], planned_cost=1, failure_cost=1.1)
    assert cheap.interval == math.inf
    with pytest.raises(DecisionError, match="sum to"):
        age_replacement([0.5, 0.3], planned_cost=1, failure_cost=2)


@pytest.mark.parametrize("sigma", [0.5, 1.5])
def test_an_early_best_age_is_found_without_a_stated_end(sigma):
    law = known_life("lognormal", mu=3, sigma=sigma)
    best = age_replacement(law, planned_cost=1, failure_cost=60)
    scan = np.geomspace(0.01, 400, 6000)
    alive = law.survival(scan)
    rates = (alive + 60 * (1 - alive)) / law.lived(scan)
    assert best.cost_rate == pytest.approx(min(rates.min(), 60 / law.mean), rel=1e-5)


def test_what_cannot_be_is_refused():
    law = known_life("weibull", shape=2, scale=1)
    for wrong in (
        {"planned_cost": 0, "failure_cost": 1},
        {"planned_cost": 1, "failure_cost": math.inf},
        {"planned_cost": 1, "failure_cost": 2, "n_units": 0},
        {"planned_cost": 1, "failure_cost": 2, "intervals": [0]},
        {"planned_cost": 1, "failure_cost": 2, "longest_interval": -1},
        {"planned_cost": 1, "failure_cost": 2, "between": "hope"},
    ):
        with pytest.raises(DecisionError):
            block_replacement(law, **wrong)
    with pytest.raises(DecisionError, match="Minimal repair"):
        block_replacement([0.5, 0.5], planned_cost=1, failure_cost=2, between="minimal repair")


@pytest.mark.parametrize("shape", [1.5, 2.0, 3.5])
def test_draws_that_agree_give_the_block_of_the_one_law(shape):
    one = block_replacement(
        known_life("weibull", shape=shape, scale=300.0), planned_cost=1.0, failure_cost=5.0
    )
    many = block_replacement_weibull(
        np.full(8, shape), np.full(8, 300.0), planned_cost=1.0, failure_cost=5.0
    )
    assert many.interval == pytest.approx(one.interval, rel=5e-3)
    assert many.cost_rate == pytest.approx(one.cost_rate, rel=1e-3)
    assert many.lower <= many.interval <= many.upper


def test_draws_without_wear_have_no_block():
    none = block_replacement_weibull([0.8, 1.0], [300.0, 300.0], planned_cost=1.0, failure_cost=5.0)
    assert np.isinf(none.interval)


def test_a_schedule_by_months_alone_gets_the_spacing_of_its_visits(make):
    def row(schedule):
        costs = {"air filter": {"planned_cost": 20.0, "failure_cost": 160.0}}
        given = {"present_schedule": {"air filter": schedule}, "costs": costs}
        fleet = make(20, settings=given)
        rows = recommend_intervals(
            fleet.life_draws, fleet.life_models, fleet.failure_events, fleet.service_lines,
            fleet.maintenance_events, fleet.unit_spans, fleet.settings,
        )["intervals"]  # fmt: skip
        return rows[(rows["component"] == "air filter") & (rows["task"] == "replace")].iloc[0]

    calendar = row({"months": 6})
    assert calendar["block_interval_days"] % 7 == pytest.approx(0)
    # parts in place are of any age at a visit: it is not the age, but near it
    assert 0.5 < calendar["block_interval_days"] / calendar["interval_days"] < 2
    assert "calendar visits" in calendar["sentence"]
    assert np.isnan(row({"hours": 200})["block_interval_days"])
    assert np.isnan(row({"hours": 200, "months": 6})["block_interval_days"])
