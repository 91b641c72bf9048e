"""Stock rules against textbook figures and hand calculation."""

import numpy as np
import pytest
from scipy.stats import norm, poisson

from dutylife.errors import DecisionError
from dutylife.stock import base_stock, newsvendor, order_quantity, service


def test_order_quantity_of_the_textbook():
    # Snyder & Shen, Fundamentals of Supply Chain Theory, Example 3.1, from memory: demand 1300 a
    # year, order 8, holding 0.225 a piece and year; prints 304
    assert order_quantity(1300, 8, 0.225, 1.0).quantity == pytest.approx(304.04678, rel=1e-6)
    assert order_quantity(1300, 8, 0.9, 0.25).quantity == pytest.approx(304.04678, rel=1e-6)


def test_newsvendor_of_the_textbook():
    # Snyder & Shen, Example 4.3, from memory: normal (50, 8), overage 0.18, underage 0.70; 56.6
    assert newsvendor(norm(50, 8).ppf, 0.70, 0.18).quantity == pytest.approx(56.60395593, rel=1e-6)
    # public encyclopaedia example, from memory: uniform 50 to 80, price 7, cost 5: 58.57, buy 59
    assert newsvendor(np.arange(51, 81), 2.0, 5.0).quantity == 59


def test_poisson_base_stock_by_hand():
    demand = poisson(3).pmf(np.arange(60))
    level = base_stock(demand, 0.95, "ready rate", is_distribution=True).level
    assert level == poisson(3).ppf(0.95) == 6
    fill = [1 - sum(p * max(n - s, 0) for n, p in enumerate(demand)) / 3 for s in range(12)]
    expected = next(s for s, f in enumerate(fill) if f >= 0.95)
    assert base_stock(demand, 0.95, "fill rate", is_distribution=True).level == expected == 5
    samples = np.random.default_rng(1).poisson(3, 40_000)
    assert base_stock(samples, 0.95, "ready rate").level == 6
    assert base_stock(samples, 0.95, "fill rate").level == 5
    filled, ready = service(samples, 5)
    assert filled == pytest.approx(fill[5], abs=0.004)
    assert ready == pytest.approx(poisson(3).cdf(5), abs=0.006)


@pytest.mark.parametrize("measure", ["fill rate", "ready rate"])
def test_the_level_is_the_smallest_that_serves(measure):
    random = np.random.default_rng(5)
    for _ in range(20):
        samples = random.negative_binomial(1.2, 0.3, 500)
        wanted = random.uniform(0.5, 0.99)
        level = base_stock(samples, wanted, measure).level
        at = 0 if measure == "fill rate" else 1
        assert service(samples, level)[at] >= wanted - 1e-9
        assert level == 0 or service(samples, level - 1)[at] < wanted


def test_no_demand_needs_no_stock():
    assert base_stock([0, 0, 0], 0.95).level == 0
    assert base_stock([0, 0, 0], 0.95, "ready rate").level == 0
    assert service([0, 0], 0) == (1.0, 1.0)


def test_what_cannot_be_is_refused():
    for call in (
        lambda: base_stock([1, 2], 1.0),
        lambda: base_stock([], 0.9),
        lambda: base_stock([-1], 0.9),
        lambda: base_stock([0.5, 0.6], 0.9, is_distribution=True),
        lambda: base_stock([1], 0.9, "luck"),
        lambda: order_quantity(0, 8, 1, 1),
        lambda: newsvendor([1, 2], 0, 1),
    ):
        with pytest.raises(DecisionError):
            call()
