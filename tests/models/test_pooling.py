"""Duties of a component lend to each other: against brute force, against truth, by promise."""

import numpy as np
import pytest
from brute_posterior import brute_posterior

from dutylife.models.cells import CellLives
from dutylife.models.pooling import alone, pool_cells
from dutylife.models.pooling.grids import cell_grid
from dutylife.models.pooling.priors import SCALE_BETWEEN, SHAPE_BETWEEN
from dutylife.models.starting import StartingLife, starting_prior
from dutylife.prove.models_alone.made import Law, lives_half_cut


def cell(
    rng: np.random.Generator, shape: float, scale: float, n: int, *, late: bool = False,
    stop: float = np.inf, customer: np.ndarray | None = None, factor: np.ndarray | None = None,
) -> CellLives:  # fmt: skip
    """Lives of a Weibull law; a third watched from some age on; a factor on each one's hazard."""
    entry = np.where(rng.random(n) < 0.33, rng.uniform(0, 0.8 * scale, n), 0.0) * late
    more = 1.0 if factor is None else factor
    age = scale * ((entry / scale) ** shape + rng.exponential(size=n) / more) ** (1.0 / shape)
    cut = entry + stop * scale * rng.uniform(0.5, 1.5, n)
    event = age <= cut
    return CellLives(
        np.minimum(age, cut), event, entry, np.ones(n), n, int(event.sum()), None, customer
    )


@pytest.mark.parametrize("number", range(20))
def test_means_are_those_of_brute_force(number: int) -> None:
    """Twenty cells of 1 to 40 lives, half with late entries: within 1e-4 standard deviations."""
    rng = np.random.default_rng(100 + number)
    n = [1, 2, 3, 5, 8, 12, 20, 40][number % 8]
    lives = cell(rng, rng.uniform(0.8, 3.5), 300.0, n, late=number % 2 == 1, stop=1.0)
    if lives.failures == 0:
        lives = cell(rng, 2.0, 300.0, n)
    found = pool_cells([lives], 5.5).cells[0].moments()
    mean, sd = brute_posterior(lives.exit, lives.event, lives.entry, lives.weight, 5.5)
    np.testing.assert_allclose((found[0] - mean) / sd, 0.0, atol=1e-4)
    np.testing.assert_allclose(np.sqrt(np.diag(found[1])) / sd, 1.0, atol=1e-3)


def test_a_duty_without_lives_takes_what_the_others_say_and_is_less_certain() -> None:
    rng = np.random.default_rng(3)
    known = [cell(rng, 2.0, scale, 40, stop=1.2) for scale in (200.0, 250.0, 300.0)]
    empty = cell(rng, 2.0, 1.0, 0)
    pool = pool_cells([*known, empty], 6.0)
    mean, covariance = pool.cells[3].moments()
    assert np.exp(mean[1]) == pytest.approx(250.0, rel=0.25)
    assert np.exp(mean[0]) == pytest.approx(2.0, rel=0.25)
    assert covariance[1, 1] > 4 * max(c.moments()[1][1, 1] for c in pool.cells[:3])
    assert pool.own_share(3) < 0.02 < 0.8 < pool.own_share(0)


def test_a_duty_of_sound_lives_only_lives_longer_than_the_others_say() -> None:
    rng = np.random.default_rng(4)
    others = [cell(rng, 2.0, 200.0, 40) for _ in range(3)]
    sound = cell(rng, 2.0, 2000.0, 15, stop=0.2)
    assert not sound.event.any()
    pool = pool_cells([*others, sound], 6.0)
    low, middle, high = pool.cells[3].range_of("scale", 0.90)
    assert middle > 300.0
    assert high / low > 2.0


def test_many_lives_speak_for_themselves() -> None:
    rng = np.random.default_rng(5)
    cells = [cell(rng, 2.0, 100.0, 500), cell(rng, 2.0, 1000.0, 500)]
    pool = pool_cells(cells, 6.0)
    for law, scale in zip(pool.cells, (100.0, 1000.0), strict=True):
        assert law.range_of("scale", 0.9)[1] == pytest.approx(scale, rel=0.06)
        assert law.range_of("shape", 0.9)[1] == pytest.approx(2.0, rel=0.1)
    low, middle, high = pool.factor(0, 1, 0.90)
    assert low < 0.105 < 0.11 < high
    assert middle == pytest.approx(0.1, rel=0.1)
    assert min(pool.own_share(0), pool.own_share(1)) > 0.99


def test_customers_that_differ_make_a_duty_less_certain() -> None:
    """Eight customers whose parts fail 0.2 to 3 times as often; told, the range is wider."""
    rng = np.random.default_rng(6)
    owner = np.repeat(np.arange(8), 15)
    factor = np.linspace(0.2, 3.0, 8)[owner]
    names = owner.astype(object)
    told = cell(np.random.default_rng(7), 2.0, 300.0, 120, customer=names, factor=factor)
    untold = cell(np.random.default_rng(7), 2.0, 300.0, 120, factor=factor)
    other = cell(rng, 2.0, 300.0, 60)
    widths = []
    for lives in (told, untold):
        pool = pool_cells([lives, other], 6.0)
        low, _, high = pool.cells[0].range_of("scale", 0.90)
        widths.append(np.log(high / low))
        if lives is told:
            assert pool.customer_variance > 0.25
    assert widths[0] > 1.3 * widths[1]


def test_draws_keep_mean_and_covariance_of_what_they_stand_for() -> None:
    law = pool_cells([cell(np.random.default_rng(8), 1.5, 100.0, 6)], 5.0).cells[0]
    draws = law.draws()
    logs = np.column_stack([draws.log_shape, draws.log_scale])
    mean, covariance = law.moments()
    assert len(logs) == 64
    np.testing.assert_allclose(logs.mean(axis=0), mean, rtol=1e-9)
    np.testing.assert_allclose(np.cov(logs.T, bias=True), covariance, rtol=1e-9)
    for what in ("b10", "b50"):
        for full, few in zip(law.range_of(what, 0.8), draws.range_of(what, 0.8), strict=True):
            assert few == pytest.approx(full, rel=0.15)


def test_unit_of_age_and_order_of_duties_change_nothing() -> None:
    rng = np.random.default_rng(9)
    cells = [cell(rng, 2.0, scale, 8, stop=1.0) for scale in (100.0, 200.0, 400.0)]
    found = [c.moments()[0] for c in pool_cells(cells, 5.0).cells]
    turned = [c.moments()[0] for c in pool_cells(cells[::-1], 5.0).cells][::-1]
    np.testing.assert_allclose(found, turned, atol=1e-8)
    days = [
        CellLives(c.exit / 24, c.event, c.entry / 24, c.weight, c.n_lives, c.n_failed)
        for c in cells
    ]
    moved = [c.moments()[0] for c in pool_cells(days, 5.0 - np.log(24)).cells]
    np.testing.assert_allclose(np.array(moved) + [0.0, np.log(24)], found, atol=1e-4)


def test_a_starting_value_moved_by_few_failures_covers_the_truth() -> None:
    """Truth drawn from the stated prior: its 90 % range then holds it 9 times in 10."""
    rng = np.random.default_rng(5)
    prior = starting_prior(StartingLife(100.0, "replace", "our proposal"))
    inside = []
    for _ in range(300):
        log_shape, log_b10 = rng.multivariate_normal(prior.mean, prior.covariance)
        shape = np.exp(log_shape)
        scale = np.exp(log_b10) / (-np.log(0.9)) ** (1 / shape)
        life = scale * rng.weibull(shape, 12)
        event = life <= 150.0
        lives = CellLives(np.minimum(life, 150.0), event, np.zeros(12), np.ones(12), 12,
                          int(event.sum()))  # fmt: skip
        low, _, high = alone(cell_grid(lives, None, (0.0, 14.0)), prior).range_of("b10", 0.90)
        inside.append(low <= np.exp(log_b10) <= high)
    # 300 cells: standard error 0.017
    assert 0.85 <= np.mean(inside) <= 0.95


def test_a_factor_goes_by_the_joint_law_of_both_duties() -> None:
    """Drawn the long way: the component's figures, then each duty's scale given them."""
    rng = np.random.default_rng(11)
    cells = [cell(rng, 2.0, scale, 6, stop=1.0) for scale in (100.0, 120.0, 150.0, 110.0)]
    cells.append(cell(rng, 2.0, 130.0, 40, stop=1.0))
    pool = pool_cells(cells, 5.0)
    picked = rng.choice(pool.weight.size, 6000, p=pool.weight.ravel())
    variance, *_ = np.unravel_index(picked, pool.weight.shape)
    mean_q, between_q, mean_s, between_s = (
        np.asarray(values)[i]
        for values, i in zip(
            (pool.shape_mean, SHAPE_BETWEEN, pool.scale_mean, SCALE_BETWEEN),
            np.unravel_index(picked, pool.weight.shape)[1:],
            strict=True,
        )
    )
    for one, other in ((0, 1), (4, 2)):
        drawn = {}
        for number in (one, other):
            grid = pool.grids[number]
            found = []
            for i in range(len(picked)):
                q = np.exp(-0.5 * ((grid.q - mean_q[i]) / between_q[i]) ** 2)
                s = np.exp(-0.5 * ((grid.s - mean_s[i]) / between_s[i]) ** 2)
                chance = (q @ np.exp(grid.values[variance[i]])) * s
                at = rng.choice(len(grid.s), p=chance / chance.sum())
                step = grid.s[1] - grid.s[0]
                found.append(grid.s[at] + step * rng.uniform(-0.5, 0.5))
            drawn[number] = np.array(found)
        ends = np.quantile(drawn[one] - drawn[other], [0.05, 0.5, 0.95])
        spread = (ends[2] - ends[0]) / 3.29
        # 6000 draws: the ends err by about 0.03 standard deviations
        np.testing.assert_allclose(
            (np.log(pool.factor(one, other, 0.90)) - ends) / spread, 0.0, atol=0.09
        )
        turned = 1.0 / np.array(pool.factor(other, one, 0.90))[::-1]
        np.testing.assert_allclose(pool.factor(one, other, 0.90), turned, rtol=0.02)


def test_a_factor_between_duties_that_lean_on_the_others_is_surer_than_both_apart() -> None:
    rng = np.random.default_rng(12)
    cells = [cell(rng, 2.0, 100.0, 4, stop=1.0) for _ in range(8)]
    pool = pool_cells(cells, 7.0)
    low, _, high = pool.factor(0, 1, 0.90)
    apart = sum(pool.cells[i].moments()[1][1, 1] for i in (0, 1))
    assert np.log(high / low) < 0.95 * 3.29 * np.sqrt(apart)


def test_the_chance_of_wear_is_the_share_of_means_above_one():
    """Far from 1 it is sure; about 1 it is one in two; it never says what a single cell says."""
    random = np.random.default_rng(8)

    def wears(shape: float) -> float:
        cells = [lives_half_cut(random, Law(np.log(shape), 6.0), 60) for _ in range(6)]
        return pool_cells(cells, 6.0).probability_wears

    assert wears(2.5) > 0.999
    assert wears(0.5) < 0.001
    chances = [wears(1.0) for _ in range(12)]
    assert 0.1 < np.mean(chances) < 0.9
