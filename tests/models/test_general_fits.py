"""Laws from any mix of rows: against lifelines, known truth, numeric slopes, bad input."""

import numpy as np
import pandas as pd
import pytest

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models import fit_law
from dutylife.models.between import checked_rows
from dutylife.models.general import loglik


def some_rows(seed, n=60):
    """Exact, censored, between two ages (from 0 too), some entered late, with two covariates."""
    rng = np.random.default_rng(seed)
    age = 100 * rng.weibull(1.7, n)
    kind = rng.integers(0, 4, n)
    lower = np.select([kind == 2, kind == 3], [age * 0.7, 0.0], np.nan)
    upper = np.where(kind >= 2, age * 1.3, np.nan)
    entry = np.where((kind < 2) & (rng.random(n) < 0.4), age * 0.3, 0.0)
    terms = pd.DataFrame({"load": rng.normal(size=n), "duty": rng.choice(["dust", "yard"], n)})
    return {
        "exit": age, "event": (kind != 1).astype(float), "entry": entry, "lower": lower,
        "upper": upper, "covariates": terms,
    }  # fmt: skip


@pytest.mark.parametrize("law", ["weibull", "lognormal", "log-logistic"])
def test_slopes_are_those_of_the_likelihood(law):
    given = some_rows(4)
    seen = checked_rows(
        given["exit"], given["event"], given["entry"], given["lower"], given["upper"],
        np.linspace(0.5, 2.0, 60), None,
    )  # fmt: skip
    design = np.column_stack([np.ones(60), given["covariates"]["load"]])
    rows, theta = seen.rows(design), np.array([4.4, 0.2, -0.5])
    _, gradient, hessian = loglik(law, theta, rows)
    step = 1e-5 * np.eye(3)
    two = [(loglik(law, theta + s, rows), loglik(law, theta - s, rows)) for s in step]
    np.testing.assert_allclose(gradient, [(a[0] - b[0]) / 2e-5 for a, b in two], rtol=1e-6)
    np.testing.assert_allclose(
        hessian, [(a[1] - b[1]) / 2e-5 for a, b in two], rtol=1e-5, atol=1e-4
    )


def test_interval_laws_are_those_of_lifelines():
    from lifelines import WeibullFitter

    rng = np.random.default_rng(6)
    age = 100 * rng.weibull(2.0, 300)
    lower = np.floor(age / 20) * 20
    upper = np.where(age > 150, np.inf, lower + 20)
    lower = np.where(np.isinf(upper), 150.0, lower)
    ours = fit_law("weibull", lower=lower, upper=upper)
    theirs = WeibullFitter().fit_interval_censoring(np.maximum(lower, 1e-9), upper)
    np.testing.assert_allclose([ours.shape, ours.scale], [theirs.rho_, theirs.lambda_], rtol=2e-4)
    assert ours.loglik >= theirs.log_likelihood_ - 1e-6


def test_log_logistic_laws_are_those_of_lifelines():
    from lifelines import LogLogisticFitter

    rng = np.random.default_rng(2)
    age, stop = 50 * rng.weibull(1.5, 200), rng.uniform(10, 120, 200)
    ours = fit_law("log-logistic", np.minimum(age, stop), age <= stop)
    theirs = LogLogisticFitter().fit(np.minimum(age, stop), age <= stop)
    np.testing.assert_allclose([ours.scale, ours.shape], [theirs.alpha_, theirs.beta_], rtol=1e-4)
    assert ours.mean() > ours.scale


def test_every_way_to_give_exact_and_running_lives_is_the_same_law():
    rng = np.random.default_rng(1)
    age, stop = 80 * rng.weibull(2.2, 50), rng.uniform(20, 120, 50)
    ended, failed = np.minimum(age, stop), age <= stop
    plain = fit_law("weibull", ended, failed)
    looks = fit_law("weibull", lower=ended, upper=np.where(failed, ended, np.inf))
    assert looks.shape == pytest.approx(plain.shape, rel=1e-8)
    given = pd.DataFrame({"load": rng.normal(size=50)})
    none = fit_law("weibull", ended, failed, covariates=given)
    assert none.loglik >= plain.loglik


def test_bounds_between_two_ages_cover_the_truth():
    """Shape 2, scale 100, looked at every 40: 90 % ranges hold the truth in 84 to 96 %."""
    rng = np.random.default_rng(7)
    held = {"wald log": [], "likelihood ratio": []}
    for _ in range(300):
        age = 100 * rng.weibull(2.0, 40)
        lower = np.floor(age / 40) * 40
        law = fit_law("weibull", lower=lower, upper=lower + 40)
        for kind, found in held.items():
            low, high = law.bounds("scale", 0.90, kind)
            found.append(low <= 100 <= high)
    assert all(0.84 <= np.mean(found) <= 0.96 for found in held.values())


def test_a_held_shape_gives_the_closed_form():
    ages, failed = np.array([10.0, 30, 50, 70]), np.array([1, 0, 1, 0])
    law = fit_law("weibull", ages, failed, shape=2.0)
    assert law.scale == pytest.approx(np.sqrt((ages**2).sum() / 2), rel=1e-10)
    low, high = law.bounds("scale", 0.9, "likelihood ratio")
    assert low < law.scale < high
    # one failure carries a scale where the shape is held
    assert fit_law("weibull", [10, 20], [1, 0], shape=2.0).n_failed == 1
    with pytest.raises(FitError, match="shape was held"):
        law.bounds("shape")


def test_words_are_told_from_the_first_and_an_unseen_word_is_refused():
    given = some_rows(9, 400)
    law = fit_law("weibull", **given)
    assert law.names == ("intercept", "load", "duty=yard")
    both = {w: law.quantile(0.5, {"load": 0.0, "duty": w}) for w in ("dust", "yard")}
    shift = np.exp(law.coefficient("duty=yard"))
    assert both["yard"] / both["dust"] == pytest.approx(shift, rel=1e-9)
    with pytest.raises(FitError, match="not seen: quarry"):
        law.quantile(0.5, {"load": 0.0, "duty": "quarry"})
    with pytest.raises(FitError, match="missing: duty"):
        law.quantile(0.5, {"load": 0.0})
    with pytest.raises(FitError, match="'load' takes a number, not 'heavy'"):
        law.survival(50.0, {"load": "heavy", "duty": "dust"})


@pytest.mark.parametrize("kind", ["object", "category", "string"])
def test_no_way_to_give_an_unseen_word_reads_as_the_baseline(kind):
    """In every answer, for words, missing words, numbers for words and one-word columns."""
    given = some_rows(9, 200)
    given["covariates"] = given["covariates"].astype({"duty": kind})
    law = fit_law("weibull", **given)
    for ask in (law.survival, law.quantile):
        for strange in ("quarry", "Dust", "dust ", "", 3, 1.0, True):
            with pytest.raises(FitError, match="not seen"):
                ask(0.5, {"load": 0.0, "duty": strange})
        for blank in (None, np.nan):
            with pytest.raises(FitError, match="missing"):
                ask(0.5, {"load": 0.0, "duty": blank})
        for value in (np.nan, np.inf, None):
            with pytest.raises(FitError, match="load"):
                ask(0.5, {"load": value, "duty": "dust"})
    with pytest.raises(FitError, match="not seen"):
        law.quantile_bounds(0.1, {"load": 0.0, "duty": "quarry"})
    with pytest.raises(FitError, match="not in the law: dutty"):
        law.quantile(0.5, {"load": 0.0, "dutty": "quarry", "duty": "dust"})


def test_codes_that_are_words_stay_words():
    """A duty coded 1 and 2 as words: 3 is refused, not put on a line through 1 and 2."""
    rng = np.random.default_rng(3)
    duty = pd.DataFrame({"duty": rng.choice(["1", "2"], 80)})
    law = fit_law("weibull", 100 * rng.weibull(2.0, 80), np.ones(80), covariates=duty)
    assert law.quantile(0.5, {"duty": 2}) == law.quantile(0.5, {"duty": "2"})
    with pytest.raises(FitError, match="not seen: 3"):
        law.quantile(0.5, {"duty": 3})


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (lambda: fit_law("gumbel", [1], [1]), "not a law"),
        (lambda: fit_law("weibull", [1, 2]), "one of a pair"),
        (lambda: fit_law("weibull"), "No lives"),
        (lambda: fit_law("weibull", lower=[5], upper=[4]), "above the upper"),
        (lambda: fit_law("lognormal", [1, 2], [1, 1], shape=2), "no shape to hold"),
        (lambda: fit_law("weibull", [1, 2], [1, 1], by=["a"]), "1 groups"),
        (lambda: fit_law("weibull", [1, 2, 3], [1, 1, 1], by=["a", "a", "b"]), "Group 'b'"),
        (
            lambda: fit_law("weibull", [1, 2, 3], [1, 1, 0],
                            covariates=pd.DataFrame({"x": [1.0, 1.0, 1.0]})),
            "constant",
        ),
        (
            lambda: fit_law("weibull", [1, 2, 3], [1, 1, 0],
                            covariates=pd.DataFrame({"x": [1.0, np.nan, 2.0]})),
            "1 missing",
        ),
        (lambda: fit_law("weibull", [1, 2], [1, 1], entry=[0.5, 0], method="rank regression"),
         "enter late"),
    ],
)  # fmt: skip
def test_what_can_not_stand_is_refused_in_words(made, told):
    with pytest.raises(FitError, match=told):
        made()


def test_no_failure_is_no_law():
    with pytest.raises(TooFewFailuresError, match="None of 2 lives"):
        fit_law("weibull", lower=[5, 6], upper=[np.inf, np.inf])
