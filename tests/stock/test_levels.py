"""Levels that reach a service: what is promised is what a long shelf gives."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from long_shelf import followed, terms
from scipy.stats import gamma, nbinom, poisson

from dutylife.stock import base_stock, order_quantity
from dutylife.stock.levels import days_asked, levels_of, served_by

HORIZON = 182
N_DAYS, N_SHELVES = 150_000, 30


def compound(rate, sizes):
    """Orders at a rate, each of 1, 2, ... pieces by the shares of ``sizes``."""
    shares = np.array(sizes) / np.sum(sizes)

    def law(days):
        each = np.zeros(1024)
        each[1 : len(shares) + 1] = shares
        moved = np.exp(rate * days * (np.fft.rfft(each) - 1))
        return np.maximum(np.fft.irfft(moved, 1024), 0.0)

    def days(n, rng):
        orders = rng.poisson(rate, n)
        at = np.repeat(np.arange(n), orders)
        pieces = rng.choice(np.arange(1, len(shares) + 1), len(at), p=shares)
        return np.bincount(at, weights=pieces, minlength=n)

    return law, days


def mean_of(law, days):
    chance = law(days)
    return float(chance @ np.arange(len(chance)))


LAWS = {
    "slow": compound(0.02, [1.0]),
    "one a week": compound(0.15, [1.0]),
    "busy": compound(2.0, [1.0]),
    "lumpy": compound(0.1, [0.5, 0.3, 0.0, 0.15, 0, 0, 0, 0, 0, 0.05]),
    "spread": compound(0.3, [0.5, 0.2, 0.12, 0.08, 0.06, 0.04]),
}
POLICIES = [
    {}, {"pack_size": 5.0}, {"minimum_order": 14.0}, {"order_cost": None},
    {"lead_time_days": 30.0, "review_days": 30.0}, {"service_level": 0.8}, {"lead_time_days": 0.0},
]  # fmt: skip


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("changed", POLICIES, ids=str)
def test_a_long_shelf_gives_what_is_promised(law, changed):
    own, (chances, days) = terms(**changed), LAWS[law]
    found = levels_of(chances, own, HORIZON)
    shelves = [
        followed(days(N_DAYS // N_SHELVES, np.random.default_rng(s)), found.point, found.up_to, own)
        for s in range(N_SHELVES)
    ]
    fill, ready, held, order = np.mean(shelves, axis=0)
    # what chance alone may do to the mean of so many shelves, told by how they differ
    chance, chance_ready = 3.5 * np.std(shelves, axis=0, ddof=1)[:2] / math.sqrt(N_SHELVES)
    assert max(chance, chance_ready) < 0.02  # a check that could not see a miss is none
    assert fill == pytest.approx(found.fill_rate, abs=0.001 + chance)
    assert ready == pytest.approx(found.ready_rate, abs=0.001 + chance_ready)
    assert held == pytest.approx(found.held, rel=0.03, abs=0.1)
    assert order == pytest.approx(found.order_size, rel=0.03)
    assert found.fill_rate >= own.service_level
    assert fill >= own.service_level - chance


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("measure", ["fill rate", "ready rate"])
def test_one_piece_less_falls_short(law, measure):
    own = terms(service_level=0.9, service_measure=measure)
    served = served_by(LAWS[law][0], own, HORIZON)
    rates = served.fill_rate if measure == "fill rate" else served.ready_rate
    point = levels_of(LAWS[law][0], own, HORIZON).point
    assert rates[point] >= 0.9
    assert point >= 1  # an empty shelf is a reason to order
    assert (rates[1:point] < 0.9).all()
    assert (np.diff(rates) > -1e-9).all()


def test_machines_that_wear_ask_less_unevenly_and_need_less():
    """Many machines, each changed after a wearing life: levels follow the law, not its mean."""
    rng = np.random.default_rng(8)
    n_machines, shape, scale = 6, 6.0, 60.0
    changed = np.concatenate([
        np.cumsum(rng.weibull(shape, N_DAYS // 40) * scale) - rng.uniform(0, scale)
        for _ in range(n_machines)
    ])  # fmt: skip
    daily = np.bincount(changed[(changed >= 0) & (changed < N_DAYS)].astype(int), minlength=N_DAYS)

    def law(days):  # windows of the record itself
        total = np.concatenate([[0], np.cumsum(daily)])
        sums = (total[days:] - total[:-days])[::7]
        return np.bincount(sums) / len(sums)

    own = terms(order_cost=None, lead_time_days=20.0)
    found = levels_of(law, own, HORIZON)
    fill, _, _, _ = followed(daily, found.point, found.up_to, own)
    assert fill == pytest.approx(found.fill_rate, abs=0.005)
    at_random = levels_of(lambda d: poisson(mean_of(law, d)).pmf(np.arange(60)), own, HORIZON)
    assert found.point < at_random.point


@pytest.mark.parametrize("order_cost", [None, 3.0])
@pytest.mark.parametrize("a_day", [0.03, 0.3])
def test_a_rate_in_doubt_is_promised_over_all_that_it_may_be(a_day, order_cost):
    """Shelves of many shops, each with its own rate: the share given over all of them."""
    size = 4.0

    def law(days):
        return nbinom(size, size / (size + a_day * days)).pmf(np.arange(1000))

    own = terms(order_cost=order_cost)
    found = levels_of(law, own, HORIZON)
    rates = a_day * gamma(size, scale=1 / size).ppf((np.arange(60) + 0.5) / 60)
    unmet = 0.0
    for rate in rates:
        at = served_by(
            lambda days, rate=rate: poisson(rate * days).pmf(np.arange(1000)), own, HORIZON,
            gap=found.up_to - found.point,
        )  # fmt: skip
        unmet += rate * (1 - at.fill_rate[found.point])
    assert 1 - unmet / rates.sum() == pytest.approx(found.fill_rate, abs=0.004)


@pytest.mark.parametrize("changed", [{}, {"lead_time_days": 30.0}, {"service_level": 0.8}], ids=str)
@pytest.mark.parametrize("law", ["one a week", "busy", "spread"])
def test_sales_that_are_lost(law, changed):
    own = terms(when_short="lost sale", **changed)
    found = levels_of(LAWS[law][0], own, HORIZON)
    daily = LAWS[law][1](N_DAYS, np.random.default_rng(6))
    fill, *_ = followed(daily, found.point, found.up_to, own)
    assert fill >= found.fill_rate - 0.016
    several = terms(when_short="lost sale", order_cost=None, lead_time_days=30.0)
    found = levels_of(LAWS[law][0], several, HORIZON)
    fill, *_ = followed(daily, found.point, found.up_to, several)
    assert found.fill_rate - 0.005 <= fill <= found.fill_rate + 0.035
    never = terms(when_short="lost sale", service_level=0.01)
    assert levels_of(LAWS[law][0], never, HORIZON).point == 1  # else nothing is ever ordered


def test_order_for_order_is_the_base_stock_of_the_published_cases():
    """Daily reviews, order for order: fill of the stretch a delivery serves, from two levels."""
    rate, lead = 0.8, 12
    law = lambda days: poisson(rate * days).pmf(np.arange(120))  # noqa: E731
    own = terms(order_cost=None, lead_time_days=float(lead), review_days=1.0)
    served = served_by(law, own, HORIZON)
    for level in (8, 12, 16):
        end, before = (
            base_stock(poisson(rate * d), level=level).backorders for d in (lead + 1, lead)
        )
        assert served.fill_rate[level] == pytest.approx(1 - (end - before) / rate, abs=1e-9)
        assert served.ready_rate[level] == pytest.approx(poisson(rate * (lead + 1)).cdf(level))


def test_a_lot_is_near_the_economic_quantity_and_no_longer_than_the_horizon():
    law, _ = LAWS["one a week"]
    found = levels_of(law, terms(), HORIZON)
    lot = order_quantity(0.15 * 365.25, 3.0, 5.0, 0.2).quantity
    assert found.order_size == pytest.approx(lot, abs=1.0)
    long = levels_of(law, terms(order_cost=5000.0), HORIZON)
    assert long.order_size == pytest.approx(0.15 * HORIZON, abs=1.0)
    # without a cost of an order every review orders what was used since the last
    each = levels_of(law, terms(order_cost=None), HORIZON)
    assert each.point == each.up_to


@settings(max_examples=60, deadline=None)
@given(
    rate=st.floats(0.005, 1.5),
    lumps=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=5),
    lead=st.integers(1, 40),
    review=st.sampled_from([1.0, 7.0, 30.0]),
    level=st.floats(0.5, 0.99),
    measure=st.sampled_from(["fill rate", "ready rate"]),
    short=st.sampled_from(["back order", "lost sale"]),
    pack=st.sampled_from([1.0, 3.0, 10.0]),
    least=st.sampled_from([0.0, 6.0]),
    spread=st.sampled_from([0.0, 4.0]),
)
def test_a_doubled_lead_time_never_lowers_stock(
    rate, lumps, lead, review, level, measure, short, pack, least, spread
):
    law, _ = compound(rate, [1.0, *lumps])
    own = {
        "review_days": review, "service_level": level, "service_measure": measure,
        "when_short": short, "pack_size": pack, "minimum_order": least,
        "lead_time_sd_days": spread,
    }  # fmt: skip
    once, twice = (levels_of(law, terms(lead_time_days=float(n), **own), HORIZON)
                   for n in (lead, 2 * lead))  # fmt: skip
    assert twice.point >= once.point
    assert twice.up_to >= once.up_to


def test_a_lead_time_that_varies_holds_more():
    law, _ = LAWS["busy"]
    steady, varies = (
        terms(lead_time_days=20.0, lead_time_sd_days=sd, order_cost=None) for sd in (0.0, 8.0)
    )
    days = np.array([d for d, _ in varies.lead_times], dtype=float)
    share = np.array([s for _, s in varies.lead_times])
    assert share.sum() == pytest.approx(1.0)
    assert days @ share == pytest.approx(20.0, abs=0.3)
    assert np.sqrt((days - days @ share) ** 2 @ share) == pytest.approx(8.0, abs=0.4)
    assert set(days_asked(varies, HORIZON)) >= set(days.astype(int)) | {HORIZON, 7}
    assert levels_of(law, varies, HORIZON).point > levels_of(law, steady, HORIZON).point


@pytest.mark.parametrize("pack", [1.0, 4.0])
def test_no_more_is_held_than_its_shelf_life_uses(pack):
    law, days = LAWS["one a week"]
    free = levels_of(law, terms(pack_size=pack), HORIZON)
    assert free.up_to > 10
    own = terms(pack_size=pack, shelf_life_days=60.0)  # nine are used within it
    found = levels_of(law, own, HORIZON)
    assert found.up_to + pack - 1 <= 9
    assert found.point <= found.up_to
    fill, _, held, _ = followed(
        days(N_DAYS, np.random.default_rng(2)), found.point, found.up_to, own
    )
    assert fill == pytest.approx(found.fill_rate, abs=0.006)
    assert held == pytest.approx(found.held, abs=0.2)
    # so short that none is used within it: none is held
    none = levels_of(law, terms(shelf_life_days=5.0), HORIZON)
    assert (none.point, none.up_to) == (0, 0)
    enough = levels_of(law, terms(pack_size=pack, shelf_life_days=900.0), HORIZON)
    assert enough == free


def test_nothing_asked_for_holds_nothing():
    found = levels_of(lambda _: np.ones(1), terms(), HORIZON)
    assert (found.point, found.up_to, found.held, found.fill_rate) == (0, 0, 0.0, 1.0)
