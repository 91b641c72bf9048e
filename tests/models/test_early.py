"""Early failures: the likelihood against numeric slopes, and how often a flag is right."""

import math

import numpy as np
import pytest
from scipy import stats

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models import early_failures, fit_law
from dutylife.models.mixture import TwoLots


def lives(seed, share, n=80, early_shape=2.0):
    """Shape 2, scale 100; a share with scale 10; some half of all cut off by uniform ends."""
    rng = np.random.default_rng(seed)
    early = rng.random(n) < share
    life = 100.0 * np.where(early, 0.1 * rng.weibull(early_shape, n), rng.weibull(2.0, n))
    stop = rng.uniform(20.0, 200.0, n)
    return np.minimum(life, stop), life <= stop


def test_the_likelihood_of_two_lots_is_that_of_scipys_densities() -> None:
    exit_, failed = lives(1, 0.15)
    entry = np.where(np.arange(80) % 3 == 0, exit_ / 4, 0.0)
    share, times, shape, scale = 0.2, 0.12, 1.8, 110.0
    early, other = (stats.weibull_min(shape, scale=s) for s in (scale * times, scale))

    def mixed(which, ages):
        return share * getattr(early, which)(ages) + (1 - share) * getattr(other, which)(ages)

    expected = np.log(np.where(failed, mixed("pdf", exit_), mixed("sf", exit_))).sum()
    expected -= np.log(mixed("sf", entry)).sum()
    lots = TwoLots(exit_[None], failed[None], entry[None])
    theta = np.log([[shape, scale]])
    value, slope, bend = lots._value(np.array([share]), np.log([times]), theta)
    assert value[0] == pytest.approx(expected, rel=1e-10)
    for i in range(2):
        step = 1e-5 * np.eye(2)[i]
        up, down = (
            lots._value(np.array([share]), np.log([times]), theta + s * step) for s in (1, -1)
        )
        assert slope[0, i] == pytest.approx((up[0] - down[0])[0] / 2e-5, rel=1e-5)
        np.testing.assert_allclose(bend[0, i], (up[1] - down[1])[0] / 2e-5, rtol=1e-5)


def test_one_lot_is_the_plain_law_and_freeing_the_lots_only_gains() -> None:
    exit_, failed = lives(2, 0.15)
    lots = TwoLots(exit_[None], failed[None], np.zeros((1, 80)))
    ratio, best = lots.ratio()
    plain = fit_law("weibull", exit_, failed).loglik
    given = lots._value(best[:1, 0], best[:1, 1], best[:1, 2:])[0][0]
    assert ratio[0] == pytest.approx(2 * (given - plain), abs=1e-6)
    free = lots.freed(best[0])
    assert lots._value(free[None, 0], free[None, 1], free[None, 2:])[0][0] >= given - 1e-9


def test_planted_early_failures_are_named_with_the_lives_they_took() -> None:
    exit_, failed = lives(3, 0.15, n=200)
    told = early_failures(exit_, failed)
    assert told.flagged
    assert 0.08 < told.share < 0.25
    assert 0.05 < told.times_life < 0.2
    assert told.shape > told.plain_shape + 0.3
    youngest = told.failures.iloc[:10]
    assert (youngest["chance_early"] > 0.5).all()
    assert set(told.failures["row"]) == set(np.flatnonzero(failed))
    assert "fail early" in told.text
    again = early_failures(exit_, failed)
    assert again == told


def test_too_little_is_refused() -> None:
    with pytest.raises(TooFewFailuresError, match="4 failures"):
        early_failures(np.arange(1.0, 11), np.arange(10) < 4)
    with pytest.raises(FitError, match="5 draws"):
        early_failures(np.arange(1.0, 11), np.ones(10), n_simulated=5)


@pytest.mark.slow
def test_plain_lives_are_seldom_flagged_and_planted_ones_mostly() -> None:
    """False flags in 200 records of plain lives: 5 % and two standard errors at most."""
    false = np.mean([early_failures(*lives([4, s], 0.0)).flagged for s in range(200)])
    power = {
        (n, shape): np.mean(
            [early_failures(*lives([5, s], 0.15, n, shape)).flagged for s in range(60)]
        )
        for n, shape in ((80, 2.0), (80, 1.0), (200, 2.0))
    }
    print(f"false flags {false:.3f}; flagged, 15 % early at a tenth of the life:")
    for (n, shape), share in power.items():
        print(f"  {n} lives, shape of the early ones {shape:g}: {share:.2f}")
    other = []
    for s in range(60):
        rng = np.random.default_rng([6, s])
        life, stop = 80.0 * np.exp(0.6 * rng.normal(size=80)), rng.uniform(20.0, 200.0, 80)
        other.append(early_failures(np.minimum(life, stop), life <= stop).flagged)
    print(f"  lognormal lives, nothing planted: {np.mean(other):.2f}")
    assert false <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / 200)
    assert power[80, 2.0] >= 0.5
    assert power[200, 2.0] >= 0.85
    assert np.mean(other) <= 0.15
