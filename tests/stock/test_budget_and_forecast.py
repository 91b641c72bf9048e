"""Budgets, intermittent forecasts, rates from judgement: brute force and plain recursions."""

import itertools
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from dutylife.errors import DecisionError
from dutylife.stock import (
    allocate_budget,
    base_stock,
    demand_law,
    gamma_poisson,
    gamma_prior,
    intermittent_forecast,
)

RECORDS = st.lists(st.sampled_from([0, 0, 0, 1, 2, 5]), min_size=6, max_size=60).filter(
    lambda y: sum(d > 0 for d in y) >= 3
)


def _owed(level, mean):
    return sum((k - level) * stats.poisson.pmf(k, mean) for k in range(level, 60))


def brute(means, costs, budget, objective):
    """Best objective over every set of levels that the budget buys."""
    best = math.inf
    tails = [
        [_owed(s, m) for s in range(int(budget / c) + 1)] for m, c in zip(means, costs, strict=True)
    ]
    for levels in itertools.product(*(range(int(budget / c) + 1) for c in costs)):
        if np.dot(levels, costs) > budget + 1e-9:
            continue
        if objective == "backorders":
            value = sum(t[k] for t, k in zip(tails, levels, strict=True))
        else:
            value = -math.prod(float(p) for p in stats.poisson.cdf(levels, means))
        best = min(best, value)
    return best


@pytest.mark.parametrize("objective", ["backorders", "all ready"])
def test_the_curve_and_the_exact_choice_equal_brute_force(objective):
    means, costs = [0.6, 2.0, 1.2], [5.0, 2.0, 3.0]
    whole = allocate_budget(means, costs, 21.0, objective=objective)
    column = "backorders" if objective == "backorders" else "ready_rate"
    sign = 1 if objective == "backorders" else -1
    for row in whole.table.itertuples():
        best = brute(means, costs, row.cost, objective)
        assert sign * getattr(row, column) == pytest.approx(best, rel=1e-9)
    for budget in (4.0, 11.5, 17.0):
        exact = allocate_budget(means, costs, budget, objective=objective, method="exact")
        found = sign * getattr(exact, column)
        assert found == pytest.approx(brute(means, costs, budget, objective), rel=1e-9)
        assert exact.cost <= budget
        greedy = allocate_budget(means, costs, budget, objective=objective)
        assert sign * getattr(greedy, column) >= found - 1e-12


def test_a_table_of_parts_and_a_goal():
    table = pd.DataFrame(
        {"part_number": ["CAP-5K", "AF-12"], "unit_cost": [9.0, 14.0], "mean": [2.0, 1.0],
         "variance": [6.0, None]}
    )  # fmt: skip
    found = allocate_budget(table, backorders=0.05)
    assert found.backorders <= 0.05
    assert found.table["backorders"].iloc[-2] > 0.05
    assert (np.diff(found.table["gain_per_cost"].iloc[1:]) <= 1e-12).all()
    assert set(found.table["part"]) == {"", "CAP-5K", "AF-12"}
    by_hand = [
        base_stock(demand_law("negative binomial", mean=2, variance=6), level=found.levels[0]),
        base_stock(demand_law("poisson", mean=1), level=found.levels[1]),
    ]
    assert found.backorders == pytest.approx(sum(b.backorders for b in by_hand))
    assert found.ready_rate == pytest.approx(math.prod(b.ready_rate for b in by_hand))


def test_availability_of_machines_by_hand():
    # Sherbrooke, chapter 2, from memory
    found = allocate_budget([1.0, 4.0], [5.0, 1.0], 14.0, n_machines=10, per_machine=[1, 2])
    owed = [base_stock(demand_law("poisson", mean=m), level=s).backorders
            for m, s in zip([1.0, 4.0], found.levels, strict=True)]  # fmt: skip
    assert found.availability == pytest.approx((1 - owed[0] / 10) * (1 - owed[1] / 20) ** 2)
    assert (np.diff(found.table["availability"]) > 0).all()


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(0.05, 6), min_size=1, max_size=4), st.floats(1, 60), st.floats(0, 40))
def test_more_money_never_does_less(means, budget, more):
    costs = [1.0 + 2 * i for i in range(len(means))]
    less = allocate_budget(means, costs, budget, fill_rest=False)
    rich = allocate_budget(means, costs, budget + more, fill_rest=False)
    assert rich.backorders <= less.backorders + 1e-12
    assert less.cost <= budget + 1e-9


@settings(max_examples=40, deadline=None)
@given(RECORDS, st.floats(0.02, 1), st.floats(0.02, 1))
def test_croston_sba_and_tsb_by_their_formulas(record, alpha, beta):
    at = [t for t, d in enumerate(record) if d > 0]
    size, interval = record[at[0]], at[0] + 1
    for before, now in itertools.pairwise(at):
        size = (1 - alpha) * size + alpha * record[now]
        interval = (1 - beta) * interval + beta * (now - before)
    croston = intermittent_forecast(record, "croston", alpha=alpha, beta=beta)
    assert croston.forecast == pytest.approx(size / interval)
    sba = intermittent_forecast(record, "sba", alpha=alpha, beta=beta)
    assert sba.forecast == pytest.approx((1 - beta / 2) * size / interval)
    sbj = intermittent_forecast(record, "sbj", alpha=alpha, beta=beta)
    assert sbj.forecast == pytest.approx((1 - beta / (2 - beta)) * size / interval)
    chance = 1 / (at[0] + 1)
    for d in record[at[0] + 1 :]:
        chance = (1 - beta) * chance + beta * (d > 0)
    tsb = intermittent_forecast(record, "tsb", alpha=alpha, beta=beta)
    assert tsb.forecast == pytest.approx(size * chance)
    assert tsb.probability == pytest.approx(chance)


@settings(max_examples=25, deadline=None)
@given(RECORDS, st.integers(1, 5))
def test_no_forecast_knows_its_own_period(record, cut):
    for method in ("croston", "sba", "tsb", "exponential smoothing", "moving average", "mean",
                   "naive", "seasonal naive", "poisson", "negative binomial"):  # fmt: skip
        whole = intermittent_forecast(record, method, season=3, window=4)
        part = intermittent_forecast(record[:-cut], method, season=3, window=4)
        known = np.array(part.one_step)
        np.testing.assert_allclose(whole.one_step[: len(known)], known)
        if any(record[:-cut]):
            np.testing.assert_allclose(whole.one_step[len(known)], part.forecast)


def test_plain_methods_by_hand():
    record = [1, 0, 4, 2, 0, 3]
    assert intermittent_forecast(record, "moving average", window=3).forecast == 5 / 3
    assert intermittent_forecast(record, "mean").forecast == 10 / 6
    assert intermittent_forecast(record, "naive").forecast == 3
    seasonal = intermittent_forecast(record, "seasonal naive", season=4, horizon=6)
    assert seasonal.ahead == (4, 2, 0, 3, 4, 2)
    assert seasonal.one_step[4:] == (1, 0)
    level = 2.0
    for d in record:
        level += 0.3 * (d - level)
    smooth = intermittent_forecast(record, "exponential smoothing", alpha=0.3, starting_level=2.0)
    assert smooth.forecast == pytest.approx(level)
    assert len(smooth.table) == 7
    assert intermittent_forecast([0, 0, 0], "croston").forecast == 0


def test_the_dispersion_maximises_the_likelihood():
    random = np.random.default_rng(6)
    record = random.negative_binomial(0.8, 0.3, 400)
    found = intermittent_forecast(record, "negative binomial")
    mean = record.mean()

    def loglik(k):
        return stats.nbinom.logpmf(record, k, k / (k + mean)).sum()

    scan = np.geomspace(0.1, 10, 4000)
    assert found.dispersion == pytest.approx(
        scan[int(np.argmax([loglik(k) for k in scan]))], rel=2e-3
    )
    assert found.dispersion == pytest.approx(0.8, rel=0.35)
    law = found.law(3)
    assert law.mean == pytest.approx(3 * mean)
    assert law.sd**2 == pytest.approx(3 * (mean + mean**2 / found.dispersion))
    moments = intermittent_forecast(record, "negative binomial", fit="moments")
    assert moments.dispersion == pytest.approx(mean**2 / (record.var(ddof=1) - mean))
    even = intermittent_forecast([1, 1, 1, 1, 2], "negative binomial")
    assert even.dispersion == math.inf
    assert even.law().name == "poisson"


def test_croston_overshoots_and_sba_does_not():
    # Syntetos & Boylan (2005): Croston's forecast lies too high, about by 1 / (1 - alpha / 2)
    random = np.random.default_rng(7)
    n, alpha, p = 200_000, 0.3, 0.25
    record = np.where(random.random(n) < p, random.geometric(0.5, n), 0)
    truth = p * 2
    high = np.nanmean(intermittent_forecast(record, "croston", alpha=alpha).one_step[200:])
    fair = np.nanmean(intermittent_forecast(record, "sba", alpha=alpha).one_step[200:])
    assert high > 1.08 * truth
    assert fair == pytest.approx(truth, rel=0.05)


def test_classes_of_demand():
    records = {
        "smooth": [3, 4, 3, 0, 4, 3, 3, 4], "erratic": [1, 9, 1, 1, 12, 1, 0, 1],
        "intermittent": [0, 3, 0, 0, 3, 0, 4, 0], "lumpy": [0, 1, 0, 0, 14, 0, 1, 0],
        "without demand": [0, 0],
    }  # fmt: skip
    for name, record in records.items():
        assert intermittent_forecast(record, "mean").demand_class.name == name


def test_predictive_failures_by_simulation():
    random = np.random.default_rng(12)
    known = gamma_poisson(2.5, 900, n_failures=3, time=1400)
    assert known == gamma_poisson(2.5, 900).after(3, 1400)
    rates = random.gamma(known.shape, 1 / known.time, 200_000)
    seen = random.poisson(rates * 800)
    law = known.predictive(800)
    assert law.mean == pytest.approx(seen.mean(), rel=0.01)
    chance = np.bincount(seen, minlength=12)[:12] / len(seen)
    np.testing.assert_allclose(law.chances()[:12], chance, atol=0.004)
    assert law.sd > math.sqrt(law.mean)
    assert known.rate(0.8) == pytest.approx(np.quantile(rates, 0.8), rel=0.01)
    assert known.chance_above(600) == pytest.approx((rates < 1 / 600).mean(), abs=0.004)


def test_judgements_are_met():
    prior = gamma_prior(900, 400, likely_chance=0.6, low_chance=0.9)
    assert prior.mean_time_between(0.6) == pytest.approx(900)
    assert prior.mean_time_between(0.9) == pytest.approx(400)


def test_what_cannot_be_is_refused():
    for call, named in (
        (lambda: allocate_budget([1.0], [2.0]), "Exactly one"),
        (lambda: allocate_budget([1.0], [2.0, 3.0], 5), "unit costs"),
        (lambda: allocate_budget([1.0], None, 5), "unit_cost"),
        (lambda: allocate_budget([1.0], [0.0], 5), "positive"),
        (lambda: allocate_budget(pd.DataFrame({"mean": [1.0]}), budget=3), "unit_cost"),
        (lambda: allocate_budget([1.0], [2.0], -1), "budget"),
        (lambda: allocate_budget([1.0], [2.0], backorders=0.1, method="exact"), "budget"),
        (lambda: intermittent_forecast([]), "demand"),
        (lambda: intermittent_forecast([1, -1]), "none negative"),
        (lambda: intermittent_forecast([1, 2], "magic"), "method"),
        (lambda: intermittent_forecast([1, 2], alpha=0), "alpha"),
        (lambda: intermittent_forecast([1, 2], "tsb", starting_size=1), "starting_probability"),
        (lambda: intermittent_forecast([0, 0], "croston").law(), "no law"),
        (lambda: gamma_poisson(0, 1), "prior_shape"),
        (lambda: gamma_prior(100, 200), "low figure below"),
    ):
        with pytest.raises(DecisionError, match=named):
            call()
