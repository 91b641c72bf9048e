"""Fitted laws: against lifelines, against arithmetic, and what is refused."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models import fit_law


def sample(seed: int, n: int = 40, late: bool = True) -> tuple[np.ndarray, ...]:
    """Weibull lives (shape 2, scale 100), some cut off, some entered late."""
    rng = np.random.default_rng(seed)
    life = 100.0 * rng.weibull(2.0, 4 * n)
    entry = np.where(rng.uniform(size=4 * n) < 0.3, rng.uniform(0, 80, 4 * n), 0.0) * late
    stop = entry + rng.uniform(20, 150, 4 * n)
    seen = np.flatnonzero(life > entry)[:n]
    exit_ = np.minimum(life, stop)[seen]
    return exit_, (life <= stop)[seen].astype(int), entry[seen]


@pytest.mark.parametrize("law", ["weibull", "lognormal"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_fit_equals_that_of_lifelines(law: str, seed: int) -> None:
    from lifelines import LogNormalFitter, WeibullFitter

    exit_, event, entry = sample(seed)
    weights = np.where(np.arange(len(exit_)) % 3 == 0, 2.0, 1.0)
    ours = fit_law(law, exit_, event, entry=entry, weights=weights)
    if law == "weibull":
        fitter = WeibullFitter().fit(exit_, event, entry=entry, weights=weights)
        theirs = {"shape": fitter.rho_, "scale": fitter.lambda_}
    else:
        fitter = LogNormalFitter().fit(exit_, event, entry=entry, weights=weights)
        theirs = {"mu": fitter.mu_, "sigma": fitter.sigma_}
    # the distance is their optimiser's tolerance: ours is never the lower maximum
    assert ours.parameters == pytest.approx(theirs, rel=5e-6 if law == "weibull" else 5e-5)
    assert ours.loglik == pytest.approx(fitter.log_likelihood_, rel=1e-6)
    assert ours.loglik >= fitter.log_likelihood_ - 1e-9


@pytest.mark.parametrize("law", ["weibull", "lognormal"])
def test_the_fit_is_a_maximum_and_its_covariance_the_curvature_there(law: str) -> None:
    from scipy.stats import lognorm, weibull_min

    exit_, event, entry = sample(5)
    fit = fit_law(law, exit_, event, entry=entry)

    def loglik(location: float, log_spread: float) -> float:
        s = math.exp(log_spread)
        ages = weibull_min(1 / s, scale=math.exp(location)) if law == "weibull" else lognorm(
            s, scale=math.exp(location))  # fmt: skip
        failed = event == 1
        total = ages.logpdf(exit_[failed]).sum() + ages.logsf(exit_[~failed]).sum()
        return float(total - ages.logsf(entry[entry > 0]).sum())

    here = np.array([fit.location, math.log(fit.spread)])
    assert fit.loglik == pytest.approx(loglik(*here), rel=1e-10)
    h = 1e-4
    second = np.empty((2, 2))
    for i in range(2):
        for j in range(2):
            a, b = np.eye(2)[i] * h, np.eye(2)[j] * h
            corners = [loglik(*(here + p * a + q * b)) * p * q for p in (1, -1) for q in (1, -1)]
            second[i, j] = sum(corners) / (4 * h * h)
    found = np.linalg.inv(-second)
    assert fit.covariance == pytest.approx((found[0, 0], found[0, 1], found[1, 1]), rel=1e-3)
    for step in ([1e-3, 0], [-1e-3, 0], [0, 1e-3], [0, -1e-3]):
        assert loglik(*(here + step)) < fit.loglik


def test_a_weight_of_two_is_the_life_twice() -> None:
    exit_, event, entry = sample(7)
    once = fit_law("weibull", np.tile(exit_, 2), np.tile(event, 2), entry=np.tile(entry, 2))
    weighed = fit_law("weibull", exit_, event, entry=entry, weights=np.full(len(exit_), 2.0))
    assert weighed.parameters == pytest.approx(once.parameters, rel=1e-9)
    assert weighed.covariance == pytest.approx(once.covariance, rel=1e-6)


@pytest.mark.parametrize("law", ["weibull", "lognormal", "exponential"])
def test_other_units_scale_ages_and_leave_the_shape(law: str) -> None:
    exit_, event, entry = sample(9)
    hours = fit_law(law, exit_, event, entry=entry)
    days = fit_law(law, exit_ / 24, event, entry=entry / 24)
    assert days.spread == pytest.approx(hours.spread, rel=1e-8)
    for what in ("b10", "b50", "mean"):
        assert np.array(days.bounds(what)) * 24 == pytest.approx(hours.bounds(what), rel=1e-7)


def test_quantile_and_survival_are_inverse_and_moments_those_of_scipy() -> None:
    from scipy.stats import lognorm, weibull_min

    exit_, event, _ = sample(11, late=False)
    for law in ("weibull", "lognormal"):
        fit = fit_law(law, exit_, event)
        known = (weibull_min(fit.shape, scale=fit.scale) if law == "weibull"
                 else lognorm(fit.sigma, scale=math.exp(fit.mu)))  # fmt: skip
        p = np.array([0.01, 0.1, 0.5, 0.9])
        assert fit.survival(fit.quantile(p)) == pytest.approx(1 - p)
        assert (fit.mean(), fit.sd()) == pytest.approx((known.mean(), known.std()))
        assert fit.survival([-1.0, 0.0]).tolist() == [1.0, 1.0]


def test_exponential_counts_only_the_time_watched() -> None:
    fit = fit_law("exponential", [10.0, 20.0, 30.0], [1, 1, 0], entry=[0.0, 10.0, 5.0])
    assert fit.mean() == pytest.approx((10 + 10 + 25) / 2)
    # log scale has standard error 1 / sqrt(failures)
    low, high = fit.bounds("scale", 0.95)
    assert math.log(high / low) == pytest.approx(2 * 1.959964 / math.sqrt(2))


def test_table_and_sentence_tell_figures_with_their_range() -> None:
    exit_, event, _ = sample(13, late=False)
    fit = fit_law("weibull", exit_, event)
    assert fit.table.index.tolist() == ["shape", "scale", "b10", "b50", "mean"]
    assert (fit.table["lower"] < fit.table["value"]).all()
    assert (fit.table["value"] < fit.table["upper"]).all()
    assert "90 % range" in fit.text
    assert f"in {len(exit_)} lives" in fit.text
    assert fit == fit_law("weibull", exit_, event)
    assert hash(fit) == hash(fit_law("weibull", exit_, event))


def test_zero_failures_are_refused() -> None:
    with pytest.raises(TooFewFailuresError, match="None of 3 lives ended in failure") as caught:
        fit_law("weibull", [5.0, 10, 20], [0, 0, 0])
    assert "starting value" in caught.value.mend


def test_failures_at_one_age_are_refused_but_not_for_an_exponential_law() -> None:
    with pytest.raises(TooFewFailuresError, match="All 3 failures lie at age 7"):
        fit_law("weibull", [7.0, 7, 7, 9], [1, 1, 1, 0])
    assert fit_law("exponential", [7.0, 7, 7, 9], [1, 1, 1, 0]).mean() == pytest.approx(10.0)


def test_every_fault_is_told_at_once_with_its_rows() -> None:
    with pytest.raises(FitError) as caught:
        fit_law("weibull", [-1.0, 5, 5, np.nan, 0], [1, 2, 1, 1, 0], entry=[0.0, 0, 6, 0, 0])
    told = str(caught.value)
    assert "1 of 5 lives have a negative age (rows 0)" in told
    assert "an event that is neither 0 nor 1 (rows 1)" in told
    assert "an entry not below its exit (rows 2)" in told
    assert "missing or not finite (rows 3)" in told
    assert "an exit of 0 (rows 4)" in told
    assert "Mend:" in told


def test_an_entry_equal_to_its_exit_is_refused() -> None:
    with pytest.raises(FitError, match="entry not below"):
        fit_law("weibull", [5.0, 6, 7], [1, 1, 1], entry=[5.0, 0, 0])


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: fit_law("weibull", [1.0, 2], [1]), "differ in length"),
        (lambda: fit_law("weibull", [], []), "No lives were given"),
        (lambda: fit_law("gompertz", [1.0, 2], [1, 1]), "'gompertz' is not a law"),
        (lambda: fit_law("weibull", [1.0, 2], [1, 1], weights=[1.0, 0.0]), "weight that is not"),
        (lambda: fit_law("weibull", [1.0, 2, 3], [1, 1, 1]).bounds("b99"), "'b99'"),
        (lambda: fit_law("lognormal", [1.0, 2, 3], [1, 1, 1]).shape, "no 'shape'"),
        (lambda: fit_law("exponential", [1.0, 2], [1, 1]).bounds("shape"), "no 'shape'"),
    ],
)
def test_what_cant_be_is_refused(call, told: str) -> None:
    with pytest.raises(FitError, match=told):
        call()


def test_one_late_failure_is_refused_rather_than_run_away() -> None:
    """With one failure and late entries the likelihood has no maximum (shape without end)."""
    with pytest.raises(FitError, match="no maximum|All 1 failure|1 failure"):
        fit_law("weibull", [30.0, 20, 25], [1, 0, 0], entry=[10.0, 5, 5])


@pytest.mark.shared
def test_bus_engines_give_the_known_answers(shared: Path) -> None:
    """README of the data set: group a452372 with and without its entry mileages, fitted twice."""
    spells = pd.read_csv(shared / "data/bus_engine_odometer/derived/engine_spells.csv")
    group = spells[spells["group"] == "a452372"]
    exit_, event = group["exit_miles"], group["event"]
    with_entry = fit_law("weibull", exit_, event, entry=group["entry_miles"])
    without = fit_law("weibull", exit_, event)
    assert (round(with_entry.shape, 2), round(with_entry.scale)) == (4.07, 196030)
    assert (round(without.shape, 2), round(without.scale)) == (4.83, 211902)
    assert (with_entry.n_lives, with_entry.n_failed) == (37, 19)
