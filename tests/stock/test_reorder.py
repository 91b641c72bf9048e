"""Reorder policies and order quantities: against simulation, brute force and hand figures."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad

from dutylife.errors import DecisionError
from dutylife.stock import (
    base_stock,
    demand_law,
    lead_time_demand,
    newsvendor,
    order_quantity,
    order_up_to_policy,
    reorder_policy,
)

LAWS = [
    demand_law("normal", mean=80, sd=15),
    demand_law("gamma", mean=40, sd=30),
    demand_law("lognormal", mean=40, sd=30),
    demand_law("uniform", lower=10, upper=90),
    demand_law("poisson", mean=7.3),
    demand_law("negative binomial", mean=7.3, variance=30),
]


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_shortage_is_the_integral_of_the_chance_of_more(law):
    for level in (0.0, 3.0, 7.0, 33.0, 85.0):
        if law.is_whole:
            expected = sum(
                float(law.above(np.array([float(k)]))[0]) for k in range(int(level), 900)
            )
        else:
            expected = quad(
                lambda x: float(law.above(np.array([x]))[0]), level, 3000,
                points=[90, 200, 600], limit=500,
            )[0]  # fmt: skip
        assert float(law.short(np.array([level]))[0]) == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_other_frozen_laws_are_read_as_they_are():
    laws = [stats.norm(80, 15), stats.gamma(2, scale=9), stats.lognorm(0.8, scale=20)]
    laws += [stats.weibull_min(1.4, scale=30), stats.poisson(6), stats.nbinom(3, 0.2)]
    for frozen in laws:
        at = float(np.floor(frozen.mean() + frozen.std()))
        expected = frozen.expect(lambda x, a=at: np.maximum(x - a, 0))
        found = base_stock(frozen, level=at)
        assert found.backorders == pytest.approx(expected, rel=1e-5)
        assert found.ready_rate == pytest.approx(frozen.cdf(at), rel=1e-12)
        assert found.on_hand - found.backorders == pytest.approx(at - frozen.mean(), rel=1e-9)


def simulated(arrivals, point, quantity, lead):
    """Continuous review, one piece at a time: share given at once, owed over time, late cycles."""
    on_order, level, position = [], point + quantity, point + quantity
    given_at_once = owed_time = 0.0
    late = cycles = 0
    before = 0.0
    for now in arrivals:
        while on_order and on_order[0] <= now:
            arrived = on_order.pop(0)
            owed_time += max(-level, 0) * (arrived - before)
            before = arrived
            cycles += 1
            late += level < 0
            level += quantity
        owed_time += max(-level, 0) * (now - before)
        before = now
        given_at_once += level > 0
        level, position = level - 1, position - 1
        if position == point:
            on_order.append(now + lead)
            position += quantity
    return given_at_once / len(arrivals), owed_time / before, 1 - late / cycles


@pytest.mark.parametrize(("point", "quantity"), [(4, 3), (8, 1), (9, 12)])
def test_simulated_poisson_policy(point, quantity):
    random = np.random.default_rng(3)
    arrivals = np.cumsum(random.exponential(1 / 6.0, 150_000))
    filled, owed, in_time = simulated(arrivals, point, quantity, 1.0)
    found = reorder_policy(
        demand_law("poisson", mean=6), reorder_point=point, order_quantity=quantity
    )
    assert found.exact_fill_rate == pytest.approx(filled, abs=0.01)
    assert found.backorders == pytest.approx(owed, rel=0.08)
    if quantity > 6:  # orders don't cross in one cycle's shortage
        assert found.cycle_service == pytest.approx(in_time, abs=0.01)


def test_one_for_one_reordering_is_base_stock():
    law = demand_law("poisson", mean=4)
    one = reorder_policy(law, reorder_point=5, order_quantity=1)
    held = base_stock(law, level=6)
    assert one.exact_fill_rate == pytest.approx(held.immediate_fill_rate)
    assert one.backorders == pytest.approx(held.backorders)
    assert one.on_hand == pytest.approx(held.on_hand)


@pytest.mark.parametrize("kind", ["per piece short", "per piece short and year", "per stockout"])
@pytest.mark.parametrize(
    "law", [demand_law("normal", mean=100, sd=25), demand_law("poisson", mean=9)],
    ids=lambda law: law.name,
)  # fmt: skip
def test_the_cheapest_policy_beats_its_neighbours(law, kind):
    terms = dict(
        demand_per_year=200, order_cost=50, holding_cost=2, penalty_cost=60, penalty_kind=kind
    )
    best = reorder_policy(law, **terms)
    for ds, dq in ((1, 0), (-1, 0), (0, 1), (0, -1), (3, -4), (-3, 4), (5, 5)):
        other = reorder_policy(
            law, reorder_point=best.reorder_point + ds, order_quantity=best.order_quantity + dq,
            **terms,
        )  # fmt: skip
        lowest = {"per piece short": 0, "per stockout": law.mean}.get(kind, -math.inf)
        if other.reorder_point < lowest:
            continue  # the textbook costs don't hold there
        assert best.cost_per_year <= other.cost_per_year + 1e-9
    held = reorder_policy(law, order_quantity=best.order_quantity, **terms)
    assert held.reorder_point == pytest.approx(best.reorder_point, abs=1e-4)


def test_the_exact_whole_piece_optimum_matches_brute_force():
    law = demand_law("poisson", mean=5)
    terms = dict(
        demand_per_year=60, order_cost=9, holding_cost=1, penalty_cost=12,
        penalty_kind="per piece short and year",
    )  # fmt: skip
    best = reorder_policy(law, **terms)
    costs = {
        (s, q): reorder_policy(law, reorder_point=s, order_quantity=q, **terms).cost_per_year
        for s in range(-6, 14)
        for q in range(1, 60)
    }
    assert best.cost_per_year == pytest.approx(min(costs.values()), rel=1e-12)
    assert costs[best.reorder_point, best.order_quantity] == best.cost_per_year


@pytest.mark.parametrize("measure", ["cycle service", "fill rate", "exact fill rate"])
@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
def test_the_reorder_point_is_the_smallest_that_serves(law, measure):
    found = reorder_policy(law, order_quantity=12, service_level=0.93, measure=measure)
    name = measure.replace(" ", "_")
    assert getattr(found, name) >= 0.93 - 1e-9
    step = 1 if law.is_whole else 1e-3
    less = reorder_policy(law, reorder_point=found.reorder_point - step, order_quantity=12)
    assert getattr(less, name) < 0.93


@settings(max_examples=25, deadline=None)
@given(st.floats(0.2, 30), st.floats(0.5, 0.995), st.floats(1.05, 6))
def test_a_doubled_lead_time_never_lowers_stock(mean, wanted, ratio):
    for name, spread in (("poisson", None), ("negative binomial", math.sqrt(mean * ratio)),
                         ("gamma", mean * 0.7)):  # fmt: skip
        once, twice = (
            lead_time_demand(name, mean_per_period=mean, sd_per_period=spread, lead_time=n)
            for n in (2, 4)
        )
        low, high = (base_stock(law, wanted, "ready rate").level for law in (once, twice))
        assert high >= low - 1e-9
        low, high = (
            reorder_policy(law, order_quantity=5, service_level=wanted).reorder_point
            for law in (once, twice)
        )
        assert high >= low - 1e-9


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 40), min_size=1, max_size=60), st.floats(0.1, 9), st.floats(0.1, 9))
def test_newsvendor_equals_brute_force(samples, under, over):
    demand = np.array(samples)

    def cost(q):
        return (under * np.maximum(demand - q, 0) + over * np.maximum(q - demand, 0)).mean()

    best = newsvendor(samples, under, over)
    assert cost(best.quantity) == pytest.approx(min(cost(q) for q in range(41)))
    assert best.cost == pytest.approx(cost(best.quantity))


def test_newsvendor_profit_by_integration():
    found = newsvendor(demand_law("gamma", mean=50, sd=20), price=9, unit_cost=5, salvage_value=2)
    law = stats.gamma(6.25, scale=8)

    def profit(q):
        sold = quad(lambda x: min(x, q) * law.pdf(x), 0, q)[0] + q * law.sf(q)
        return 9 * sold + 2 * (q - sold) - 5 * q

    assert found.profit == pytest.approx(profit(found.quantity), rel=1e-6)
    assert profit(found.quantity) >= max(profit(found.quantity + d) for d in (-1, 1))


def test_quantities_by_a_scan():
    def yearly(q, owed):
        held = 3 * (q * 0.6 - owed) ** 2 / (2 * q * 0.6)
        return 900 / q * 40 + held + 11 * owed**2 / (2 * q * 0.6)

    best = order_quantity(900, 40, holding_cost=3, backorder_cost=11, production_rate=2250)
    scan = min(
        (yearly(q, o), q, o) for q in np.linspace(150, 400, 251) for o in np.linspace(0, 100, 201)
    )
    assert best.cost_per_year == pytest.approx(scan[0], rel=1e-4)
    assert best.quantity == pytest.approx(scan[1], abs=1)
    assert best.largest_backorder == pytest.approx(scan[2], abs=1)


@pytest.mark.parametrize("discount", ["all units", "incremental"])
@pytest.mark.parametrize("demand", [40, 300, 4000])
def test_price_breaks_by_brute_force(discount, demand):
    breaks = [(0, 10.0), (50, 9.5), (200, 8.8)]

    def price(q):
        if discount == "all units":
            return q * (10.0 if q < 50 else 9.5 if q < 200 else 8.8)
        return 10 * min(q, 50) + 9.5 * min(max(q - 50, 0), 150) + 8.8 * max(q - 200, 0)

    def yearly(q):
        bought = price(q)
        return demand * bought / q + 30 * demand / q + 0.25 * bought / q * q / 2

    best = order_quantity(demand, 30, holding_rate=0.25, price_breaks=breaks, discount=discount)
    scan = min(yearly(q) for q in np.arange(1, 2500, 0.25))
    assert best.total_cost_per_year == pytest.approx(scan, rel=1e-5)
    assert best.total_cost_per_year == pytest.approx(yearly(best.quantity), rel=1e-9)


def test_order_up_to_by_simulation_and_brute_force():
    random = np.random.default_rng(5)
    law = demand_law("negative binomial", mean=3, variance=7)
    best = order_up_to_policy(law, order_cost=20, holding_cost=1, penalty_cost=8, lead_time=2)
    costs = [
        order_up_to_policy(
            law, order_cost=20, holding_cost=1, penalty_cost=8, lead_time=2,
            reorder_point=s, order_up_to=top,
        ).cost_per_period
        for s in range(4, 16) for top in range(s + 1, 34)
    ]  # fmt: skip
    assert best.cost_per_period == pytest.approx(min(costs), rel=1e-9)
    s, top = best.reorder_point, best.order_up_to
    n = 120_000
    demand = random.negative_binomial(9 / 4, 3 / 7, n)
    position = top
    after, orders = np.empty(n), 0
    for t in range(n):
        if position <= s:
            position, orders = top, orders + 1
        after[t] = position
        position -= demand[t]
    # what is on the shelf 3 periods' demand after an order was decided
    late = np.convolve(demand, np.ones(3))[2:n]
    end = after[: len(late)] - late
    cost = 20 * orders / n + np.maximum(end, 0).mean() + 8 * np.maximum(-end, 0).mean()
    assert best.cost_per_period == pytest.approx(cost, rel=0.02)
    assert best.orders_per_period == pytest.approx(orders / n, rel=0.02)


def test_lead_times_that_vary_add_their_spread():
    law = lead_time_demand(
        "normal", mean_per_period=100, sd_per_period=30, lead_time=4, lead_time_sd=1.5
    )
    assert law.sd == pytest.approx(math.sqrt(4 * 900 + 100**2 * 2.25))
    mixed = lead_time_demand("poisson", mean_per_period=3, lead_time=4, lead_time_sd=1)
    assert (mixed.name, mixed.sd**2) == ("negative binomial", pytest.approx(12 + 9))


def test_what_cannot_be_is_refused():
    law = demand_law("normal", mean=10, sd=2)
    costs = {"demand_per_year": 50, "order_cost": 5, "holding_cost": 1}
    for call, named in (
        (lambda: reorder_policy(law), "nothing to choose"),
        (lambda: reorder_policy(law, penalty_cost=1), "demand_per_year"),
        (lambda: reorder_policy(law, **costs, penalty_cost=0.01), "no stock pays"),
        (lambda: reorder_policy(law, order_quantity=0, service_level=0.9), "order_quantity"),
        (lambda: reorder_policy(law, order_quantity=5, service_level=1), "service_level"),
        (lambda: reorder_policy(law, **costs, penalty_cost=1, service_level=0.9), "one of them"),
        (lambda: reorder_policy([1, 2], reorder_point=0.5, order_quantity=1), "whole"),
        (lambda: demand_law("negative binomial", mean=5, variance=4), "variance"),
        (lambda: demand_law("poisson"), "mean"),
        (lambda: demand_law("weird", mean=1), "one of"),
        (lambda: base_stock(law), "Exactly one"),
        (lambda: base_stock(law, 0.9, level=3), "Exactly one"),
        (lambda: newsvendor([1], 1.0), "two ways"),
        (lambda: newsvendor([1], price=3, unit_cost=4), "too few"),
        (lambda: order_quantity(10, 5), "Holding"),
        (lambda: order_quantity(10, 5, holding_cost=1, production_rate=9), "production_rate"),
        (lambda: order_up_to_policy(law, order_cost=1, holding_cost=1, penalty_cost=1), "whole"),
        (
            lambda: order_up_to_policy(
                [1, 2], order_cost=1, holding_cost=1, penalty_cost=1, reorder_point=3
            ),
            "one of the two",
        ),
    ):
        with pytest.raises(DecisionError, match=named):
            call()
