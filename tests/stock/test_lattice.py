"""Renewal counts and sums of them against closed forms and an independent fine convolution."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import binom, nbinom, poisson, weibull_min

from dutylife.stock.count_table import CountTable
from dutylife.stock.lattice import (
    RenewalLaw,
    Spans,
    after_renewal,
    first_renewal,
    pieces,
    started,
)
from dutylife.stock.part_law import (
    Batch,
    Cumulants,
    Exactly,
    Lines,
    SpanLaw,
    factorial_cumulants,
    quantiles,
)
from dutylife.stock.positions import Draws, Positions, planned_chances

SPANS = Spans(start=np.array([0, 0, 16, 77]), end=np.array([31, 184, 46, 107]), step_days=1.0)


def law_of(shape, scale, rate=0.0, planned_age=np.inf, **more):
    k = np.atleast_1d(np.asarray(shape, dtype=float))
    return RenewalLaw(
        shape=k, scale=np.broadcast_to(np.asarray(scale, dtype=float), k.shape),
        planned_rate=np.full(k.shape, rate), planned_age=np.full(k.shape, planned_age), **more,
    )  # fmt: skip


def chances(law, age, *, is_known=True, spans=SPANS):
    """By span: chance of 0, 1, 2, ... and the means of planned and unplanned pieces."""
    after = after_renewal(law, spans)
    first = first_renewal(law, np.array([[float(age)]]), spans, is_known=is_known)
    row = pieces(first, after)[0, 0]
    out = []
    for at, m in after.columns:
        own = row[at : at + m]
        out.append((np.append(1 - own.sum(), own), row[at + m], row[at + m + 1]))
    return out


def farthest(mine, other):
    n = max(len(mine), len(other))
    mine, other = (np.pad(x, (0, n - len(x))) for x in (mine, other))
    return float(np.abs(np.cumsum(mine) - np.cumsum(other)).max())


def fine_counts(shape, scale, age, days, *, per_day=8):
    """Chance of 0, 1, 2, ... failures in ``days``: plain sums on a fine grid, end to end.

    Independent of the code under test: the first life and those after it spread over steps of an
    eighth of a day, sums of lives by `numpy.convolve`.
    """
    n = int(days * per_day)
    edge = np.arange(n + 1) / per_day
    alive = np.exp(-(((age + edge) / scale) ** shape) + (age / scale) ** shape)
    new = np.exp(-((edge / scale) ** shape))
    first, life = -np.diff(alive), -np.diff(new)
    out, arrival, earlier = [alive[-1]], first, first.sum()
    for _ in range(30):
        # a sum of two spreads over two steps: half to each
        both = np.convolve(arrival, life)[:n]
        arrival = (both + np.append(0.0, both[:-1])) / 2
        out.append(earlier - arrival.sum())
        earlier = arrival.sum()
        if earlier < 1e-10:
            break
    return np.array(out)


@pytest.mark.parametrize(("age", "is_known"), [(0.0, True), (70.0, True), (40.0, False)])
def test_constant_risk_is_a_poisson_process_whatever_the_age(age, is_known):
    for (own, _, mean), s, e in zip(
        chances(law_of(1.0, 100.0), age, is_known=is_known), SPANS.start, SPANS.end, strict=True
    ):
        exact = poisson((e - s) / 100)
        assert mean == pytest.approx(exact.mean(), rel=1e-3)
        assert farthest(own, exact.pmf(np.arange(20))) < 2e-4


@pytest.mark.parametrize(("shape", "age"), [(2.5, 0.0), (2.5, 300.0), (0.8, 300.0)])
def test_first_failure_of_a_part_of_known_age(shape, age):
    own, _, _ = chances(law_of(shape, 400.0), age)[0]
    law = weibull_min(shape, scale=400.0)
    assert own[0] == pytest.approx(law.sf(age + 31) / law.sf(age), abs=2e-6)


@pytest.mark.parametrize(
    ("shape", "scale", "age"), [(2.5, 100, 40), (0.8, 60, 10), (1.5, 20, 5), (4.0, 50, 60)]
)
def test_counts_match_the_fine_convolution(shape, scale, age):
    found = chances(law_of(shape, scale), age)
    for i in (0, 1):
        assert farthest(found[i][0], fine_counts(shape, scale, age, SPANS.end[i])) < 3e-4


@pytest.mark.parametrize("seen", [0.0, 150.0, 900.0])
@pytest.mark.parametrize("shape", [0.7, 1.0, 2.5])
def test_a_part_of_unknown_age_has_the_equilibrium_life_beyond_what_was_seen(shape, seen):
    def alive(t):
        return np.exp(-((t / 400) ** shape))

    def beyond(t):
        return quad(alive, t, t + 1e6, limit=500, points=[t + 100, t + 1000, t + 10000])[0]

    own, _, _ = chances(law_of(shape, 400.0), seen, is_known=False)[1]
    assert own[0] == pytest.approx(beyond(seen + 184) / beyond(seen), abs=2e-4)


def test_years_without_a_failure_leave_finite_chances():
    for seen in (900.0, 1e5):
        own, _, mean = chances(law_of(3.0, 100.0), seen, is_known=False)[0]
        assert np.isfinite(own).all()
        assert np.isfinite(mean)


def test_later_spans_add_up_with_earlier_ones():
    spans = Spans(start=np.array([0, 31, 0]), end=np.array([31, 92, 92]), step_days=1.0)
    found = chances(
        law_of(1.7, 60.0, rate=1 / 80, leaving_rate=1 / 900, takes_failed=0.7), 25, spans=spans
    )
    for kind in (1, 2):
        assert found[0][kind] + found[1][kind] == pytest.approx(found[2][kind], rel=1e-9)
    for own, planned, failed in found:
        assert own @ np.arange(len(own)) == pytest.approx(planned + failed, rel=1e-5)


def test_planned_rate_competes_with_failure():
    own, planned, failed = chances(law_of(1.0, 200.0, rate=1 / 100), 0)[1]
    assert planned == pytest.approx(1.84, rel=1e-3)
    assert failed == pytest.approx(0.92, rel=1e-3)
    assert farthest(own, poisson(2.76).pmf(np.arange(30))) < 5e-4


def test_shares_that_take_a_part_thin_the_count():
    own, _, failed = chances(law_of(1.0, 50.0, takes_failed=0.4), 10)[1]
    assert failed == pytest.approx(184 / 50 * 0.4, rel=1e-3)
    assert farthest(own, poisson(184 / 50 * 0.4).pmf(np.arange(30))) < 5e-4


def test_planned_age_replaces_on_the_day_and_renews():
    days = Spans(start=np.array([0, 39, 89, 41]), end=np.array([200, 40, 90, 89]), step_days=1.0)
    found = chances(law_of(30.0, 1e6, planned_age=50.0), 10, spans=days)
    assert found[0][0][4] == pytest.approx(1.0, abs=1e-6)  # days 40, 90, 140, 190
    assert [round(f[1], 6) for f in found] == [4, 1, 1, 0]


def test_what_is_not_done_when_due_falls_due_again():
    days = Spans(start=np.array([0, 0, 0]), end=np.array([45, 95, 145]), step_days=1.0)
    found = chances(law_of(30.0, 1e6, planned_age=50.0, done=0.8), 10, spans=days)
    for i, (own, planned, _) in enumerate(found, start=1):
        assert planned == pytest.approx(0.8 * i, rel=1e-6)
        assert farthest(own, binom(i, 0.8).pmf(np.arange(6))) < 1e-6


def test_overdue_parts_are_caught_up_over_the_first_month():
    days = Spans(start=np.array([0, 0]), end=np.array([15, 45]), step_days=1.0)
    found = chances(law_of(30.0, 1e6, planned_age=50.0), 80, spans=days)
    assert found[0][1] == pytest.approx(0.5, abs=1e-6)
    assert found[1][0][1] == pytest.approx(1.0, abs=1e-6)


def test_machines_that_leave_stop_asking():
    _, _, failed = chances(law_of(1.0, 20.0, leaving_rate=1 / 100), 0)[1]
    assert failed == pytest.approx(5 * (1 - np.exp(-1.84)), rel=1e-3)


def test_new_machines_ask_from_their_day_on():
    law = law_of(2.0, 40.0)
    after = after_renewal(law, SPANS)
    late = started(law, after, SPANS, np.array([0, 153, 184]))[0]
    at, m = after.columns[1]
    assert late[0, at + m + 1] == pytest.approx(chances(law, 0.0)[1][2], rel=1e-9)
    one_month = chances(law, 0.0)[0]
    assert late[1, at : at + 4] == pytest.approx(one_month[0][1:5], abs=1e-9)
    assert late[2, at : at + m].sum() == pytest.approx(0.0, abs=1e-9)


def some_positions(n, rng, *, unknown=0.0):
    scale = 150.0
    per_unit = np.exp(rng.normal(-0.5, 0.4, n))
    age = rng.exponential(0.6, n) * scale * per_unit
    return Positions(
        age=age, is_known=rng.random(n) >= unknown, days_per_unit=per_unit,
        planned_age=np.full(n, np.inf),
    )  # fmt: skip


def table_of(positions, draws, **more):
    scale = draws.scale[:, None] * positions.days_per_unit
    lives = float((positions.age / scale).max())
    return CountTable(
        law_of(1.0, 1.0, **more), SPANS, (draws.shape.min(), draws.shape.max()),
        (scale.min(), scale.max()), known_lives=lives, watched_lives=lives,
    )  # fmt: skip


@pytest.mark.parametrize("n", [12, 60, 400])
@pytest.mark.parametrize("shape", [0.8, 1.6, 3.0])
def test_demand_at_fixed_parameters_within_a_thousandth_of_the_exact_convolution(shape, n):
    rng = np.random.default_rng(n)
    positions = some_positions(n, rng)
    draws = Draws(shape=np.array([shape]), scale=np.array([150.0]), weight=np.ones(1))
    table = table_of(positions, draws)
    found = table.at(positions, draws, is_known=True)
    present = rng.uniform(0.4, 1.0, n)
    for i in (0, 1):
        at, m = table.columns[i]
        own = found[..., at : at + m]
        exact = np.ones(1)
        for a, u, p in zip(positions.age, positions.days_per_unit, present, strict=True):
            one = p * fine_counts(shape, 150.0 * u, a, SPANS.end[i], per_day=4)
            one[0] += 1 - p
            exact = np.convolve(exact, one)
        terms = [
            Exactly(chances=own, present=present, times=np.ones(n), weight=np.ones(1),
                    batch=Batch()),
            Cumulants(factorial=factorial_cumulants(own, present), weight=np.ones(1),
                      batch=Batch()),
        ]  # fmt: skip
        for term in terms if n == 60 else terms[: 1 + (n > 60)]:
            law = SpanLaw(terms=[term]).chances()
            assert farthest(law, exact) < 1e-3


def test_parameters_in_doubt_are_a_mixture_common_to_all_positions():
    # two laws of constant risk: the demand of 50 positions is a mixture of two Poisson laws
    rng = np.random.default_rng(3)
    positions = some_positions(50, rng)
    draws = Draws(shape=np.ones(2), scale=np.array([100.0, 300.0]), weight=np.array([0.25, 0.75]))
    table = table_of(positions, draws)
    at, m = table.columns[0]
    own = table.at(positions, draws, is_known=True)[..., at : at + m]
    rate = (1 / positions.days_per_unit).sum() * 31
    exact = 0.25 * poisson(rate / 100).pmf(np.arange(200)) + 0.75 * poisson(rate / 300).pmf(
        np.arange(200)
    )
    law = Cumulants(
        factorial=factorial_cumulants(own, np.ones(50)), weight=draws.weight, batch=Batch()
    )
    assert farthest(SpanLaw(terms=[law]).chances(), exact) < 1e-3


def test_the_table_matches_each_position_s_own_lattice():
    rng = np.random.default_rng(8)
    positions = some_positions(60, rng, unknown=0.4)
    draws = Draws(
        shape=np.exp(rng.normal(0.8, 0.2, 16)), scale=150 * np.exp(rng.normal(0, 0.25, 16)),
        weight=np.full(16, 1 / 16),
    )  # fmt: skip
    table = table_of(positions, draws, rate=1 / 200)
    for is_known in (True, False):
        own = positions.part(positions.is_known == is_known)
        found = table.at(own, draws, is_known=is_known)
        law = law_of(
            np.repeat(draws.shape, len(own.age)),
            (draws.scale[:, None] * own.days_per_unit).ravel(), rate=1 / 200,
        )  # fmt: skip
        after = after_renewal(law, SPANS)
        age = np.tile(own.age, 16)[:, None]
        each = pieces(first_renewal(law, age, SPANS, is_known=is_known), after)
        each = each.reshape(*found.shape[:2], -1)
        for (at, m), (to, k) in zip(table.columns, after.columns, strict=True):
            both = min(m, k)
            gap = found[..., at : at + both] - each[..., to : to + both]
            assert np.abs(gap).max() < 5e-3
            assert np.abs(gap.mean(axis=1)).max() < 1e-3  # what sums over positions see


def test_positions_under_a_planned_age_keep_their_places():
    rng = np.random.default_rng(5)
    positions = some_positions(9, rng, unknown=0.4)
    planned = Positions(
        age=positions.age, is_known=positions.is_known, days_per_unit=positions.days_per_unit,
        planned_age=np.full(9, 60.0),
    )  # fmt: skip
    draws = Draws(shape=np.array([2.0, 3.0]), scale=np.array([150.0, 200.0]), weight=np.ones(2) / 2)
    law = law_of(1.0, 1.0)
    every = planned_chances(law, planned, draws, SPANS)
    at, m = every.columns[1]
    for i in range(9):
        one = planned_chances(law, planned.part(slice(i, i + 1)), draws, SPANS)
        to, k = one.columns[1]
        both = min(m, k)
        assert every.chances[:, i, at : at + both] == pytest.approx(
            one.chances[:, 0, to : to + both], abs=1e-9
        )


def test_lines_at_a_rate_in_doubt_are_negative_binomial():
    lines = Lines(shape=3.5, months_seen=24.0, months=6.0, sizes=np.ones(1))
    law = SpanLaw(terms=[lines]).chances()
    assert farthest(law, nbinom(3.5, 24 / 30).pmf(np.arange(80))) < 1e-9
    pairs = Lines(shape=3.5, months_seen=24.0, months=6.0, sizes=np.array([2.0, 2.0]))
    assert SpanLaw(terms=[pairs]).chances()[1::2].sum() == pytest.approx(0.0, abs=1e-12)


def test_pieces_of_a_replacement_multiply():
    own = np.full((1, 5, 1), 0.3)
    law = Exactly(chances=own, present=np.ones(5), times=np.ones(5), weight=np.ones(1),
                  batch=Batch.of(2.25))  # fmt: skip
    chance = SpanLaw(terms=[law]).chances()
    exact = np.ones(1)
    for _ in range(5):
        exact = np.convolve(exact, [0.7, 0, 0.3 * 0.75, 0.3 * 0.25])
    assert farthest(chance, exact) < 1e-12
    assert quantiles(chance, (0.5,)) == [float(np.searchsorted(np.cumsum(exact), 0.5))]


def test_sums_of_many_are_the_sums_of_each():
    rng = np.random.default_rng(4)
    positions = some_positions(80, rng)
    draws = Draws(
        shape=np.exp(rng.normal(0.6, 0.1, 9)), scale=150 * np.exp(rng.normal(0, 0.15, 9)),
        weight=np.full(9, 1 / 9),
    )  # fmt: skip
    table = table_of(positions, draws, rate=1 / 300)
    each = table.at(positions, draws, is_known=True)
    for present in (rng.uniform(0.2, 1.0, 80), np.full(80, 0.7)):
        factorial, means = table.sums(positions, present, draws, is_known=True)
        for i, (at, m) in enumerate(table.columns):
            own = factorial_cumulants(each[..., at : at + m], present)
            assert factorial[:, i] == pytest.approx(own, rel=0.02, abs=0.05)
            assert factorial[:, i, 0] == pytest.approx(own[:, 0], rel=2e-3)
            mean = np.einsum("dnc,n->dc", each[..., at + m : at + m + 2], present)
            assert means[:, i] == pytest.approx(mean, rel=2e-3)
