"""Figures from published sources, reproduced from the copies in this folder."""

import re
from pathlib import Path

import numpy as np
import pytest
from published_checks import assert_near, checks_of, data_of

from dutylife.models import fit_law, kaplan_meier

HERE = Path(__file__).parent
CHECKS = checks_of(HERE)


def test_every_check_is_run() -> None:
    texts = "".join(path.read_text(encoding="utf-8") for path in HERE.glob("test_*.py"))
    run = {
        f"{a}-{b}".upper() for a, b in re.findall(r"(?m)^def test_([a-z]{2})_([0-9]{2})_", texts)
    }
    assert run == set(CHECKS)


def test_km_01_two_groups_with_greenwood_errors() -> None:
    check = CHECKS["KM-01"]
    data = data_of(HERE, check)
    for group in ("Maintained", "Nonmaintained"):
        rows = data[data["x"] == group]
        table = kaplan_meier(rows["time"], rows["status"]).table
        steps = table[table["n_events"] > 0]
        if group == "Maintained":
            assert_near(check, "Maintained_time", steps["age"])
        assert_near(check, f"{group}_surv", steps["survival"])
        errors = check["expect"][f"{group}_se"]
        assert_near(check, f"{group}_se", steps["standard_error"].iloc[: len(errors)])
        # where the curve is 0 its error is not known, and is not called 0
        assert steps["standard_error"].iloc[len(errors) :].isna().all()


def test_km_03_treated_arm_of_a_published_table() -> None:
    check = CHECKS["KM-03"]
    data = data_of(HERE, check)
    table = kaplan_meier(data["t2"], data["relapse"]).table
    steps = table[table["n_events"] > 0]
    assert_near(check, "time", steps["age"])
    assert_near(check, "surv", steps["survival"])
    assert_near(check, "se", steps["standard_error"])


def test_km_05_medians_with_limits() -> None:
    check = CHECKS["KM-05"]
    data = data_of(HERE, check)
    for sex in ("F", "M"):
        rows = data[data["sex"] == sex]
        curve = kaplan_meier(rows["futime"], rows["death"], limits="log")
        assert_near(check, f"{sex}_median", curve.median())
        assert_near(check, f"{sex}_lower", curve.median_limits()[0])
        assert_near(check, f"{sex}_upper", curve.median_limits()[1])
    # told in the same source: the lower ends are 99 and 78 with log-log limits
    loglog = [
        kaplan_meier(r["futime"], r["death"]).median_limits()[0] for _, r in data.groupby("sex")
    ]
    assert loglog == [99.0, 78.0]


def test_km_06_heavy_censoring() -> None:
    check = CHECKS["KM-06"]
    data = data_of(HERE, check)
    curve = kaplan_meier(data["hours"], data["status"])
    assert_near(check, "surv_1150h", curve.survival_at(1150.0))
    last = data.loc[data["status"] == 1, "hours"].max()
    assert_near(check, "surv_at_last_failure", curve.survival_at(last))


def test_lt_03_late_entry_given_an_age() -> None:
    check = CHECKS["LT-03"]
    data = data_of(HERE, check)
    given = check["inputs"]["given_age"]
    data = data[(data["ageentry"] < data["age"]) & (data["age"] > given)]
    for gender, name in ((1, "men"), (2, "women")):
        rows = data[data["gender"] == gender]
        entry = np.maximum(rows["ageentry"], given)
        curve = kaplan_meier(rows["age"], rows["death"], entry=entry)
        assert_near(check, name, curve.survival_at(check["inputs"]["at_months"]))


def nist() -> tuple[list[float], list[int]]:
    failures = CHECKS["WM-01"]["inputs"]["failures"]
    return failures + [500] * 10, [1] * len(failures) + [0] * 10


def test_wm_01_time_terminated_test() -> None:
    check = CHECKS["WM-01"]
    law, other = fit_law("weibull", *nist()), fit_law("lognormal", *nist())
    assert_near(check, "eta", law.scale)
    assert_near(check, "beta", law.shape)
    assert_near(check, "loglik", law.loglik)
    assert_near(check, "aic_weibull", law.aic)
    assert_near(check, "aic_lognormal", other.aic)
    assert_near(check, "mean", law.mean())
    assert_near(check, "sd", law.sd())


def test_wm_02_three_laws_on_one_field_set() -> None:
    check = CHECKS["WM-02"]
    data = data_of(HERE, check)
    laws = {k: fit_law(k, data["hours"], data["status"])
            for k in ("weibull", "lognormal", "exponential")}  # fmt: skip
    assert_near(check, "weibull_eta", laws["weibull"].scale)
    assert_near(check, "weibull_beta", laws["weibull"].shape)
    assert_near(check, "lognormal_mu", laws["lognormal"].mu)
    assert_near(check, "lognormal_sigma", laws["lognormal"].sigma)
    assert_near(check, "exponential_mean", laws["exponential"].mean())
    for name, law in laws.items():
        assert_near(check, f"{name}_loglik", law.loglik)
    assert_near(check, "aic", [law.aic for law in laws.values()])


def test_wm_03_one_law_a_stress() -> None:
    check = CHECKS["WM-03"]
    data = data_of(HERE, check)
    groups = [data.loc[data["voltage"] == v, "time"] for v in check["expect"]["voltage"]]
    laws = [fit_law("weibull", g, np.ones(len(g))) for g in groups]
    assert_near(check, "eta", [law.scale for law in laws])
    assert_near(check, "beta", [law.shape for law in laws])
    every = [data.loc[data["voltage"] == v, "time"] for v in sorted(data["voltage"].unique())]
    total = sum(fit_law("weibull", g, np.ones(len(g))).loglik for g in every)
    assert_near(check, "loglik_total", total)


def test_wm_04_complete_sample() -> None:
    check = CHECKS["WM-04"]
    ages = data_of(HERE, check)["megarevs"]
    law = fit_law("weibull", ages, np.ones(len(ages)))
    assert_near(check, "beta", law.shape)
    assert_near(check, "eta", law.scale)
    assert_near(check, "loglik", law.loglik)
    other = fit_law("lognormal", ages, np.ones(len(ages)))
    assert_near(check, "lognormal_mu", other.mu)
    assert_near(check, "lognormal_sigma", other.sigma)
    assert_near(check, "lognormal_loglik", other.loglik)
    variant = ages.replace(48.48, 48.40)
    assert_near(check, "beta_if_48.40", fit_law("weibull", variant, np.ones(len(ages))).shape)


def test_wm_06_shape_below_one() -> None:
    check = CHECKS["WM-06"]
    ages = data_of(HERE, check)["hours"]
    law, other = (fit_law(k, ages, np.ones(len(ages))) for k in ("weibull", "exponential"))
    assert_near(check, "beta", law.shape)
    assert_near(check, "eta", law.scale)
    assert_near(check, "loglik", law.loglik)
    assert_near(check, "exp_mean", other.mean())
    assert_near(check, "exp_loglik", other.loglik)
    assert_near(check, "lr_beta", law.bounds("shape", 0.95, "likelihood ratio"))


def test_ex_03_tiny_censored_sample() -> None:
    check = CHECKS["EX-03"]
    law = fit_law("exponential", check["inputs"]["time"], check["inputs"]["event"])
    assert_near(check, "mean", law.mean())


def likelihood_ratio(check: dict, exit: object, event: object) -> None:
    law = fit_law("weibull", exit, event)
    assert_near(check, "loglik", law.loglik)
    level = check["inputs"]["level"]
    named = {"beta": ("shape", law.shape), "eta": ("scale", law.scale),
             "B10": ("b10", float(law.quantile(0.1)))}  # fmt: skip
    for name, (what, value) in named.items():
        low, high = law.bounds(what, level, "likelihood ratio")
        assert_near(check, name, [low, value, high])


def test_lr_01_time_terminated_test() -> None:
    likelihood_ratio(CHECKS["LR-01"], *nist())
    # told in the same check: Wald limits of the shape on the log scale, to four places
    low, high = fit_law("weibull", *nist()).bounds("shape", 0.95)
    assert (low, high) == pytest.approx((0.9713, 3.0487), abs=5e-5)


def test_lr_03_complete_sample() -> None:
    ages = data_of(HERE, CHECKS["LR-03"])["megarevs"]
    likelihood_ratio(CHECKS["LR-03"], ages, np.ones(len(ages)))


def test_lr_04_heavy_censoring() -> None:
    data = data_of(HERE, CHECKS["LR-04"])
    likelihood_ratio(CHECKS["LR-04"], data["hours"], data["status"])
