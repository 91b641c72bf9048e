"""Published figures of hazards, looks, competing causes and events that come again."""

from pathlib import Path

import numpy as np
from published_checks import assert_all_near, checks_of, data_of

from dutylife.models import (
    aalen_johansen,
    kaplan_meier,
    mean_cumulative,
    nelson_aalen,
    power_law,
    trend_tests,
    turnbull,
)

HERE = Path(__file__).parent
CHECKS = checks_of(HERE)


def test_na_02_ties_one_after_another() -> None:
    check = CHECKS["NA-02"]
    given = check["inputs"]
    table = nelson_aalen(given["time"], given["event"], ties="one after another").table
    steps = table[table["n_events"] > 0]
    assert_all_near(check, cumhaz=steps["cumulative_hazard"], surv=steps["survival"])
    # the trap named in the check: the plain estimator adds 2/4 for the tied pair
    plain = nelson_aalen(given["time"], given["event"]).at([6])
    np.testing.assert_allclose(plain, 1 / 6 + 2 / 4)


def test_tb_01_left_right_and_exact_with_counts() -> None:
    check = CHECKS["TB-01"]
    given = check["inputs"]
    time, kind = np.array(given["time"], dtype=float), np.array(given["kind"])
    lower = np.where(kind == "left", 0.0, time)
    upper = np.where(kind == "right", np.inf, time)
    curve = turnbull(lower, upper, weights=given["count"])
    assert_all_near(check, surv=curve.survival_at(check["expect"]["at"]))


def test_tb_03_weights_are_repeated_rows() -> None:
    check = CHECKS["TB-03"]
    given = check["inputs"]
    left, right = given["left"], [float(r) for r in given["right"]]
    plain = turnbull(left, right, intervals="closed").table["mass"]
    weighted = turnbull(left, right, weights=given["weights"], intervals="closed").table["mass"]
    assert_all_near(check, mass_unweighted=plain, mass_weighted=weighted)
    rows = np.repeat(np.arange(len(left)), given["weights"])
    again = turnbull(np.array(left)[rows], np.array(right)[rows], intervals="closed")
    np.testing.assert_allclose(again.table["mass"], weighted, rtol=1e-8)


def test_tb_04_grouped_looks() -> None:
    check = CHECKS["TB-04"]
    data = data_of(HERE, check)
    lower = np.concatenate([[0.0], data["days"].iloc[:-1], data["days"].iloc[-1:]])
    upper = np.concatenate([data["days"], [np.inf]])
    counts = np.concatenate([data["fail"], [check["inputs"]["survivors"]]])
    curve = turnbull(lower, upper, weights=counts)
    assert_all_near(check, surv_after_interval=curve.survival_at(data["days"]))


def test_tb_06_interval_censored_group() -> None:
    check = CHECKS["TB-06"]
    rows = data_of(HERE, check).query(check["inputs"]["group"])
    table = turnbull(rows["lower"], rows["upper"]).table
    assert_all_near(check, support=table[["lower", "upper"]], surv_after=table["survival"])


def test_cr_01_worked_by_hand() -> None:
    check = CHECKS["CR-01"]
    given = check["inputs"]
    table = aalen_johansen(given["time"], given["cause"], variance="jackknife").table
    at = table["age"].isin(check["expect"]["time"])
    one, two = (table[at & (table["cause"] == c)] for c in ("1", "2"))
    assert_all_near(
        check, event_free=one["event_free"], cause1=one["incidence"], cause2=two["incidence"],
        se_t3=[
            one["event_free_standard_error"].iloc[1], one["standard_error"].iloc[1],
            two["standard_error"].iloc[1],
        ],
    )  # fmt: skip


def test_cr_03_delta_variance_and_limits() -> None:
    check = CHECKS["CR-03"]
    given = check["inputs"]
    table = aalen_johansen(given["time"], given["cause"]).table
    rows = table[table["cause"] == str(given["of_interest"])].set_index("age")[
        ["incidence", "standard_error", "lower", "upper"]
    ]
    assert_all_near(
        check, cif=rows["incidence"], var=rows["standard_error"] ** 2,
        loglog_limits_t4=rows.loc[4.0, ["lower", "upper"]],
        loglog_limits_t5=rows.loc[5.0, ["lower", "upper"]],
    )  # fmt: skip


def test_cr_05_two_modes_do_not_add_up_as_if_alone() -> None:
    check = CHECKS["CR-05"]
    data, at = data_of(HERE, check), check["inputs"]["at"]
    curves = aalen_johansen(data["km"], data["mode"])
    alone = {m: 1.0 - kaplan_meier(data["km"], data["mode"] == m).survival_at(at) for m in (1, 2)}
    assert_all_near(
        check, cif1=curves.incidence_at(1, at), cif2=curves.incidence_at(2, at),
        one_minus_km1=alone[1], one_minus_km2=alone[2],
    )  # fmt: skip


def test_mc_01_replacements_on_engines() -> None:
    check = CHECKS["MC-01"]
    data = data_of(HERE, check)
    rows = mean_cumulative(data["id"], data["time"], data["status"]).at(check["expect"]["at"])
    assert_all_near(
        check, n_risk=rows["at_risk"], mcf=rows["mean_events"], se_robust=rows["standard_error"]
    )


def test_mc_04_two_batches() -> None:
    check = CHECKS["MC-04"]
    of = {
        batch: mean_cumulative(r["locomotive"], r["day2"], r["status"], entry=r["day1"])
        for batch, r in data_of(HERE, check).groupby("batch")
    }
    at = {batch: curve.at(check["inputs"]["at"]) for batch, curve in of.items()}
    gap = of[1].against(of[2], 365)
    assert_all_near(
        check, batch1_mcf=at[1]["mean_events"], batch1_se=at[1]["standard_error"],
        batch2_mcf=at[2]["mean_events"], batch2_se=at[2]["standard_error"],
        difference_365=gap["difference"], z_365=gap["z"],
    )  # fmt: skip


def test_pl_01_one_system_to_a_set_age() -> None:
    check = CHECKS["PL-01"]
    given = check["inputs"]
    law = power_law(given["times"], end=given["end"], level=given["level"])
    lower, upper = law.mean_gap_bounds()
    assert_all_near(
        check, b_mle=law.power, b_unbiased=law.power_unbiased, lambda_mle=law.rate,
        lambda_unbiased=law.rate_unbiased, mtbf_end_mle=law.mean_gap_at_end,
        mtbf_end_unbiased=law.mean_gap_at_end_unbiased, lower80=lower, upper80=upper,
    )  # fmt: skip


def test_pl_03_three_systems() -> None:
    check = CHECKS["PL-03"]
    systems = {k: v for k, v in check["inputs"].items() if k.startswith("sys")}
    age = [a for ages in systems.values() for a in ages]
    unit = [name for name, ages in systems.items() for _ in ages]
    law = power_law(age, unit=unit, end=check["inputs"]["end"])
    expect = {"lambda": law.rate, "b": law.power, "n": law.n_events}
    assert_all_near(check, **expect, b_unbiased=law.power_unbiased, cvm=law.cramer_von_mises)
    # spans that differ by a hair go another way, to the same figures
    ends = dict.fromkeys(systems, 200.0) | {"sys1": 200.0 * (1 + 1e-12)}
    np.testing.assert_allclose(power_law(age, unit=unit, end=ends).power, law.power, rtol=1e-9)


def test_tt_01_one_improving_system() -> None:
    check = CHECKS["TT-01"]
    found = trend_tests(check["inputs"]["times"], end=check["inputs"]["end"])
    assert_all_near(
        check, mil_chi2=found.military_handbook, df=found.degrees, p_improving=found.p_improving,
        laplace=found.laplace, reversals=found.reversals,
        expected_reversals=found.expected_reversals,
    )  # fmt: skip
    assert "slower" in found.text


def test_tt_03_pooled_over_systems_of_unlike_spans() -> None:
    check = CHECKS["TT-03"]
    data = data_of(HERE, check)
    came = data[data["status"] == 1]
    ends = data.groupby("id")["time"].max()
    found = trend_tests(came["time"], unit=came["id"], end=ends)
    assert_all_near(
        check, n=found.n_events, laplace_pooled=found.laplace, df=found.degrees,
        mil_pooled=found.military_handbook, p_deteriorating=found.p_deteriorating,
    )  # fmt: skip
    assert "faster" in found.text
