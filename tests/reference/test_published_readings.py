"""Published figures of readings that run to a limit, and of shapes of small samples."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from published_checks import assert_all_near, checks_of, data_of

from dutylife.errors import FitError
from dutylife.models import (
    crossing_ages,
    fit_law,
    path_model,
    shape_factor,
    simulated_shape_factor,
)
from dutylife.models.paths.likelihood import Between, fitted
from dutylife.models.paths.rows import checked_readings, sums_of

HERE = Path(__file__).parent
CHECKS = checks_of(HERE)


def test_dg_01_ages_of_cracks_at_a_limit() -> None:
    check = CHECKS["DG-01"]
    data = data_of(HERE, check)
    limit = 16 / 9
    assert check["inputs"]["threshold"] == "16/9"
    lives = crossing_ages(data["Path"], data["cycles"], data["relLength"], limit)
    reached = lives[lives["event"] == 1]
    assert len(lives) == check["expect"]["n_paths"]
    assert len(reached) == check["expect"]["n_reaching"] == check["printed"]["n_reaching"]
    assert_all_near(check, crossing=np.sort(reached["exit"]))
    # the trap named in the check: the others are censored, not drawn on
    assert set(lives.loc[lives["event"] == 0, "exit"]) == {check["expect"]["censored_at"]}
    # a fitted model gives the same, on either scale
    model = path_model(data["Path"], data["cycles"], data["relLength"], scale="log")
    pd.testing.assert_frame_equal(model.crossings(limit), lives)


def test_dg_03_laws_of_pseudo_failure_ages() -> None:
    check = CHECKS["DG-03"]
    ages = np.array(check["inputs"]["hours"], dtype=float)
    failed = np.ones(len(ages))
    lognormal, weibull = fit_law("lognormal", ages, failed), fit_law("weibull", ages, failed)
    assert_all_near(
        check, lognormal_mu=lognormal.mu, lognormal_sigma_ml=lognormal.sigma,
        weibull_shape=weibull.shape, weibull_scale=weibull.scale,
    )  # fmt: skip
    # readings that lead to those ages: a straight rise of 10 % over each, read with little error
    part = np.repeat(np.arange(15), 6)
    age = np.tile(np.arange(0.0, 1500.0, 250.0), 15)
    noise = np.random.default_rng(3).normal(0.0, 1e-4, len(age))
    model = path_model(part, age, 10.0 * age / ages[part] + noise, limit=10.0)
    lives = model.lives()
    assert (lives["event"] == 1).all()
    np.testing.assert_allclose(lives["exit"], ages, rtol=1e-3)
    again = fit_law("weibull", lives["exit"], lives["event"])
    assert again.scale == pytest.approx(check["expect"]["weibull_scale"], rel=1e-3)


def test_dg_10_likelihood_of_a_mixed_model() -> None:
    check = CHECKS["DG-10"]
    data = data_of(HERE, check)
    model = path_model(data["subject"], data["days"], data["reaction"])
    assert_all_near(
        check, minus_two_loglik=-2.0 * model.loglik, start=model.start, drift=model.drift
    )
    for name in ("start_sd", "drift_sd", "correlation", "measurement_sd"):
        # where the likelihood is flat the search ends a little beside: 2e-5 of a figure
        assert getattr(model, name) == pytest.approx(check["expect"][name], rel=5e-5)


def test_dg_10_restricted_likelihood() -> None:
    # the restricted criterion at its printed figures, from the sums of the module
    check = CHECKS["DG-10"]
    data = data_of(HERE, check)
    sums = sums_of(checked_readings(data["subject"], data["days"], data["reaction"], ""))
    noise, start, slope, correlation = 25.59182, 24.740448, 5.922133, 0.0655513
    ratio_slope = slope * sums.age_unit / noise
    between = Between.of(*(np.array([v]) for v in (start / noise, ratio_slope, correlation)))
    found = fitted(sums, between)
    n = len(data)
    # weights are of scaled ages and readings: back to those as given
    det = (found.weight[0, 0] * found.weight[0, 2] - found.weight[0, 1] ** 2) * sums.age_unit**2
    squares = found.squares[0] * sums.reading_unit**2
    criterion = (
        (n - 2) * np.log(2 * np.pi * noise**2) + found.log_det[0] + np.log(det)
        + squares / noise**2
    )  # fmt: skip
    assert_all_near(check, reml_criterion=criterion)


def test_sb_01_factor_by_formula() -> None:
    check = CHECKS["SB-01"]
    assert_all_near(check, factor=[shape_factor(n).factor for n in check["inputs"]["n"]])
    with pytest.raises(FitError, match="2 lives"):
        shape_factor(2)


def test_sb_02_factor_by_simulation() -> None:
    check = CHECKS["SB-02"]
    found = [
        simulated_shape_factor(n, n_samples=400_000 if n < 10 else 100_000, seed=11)
        for n in check["inputs"]["n"]
    ]
    assert_all_near(check, factor=[f.factor for f in found])
    assert max(f.standard_error for f in found) < 0.001
