"""The stock rules reproduce published figures."""

import math
import re
from pathlib import Path

import numpy as np
import pytest
from published_checks import assert_near, checks_of
from scipy import stats

from dutylife.stock import (
    base_stock,
    demand_law,
    gamma_poisson,
    gamma_prior,
    intermittent_forecast,
    lead_time_demand,
    newsvendor,
    order_quantity,
    order_up_to_policy,
    reorder_policy,
)

HERE = Path(__file__).parent
CHECKS = checks_of(HERE)


def test_every_check_is_run():
    text = Path(__file__).read_text(encoding="utf-8")
    run = {f"{a}-{b}".upper() for a, b in re.findall(r"(?m)^def test_([a-z]{2})_(\d\d)_", text)}
    assert run == set(CHECKS)


def test_sp_01_backorders_against_stock():
    check = CHECKS["SP-01"]
    for pipeline, name in zip(check["inputs"]["pipeline"], ("m1_s0_5", "m4_s0_10"), strict=True):
        law = demand_law("poisson", mean=pipeline)
        owed = [base_stock(law, level=s).backorders for s in range(len(check["expect"][name]))]
        assert_near(check, name, owed)
        table = base_stock(law, level=len(owed) - 1).table
        assert_near(check, name, table["backorders"][: len(owed)])


def test_sp_03_only_the_mean_repair_time_matters():
    check = CHECKS["SP-03"]
    given = check["inputs"]
    pipeline = given["demand_rate"] * given["mean_repair"]
    held = base_stock(demand_law("poisson", mean=pipeline), level=given["stock"])
    assert_near(check, "mean_in_repair", held.mean)
    assert_near(check, "var_in_repair", demand_law("poisson", mean=pipeline).sd ** 2)
    assert held.ready_rate == pytest.approx(check["expect"]["ready_rate"], rel=1e-9)
    assert held.backorders == pytest.approx(check["expect"]["backorders"], rel=1e-9)
    # and by simulation: what is in repair at an instant, whatever the repair law
    random = np.random.default_rng(8)
    mean = given["mean_repair"]
    laws = {
        "fixed": lambda n: np.full(n, float(mean)),
        "exponential": lambda n: random.exponential(mean, n),
        "lognormal": lambda n: random.lognormal(np.log(mean) - 0.5, 1.0, n),
    }
    for repair in given["repair"]:
        n = 200_000
        failed = np.cumsum(random.exponential(1 / given["demand_rate"], n))
        back = np.sort(failed + laws[repair](n))
        looks = np.linspace(failed[-1] * 0.1, failed[-1] * 0.9, 40_000)
        inside = np.searchsorted(failed, looks) - np.searchsorted(back, looks)
        assert inside.mean() == pytest.approx(pipeline, abs=0.06)
        assert (inside <= given["stock"]).mean() == pytest.approx(
            held.ready_rate, abs=check["atol"]
        )


def test_sp_05_spares_for_a_mission():
    check = CHECKS["SP-05"]
    law = demand_law("poisson", mean=check["inputs"]["expected"])
    found = base_stock(law, check["inputs"]["confidence"], "ready rate")
    assert_near(check, "spares", found.level)
    assert_near(check, "p_at_6", found.ready_rate)
    for level in (3, 5):
        assert_near(check, f"p_at_{level}", base_stock(law, level=level).ready_rate)


def test_in_01_economic_order_quantity():
    check = CHECKS["IN-01"]
    given = check["inputs"]
    found = order_quantity(given["demand"], given["fixed"], holding_cost=given["holding"])
    assert_near(check, "q", found.quantity)
    assert_near(check, "cost", found.cost_per_year)


def test_in_02_storage_and_capital():
    check = CHECKS["IN-02"]
    given = check["inputs"]
    found = order_quantity(
        given["demand"], given["fixed"], given["unit"], given["interest"],
        holding_cost=given["storage"],
    )  # fmt: skip
    assert_near(check, "q", found.quantity)
    assert_near(check, "orders", found.orders_per_year)


def test_in_03_normal_newsvendor():
    check = CHECKS["IN-03"]
    given = check["inputs"]
    law = demand_law("normal", mean=given["mean"], sd=given["sd"])
    found = newsvendor(law, given["p"], given["h"])
    assert_near(check, "S", found.quantity)
    assert_near(check, "cost", found.cost)


def test_in_04_three_laws_of_demand():
    check = CHECKS["IN-04"]
    given = check["inputs"]
    laws = {
        "uniform": demand_law("uniform", lower=given["uniform"][0], upper=given["uniform"][1]),
        "normal": demand_law("normal", mean=given["normal"][0], sd=given["normal"][1]),
        "lognormal": demand_law(
            "lognormal", median=given["lognormal"][0], log_sd=given["lognormal"][1]
        ),
    }
    for (name, law), rounded in zip(laws.items(), check["printed"]["rounded"], strict=True):
        found = newsvendor(law, price=7, unit_cost=5)
        assert_near(check, name, found.quantity)
        assert found.quantity_whole == rounded


def test_in_05_price_cost_and_salvage():
    check = CHECKS["IN-05"]
    given = {
        "price": check["inputs"]["price"], "unit_cost": check["inputs"]["cost"],
        "salvage_value": check["inputs"]["salvage"],
    }  # fmt: skip
    even = newsvendor(stats.uniform(350, 270), **given)
    assert_near(check, "ratio", even.critical_ratio)
    assert_near(check, "uniform", even.quantity)
    assert_near(check, "normal", newsvendor(stats.norm(485, 50), **given).quantity)


def test_in_07_penalty_for_each_piece_short():
    check = CHECKS["IN-07"]
    given = check["inputs"]
    best = reorder_policy(
        demand_law("normal", mean=given["lead_mean"], sd=given["lead_sd"]),
        demand_per_year=given["demand"], order_cost=given["fixed"],
        holding_cost=given["holding"], penalty_cost=given["penalty"],
    )  # fmt: skip
    assert_near(check, "eoq", best.economic_quantity)
    assert_near(check, "Q", best.order_quantity)
    assert_near(check, "R", best.reorder_point)
    assert_near(check, "short_per_cycle", best.short_per_cycle)
    assert_near(check, "cost", best.cost_per_year)


def test_in_09_service_of_a_given_policy():
    check = CHECKS["IN-09"]
    given = check["inputs"]
    demand = lead_time_demand(
        "normal", mean_per_period=given["week_mean"], sd_per_period=given["week_sd"],
        lead_time=given["lead"],
    )  # fmt: skip
    found = reorder_policy(demand, reorder_point=given["s"], order_quantity=given["Q"])
    assert_near(check, "cycle_service", found.cycle_service)
    assert_near(check, "short_per_cycle", found.short_per_cycle)
    assert_near(check, "fill_rate", found.fill_rate)


def test_id_01_croston():
    check = CHECKS["ID-01"]
    given = check["inputs"]
    found = intermittent_forecast(given["y"], "croston", alpha=given["alpha"])
    assert_near(check, "size", found.size)
    assert_near(check, "interval", found.interval)
    assert_near(check, "forecast", found.forecast)
    first = int(np.flatnonzero(given["y"])[0]) + 1
    assert_near(check, "one_step", found.one_step[first:])
    assert np.isnan(found.one_step[:first]).all()
    # told in the trap: without the first interval
    dropped = intermittent_forecast(
        given["y"], "croston", alpha=given["alpha"], first_interval="dropped"
    )
    assert dropped.forecast == pytest.approx(0.7042, abs=5e-5)


def test_id_03_fading_parts():
    check = CHECKS["ID-03"]
    given = check["inputs"]
    found = intermittent_forecast(
        given["y"], "tsb", alpha=given["alpha"], beta=given["beta"],
        starting_size=given["size0"], starting_probability=given["prob0"],
    )  # fmt: skip
    for name in ("size", "probability", "forecast"):
        assert_near(check, name, getattr(found, name))
    # the same record with its first three periods starts by itself
    whole = intermittent_forecast([0, 0, 3, *given["y"]], "tsb", alpha=0.1, beta=0.05)
    assert_near(check, "forecast", whole.forecast)


def test_id_04_class_of_demand():
    check = CHECKS["ID-04"]
    found = intermittent_forecast(check["inputs"]["y"], "sba").demand_class
    assert_near(check, "adi", found.periods_per_demand)
    for name in ("mean_gap", "cv2_population", "cv2_sample"):
        assert_near(check, name, getattr(found, name))
    assert found.name == "intermittent"


def test_nb_02_prior_from_two_judgements():
    check = CHECKS["NB-02"]
    prior = gamma_poisson(check["inputs"]["a"], check["inputs"]["b"])
    assert_near(check, "mtbf50", prior.mean_time_between(0.5))
    assert_near(check, "mtbf95", prior.mean_time_between(0.95))
    asked = gamma_prior(*check["printed"].values())
    assert asked.shape == pytest.approx(check["inputs"]["a"], rel=2e-4)
    assert asked.time == pytest.approx(check["inputs"]["b"], rel=3e-4)


def test_nb_03_posterior_after_two_failures():
    check = CHECKS["NB-03"]
    found = gamma_poisson(2.863, 1522.46, n_failures=2, time=1700)
    assert (found.shape, found.time) == pytest.approx((4.863, 3222.46))
    assert_near(check, "mtbf_median", found.mean_time_between())
    assert_near(check, "mtbf_lower80", found.mean_time_between(0.8))
    assert_near(check, "reciprocal_of_mean", 1 / found.mean_rate)
    assert_near(check, "prob_above_600", found.chance_above(600))


def test_service_levels_of_the_textbook():
    # Nahmias, chapter 5, from memory, the case of IN-07: cycle service 0.98 reorders at 151; fill
    # rate 0.98 at 126 with a quantity of 100, at 124 with the best quantity, 114
    law = demand_law("normal", mean=100, sd=25)
    terms = {"demand_per_year": 200, "order_cost": 50, "holding_cost": 2}
    cycle = reorder_policy(law, service_level=0.98, **terms)
    assert cycle.reorder_point == pytest.approx(151, abs=0.5)
    filled = reorder_policy(law, service_level=0.98, measure="fill rate", **terms)
    assert filled.order_quantity == pytest.approx(100)
    assert filled.reorder_point == pytest.approx(126, abs=0.6)
    best = reorder_policy(law, service_level=0.98, measure="fill rate", best_quantity=True, **terms)
    assert best.order_quantity == pytest.approx(114, abs=0.6)
    assert best.reorder_point == pytest.approx(124, abs=0.6)
    assert best.cost_per_year < filled.cost_per_year
    # its own condition: Q = n / (1 - F) + sqrt(2 K D / h + (n / (1 - F)) ** 2)
    ratio = best.short_per_cycle / (1 - best.cycle_service)
    assert best.order_quantity == pytest.approx(ratio + math.sqrt(100**2 + ratio**2), rel=1e-5)


@pytest.mark.parametrize(
    ("mean", "point", "level", "cost"),
    # Zheng & Federgruen (1991), from memory: order 64, holding 1, penalty 9, no lead time
    [(10, 6, 40, 35.022), (15, 10, 49, 42.698), (20, 14, 62, 49.173), (25, 19, 56, 54.262)],
)
def test_order_up_to_of_the_published_table(mean, point, level, cost):
    best = order_up_to_policy(
        demand_law("poisson", mean=mean), order_cost=64, holding_cost=1, penalty_cost=9
    )
    assert (best.reorder_point, best.order_up_to) == (point, level)
    assert best.cost_per_period == pytest.approx(cost, abs=6e-4)


def test_price_breaks_and_backorders_of_the_textbook():
    # Snyder & Shen, chapter 3, from memory: 0.75, 0.72 from 400, 0.68 from 800 on, capital 0.3:
    # buy 800 for 978.60 a year; backorders at 5 a piece and year: 310.81
    breaks = [(0, 0.75), (400, 0.72), (800, 0.68)]
    best = order_quantity(1300, 8, holding_rate=0.3, price_breaks=breaks)
    assert best.quantity == pytest.approx(800)
    assert best.total_cost_per_year == pytest.approx(978.60)
    owed = order_quantity(1300, 8, holding_cost=0.225, backorder_cost=5)
    assert owed.quantity == pytest.approx(310.81, abs=0.01)
    assert owed.share_backordered == pytest.approx(0.0431, abs=5e-5)
