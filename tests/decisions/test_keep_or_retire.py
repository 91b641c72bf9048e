"""Keep, or retire: the verdict follows the money and the machine's record; safety stays."""

import numpy as np
import pandas as pd
import pytest
from made_tables import STATED, tables_of

from dutylife.decisions import keep_or_retire
from dutylife.decisions.keep_or_retire import _advice
from dutylife.decisions.machine_record import own_factor
from dutylife.errors import SettingsError
from dutylife.schema import as_table
from dutylife.settings import settings_from


def priced(price, years=5, **more):
    return STATED | {"replacement_price": {"trench pump": {"price": price, "years": years}}} | more


@pytest.fixture(scope="module")
def tables(make):
    return tables_of(make(30, settings=STATED))


def weighed(make, tables, price, **more):
    return keep_or_retire(tables, make(30, settings=priced(price, **more)).settings)


def rows(found):
    return found.table.astype({"unit_id": "object", "advice": "object"}).set_index("unit_id")


def test_without_a_price_there_is_no_verdict_by_money_and_it_says_so(make, tables):
    found = keep_or_retire(tables, make(30, settings=STATED).settings)
    assert (rows(found)["advice"] == "can't tell").all()
    assert rows(found)["probability_new_is_cheaper"].isna().all()
    assert any('[replacement_price."trench pump"]' in n for n in found.notes)
    assert rows(found)["sentence"].str.contains("No verdict by money").all()
    assert rows(found)["next_year_cost"].gt(0).all()


def test_a_dear_new_machine_keeps_the_old_and_a_gift_retires_it(make, tables):
    assert (rows(weighed(make, tables, 100_000))["advice"] == "keep").all()
    worn = aged(tables)
    gift = rows(keep_or_retire(worn, make(30, settings=priced(1)).settings))
    assert (gift["advice"] == "retire").sum() >= 5
    assert (gift["probability_new_is_cheaper"] > 0.5).mean() > 0.8


def aged(tables):
    """Every part near its end, so that a new machine needs less upkeep."""
    lives = tables["failure_events"].astype({"event": "object"})
    running = lives["event"] == "running"
    for name in ("exit_days", "exit_hours"):
        lives.loc[running, name] = lives.loc[running, name] + 400
    return tables | {"failure_events": as_table("failure_events", lives)}


def test_the_price_moves_verdicts_one_way(make, tables):
    chance = [
        rows(weighed(make, tables, price))["probability_new_is_cheaper"]
        for price in (500, 2000, 8000)
    ]
    assert (chance[0] >= chance[1]).all()
    assert (chance[1] >= chance[2]).all()
    assert chance[0].mean() > chance[2].mean()


@pytest.mark.parametrize(
    ("plan_dearer", "safety_dearer", "advice"),
    [
        (0.02, 0.02, "keep"), (0.97, 0.96, "retire"), (0.95, 0.05, "safety work only"),
        (0.95, 0.5, "can't tell"), (0.5, 0.05, "can't tell"), (0.11, 0.0, "can't tell"),
    ],
)  # fmt: skip
def test_a_verdict_asks_for_nine_chances_in_ten(plan_dearer, safety_dearer, advice):
    assert _advice(plan_dearer, safety_dearer, 0.9) == advice


def test_no_safety_work_is_dropped_by_any_verdict(make, tables):
    for price in (1, 2000, 100_000):
        table = rows(weighed(make, tables, price))
        assert table["safety_tasks"].str.contains("safety relief valve").all()
        retired = table[table["advice"] == "retire"]["sentence"]
        assert retired.str.contains("safety work stays due").all()


def test_a_machine_that_fails_more_than_its_like_costs_more(make, tables):
    """One machine's failures three times over: it alone is told apart."""
    lives = tables["failure_events"].astype({"unit_id": "object", "event": "object"})
    mine = lives[(lives["unit_id"] == "U003") & (lives["event"] == "failed")]
    # short lives: its failures grow, what the laws expect hardly does
    short = {f"exit_{c}": mine[f"entry_{c}"] + 0.01 for c in ("days", "hours")}
    copies = [mine.assign(spell=10 + k, **short) for k in range(1, 4)]
    more = as_table("failure_events", pd.concat([lives, *copies]))
    settings = make(30, settings=priced(2000)).settings
    before = rows(keep_or_retire(tables, settings))
    after = rows(keep_or_retire(tables | {"failure_events": more}, settings))
    assert after["own_factor"]["U003"] > 1.3 * before["own_factor"]["U003"]
    assert after["own_factor"].drop("U003").max() < after["own_factor"]["U003"]
    assert after["next_year_cost"]["U003"] > before["next_year_cost"]["U003"]
    low, high = after["own_factor_lower"]["U003"], after["own_factor_upper"]["U003"]
    assert low < after["own_factor"]["U003"] < high


def test_own_factors_find_the_machines_true_ones():
    """Gamma factors of deviation 0.5, Poisson failures: 90 % ranges hold the truth as often."""
    rng = np.random.default_rng(8)
    true = rng.gamma(4.0, 1 / 4.0, 400)
    expected = rng.uniform(1, 25, 400)
    record = pd.DataFrame({"n_failed": rng.poisson(true * expected), "expected": expected})
    draws, variance = own_factor(record, 2000, rng)
    low, high = np.quantile(draws, (0.05, 0.95), axis=1)
    held = ((low <= true) & (true <= high)).mean()
    assert 0.86 < held < 0.94
    assert variance == pytest.approx(0.25, rel=0.3)
    # alike machines are seen as alike
    record = pd.DataFrame({"n_failed": rng.poisson(expected), "expected": expected})
    assert own_factor(record, 200, rng)[1] < 0.05


def test_billed_and_lost_are_those_of_the_record_by_hours_run(make, tables):
    found = rows(weighed(make, tables, 2000))
    lines = tables["service_lines"].astype({"unit_id": "object"})
    mine = lines[lines["unit_id"] == "U001"]
    billed = (mine["quantity"] * mine["unit_price"]).sum()
    hours = (pd.Timestamp("2026-03-15") - pd.Timestamp("2023-01-01")).days / 7 * 14
    assert found["watched_hours"]["U001"] == pytest.approx(hours)
    assert found["billed_per_1000_hours"]["U001"] == pytest.approx(billed / hours * 1000)
    lives = tables["failure_events"].astype({"unit_id": "object", "event": "object"})
    failed = ((lives["unit_id"] == "U001") & (lives["event"] == "failed")).sum()
    assert found["n_failed"]["U001"] == failed
    lost = found["lost_days_per_1000_hours"]["U001"]
    assert lost == pytest.approx(1.5 * failed / hours * 1000)


def test_a_machine_first_seen_on_the_last_day_has_no_figures_by_hours_run(make, tables):
    units = tables["units"].copy()
    units.loc[units["unit_id"] == "U001", "first_seen"] = pd.Timestamp("2026-03-15")
    found = rows(weighed(make, tables | {"units": units}, 2000))
    assert found["watched_hours"]["U001"] == 0
    assert np.isnan(found["billed_per_1000_hours"]["U001"])
    assert np.isnan(found["lost_days_per_1000_hours"]["U001"])
    assert "nan" not in found["sentence"]["U001"]
    assert found["billed_per_1000_hours"].drop("U001").notna().all()


def test_a_trend_is_told_of_a_machine_that_worsens_and_hardly_ever_of_steady_ones(make, tables):
    steady = rows(weighed(make, tables, 2000))["trend"].astype(object)
    assert (steady.isin(["more often", "less often"])).sum() <= 1
    lives = tables["failure_events"].astype({"unit_id": "object", "event": "object"})
    own = lives[(lives["unit_id"] == "U004") & (lives["event"] == "failed")].iloc[[0]]
    late = [
        own.assign(life_number=100 + k, ended_on=pd.Timestamp("2025-06-01") + pd.Timedelta(days=k))
        for k in range(40)
    ]
    worse = as_table("failure_events", pd.concat([lives, *late]))
    settings = make(30, settings=priced(2000)).settings
    found = rows(keep_or_retire(tables | {"failure_events": worse}, settings))
    assert found["trend"]["U004"] == "more often"


def test_a_price_of_a_class_no_machine_has_is_told(make, tables):
    stated = {"replacement_price": {"trench pmp": {"price": 2000, "years": 5}}}
    found = keep_or_retire(tables, make(30, settings=STATED | stated).settings)
    assert found.findings["message"].tolist() == ["no machine in service is a 'trench pmp'"]
    assert "trench pump" in found.findings["mend"].iloc[0]


@pytest.mark.parametrize(
    "stated", [{"price": 2000}, {"price": 0, "years": 5}, {"price": 1, "year": 2}]
)
def test_a_price_without_years_or_of_nothing_is_refused_by_its_key(stated):
    with pytest.raises(SettingsError) as caught:
        settings_from({"replacement_price": {"trench pump": stated}})
    assert "replacement_price" in caught.value.where


def test_without_money_nothing_is_told_of_money(make):
    fleet = make(10, money=False, settings={"replacement_price": priced(2000)["replacement_price"]})
    found = keep_or_retire(tables_of(fleet), fleet.settings)
    assert (rows(found)["advice"] == "can't tell").all()
    assert rows(found)["next_year_cost"].isna().all()
    assert rows(found)["sentence"].str.contains("no money is known").all()
    assert "No verdict" in found.text
