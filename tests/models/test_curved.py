"""Gamma and threshold laws: against scipy, known truth, and what has no such law."""

import math

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import minimize

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models import fit_law
from dutylife.models.curved import log_survival


def watched(ages, seed, top):
    """Ages cut off at uniform ends; a third entered late, those gone by then never seen."""
    rng = np.random.default_rng(seed)
    stop = rng.uniform(0.3 * top, top, len(ages))
    entry = np.where(rng.random(len(ages)) < 0.33, rng.uniform(0, 0.3 * top, len(ages)), 0.0)
    seen = (ages > entry) & (stop > entry)
    return np.minimum(ages, stop)[seen], (ages <= stop)[seen], entry[seen]


def test_a_gamma_law_is_that_of_scipy_on_cut_off_lives() -> None:
    exit_, failed, _ = watched(np.random.default_rng(1).gamma(3.0, 50.0, 120), 2, 400.0)
    ours = fit_law("gamma", exit_, failed)
    theirs = stats.CensoredData(uncensored=exit_[failed], right=exit_[~failed])
    shape, _, scale = stats.gamma.fit(theirs, floc=0)
    assert (ours.shape, ours.scale) == pytest.approx((shape, scale), rel=1e-4)
    known = stats.gamma(ours.shape, scale=ours.scale)
    assert ours.mean() == pytest.approx(known.mean())
    assert ours.sd() == pytest.approx(known.std())
    np.testing.assert_allclose(ours.quantile([0.1, 0.5]), known.ppf([0.1, 0.5]))
    np.testing.assert_allclose(ours.survival([0.0, 50.0, 300.0]), known.sf([0.0, 50.0, 300.0]))


@pytest.mark.parametrize("law", ["gamma", "three-parameter weibull"])
def test_late_and_weighed_lives_are_at_the_top_of_scipys_likelihood(law) -> None:
    rng = np.random.default_rng(3)
    ages = rng.gamma(3.0, 50.0, 300) if law == "gamma" else 60.0 + 90.0 * rng.weibull(2.8, 300)
    exit_, failed, entry = watched(ages, 4, 350.0)
    weight = np.where(np.arange(len(exit_)) % 4 == 0, 2.0, 1.0)
    ours = fit_law(law, exit_, failed, entry=entry, weights=weight)

    def loglik(theta):
        shape, scale = np.exp(theta[:2])
        known = (
            stats.gamma(shape, scale=scale) if law == "gamma"
            else stats.weibull_min(shape, theta[2], scale)
        )  # fmt: skip
        told = np.where(failed, known.logpdf(exit_), known.logsf(exit_)) - known.logsf(entry)
        return float(weight @ told)

    top = np.array([math.log(ours.shape), math.log(ours.scale), ours.threshold])
    top = top[:2] if law == "gamma" else top
    assert ours.loglik == pytest.approx(loglik(top), rel=1e-10)
    better = minimize(lambda t: -loglik(t), top, method="Nelder-Mead", options={"xatol": 1e-7})
    np.testing.assert_allclose(top, better.x, rtol=2e-4)
    h = 1e-3 * np.array([1.0, 1.0, 20.0])[: len(top)]
    second = np.empty((len(top), len(top)))
    for i in range(len(top)):
        for j in range(len(top)):
            a, b = np.eye(len(top))[i] * h[i], np.eye(len(top))[j] * h[j]
            second[i, j] = sum(
                p * q * loglik(top + p * a + q * b) for p in (1, -1) for q in (1, -1)
            ) / (4 * h[i] * h[j])
    found = np.linalg.inv(-second)
    ours_in_their_order = np.array(ours.covariance)[np.ix_([1, 0, 2], [1, 0, 2])][
        : len(top), : len(top)
    ]
    np.testing.assert_allclose(ours_in_their_order, found, rtol=0.01, atol=1e-5)


def test_far_gamma_ages_keep_their_log_survival() -> None:
    # scipy's plain share rounds to 0 beyond 745; the chi-square of 2 degrees is exact
    ages = np.array([10.0, 700.0, 5000.0])
    one = np.zeros(1)
    np.testing.assert_allclose(log_survival("gamma", ages, one, one), -ages, rtol=1e-9)
    two = np.log([2.0])
    np.testing.assert_allclose(
        log_survival("gamma", ages, one, two), np.log1p(ages) - ages, rtol=1e-9
    )


def test_gamma_bounds_hold_the_truth() -> None:
    """Shape 3, scale 50, 40 lives, some cut off: 90 % ranges hold the truth in 85 to 95 %."""
    rng = np.random.default_rng(11)
    b10 = stats.gamma(3.0, scale=50.0).ppf(0.1)
    held = []
    for _ in range(300):
        life, stop = rng.gamma(3.0, 50.0, 40), rng.uniform(80.0, 400.0, 40)
        law = fit_law("gamma", np.minimum(life, stop), life <= stop)
        held.append(
            [
                low <= truth <= high
                for what, truth in (("b10", b10), ("mean", 150.0), ("shape", 3.0))
                for low, high in [law.bounds(what)]
            ]
        )
    share = np.mean(held, axis=0)
    print("coverage of b10, mean, shape:", share)
    assert (share >= 0.85).all()
    assert (share <= 0.95).all()


@pytest.mark.slow
def test_threshold_lives_are_found_and_bounds_hold_where_they_are_said_to() -> None:
    """Threshold 100, scale 80, shape 3.5, 150 lives, half cut off; 90 % ranges.

    Those of b10 hold the truth in some 90 %, those of the threshold in some 80 %.
    """
    rng = np.random.default_rng(12)
    b10 = 100.0 + 80.0 * (-math.log(0.9)) ** (1 / 3.5)
    held, refused, known = [], 0, 0
    for _ in range(100):
        life, stop = 100.0 + 80.0 * rng.weibull(3.5, 150), rng.uniform(120.0, 300.0, 150)
        try:
            law = fit_law("three-parameter weibull", np.minimum(life, stop), life <= stop)
        except FitError:
            refused += 1
            continue
        known += law.threshold_known
        low, high = law.bounds("b10")
        row = [low <= b10 <= high]
        if not law.threshold_known:
            low, high = law.bounds("threshold")
            row.append(low <= 100.0 <= high)
        held.append(row)
    print("refused", refused, "threshold at 0 or shape up to 2", known)
    share = [np.mean([r[0] for r in held]), np.mean([r[1] for r in held if len(r) > 1])]
    print("coverage of b10, threshold:", share)
    assert refused <= 5
    assert 0.82 <= share[0] <= 0.97
    assert share[1] >= 0.75


def test_lives_without_a_threshold_get_none_and_rising_likelihoods_are_told() -> None:
    rng = np.random.default_rng(13)
    law = fit_law("three-parameter weibull", 100.0 * rng.weibull(1.5, 200), np.ones(200))
    plain = fit_law("weibull", [r[0] for r in law.lives], np.ones(200))
    assert law.threshold == 0.0
    assert law.loglik == pytest.approx(plain.loglik)
    assert "ask for none" in law.text
    with pytest.raises(FitError, match="lies at 0"):
        law.bounds("threshold")
    with pytest.raises(FitError, match="rises without end"):
        fit_law("three-parameter weibull", 100.0 + 100.0 * rng.weibull(0.7, 20), np.ones(20))
    with pytest.raises(TooFewFailuresError, match="3 failures or more"):
        fit_law("three-parameter weibull", [5.0, 6.0, 6.0], [1, 1, 1])


def test_what_these_laws_do_not_take_is_refused() -> None:
    with pytest.raises(FitError, match="not between two looks"):
        fit_law("gamma", lower=[1.0, 2.0], upper=[3.0, 4.0])
    with pytest.raises(FitError, match="no shape to hold"):
        fit_law("gamma", [1.0, 2.0], [1, 1], shape=2.0)
    with pytest.raises(FitError, match="at age 5"):
        fit_law("gamma", [5.0, 5.0], [1, 1])
    laws = fit_law("gamma", [1.0, 2, 3, 2, 5, 9], np.ones(6), by=list("aaabbb"))
    with pytest.raises(FitError, match="No bounds for 'threshold'"):
        laws["a"].bounds("threshold")
