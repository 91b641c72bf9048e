"""Costs: stated, billed or proposed, whose money, and what is refused with key and cure."""

import numpy as np
import pandas as pd
import pytest

from dutylife.components import components_of
from dutylife.decisions import recommend_intervals
from dutylife.errors import DecisionError, SettingsError
from dutylife.settings import settings_from


def recommend(fleet, **given):
    return recommend_intervals(
        fleet.life_draws, fleet.life_models, fleet.failure_events, fleet.service_lines,
        fleet.maintenance_events, fleet.unit_spans, fleet.settings, **given,
    )  # fmt: skip


def of(tables, name, component="ignition cap", task="replace"):
    rows = tables[name].astype({"component": object, "duty": object, "task": object})
    rows = rows[(rows["component"] == component) & (rows["duty"] == "harbour")]
    return rows[rows["task"] == task].iloc[0]


def test_the_shops_own_cost_is_never_a_billed_price(make):
    """Billed at 9 a part, bought at 4: with the work known that is the cost, else none is."""
    shop = {"costs": {"ignition cap": {"payer": "shop", "labour_hours": 0.5}},
            "workshop": {"labour_rate": 40.0}}  # fmt: skip
    fleet = make(20, settings=shop)
    unknown = recommend(fleet)
    assert of(unknown, "costs")["is_relative"]
    assert np.isnan(of(unknown, "costs")["purchase_cost"])
    row = of(unknown, "intervals")
    assert row["interval_days"] > 0  # how costs compare is known from what was billed
    money = [c for c in unknown["intervals"].columns if c.endswith("_cost") or "cost_per" in c]
    assert row[money].isna().all()
    assert "a billed price is no cost" in row["sentence"]
    assert "unit_cost" in row["sentence"]
    bought = recommend(fleet, shelf=fleet.shelf)
    cost = of(bought, "costs")
    assert cost["planned_cost"] == pytest.approx(4.0 + 0.5 * 40)
    assert cost["purchase_cost"] == pytest.approx(4.0)
    assert not cost["is_relative"]
    assert cost["basis"] == "our proposal"  # what a failure costs the shop nobody said
    assert "failure_cost: 3 planned" in cost["assumed"]
    assert of(bought, "intervals")["saving_per_year_cost"] > 0


def test_a_stated_purchase_cost_stands_above_the_parts_file(make):
    shop = {"costs": {"ignition cap": {"payer": "shop", "labour_hours": 0.0}},
            "workshop": {"labour_rate": 40.0}, "stock": {"CAP-5K": {"unit_cost": 5.5}}}  # fmt: skip
    fleet = make(20, settings=shop)
    assert of(recommend(fleet, shelf=fleet.shelf), "costs")["planned_cost"] == pytest.approx(5.5)


def test_a_contractor_is_shown_what_he_is_billed(make):
    cost = of(recommend(make(20)), "costs")
    assert cost["payer"] == "contractor"
    assert cost["planned_cost"] == pytest.approx(9.0 + 15.0)
    assert cost["assumed"] == ""


def test_without_money_no_money_is_printed(make):
    tables = recommend(make(20, money=False))
    rows = tables["intervals"]
    money = [c for c in rows.columns if c.endswith("_cost") or "cost_per" in c]
    assert len(money) >= 4
    assert rows[money].isna().all(axis=None)
    assert "planned_cost: not known" in of(tables, "costs")["assumed"]
    assert of(tables, "intervals")["cost_ratio"] == pytest.approx(3.0)


def test_savings_are_those_of_the_costs_by_the_hour_and_by_the_year(make):
    row = of(recommend(make(30)), "intervals", "air filter")
    saved = row["cost_per_1000_hours_run_to_failure"] - row["cost_per_1000_hours"]
    assert row["saving_per_1000_hours_cost"] == pytest.approx(saved)
    year = 14 * 365.25 / 7 / 1000  # thousands of hours a machine runs in a year
    assert row["saving_per_year_cost"] == pytest.approx(saved * year)
    for name in ("saving_per_1000_hours_cost", "saving_per_year_cost"):
        assert row[f"{name}_lower"] < row[name] < row[f"{name}_upper"]
    assert "a year on each machine" in row["sentence"]


@pytest.mark.parametrize(
    ("costs", "told"),
    [
        ({"plug cap": {"planned_cost": 50.0, "failure_cost": 40.0}}, "planned_cost 50"),
        ({"plug cap": {"planned_cost": 0.0}}, "planned_cost 0"),
        ({"plug cap": {"planned_cost": 5.0, "failure_cost": 0.0}}, "failure_cost 0"),
        ({"default": {"planned_cost": 0.0}}, "planned_cost 0"),
    ],
)
def test_costs_that_cannot_be_are_refused_with_key_and_cure(make, costs, told):
    with pytest.raises(DecisionError) as caught:
        recommend(make(6, settings={"costs": costs}))
    message = str(caught.value)
    assert 'costs."ignition cap"' in message
    assert told in message
    assert "leave" in message  # how to mend it


def test_an_unknown_component_is_refused_with_the_nearest():
    with pytest.raises(SettingsError, match=r'(?s)costs\."igniton cap".*did you mean') as caught:
        components_of(settings_from({"costs": {"igniton cap": {"planned_cost": 5.0}}}))
    assert "coding.components" in str(caught.value)


def test_no_usage_says_what_to_give(make):
    """A law in hours on machines whose use nobody knows: an age, no date, and how to get one."""
    fleet = make(20)
    spans = fleet.unit_spans.assign(hours_per_week=np.nan)
    fleet.unit_spans = spans
    row = of(recommend(fleet), "intervals", "air filter")
    assert row["interval_hours"] > 0
    assert pd.isna(row["interval_days"])
    assert pd.isna(row["saving_per_year_cost"])
    assert "hours_per_week" in row["sentence"]
    assert "no date can be given" in row["sentence"]


def test_steps_are_the_shops(make):
    given = {"workshop": {"interval_steps_hours": [40], "interval_steps_weeks": [3]}}
    tables = recommend(make(30, settings=given))
    assert of(tables, "intervals", "air filter")["interval_hours"] % 40 == 0
    assert of(tables, "intervals")["interval_days"] % 21 == 0
    free = {"workshop": {"interval_steps_hours": [], "interval_steps_weeks": []}}
    row = of(recommend(make(30, settings=free)), "intervals", "air filter")
    assert row["interval_hours"] % 1 != 0
