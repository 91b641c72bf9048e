"""What a gap costs, and when a part is better changed because the machine is open."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad

from dutylife.decisions import opportunities
from dutylife.decisions.age_weibull import age_replacement_weibull
from dutylife.decisions.visits.worth import (
    interval_worth,
    law_curve,
    law_grid,
    law_worth,
    open_age,
    ride_worth,
    with_limit,
)
from dutylife.schema import as_table
from dutylife.settings import settings_from

SHAPE, SCALE, OWN, SHARE, FAILURE = 2.5, 400.0, 40.0, 25.0, 260.0
ONE = law_grid(np.array([SHAPE]), np.array([SCALE]), np.ones(1))


def curve(share=SHARE, own=OWN):
    return law_curve(ONE, own=own, share=share, failure=FAILURE)


def alive(t):
    return np.exp(-((t / SCALE) ** SHAPE))


def lived(t):
    return quad(alive, 0, t, limit=200)[0]


def test_the_long_run_cost_is_that_of_age_replacement():
    best = age_replacement_weibull(
        [SHAPE], [SCALE], planned_cost=OWN + SHARE, failure_cost=FAILURE, longest_age=4 * SCALE
    )
    assert curve().rate == pytest.approx(best.cost_rate, rel=1e-4)
    assert curve().best_age == pytest.approx(best.best_age, rel=0.04)


@pytest.mark.parametrize("gap", [30, 120, 300, 700])
@pytest.mark.parametrize("age", [0.0, 150.0, 500.0])
def test_a_gap_costs_what_is_expected_in_it(gap, age):
    c = curve()
    w = law_worth(c, age, 1.0, 801)
    now, then, time = alive(age), alive(age + gap), lived(age + gap) - lived(age)
    expected = (OWN * then + FAILURE * (now - then) - c.rate * time) / now
    assert w.first[gap] == pytest.approx(expected, abs=0.6)
    if age == 0:
        assert w.again[gap] == pytest.approx(expected, abs=0.6)


def test_a_gap_by_simulation():
    """Failures renew the part at the long-run cost rate; survivors are changed at the gap."""
    c, gap = curve(), 250
    lives = SCALE * np.random.default_rng(1).weibull(SHAPE, 400_000)
    failed = lives < gap
    cost = np.where(failed, FAILURE - c.rate * lives, OWN - c.rate * gap).mean()
    assert law_worth(c, 0.0, 1.0, 400).again[gap] == pytest.approx(cost, abs=0.5)


def test_waiting_is_never_dearer_than_any_day_it_may_wait_for():
    w = law_worth(curve(), 200.0, 1.0, 700)
    for day in (0, 100, 400):
        assert w.end_first[day] <= w.first[day:].min() + SHARE + 1e-9
        assert w.end_first[day] >= w.first.min() - 1e-9


def test_use_turns_days_into_the_parts_clock():
    slow, fast = (law_worth(curve(), 0.0, u, 400) for u in (0.5, 1.0))
    np.testing.assert_allclose(slow.again[::2][:200], fast.again[:200], atol=1e-9)


def test_draws_count_by_the_renewals_each_makes():
    """The mean over draws of the cost rate is least at the best age, as in the intervals."""
    shape, scale, weights = np.array([2.0, 3.0]), np.array([200.0, 600.0]), np.array([0.5, 0.5])
    c = law_curve(law_grid(shape, scale, weights), own=OWN, share=SHARE, failure=FAILURE)
    w = law_worth(c, 0.0, 1.0, 900)
    best = age_replacement_weibull(
        shape, scale, weights, planned_cost=OWN + SHARE, failure_cost=FAILURE, longest_age=1500.0
    )
    assert int(np.argmin(w.again + 0 * SHARE)) != 0
    full = w.again + SHARE * np.interp(np.arange(900), c.ages, c.alive)
    assert np.argmin(full) == pytest.approx(best.best_age, rel=0.06)
    assert full.min() == pytest.approx(0.0, abs=0.5)


def test_an_interval_is_kept_unless_a_visit_is_saved():
    w = interval_worth(own=10.0, share=15.0, failure=200.0, due=40.0, period=100.0, n_days=300)
    assert np.argmin(w.first) == 40
    assert np.argmin(w.again) == 100
    # a day late costs 3 failures for each interval, less what the day was worth
    assert w.again[101] - w.again[100] == pytest.approx(3 * 200 / 100 - 25 / 100)
    assert w.again[99] - w.again[100] == pytest.approx(25 / 100)
    assert w.end_again[50] == pytest.approx(w.again[100] + 15)


def test_a_ride_makes_no_visit_but_takes_one():
    w = ride_worth(due=50.0, period=90.0, ahead=30.0, n_days=200, small=0.1)
    assert (w.first[20:] < 0).all()
    assert (w.first[:20] > 0).all()
    assert not w.end_first.any()
    assert not w.end_again.any()


def test_a_limit_is_a_wall_and_what_is_past_it_is_pressing():
    w = interval_worth(own=10.0, share=15.0, failure=200.0, due=40.0, period=100.0, n_days=300)
    held = with_limit(w, due=40.0, limit=100.0, failure=200.0)
    assert np.isinf(held.first[41:]).all()
    assert np.isinf(held.again[101:]).all()
    assert np.isinf(held.end_again[101:]).all()
    assert np.isfinite(held.first[:41]).all()
    late = with_limit(w, due=-5.0, limit=100.0, failure=200.0)
    assert np.isfinite(late.first).all()
    assert late.first[30] - late.first[0] > 10 * 200


def test_the_threshold_is_where_changing_now_costs_what_waiting_costs():
    c = curve()
    past = open_age(c)
    assert 0 < past < c.best_age

    def waiting(age):
        """The least over later ages of the cost from here on, a visit's share in it."""
        later = np.linspace(age, 3 * SCALE, 1500)
        costs = [
            ((OWN + SHARE) * alive(t) + FAILURE * (alive(age) - alive(t))
             - c.rate * (lived(t) - lived(age))) / alive(age)
            for t in later
        ]  # fmt: skip
        return min(costs)

    assert waiting(past) == pytest.approx(OWN, abs=0.5)
    assert waiting(0.9 * past) < OWN - 0.5
    assert waiting(1.1 * past) > OWN + 0.5


def test_without_a_visit_to_save_the_threshold_is_the_best_age():
    assert open_age(curve(share=0.0)) == pytest.approx(curve(share=0.0).best_age, rel=0.05)
    ages = [open_age(curve(share=s)) for s in (2.0, 10.0, 40.0, 80.0)]
    assert ages == sorted(ages, reverse=True)


def test_opportunities_of_a_duty():
    intervals = pd.DataFrame(
        [{"component": "air filter", "duty": "yard", "task": "replace", "interval_hours": 200.0,
          "interval_days": 140.0, "clock": "hours", "basis": "own data", "can_hurt": ""},
         {"component": "fuel hose and clamps", "duty": "yard", "task": "replace",
          "interval_hours": None, "interval_days": 700.0, "clock": "days",
          "basis": "starting value", "can_hurt": "fire"},
         {"component": "choke", "duty": "yard", "task": "run to failure", "basis": "pooled"}]
    )  # fmt: skip
    costs = pd.DataFrame(
        [{"component": c, "duty": "yard", "task": "replace", "planned_cost": OWN,
          "failure_cost": FAILURE, "is_relative": False}
         for c in ("air filter", "fuel hose and clamps", "choke")]
    )  # fmt: skip
    draws = pd.DataFrame(
        [{"component": "air filter", "duty": "yard", "clock": "hours", "draw": 0, "weight": 1.0,
          "distribution": "weibull", "basis": "own data", "shape": SHAPE, "scale": SCALE}]
    )  # fmt: skip
    spans = pd.DataFrame(
        [{"unit_id": "A", "duty": "yard", "customer": "C", "from_date": pd.Timestamp("2026-01-01"),
          "hours_per_week": 10.0}]
    )  # fmt: skip
    found = opportunities(
        as_table("intervals", intervals.assign(n_failed=9, sentence="x")), as_table("costs", costs),
        as_table("life_draws", draws), as_table("unit_spans", spans),
        settings_from({"workshop": {"visit_cost": SHARE}}),
    )  # fmt: skip
    rows = found.astype({"component": object}).set_index("component")
    assert list(rows.index) == ["air filter", "fuel hose and clamps"]
    past = min(open_age(curve()), 200.0)
    assert rows.loc["air filter", "change_if_open_past_hours"] == pytest.approx(past)
    assert rows.loc["air filter", "change_if_open_past_days"] == pytest.approx(
        min(open_age(curve()) * 0.7, 140.0)
    )
    # only an interval is known: interval x own / (own + visit)
    assert rows.loc["fuel hose and clamps", "change_if_open_past_days"] == pytest.approx(
        700 * OWN / (OWN + SHARE)
    )
    assert np.isnan(rows.loc["fuel hose and clamps", "change_if_open_past_hours"])
