"""Plans compared: whose money, what is kept in each plan, what is said where nothing is known."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from made_tables import COST, STATED, shelf, tables_of

from dutylife.decisions import coming_year, compare_plans
from dutylife.decisions.comparison.policies import plans_to_compare
from dutylife.decisions.comparison.standing import as_it_stands
from dutylife.errors import DecisionError
from dutylife.schema import as_table
from dutylife.settings import settings_from


@pytest.fixture(scope="module")
def made(make):
    return make(30, settings=STATED)


@pytest.fixture(scope="module")
def tables(made):
    return tables_of(made)


@pytest.fixture(scope="module")
def compared(made, tables):
    return compare_plans(tables, made.settings)


def fleet_rows(found, payer="contractor"):
    rows = found.table.astype({"plan": "object", "payer": "object", "customer": "object"})
    rows = rows[rows["customer"].isna() & (rows["payer"] == payer)]
    return rows.set_index("plan")


def changed(made, **settings):
    given = made.settings.model_dump(exclude_unset=True, by_alias=True)
    for key, value in settings.items():
        given[key] = {**given.get(key, {}), **value}
    return settings_from(given)


def test_every_plan_has_a_year_with_bounds_around_it(compared):
    rows = fleet_rows(compared)
    assert set(rows.index) == {"recommended", "as seen", "none"}
    for name in ("failures_per_year", "visits_per_year", "parts_per_year", "cost_per_year",
                 "labour_hours_per_year", "lost_days_per_year"):  # fmt: skip
        assert (rows[f"{name}_lower"] < rows[name]).all()
        assert (rows[name] < rows[f"{name}_upper"]).all()
    assert (rows["cost_one_year_lower"] < rows["cost_per_year_lower"]).all()
    assert (rows["cost_one_year_upper"] > rows["cost_per_year_upper"]).all()


def test_a_saving_is_the_difference_of_two_plans_and_known_better_than_they_are(compared):
    rows = fleet_rows(compared)
    ours, none = rows.loc["recommended"], rows.loc["none"]
    assert none["saving_per_year"] == pytest.approx(none["cost_per_year"] - ours["cost_per_year"])
    width = none["saving_per_year_upper"] - none["saving_per_year_lower"]
    apart = [r["cost_per_year_upper"] - r["cost_per_year_lower"] for r in (ours, none)]
    assert width < np.hypot(*apart)
    assert np.isnan(ours["saving_per_year"])


def test_planned_changes_spare_failures_of_parts_that_wear_out(compared):
    rows = fleet_rows(compared)
    assert rows.loc["recommended", "failures_per_year"] < rows.loc["none", "failures_per_year"]
    assert rows.loc["recommended", "parts_per_year"] > rows.loc["none", "parts_per_year"]


def test_the_practice_of_the_record_goes_on_as_it_was(made, compared):
    """Failures a year of the last two years of the record, which the fleet's practice made."""
    failed = made.failure_events[made.failure_events["event"] == "failed"]
    recent = failed["ended_on"] > pd.Timestamp("2024-03-15")
    rows = fleet_rows(compared)
    # within three deviations of a count and what the laws leave open
    seen = recent.sum() / 2
    said = rows.loc["as seen", "failures_per_year"]
    assert abs(said - seen) < 3 * np.sqrt(seen / 2) + 0.1 * seen


def test_customers_add_up_to_the_fleet(compared):
    table = compared.table.astype({"customer": "object"})
    for name in ("failures_per_year", "visits_per_year", "cost_per_year", "n_machines"):
        by = table[table["customer"].notna()].groupby(["plan", "payer"], observed=True)[name].sum()
        whole = table[table["customer"].isna()].set_index(["plan", "payer"])[name]
        assert by.to_dict() == pytest.approx(whole.to_dict())


def test_the_contractors_money_is_what_he_is_billed_and_his_lost_days(make):
    """All cost the same: money is planned work, failures and visits at their stated prices."""
    each = {"planned_cost": 10, "failure_cost": 110}
    costs = {"default": {"payer": "contractor", "labour_hours": 1.0, "lost_days_per_failure": 2}}
    costs |= {name: each for name in STATED["costs"] if name != "default"}
    fleet = make(10, settings={"costs": costs, "workshop": {"labour_rate": 50}})
    rows = fleet_rows(compare_plans(tables_of(fleet), fleet.settings))
    seen = rows.loc["none"]
    assert seen["lost_days_per_year"] == pytest.approx(2 * seen["failures_per_year"])
    # without a price of visits looks are paid one by one, here those at the relief valve
    most = 110 * seen["failures_per_year"] + 25 * seen["visits_per_year"]
    assert 110 * seen["failures_per_year"] <= seen["cost_per_year"] <= most


def test_the_shops_money_is_its_parts_and_its_labour(made, tables, compared):
    shop = fleet_rows(compared, "shop").loc["as seen"]
    free = tables | {"shelf": shelf(dict.fromkeys(COST, 0.0))}
    labour = fleet_rows(compare_plans(free, made.settings), "shop").loc["as seen"]
    assert labour["cost_per_year"] == pytest.approx(50 * labour["labour_hours_per_year"])
    parts = shop["cost_per_year"] - labour["cost_per_year"]
    low, high = 2.0 * shop["parts_per_year"], 40.0 * shop["parts_per_year"]
    assert low < parts < high


def test_an_unknown_purchase_cost_leaves_the_shops_money_blank_and_says_so(made, tables):
    lacking = {k: v for k, v in COST.items() if k != "CARB-3"}
    found = compare_plans(tables | {"shelf": shelf(lacking)}, made.settings)
    assert fleet_rows(found, "shop")["cost_per_year"].isna().all()
    assert fleet_rows(found, "contractor")["cost_per_year"].notna().all()
    note = next(n for n in found.notes if "purchase" in n or "costs the shop" in n)
    assert "carburetor" in note
    assert "unit_cost" in note
    # what the customer is billed does not stand in for it
    assert made.service_lines["unit_price"].notna().any()


def test_stated_costs_of_the_shop_are_the_shops_money(made, tables):
    costs = {"default": {"payer": "shop", "labour_hours": 1.0, "lost_days_per_failure": 1.5}}
    settings = changed(made, costs=costs)
    rows = tables_of_costs(tables, "shop")
    found = compare_plans(rows, settings)
    assert fleet_rows(found, "contractor")["cost_per_year"].isna().all()
    assert fleet_rows(found, "shop")["cost_per_year"].notna().all()
    assert "the shop" in found.text


def tables_of_costs(tables, payer):
    costs = tables["costs"].astype({"payer": "object"}).assign(payer=payer)
    return tables | {"costs": as_table("costs", costs)}


def test_without_any_money_it_still_counts(make):
    fleet = make(10, money=False)
    found = compare_plans(tables_of(fleet), fleet.settings)
    rows = fleet_rows(found)
    assert rows["cost_per_year"].isna().all()
    assert (rows["failures_per_year"] > 0).all()
    assert "no money is known" in found.text
    assert any("[costs]" in n for n in found.notes)


def test_days_and_hours_of_labour_that_are_not_stated_are_blank(make):
    fleet = make(10)
    found = compare_plans(tables_of(fleet), fleet.settings)
    rows = fleet_rows(found)
    assert rows["lost_days_per_year"].isna().all()
    assert rows["labour_hours_per_year"].isna().all()
    assert any("lost_days_per_failure" in n for n in found.notes)
    assert any("labour_hours" in n for n in found.notes)


def test_the_present_schedule_is_compared_where_it_is_stated(made, tables):
    settings = changed(made, present_schedule={"air filter": {"hours": 50}})
    rows = fleet_rows(compare_plans(tables, settings))
    present, none = rows.loc["present_schedule"], rows.loc["none"]
    # a filter each 50 h at 14 h a week: fourteen a year for each of 30 machines, and hardly a
    # filter fails
    extra = present["parts_per_year"] - none["parts_per_year"]
    assert 30 * 14 * 365.25 / 7 / 50 * 0.8 < extra < 30 * 14 * 365.25 / 7 / 50 * 1.1
    assert present["failures_per_year"] < none["failures_per_year"]


def test_what_can_hurt_is_looked_at_in_every_plan(made, tables):
    standing = as_it_stands(tables, made.settings)
    settings = changed(made, present_schedule={"air filter": {"hours": 50}})
    for plan in plans_to_compare(standing, tables, settings):
        for key, policy in plan.policies.items():
            if plan.name != "as seen" and key[0] == "safety relief valve":
                assert policy.looks or policy.change_at, plan.name
                assert policy == plan.policies[key]


def test_a_limit_on_what_can_hurt_is_kept_where_all_else_waits_for_failure(make):
    limit = {"coding": {"components": {"safety relief valve": {"maker_limit_days": 200}}}}
    fleet = make(20, settings=STATED | limit)
    tables = tables_of(fleet)
    standing = as_it_stands(tables, fleet.settings)
    none = next(p for p in plans_to_compare(standing, tables, fleet.settings) if p.name == "none")
    for key, policy in none.policies.items():
        if key[0] == "safety relief valve":
            assert policy.change_at is not None
            assert policy.change_at.days <= 200
        elif key[0] == "air filter":
            assert policy.change_at is None


def test_the_same_run_says_the_same_whatever_the_order_of_rows(made, tables, compared):
    shuffled = {
        name: frame.sample(frac=1, random_state=3).reset_index(drop=True)
        for name, frame in tables.items()
    }
    again = compare_plans(shuffled, made.settings)
    pd.testing.assert_frame_equal(again.table, compared.table)


def test_another_seed_says_nearly_the_same(made, tables, compared):
    other = fleet_rows(compare_plans(tables, changed(made, report={"seed": 99})))
    rows = fleet_rows(compared)
    for plan in rows.index:
        ratio = other.loc[plan, "cost_per_year"] / rows.loc[plan, "cost_per_year"]
        assert ratio == pytest.approx(1.0, abs=0.03)


def test_components_that_never_failed_are_left_out_and_named(made, tables):
    draws = tables["life_draws"].astype({"basis": "object", "component": "object"})
    draws.loc[draws["component"] == "recoil starter rope", "basis"] = "starting value"
    found = compare_plans(tables | {"life_draws": as_table("life_draws", draws)}, made.settings)
    assert any("recoil starter rope" in n and "Left out" in n for n in found.notes)
    whole = fleet_rows(compare_plans(tables, made.settings))
    assert (fleet_rows(found)["failures_per_year"] < whole["failures_per_year"]).all()


def test_the_sentence_says_failures_visits_and_money_in_plain_words(compared):
    rows = fleet_rows(compared)
    text = compared.text
    assert f"{rows.loc['recommended', 'failures_per_year']:.0f} failures a year" in text
    assert "today's practice" in text
    assert "contractor" in text
    assert text.count(".") == 1


@pytest.mark.parametrize("name", ["life_draws", "costs", "units"])
def test_a_missing_table_is_named(made, tables, name):
    with pytest.raises(DecisionError) as caught:
        compare_plans({k: v for k, v in tables.items() if k != name}, made.settings)
    assert name in caught.value.where
    assert caught.value.mend


def test_no_machine_in_service_is_said_and_stops_no_run(made, tables):
    gone = tables | {"units": as_table("units", tables["units"].assign(prob_in_service=0.1))}
    with pytest.raises(DecisionError) as caught:
        compare_plans(gone, made.settings)
    assert "still_there" in caught.value.mend
    told = coming_year(gone, made.settings)
    assert told["plan_comparison"].empty
    assert told["keep_or_retire"].empty
    assert "No machine in service" in told["findings"]["message"].iloc[0]


def test_every_note_of_the_run_says_where_and_how_to_mend_it(made, tables):
    told = coming_year(tables, made.settings)["findings"]
    assert len(told)
    assert told[["key", "mend"]].notna().all(axis=None)
    assert (told[["key", "mend"]] != "").all(axis=None)
    schedule = told[told["message"].str.contains("present schedule")].iloc[0]
    assert (schedule["key"], schedule["mend"]) == (
        "[present_schedule]", "state it in the settings file",
    )  # fmt: skip


def test_no_usage_leaves_parts_by_the_meter_out_and_says_so(make):
    fleet = make(10, meter=False, settings=STATED)
    found = compare_plans(tables_of(fleet), fleet.settings)
    assert (fleet_rows(found)["failures_per_year"] > 0).all()


def test_a_visit_is_paid_by_those_whose_work_is_done_in_it(made, tables):
    """Visits change no failure: what they cost in all is the same whoever pays the work."""
    visit = 40.0

    def money(payers, visit_cost):
        costs = {n: {**made.settings.costs[n].model_dump(exclude_none=True), "payer": p}
                 for n, p in payers.items()}  # fmt: skip
        costs |= {"default": {"payer": "contractor"}}
        settings = changed(made, costs=costs, workshop={"visit_cost": visit_cost})
        bare = tables_of(made) | {"costs": tables["costs"].assign(payer=[
            payers.get(str(c), "contractor") for c in tables["costs"]["component"]])}  # fmt: skip
        found = compare_plans(bare, settings)
        return {p: fleet_rows(found, p).loc["recommended"] for p in ("contractor", "shop")}

    names = sorted(set(tables["costs"]["component"].astype(str)))
    one = money(dict.fromkeys(names, "contractor"), visit)
    free = money(dict.fromkeys(names, "contractor"), 1e-9)
    paid = one["contractor"]["cost_per_year"] - free["contractor"]["cost_per_year"]
    assert paid > 0
    mixed = {n: "shop" if n == names[0] else "contractor" for n in names}
    both, bare = money(mixed, visit), money(mixed, 1e-9)
    parts = {p: both[p]["cost_per_year"] - bare[p]["cost_per_year"] for p in both}
    assert parts["contractor"] > 0
    assert parts["shop"] > 0
    assert sum(parts.values()) == pytest.approx(paid, rel=1e-6)


def test_a_failure_costs_each_customer_their_own_lost_day(made, tables):
    """Where a failure is priced by the days it takes, not all-in."""
    customers = sorted(set(tables["unit_spans"]["customer"].astype(str)))
    stated = {"payer": "contractor", "lost_days_per_failure": 2.0, "planned_cost": 30.0}
    costs = {"default": stated}
    dear, cheap = customers[0], customers[-1]

    def by_customer(**prices):
        given = made.settings.model_dump(exclude_unset=True, by_alias=True)
        settings = settings_from(
            given | {"costs": costs, "customers": {n: {"lost_day_cost": p}
                                                   for n, p in prices.items()}}
        )  # fmt: skip
        of = vars(made) | {"settings": settings}
        rows = compare_plans(tables_of(SimpleNamespace(**of)), settings).table
        rows = rows.astype({"customer": "object", "plan": "object", "payer": "object"})
        rows = rows[(rows["plan"] == "as seen") & (rows["payer"] == "contractor")]
        return rows[rows["customer"].notna()].set_index("customer")

    alike = by_customer(**dict.fromkeys(customers, 200.0))
    apart = by_customer(**dict.fromkeys(customers, 200.0) | {dear: 300.0})
    # the same failures; the dear one's costs rise by its own days, nobody pays for another's
    assert (apart["failures_per_year"] == alike["failures_per_year"]).all()
    risen = apart["cost_per_year"] - alike["cost_per_year"]
    days = apart.loc[dear, "lost_days_per_year"]
    assert risen[dear] == pytest.approx(100.0 * days, rel=0.02)
    assert risen[cheap] == pytest.approx(0.0, abs=1e-6)
