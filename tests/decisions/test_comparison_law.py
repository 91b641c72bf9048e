"""The simulated year holds renewal theory: published renewal functions, long-run cost rates."""

import math

import made_standing as made
import numpy as np
import pytest
from scipy import integrate, stats

from dutylife.decisions import share_failing_before_look
from dutylife.decisions.comparison.policies import Look, Policy, Spacing
from dutylife.decisions.comparison.ranges import expected_by_law, figure_of
from dutylife.decisions.comparison.renewals import Away
from dutylife.decisions.comparison.streams import keys_of, law_of_each_group, uniforms
from dutylife.decisions.comparison.year import Size


@pytest.mark.parametrize(
    ("shape", "over_mean", "published"),
    # Soland, "Renewal functions for gamma and Weibull distributions with increasing hazard rate",
    # AD0675424 (1968): tables scaled to mean one
    [(2, 1, 0.6240699014), (2, 2, 1.637898594), (3, 1, 0.5310462062)],
)
def test_failures_of_new_parts_are_the_published_renewal_function(shape, over_mean, published):
    fleet = made.standing(shape, 100.0, n=400)
    days = over_mean * 100.0 * math.gamma(1 + 1 / shape)
    found = made.year(fleet, days=days, size=Size(n_groups=200, per_group=1))
    error = 3.5 / math.sqrt(400 * 200)  # the count of one part has a deviation below 1
    assert made.mean(found, "failures") == pytest.approx(published, abs=error)


@pytest.mark.parametrize("age", [30.0, 60.0, 120.0])
def test_the_long_run_cost_is_that_of_age_replacement(age):
    """Barlow and Proschan (1965): (c_p S(T) + c_f F(T)) / integral of S from 0 to T."""
    law = stats.weibull_min(2.5, scale=100.0)
    lived, _ = integrate.quad(law.sf, 0, age)
    rate = (1.0 * law.sf(age) + 5.0 * law.cdf(age)) / lived
    days = 400 * lived
    found = made.year(made.standing(2.5, 100.0), Policy(change_at=Spacing(days=age)), days)
    assert made.mean(found, "contractor") / days == pytest.approx(rate, rel=0.01)
    assert made.mean(found, "failures") / days == pytest.approx(law.cdf(age) / lived, rel=0.02)
    assert made.mean(found, "parts") / days == pytest.approx(1 / lived, rel=0.01)


@pytest.mark.parametrize("seen", [0.0, 70.0])
def test_parts_of_unknown_age_fail_at_the_steady_rate(seen):
    """A stationary renewal process has time / mean life renewals in any span from its start."""
    fleet = made.standing(2.0, 100.0, n=400, age=np.nan, seen=seen)
    found = made.year(fleet, days=60.0, size=Size(n_groups=200, per_group=1))
    steady = 60.0 / (100.0 * math.gamma(1.5))
    if seen == 0.0:
        assert made.mean(found, "failures") == pytest.approx(steady, rel=0.02)
    else:  # having been seen to work so long, they are older than the steady mix
        assert made.mean(found, "failures") > 1.05 * steady


def test_known_age_changes_the_first_failure_as_the_law_says():
    law = stats.weibull_min(3.0, scale=100.0)
    fleet = made.standing(3.0, 100.0, n=400, age=80.0)
    found = made.year(fleet, days=15.0, size=Size(n_groups=200, per_group=1))
    first = 1 - law.sf(95.0) / law.sf(80.0)
    assert made.mean(found, "failures") == pytest.approx(first, rel=0.03)


@pytest.mark.parametrize(("spacing", "warning"), [(10.0, 20.0), (40.0, 20.0)])
def test_looks_find_the_share_of_defects_the_delay_time_model_says(spacing, warning):
    look = Look(
        task="inspect", spacing=Spacing(days=spacing), warning=Spacing(days=warning),
        own_visit=True, can_hurt=False,
    )  # fmt: skip
    # long lives of a steady rate: defects arise evenly between looks
    fleet = made.standing(1.0, 2000.0, n=200, age=0.0, looked=0.0)
    found = made.year(fleet, Policy(looks=(look,)), 8000.0)
    failed = made.mean(found, "failures") / made.mean(found, "parts")
    (share,) = share_failing_before_look([spacing], warning)
    assert failed == pytest.approx(share, abs=0.015)


def test_overdue_parts_are_changed_within_the_first_month_and_once():
    found = made.year(
        made.standing(4.0, 10_000.0, age=500.0), Policy(change_at=Spacing(days=400.0)), 31.0
    )
    assert made.mean(found, "parts") == pytest.approx(1.0, abs=0.01)
    assert made.mean(found, "visits") == pytest.approx(made.mean(found, "parts"), abs=1e-9)


def test_changes_at_the_rate_seen_come_at_that_rate():
    found = made.year(
        made.standing(1.0, 1e7, n=400), Policy(seen=(5000.0, 1_000_000.0)),
        size=Size(n_groups=200, per_group=1),
    )  # fmt: skip
    assert made.mean(found, "parts") == pytest.approx(0.005 * 365.25, rel=0.02)


def test_work_waits_for_who_is_away():
    """Away 50 days at a stretch: an age of 80 days is met at 50, one of 30 days at 50 too."""
    fleet = made.standing(4.0, 1e6, n=50)
    away = Away(days=50.0, phase=np.zeros(50))
    for age, met in ((80.0, 50.0), (30.0, 50.0), (120.0, 100.0)):
        found = made.year(fleet, Policy(change_at=Spacing(days=age)), 1000.5, away=away)
        assert made.mean(found, "parts") == pytest.approx(1000.0 / met, abs=0.01)


def test_the_stream_is_the_published_generator():
    """SplitMix64 from seed 1234567; values from memory of a public worked example."""
    key = np.array([1234567], dtype=np.uint64)
    first = uniforms(key, np.arange(3), 0)
    known = [6457827717110365317, 3203168211198807973, 9817491932198370423]
    assert first == pytest.approx([k / 2**64 for k in known], rel=1e-12)


def test_streams_are_even_and_unlike_each_other():
    keys = keys_of([f"u{i}" for i in range(300)], 5, "part")
    draws = uniforms(keys[:, None], np.arange(300)[None, :], 2)
    assert stats.kstest(draws.ravel(), "uniform").pvalue > 0.001
    again = uniforms(keys[:, None], np.arange(300)[None, :], 3)
    assert abs(np.corrcoef(draws.ravel(), again.ravel())[0, 1]) < 0.015
    assert abs(np.corrcoef(draws[:-1].ravel(), draws[1:].ravel())[0, 1]) < 0.015


def test_every_draw_of_the_law_is_taken_by_its_weight():
    taken = law_of_each_group(np.array([1.0, 2.0, 5.0]), 64, 3)
    assert np.bincount(taken).tolist() == [8, 16, 40]


def test_the_range_of_the_expectation_leaves_chance_out():
    """Group means 10 + N(0, 2) by the laws, single years with a deviation of 8 more."""
    rng = np.random.default_rng(1)
    size = Size(n_groups=4000, per_group=4)
    total = np.repeat(10 + 2 * rng.standard_normal(4000), 4) + 8 * rng.standard_normal(16000)
    assert expected_by_law(total, size).std() == pytest.approx(2.0, rel=0.15)
    found = figure_of(total, size, 0.9)
    assert found.upper - found.lower == pytest.approx(2 * 1.645 * 2, rel=0.15)
    assert found.year_upper - found.year_lower == pytest.approx(2 * 1.645 * 8.25, rel=0.1)


def test_a_figure_of_chance_alone_is_not_said_exactly():
    """Nothing is unknown of the laws: the range is what so few simulations leave open."""
    rng = np.random.default_rng(2)
    size = Size(n_groups=64, per_group=4)
    held = 0
    for _ in range(200):
        found = figure_of(5 + 3 * rng.standard_normal(256), size, 0.9)
        assert found.upper > found.lower
        held += found.lower <= 5 <= found.upper
    assert held > 180


def test_visits_are_grouped_as_a_plain_loop_groups_them():
    from dutylife.decisions.comparison.visiting import in_order, planned_visits
    from dutylife.decisions.visits.jobs import GROUP_DAYS

    rng = np.random.default_rng(4)
    at = rng.integers(0, 40, 600)
    day, planned = rng.uniform(0, 365, 600), rng.random(600) < 0.7
    ours = planned_visits(in_order(at, day, planned), (4, 10)).ravel()
    for place in range(40):
        mine = sorted(zip(day[at == place], planned[at == place], strict=True))
        visits, until = 0, -1.0
        for when, is_planned in mine:
            if when > until:
                visits, until = visits + is_planned, when + GROUP_DAYS
        assert ours[place] == visits
