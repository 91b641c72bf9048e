"""Failure finding, imperfect looks and joint intervals: brute force and simulation."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad

from dutylife.decisions import (
    failure_finding_interval,
    inspection_interval,
    joint_intervals,
    known_life,
    share_failing_before_look,
)
from dutylife.errors import DecisionError


@pytest.mark.parametrize(("devices", "needed"), [(1, 1), (2, 1), (3, 1), (3, 2), (4, 2)])
def test_availability_of_devices_by_integration(devices, needed):
    found = failure_finding_interval(0.99, 50.0, n_devices=devices, n_needed=needed, exact=True)

    def works(t):
        return stats.binom.sf(needed - 1, devices, math.exp(-t / 50))

    mean = quad(works, 0, found.interval)[0] / found.interval
    assert mean == pytest.approx(0.99, rel=1e-9)
    assert found.availability == pytest.approx(0.99, rel=1e-9)


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 4), st.floats(1e-6, 1e-4))
def test_first_order_nears_the_exact_answer(devices, lost):
    goal = {"unavailability": lost, "mean_time_to_fail": 8.0, "n_devices": devices}
    first = failure_finding_interval(**goal)
    exact = failure_finding_interval(**goal, exact=True)
    # parallel devices, from memory: T = M ((n + 1) U) ** (1 / n)
    assert first.interval == pytest.approx(8 * ((devices + 1) * lost) ** (1 / devices))
    assert exact.interval == pytest.approx(first.interval, rel=0.5 * first.share + 1e-6)


def test_simulated_detectors_are_ready_as_often_as_wanted():
    random = np.random.default_rng(2)
    law = stats.weibull_min(2, scale=10)
    found = failure_finding_interval(0.9, life=law)
    lives = law.rvs(200_000, random_state=random)
    ready = np.minimum(lives, found.interval).mean() / found.interval
    assert ready == pytest.approx(0.9, abs=0.002)


def test_least_cost_of_testing_by_a_scan():
    given_ = dict(
        mean_time_to_fail=10.0, mean_time_between_demands=40.0, test_cost=3.0,
        multiple_failure_cost=9000.0,
    )  # fmt: skip
    exact = failure_finding_interval(**given_, exact=True)
    scan = np.linspace(0.05, 2, 4000)
    lost = 1 - (1 - np.exp(-scan / 10)) / (scan / 10)
    cost = 3 / scan + 9000 / 40 * lost
    assert exact.interval == pytest.approx(scan[int(np.argmin(cost))], abs=1e-3)
    assert failure_finding_interval(**given_).interval == pytest.approx(
        math.sqrt(2 * 10 * 40 * 3 / 9000)
    )


def test_tests_that_take_time_have_a_best_spacing():
    # Jardine & Tsang, chapter 3, from memory: up / (spacing + test + repair x failed share)
    best = failure_finding_interval(mean_time_to_fail=10, test_time=0.01, repair_time=0.2)
    scan = np.linspace(0.05, 3, 6000)
    up = 10 * (1 - np.exp(-scan / 10)) / (scan + 0.01 + 0.2 * (1 - np.exp(-scan / 10)))
    assert best.availability == pytest.approx(up.max(), rel=1e-7)
    assert best.interval == pytest.approx(scan[int(np.argmax(up))], abs=2e-3)
    with pytest.raises(DecisionError, match="No spacing reaches"):
        failure_finding_interval(0.99, 10, test_time=0.01, repair_time=0.2)


@pytest.mark.parametrize("detection", [1.0, 0.6, 0.15])
def test_simulated_looks_that_miss(detection):
    random = np.random.default_rng(4)
    n, spacing = 200_000, 12.0
    delay = stats.weibull_min(1.7, scale=25)
    until_look = random.uniform(0, spacing, n)
    looks = random.geometric(detection, n)
    found_after = until_look + spacing * (looks - 1)
    simulated = (delay.rvs(n, random_state=random) < found_after).mean()
    share = share_failing_before_look(spacing, delay, detection=detection)
    assert share[0] == pytest.approx(simulated, abs=0.004)
    # the closed form of exponential delays is the same integral
    one = share_failing_before_look([3, spacing, 90], 25, detection=detection)
    other = share_failing_before_look([3, spacing, 90], stats.expon(scale=25), detection=detection)
    assert one == pytest.approx(other, rel=1e-9)


def test_looks_that_miss_never_do_better():
    costs = {"look_cost": 3.0, "failure_cost": 200.0, "planned_cost": 20.0}
    rates = [inspection_interval(0.01, 40, detection=r, **costs).rate for r in (1.0, 0.8, 0.5, 0.2)]
    assert rates == sorted(rates)
    by_law = inspection_interval(0.01, known_life("exponential", mean=40), detection=0.5, **costs)
    assert by_law.rate == pytest.approx(rates[2], rel=1e-6)


def test_joint_intervals_match_brute_force():
    random = np.random.default_rng(9)
    for _ in range(6):
        own = random.uniform(0.5, 40, 3)
        rate = 10.0 ** random.uniform(0, 3, 3)
        shared = random.uniform(0, 60)
        least = min(
            2 * math.sqrt((shared + (own / k).sum()) * (rate * k / 2).sum())
            for k in map(np.array, itertools.product(range(1, 41), repeat=3))
            if k.min() == 1
        )
        found = joint_intervals(own, shared_cost=shared, demand_rate=rate, holding_cost=1.0)
        assert found.cost_rate <= least * (1 + 1e-9)
        by_hand = shared / found.base_interval + sum(
            a / t + d * t / 2 for a, d, t in zip(own, rate, found.intervals, strict=True)
        )
        assert found.cost_rate == pytest.approx(by_hand)
        twos = joint_intervals(own, shared_cost=shared, demand_rate=rate, multiples="power of two")
        same = joint_intervals(own, shared_cost=shared, demand_rate=rate, multiples="equal")
        assert found.lower_bound <= found.cost_rate * (1 + 1e-9)
        assert found.cost_rate <= twos.cost_rate * (1 + 1e-9) <= same.cost_rate * (1 + 2e-9)
        # Roundy (1985): at most 2 % above any policy
        assert twos.ratio <= 1.0202
        assert set(twos.multiples) <= {1, 2, 4, 8, 16, 32, 64, 128}


def test_one_item_is_the_square_root_rule_and_free_items_come_along():
    one = joint_intervals([5.0], shared_cost=3.0, demand_rate=[4.0], holding_cost=0.5)
    assert one.multiples == (1,)
    assert one.base_interval == pytest.approx(math.sqrt(2 * 8 / (4 * 0.5)))
    alone = joint_intervals([5.0], shared_cost=0.0, demand_rate=[4.0])
    assert alone.multiples == (1,)
    assert alone.ratio == pytest.approx(1)
    free = joint_intervals([0.0, 5.0], shared_cost=10, demand_rate=[3, 4])
    assert free.multiples == (1, 1)
    assert free.base_interval == pytest.approx(math.sqrt(15 / 3.5))


@settings(max_examples=60, deadline=None)
@given(st.floats(0.02, 60))
def test_a_held_base_rounds_to_the_nearer_power_of_two(best):
    # own best interval `best`: own = best ** 2 x rise; Roundy (1985): never above 6 %
    found = joint_intervals(
        [best**2], shared_cost=0.0, demand_rate=[2.0], multiples="power of two", base_interval=1.0
    )
    assert math.log2(found.intervals[0]) == pytest.approx(round(math.log2(found.intervals[0])))
    assert (
        best / math.sqrt(2) * (1 - 1e-9) <= found.intervals[0] <= best * math.sqrt(2) * (1 + 1e-9)
    )
    assert found.ratio <= 1.0607


def test_the_lower_bound_by_a_fine_relaxation():
    # any intervals not below the joint one: the bound's own definition, by a scan over it
    own, rise, shared = np.array([3.0, 20, 1]), np.array([8.0, 0.3, 2]), 7.0
    joint = np.geomspace(0.05, 20, 20_000)
    each = np.maximum(np.sqrt(own / rise), joint[:, None])
    cost = shared / joint + (own / each + rise * each).sum(axis=1)
    found = joint_intervals(own, shared_cost=shared, demand_rate=2 * rise)
    assert found.lower_bound == pytest.approx(cost.min(), rel=1e-6)


def test_joint_intervals_of_curves_agree_with_the_closed_form():
    own, rate = np.array([10.0, 20.0]), np.array([100.0, 5.0])
    closed = joint_intervals(own, shared_cost=50, demand_rate=rate)
    curves = [lambda t, a=a, d=d: a / t + d * t / 2 for a, d in zip(own, rate, strict=True)]
    found = joint_intervals(shared_cost=50, cost_rates=curves, longest=8.0)
    assert found.multiples == closed.multiples
    assert found.base_interval == pytest.approx(closed.base_interval, rel=1e-4)
    assert found.cost_rate == pytest.approx(closed.cost_rate, rel=1e-7)
    assert found.table["multiple"].tolist() == [1, 3]


def test_what_cannot_be_is_refused():
    for call, named in (
        (lambda: failure_finding_interval(), "mean_time_to_fail"),
        (lambda: failure_finding_interval(1.0, 10), "between 0 and 1"),
        (lambda: failure_finding_interval(0.9, 10, unavailability=0.1), "More than one"),
        (lambda: failure_finding_interval(mean_time_to_fail=10), "no goal"),
        (
            lambda: failure_finding_interval(
                mean_time_to_fail=10, mean_time_between_multiple_failures=100
            ),
            "mean_time_between_demands",
        ),
        (lambda: failure_finding_interval(0.9, 10, n_devices=1, n_needed=2), "n_devices"),
        (lambda: failure_finding_interval(mean_time_to_fail=10, test_cost=1), "three"),
        (lambda: share_failing_before_look(1, 2, detection=0), "detection"),
        (lambda: joint_intervals([1], shared_cost=1), "demand_rate"),
        (lambda: joint_intervals([1], shared_cost=-1, demand_rate=[1]), "shared_cost"),
        (lambda: joint_intervals([1, 2], shared_cost=1, demand_rate=[1]), "Lengths"),
        (lambda: joint_intervals(shared_cost=1), "two ways"),
        (lambda: joint_intervals(shared_cost=1, cost_rates=[lambda t: t]), "longest"),
    ):
        with pytest.raises(DecisionError, match=named):
            call()
