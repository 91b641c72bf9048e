"""Lives follow the laws stated as true whatever difficulty is on; drawn laws follow their prior."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from dutylife.errors import SettingsError
from dutylife.practice import DIFFICULTIES, law_survival, simulate_fleet, without_difficulties
from dutylife.practice.laws import LOG_LIFE_MEAN, LOG_LIFE_SD, LifeLaw


@pytest.mark.parametrize("name", DIFFICULTIES)
def test_lives_follow_the_true_laws_with_each_difficulty(name, fleet_with, uniforms_of):
    told = uniforms_of(fleet_with(name))
    assert len(told) > 300
    # 25 fleets of a fixed seed are looked at: smallest p at least 0.01 / 25
    assert stats.kstest(told, "uniform").pvalue > 0.01 / len(DIFFICULTIES)


@pytest.mark.parametrize("name", ["lognormal_lives", "mixed_modes"])
def test_the_check_sees_that_plain_weibull_laws_are_not_these(name, fleet_with, uniforms_of):
    from dataclasses import replace

    fleet = fleet_with(name)
    wrong = replace(fleet, laws=fleet_with().laws)
    assert stats.kstest(uniforms_of(wrong), "uniform").pvalue < 0.01


def test_lognormal_laws_have_the_mean_and_spread_of_the_log_life(fleet_with):
    plain, laws = fleet_with().laws, fleet_with("lognormal_lives").laws
    assert (plain["distribution"] == "weibull").all()
    assert (laws["distribution"] == "lognormal").all()
    np.testing.assert_allclose(1 / laws["shape"], LOG_LIFE_SD / plain["shape"])
    mean = np.log(plain["scale"]) + LOG_LIFE_MEAN / plain["shape"]
    np.testing.assert_allclose(np.log(laws["scale"]), mean, rtol=1e-7)
    sample = np.log(stats.weibull_min(2.0, scale=10.0).ppf((np.arange(1e5) + 0.5) / 1e5))
    assert sample.mean() == pytest.approx(np.log(10.0) + LOG_LIFE_MEAN / 2.0, abs=1e-3)
    assert sample.std() == pytest.approx(LOG_LIFE_SD / 2.0, abs=1e-3)


def test_half_strength_makes_half_of_the_components_lognormal():
    strengths = without_difficulties() | {"lognormal_lives": 0.5}
    laws = simulate_fleet(n_units=1, n_years=1, difficulties=strengths).laws
    kinds = laws.groupby("component")["distribution"].first().value_counts()
    assert kinds.to_dict() == {"weibull": 6, "lognormal": 6}


@pytest.mark.parametrize("distribution", ["weibull", "lognormal"])
def test_age_and_hazard_are_each_others_inverse(distribution):
    law = LifeLaw(distribution, 1.7, 900.0)
    for hazard in (1e-6, 0.01, 0.7, 5.0):
        assert law.hazard(law.age(hazard)) == pytest.approx(hazard, rel=1e-6)
    alive = law_survival({"distribution": distribution, "shape": 1.7, "scale": 900.0}, 500.0)
    assert float(alive) == pytest.approx(np.exp(-law.hazard(500.0)))


def test_survival_under_spread_is_the_mean_over_gamma_factors():
    law = {
        "distribution": "weibull with spread", "shape": 2.0, "scale": 100.0,
        "machine_variance": 0.25, "customer_variance": 0.25,
    }  # fmt: skip
    rng = np.random.default_rng(3)
    factors = rng.gamma(4.0, 0.25, 400_000) * rng.gamma(4.0, 0.25, 400_000)
    for age in (40.0, 100.0, 180.0):
        drawn = np.exp(-factors * (age / 100.0) ** 2).mean()
        assert float(law_survival(law, age)) == pytest.approx(drawn, abs=0.003)


def test_two_modes_fail_as_the_first_of_both(fleet_with):
    fleet = fleet_with("mixed_modes")
    laws = fleet.laws
    assert (laws["distribution"] == "weibull with second mode").all()
    np.testing.assert_allclose(laws["second_scale"], 1.5 * laws["scale"])
    failed = fleet.lives[fleet.lives["event"] == "failed"]
    assert set(failed["mode"]) == {"main", "second"}
    assert 0.2 < (failed["mode"] == "second").mean() < 0.8


@pytest.mark.parametrize("name", ["machine_spread", "customer_spread"])
def test_spread_is_a_gamma_factor_of_mean_1_and_variance_a_quarter(name):
    from dutylife.practice.laws import gamma_factor
    from dutylife.practice.streams import Stream

    drawn = [gamma_factor(Stream(4, i, 11), 0.25) for i in range(4000)]
    assert stats.kstest(drawn, stats.gamma(4.0, scale=0.25).cdf).pvalue > 0.01
    strengths = without_difficulties() | {name: 1.0}
    fleet = simulate_fleet(n_units=3, n_years=1, difficulties=strengths)
    assert fleet.laws[name.replace("spread", "variance")].eq(0.25).all()
    assert {m.risk == 1.0 for m in fleet.machines} == {name == "customer_spread"}


def test_laws_of_the_prior():
    fleets = [simulate_fleet(n_units=1, n_years=0.1, seed=s, laws_from="prior") for s in range(25)]
    stated = simulate_fleet(n_units=1, n_years=0.1).laws
    laws = pd.concat([f.laws for f in fleets])
    assert len(laws) == 25 * len(stated)
    shapes = stats.lognorm(np.log(3.2 / 0.7) / (2 * 1.959964), scale=1.5).cdf(laws["shape"])
    assert stats.kstest(shapes, "uniform").pvalue > 0.01
    ratio = np.log(laws["scale"].to_numpy() / np.tile(stated["scale"], 25))
    assert stats.kstest(ratio / 0.5, "norm").pvalue > 0.01
    assert 0.02 < (~laws["shape"].between(0.7, 3.2)).mean() < 0.09


def test_lives_follow_drawn_laws(uniforms_of):
    fleet = simulate_fleet(n_units=40, n_years=3, seed=2, laws_from="prior")
    assert stats.kstest(uniforms_of(fleet), "uniform").pvalue > 0.01


def test_the_scenario_can_ask_for_drawn_laws(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('laws = "drawn"\n')
    some = {"n_units": 2, "n_years": 1, "seed": 6}
    drawn = simulate_fleet(**some, settings_file=own)
    pd.testing.assert_frame_equal(drawn.laws, simulate_fleet(**some, laws_from="prior").laws)
    assert not drawn.laws.equals(simulate_fleet(**some).laws)
    held = simulate_fleet(**some, settings_file=own, laws_from="scenario")
    pd.testing.assert_frame_equal(held.laws, simulate_fleet(**some).laws)
    with pytest.raises(SettingsError, match="laws_from = 'priro' is neither"):
        simulate_fleet(laws_from="priro")
