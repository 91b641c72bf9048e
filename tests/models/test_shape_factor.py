"""Factor that takes the small-sample bias out of a Weibull shape: truth by the house's own fits."""

import numpy as np
import pytest

from dutylife.errors import FitError
from dutylife.models import fit_law, shape_factor, simulated_shape_factor
from dutylife.models.shape_bias import _shapes


@pytest.mark.parametrize(("n", "failed"), [(4, 4), (12, 5), (30, 30), (9, 8)])
def test_simulated_shapes_are_those_of_the_fit(n, failed):
    found = _shapes(np.random.default_rng(3), 20, n, failed)
    lives = np.sort(np.random.default_rng(3).standard_exponential((20, n)), axis=1)
    for row, shape in zip(lives, found, strict=True):
        ages = np.minimum(row, row[failed - 1])
        law = fit_law("weibull", ages, np.arange(n) < failed)
        assert shape == pytest.approx(law.shape, rel=1e-7)


@pytest.mark.parametrize("shape", [0.8, 3.0])
def test_a_corrected_shape_is_right_on_average_or_in_the_middle(shape):
    # lives of another shape and scale than those simulated, and another seed
    n, samples = 7, 60_000
    log_age = np.log(np.random.default_rng(99).weibull(shape, (samples, n)) * 400.0)
    found = _fit_all(log_age)
    error = found.std() / np.sqrt(samples)
    mean = simulated_shape_factor(n, unbiased="mean", seed=1)
    median = simulated_shape_factor(n, unbiased="median", seed=1)
    assert (mean.factor * found).mean() == pytest.approx(shape, abs=5 * error)
    assert (median.factor * found < shape).mean() == pytest.approx(0.5, abs=0.012)
    # uncorrected it is far off, so that the above can fail
    assert found.mean() > shape + 20 * error
    assert mean.factor < median.factor < 1


def _fit_all(log_age):
    """Shapes by bisection of the likelihood's slope: another route than Newton's steps."""
    low, high = np.full(len(log_age), 1e-3), np.full(len(log_age), 1e3)
    mean, below = log_age.mean(axis=1), log_age - log_age.max(axis=1)[:, None]
    offset = log_age.max(axis=1)
    for _ in range(60):
        k = np.sqrt(low * high)
        weight = np.exp(k[:, None] * below)
        slope = (weight * below).sum(axis=1) / weight.sum(axis=1) + offset - 1 / k - mean
        low, high = np.where(slope < 0, k, low), np.where(slope < 0, high, k)
    return np.sqrt(low * high)


def test_the_standard_error_is_that_of_repeated_simulation():
    for unbiased in ("mean", "median"):
        found = [
            simulated_shape_factor(8, unbiased=unbiased, n_samples=2000, seed=s) for s in range(60)
        ]
        spread = np.std([f.factor for f in found], ddof=1)
        # 60 repeats tell a spread to 9 %
        assert np.mean([f.standard_error for f in found]) == pytest.approx(spread, rel=0.3)


def test_formula_and_simulation_agree_to_what_the_docstring_says():
    for n in (5, 6, 8, 12, 25):
        simulated = simulated_shape_factor(n, n_samples=100_000, seed=5)
        room = 0.005 + 3 * simulated.standard_error
        assert shape_factor(n).factor == pytest.approx(simulated.factor, abs=room)


def test_censoring_makes_the_bias_that_of_fewer_failures_and_worse():
    few = simulated_shape_factor(30, 6, seed=2)
    assert few.factor < simulated_shape_factor(6, seed=2).factor - 10 * few.standard_error
    assert "6 failures in 30 lives" in few.text
    assert few.table["n_samples"].tolist() == [100_000]


def test_a_seed_gives_the_same_factor_and_what_cannot_be_is_refused():
    one = simulated_shape_factor(10, n_samples=1000, seed=4)
    assert simulated_shape_factor(10, n_samples=1000, seed=4) == one
    assert simulated_shape_factor(10, n_samples=1000, seed=5).factor != one.factor
    for given in ({"n_lives": 2}, {"n_lives": 9, "n_failed": 10}, {"n_lives": 9, "n_failed": 2},
                  {"n_lives": 9, "n_samples": 10}, {"n_lives": 9, "unbiased": "mode"}):  # fmt: skip
        with pytest.raises(FitError, match="factor for"):
            simulated_shape_factor(**given)
