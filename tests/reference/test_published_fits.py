"""Published figures of laws with covariates, lives between two ages, held shapes, ranks."""

from pathlib import Path

import numpy as np
import pandas as pd
from published_checks import assert_all_near, checks_of, data_of

from dutylife.models import fit_law, median_ranks, rank_regression

HERE = Path(__file__).parent
CHECKS = checks_of(HERE)


def test_ic_03_between_two_ages_with_some_exact() -> None:
    check = CHECKS["IC-03"]
    data = data_of(HERE, check)
    male = pd.DataFrame({"male": (data["gender"] == "male").astype(float)})
    law = fit_law("weibull", lower=data["left"], upper=data["right"], covariates=male)
    assert_all_near(
        check, intercept=law.intercept, male=law.coefficient("male"), shape=law.shape,
        scale_at_base=np.exp(law.intercept), loglik=law.loglik,
    )  # fmt: skip


def test_mr_01_median_ranks() -> None:
    check = CHECKS["MR-01"]
    n = check["inputs"]["n"]
    assert_all_near(check, exact=median_ranks(n), benard=median_ranks(n, "benard"))


def test_mr_05_both_directions() -> None:
    check = CHECKS["MR-05"]
    given = check["inputs"]
    for name, direction in (("time_on_rank", "age on rank"), ("rank_on_time", "rank on age")):
        fit = rank_regression(given["time"], given["event"], direction=direction)
        expect = check["expect"][name]
        np.testing.assert_allclose(
            [fit.shape, fit.scale], [expect["beta"], expect["eta"]], rtol=check["rtol"]
        )
        assert_all_near(check, r2=fit.r_squared)


def test_mr_06_half_still_running() -> None:
    check = CHECKS["MR-06"]
    ages = check["inputs"]["failures"] + [500] * 10
    failed = [1] * 10 + [0] * 10
    fit = rank_regression(ages, failed)
    assert_all_near(check, F=fit.table["share_failed"], r2=fit.r_squared)
    law = fit_law("weibull", ages, failed, method="rank regression")
    expect = check["expect"]["time_on_rank"]
    np.testing.assert_allclose(
        [law.shape, law.scale], [expect["beta"], expect["eta"]], rtol=check["rtol"]
    )


def test_wb_03_a_held_shape_shrinks_errors() -> None:
    check = CHECKS["WB-03"]
    given, data = check["inputs"], data_of(HERE, check)
    at = {"temp": given["at_temp"]}
    terms = data[["temp"]]
    free = fit_law("weibull", data["time"], data["status"], covariates=terms)
    held = fit_law(
        "weibull", data["time"], data["status"], covariates=terms, shape=1 / given["sigma"]
    )
    assert_all_near(
        check, log_quantile=np.log(held.quantile(given["p"], at)),
        se_log_fixed=[held.log_quantile_error(p, at) for p in given["p"]],
        se_log_free=[free.log_quantile_error(p, at) for p in given["p"]],
    )  # fmt: skip


def test_af_01_quantiles_at_use() -> None:
    check = CHECKS["AF-01"]
    given, data = check["inputs"], data_of(HERE, check)
    law = fit_law("weibull", data["time"], data["status"], covariates=data[["temp"]])
    at = {"temp": given["at_temp"]}
    # the source takes 1.96 for the normal figure of 95 %
    level = 0.9500042097035593
    limits = [law.quantile_bounds(p, at, level) for p in given["p"]]
    assert_all_near(
        check, intercept=law.intercept, temp=law.coefficient("temp"), sigma=law.spread,
        loglik=law.loglik, se=law.table["standard_error"], quantile=law.quantile(given["p"], at),
        lower=[low for low, _ in limits], upper=[high for _, high in limits],
    )  # fmt: skip


def test_af_03_two_stresses() -> None:
    check = CHECKS["AF-03"]
    data, terms = data_of(HERE, check), check["inputs"]["terms"]
    law = fit_law("weibull", data["time"], data["status"], covariates=data[terms])
    found = {name: law.coefficient(name) for name in terms}
    assert_all_near(check, intercept=law.intercept, sigma=law.spread, loglik=law.loglik, **found)


def test_af_04_seven_terms() -> None:
    check = CHECKS["AF-04"]
    data, terms = data_of(HERE, check), check["inputs"]["terms"]
    law = fit_law("weibull", data["week"], data["arrest"], covariates=data[terms])
    assert_all_near(
        check, intercept=law.intercept, coef=[law.coefficient(t) for t in terms],
        sigma=law.spread, loglik=law.loglik,
    )  # fmt: skip


def test_af_05_inverse_power() -> None:
    check = CHECKS["AF-05"]
    data = data_of(HERE, check)
    law = fit_law("weibull", data["time"], np.ones(len(data)), covariates=np.log(data[["voltage"]]))
    assert_all_near(
        check, intercept=law.intercept, slope=law.coefficient("voltage"), sigma=law.spread,
        loglik=law.loglik,
    )  # fmt: skip


def test_lt_04_late_entry_with_covariates() -> None:
    check = CHECKS["LT-04"]
    data, terms = data_of(HERE, check), check["inputs"]["terms"]
    entry = np.where(data["week"] > 10, 2.0, 0.0)
    law = fit_law("weibull", data["week"], data["arrest"], entry=entry, covariates=data[terms])
    assert_all_near(
        check, log_shape=np.log(law.shape), intercept=law.intercept,
        coef=[law.coefficient(t) for t in terms], loglik=law.loglik,
    )  # fmt: skip


def test_wm_03_a_law_for_each_voltage() -> None:
    check = CHECKS["WM-03"]
    data = data_of(HERE, check)
    laws = fit_law("weibull", data["time"], np.ones(len(data)), by=data["voltage"])
    at = [laws[v] for v in check["expect"]["voltage"]]
    assert_all_near(
        check, eta=[law.scale for law in at], beta=[law.shape for law in at],
        loglik_total=sum(law.loglik for law in laws.values()),
    )  # fmt: skip


def test_dg_03_ages_read_off_paths() -> None:
    check = CHECKS["DG-03"]
    hours = check["inputs"]["hours"]
    weibull, lognormal = (
        fit_law(name, hours, np.ones(len(hours))) for name in ("weibull", "lognormal")
    )
    assert_all_near(
        check, lognormal_mu=lognormal.mu, lognormal_sigma_ml=lognormal.sigma,
        weibull_shape=weibull.shape, weibull_scale=weibull.scale,
    )  # fmt: skip


def test_ex_02_no_failures() -> None:
    check = CHECKS["EX-02"]
    given = check["inputs"]
    law = fit_law("exponential", np.full(4, given["total_time"] / 4), np.zeros(4))
    confidence = given["confidence"]
    one, top = law.bounds("scale", confidence, "chi-square", side="lower")
    two, _ = law.bounds("scale", 2 * confidence - 1, "chi-square")
    assert_all_near(check, lower=[one, two])
    assert top == np.inf


def test_gm_01_a_gamma_law() -> None:
    check = CHECKS["GM-01"]
    ages = data_of(HERE, check)["megarevs"]
    law = fit_law("gamma", ages, np.ones(len(ages)))
    assert_all_near(check, shape=law.shape, scale=law.scale, mean=law.mean(), loglik=law.loglik)


def test_gm_02_a_gamma_law_of_falling_risk() -> None:
    check = CHECKS["GM-02"]
    ages = data_of(HERE, check)["hours"]
    law = fit_law("gamma", ages, np.ones(len(ages)))
    assert_all_near(check, shape=law.shape, mean=law.mean())


def test_tw_01_a_threshold() -> None:
    check = CHECKS["TW-01"]
    ages = data_of(HERE, check)["megarevs"]
    law = fit_law("three-parameter weibull", ages, np.ones(len(ages)))
    assert_all_near(
        check, shape=law.shape, scale=law.scale, threshold=law.threshold, loglik=law.loglik
    )
