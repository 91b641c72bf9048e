"""More money on the shelf: the curve against brute force, and against a shelf lived through."""

import itertools
import math

import numpy as np
import pytest
from scipy import stats

from dutylife.errors import DecisionError
from dutylife.stock.money_curve import ShelfLine, money_curve


def poisson(mean: float) -> np.ndarray:
    return stats.poisson(mean).pmf(np.arange(int(mean + 12 * math.sqrt(mean) + 15)))


def line(name: str, a_day: float, cost: float, **more: float) -> ShelfLine:
    lead, review = more.pop("lead", 14.0), more.pop("review", 30.0)
    demands = tuple(poisson(a_day * (lead + share * review)) for share in (0.0, 0.5, 1.0))
    return ShelfLine(name=name, demands=demands, unit_cost=cost, **more)


LINES = [line("a", 0.05, 10.0), line("b", 0.02, 35.0), line("c", 0.1, 4.0, waited_share=0.5)]


def owed_by_level(rate: float, share: float, top: int) -> np.ndarray:
    """Pieces owed at levels 0 to top, mean over the days between deliveries, by Poisson's law."""
    days, pieces = np.linspace(14, 44, 121)[:, None], np.arange(60)
    chance = stats.poisson(rate * days).pmf(pieces)
    owed = [(chance @ np.maximum(pieces - level, 0)) for level in range(top + 1)]
    return share * np.trapezoid(owed, dx=1 / 120, axis=1)


def test_no_other_levels_of_the_same_money_spare_more_waiting():
    curve = money_curve(LINES).table
    tops, costs = (7, 5, 11), (10, 35, 4)
    owed = [line.owed(top) for line, top in zip(LINES, tops, strict=True)]
    choices = list(itertools.product(*(range(t + 1) for t in tops)))
    cost = np.array([sum(k * c for k, c in zip(levels, costs, strict=True)) for levels in choices])
    value = np.array([sum(o[k] for k, o in zip(levels, owed, strict=True)) for levels in choices])
    looked_at = curve[(curve["point"] == "curve") & (curve["levels_cost"] < 120)]
    assert len(looked_at) > 8
    for row in looked_at.itertuples():
        best = value[cost <= row.levels_cost].min()
        assert row.waiting_days == pytest.approx(365.25 * best, rel=1e-9)


def test_pieces_owed_are_the_mean_over_the_days_between_deliveries():
    for line, rate, share in zip(LINES, (0.05, 0.02, 0.1), (1.0, 1.0, 0.5), strict=True):
        assert line.owed(5) == pytest.approx(owed_by_level(rate, share, 5), rel=0.02, abs=2e-5)


def test_share_given_is_what_a_shelf_lived_through_gives():
    """Order up to the level every 30 days, 14 days to wait, owed pieces are given later."""
    rng, level, days = np.random.default_rng(7), 4, 600_000
    asked = rng.poisson(0.1, days)
    review = np.arange(days) % 30 == 0
    held, arriving, given = float(level), np.zeros(days + 15), 0.0
    position = float(level)
    for day in range(days):
        held += arriving[day]
        if review[day]:
            arriving[day + 14] += level - position
            position = float(level)
        given += min(max(held, 0.0), asked[day])
        held -= asked[day]
        position -= asked[day]
    one = line("c", 0.1, 4.0, held=4.0)
    row = money_curve([one]).table.set_index("point").loc["as it stands"]
    assert row["fill_rate"] == pytest.approx(given / asked.sum(), abs=0.006)


def test_the_order_and_more_money_never_make_anybody_wait_longer():
    lines = [line("a", 0.05, 10.0, held=1.0, ordered=3.0), line("b", 0.02, 35.0, held=0.0)]
    result = money_curve(lines, currency="crowns")
    table = result.table.set_index("point")
    assert table.loc["with the order", "waiting_days"] < table.loc["as it stands", "waiting_days"]
    curve = result.table[result.table["point"] == "curve"]
    assert curve["waiting_days"].is_monotonic_decreasing
    assert curve["levels_cost"].is_monotonic_increasing
    assert "95 % of pieces given at once instead of 90 %" in result.text
    assert "crowns" in result.text


def test_parts_nobody_counted_are_left_out_where_others_are_counted():
    result = money_curve([line("a", 0.05, 10.0, held=1.0), line("b", 0.02, 35.0)], n_left_out=2)
    assert result.n_left_out == 3
    assert result.table["levels_cost"].max() % 10 == pytest.approx(0)


def test_a_cost_of_nothing_is_refused_with_its_part():
    with pytest.raises(DecisionError, match="part a"):
        money_curve([line("a", 0.05, 0.0)])


def test_nothing_asked_for_says_so():
    quiet = ShelfLine(name="a", demands=(np.ones(1),) * 3, unit_cost=1.0)
    assert "No part has both" in money_curve([quiet]).text
