"""What-ifs: each change does what a reader expects of it, and nonsense is refused by its key."""

import numpy as np
import pytest
from made_tables import STATED, tables_of

from dutylife.decisions import what_if, what_if_ground
from dutylife.decisions.what_if_changes import CHANGES
from dutylife.errors import DecisionError


@pytest.fixture(scope="module")
def made(make):
    return make(30, settings=STATED)


@pytest.fixture(scope="module")
def ground(made):
    return what_if_ground(tables_of(made), made.settings)


def rows(found):
    return found.table.set_index("measure")


def difference(found, measure):
    return float(rows(found)["difference"][measure])


MONEY = "the contractor's money"


def test_no_change_changes_nothing(ground):
    found = what_if(ground)
    assert (rows(found)["difference"].dropna() == 0).all()
    assert found.text.startswith("Nothing changed")


def test_every_change_tells_before_after_and_a_difference_with_bounds(ground):
    found = what_if(ground, hours_factor=2)
    table = rows(found)
    assert (table["after"] - table["before"]).to_numpy() == pytest.approx(
        table["difference"].to_numpy(), nan_ok=True
    )
    known = table.dropna()
    assert (known["difference_lower"] <= known["difference"]).all()
    assert (known["difference"] <= known["difference_upper"]).all()
    assert "2 times as much" in found.text


def test_the_difference_is_known_better_than_what_it_is_of(ground):
    table = rows(what_if(ground, hours_factor=1.1))
    money = table.loc[MONEY]
    width = money["difference_upper"] - money["difference_lower"]
    assert width < 0.5 * (money["before_upper"] - money["before_lower"])


def test_doubling_the_hours_of_a_fleet_doubles_what_wears_by_the_hour(make):
    fleet = make(30, settings=STATED)
    tables = tables_of(fleet)
    draws = tables["life_draws"].astype({"clock": "object"})
    assert set(draws["clock"]) == {"hours", "days"}
    hourly = {
        n: tables[n][tables[n]["component"].isin(["air filter", "recoil starter rope"])]
        for n in ("life_draws", "life_models", "failure_events", "intervals", "costs")
    }
    ground = what_if_ground(tables | hourly, fleet.settings)
    found = rows(what_if(ground, hours_factor=2))
    ratio = found["after"]["failures"] / found["before"]["failures"]
    assert 1.7 < ratio < 2.3


def test_a_loaner_takes_the_lost_days_away_and_never_costs_more(ground):
    found = what_if(ground, loaner_at_hand=True)
    assert rows(found)["after"]["lost days"] == 0
    assert difference(found, MONEY) < 0
    assert what_if(ground, loaner_at_hand=False).table.equals(what_if(ground).table)


def test_a_dearer_day_makes_the_plan_prevent_more(ground):
    cheap, dear = what_if(ground, lost_day_cost=10), what_if(ground, lost_day_cost=400)
    assert difference(dear, MONEY) > difference(cheap, MONEY)
    assert difference(dear, "failures") < difference(cheap, "failures")


def test_the_price_of_the_day_that_was_meant_changes_nothing(make):
    """All-in failures hold 1.5 days at 100 beside the work and the visit."""
    each = {"planned_cost": 40, "failure_cost": 40 + 20 + 150}
    costs = {n: each for n in STATED["costs"] if n != "default"}
    fleet = make(20, settings=STATED | {"costs": {"default": STATED["costs"]["default"], **costs}})
    found = what_if(tables_of(fleet), fleet.settings, lost_day_cost=100)
    assert rows(found)["after"][MONEY] == pytest.approx(rows(found)["before"][MONEY], rel=1e-3)


def test_a_longer_life_fails_less_and_its_price_counts(ground):
    better = what_if(ground, longer_life={"component": "air filter", "factor": 2})
    assert difference(better, "failures") < 0
    assert difference(better, MONEY) < 0
    dear = {"component": "air filter", "factor": 2, "extra_cost": 300}
    assert difference(what_if(ground, longer_life=dear), MONEY) > 0


def test_a_cover_helps_in_its_duty_alone(ground):
    one = what_if(ground, cover={"duty": "harbour", "factor": 1.5, "components": "air filter"})
    both = what_if(ground, longer_life={"component": "air filter", "factor": 1.5})
    assert difference(both, "parts") < difference(one, "parts") < 0
    assert "as stated" in one.text


def test_a_contract_adds_its_machines_and_leaves_the_others_alone(ground):
    few = what_if(ground, new_contract={"duty": "harbour", "n_machines": 5})
    many = what_if(ground, new_contract={"duty": "harbour", "n_machines": 50})
    for measure in ("failures", "visits", "parts", MONEY):
        assert difference(few, measure) > 0
        assert difference(many, measure) == pytest.approx(10 * difference(few, measure), rel=0.15)
    busy = {"duty": "harbour", "n_machines": 5, "hours_per_week": 60}
    assert difference(what_if(ground, new_contract=busy), "parts") > difference(few, "parts")


def test_measuring_instead_drops_the_change(ground):
    found = what_if(ground, measure_instead="ignition cap")
    assert difference(found, "parts") < 0
    assert difference(found, "visits") > 0
    assert "instead of changing" in found.text


def test_a_skipped_task_fails_more_and_uses_fewer_parts(ground):
    found = what_if(ground, skip_task="replace air filter")
    assert difference(found, "failures") > 0
    assert difference(found, "parts") < 0


def test_machines_hired_out_come_in_less_often_for_planned_work(ground):
    found = what_if(ground, hire_out_days=90)
    assert difference(found, "visits") != 0
    assert "90 days" in found.text


def test_what_the_change_itself_costs_is_paid(ground):
    with_cost = what_if(ground, loaner_at_hand=True, cost_a_year=1000)
    without = what_if(ground, loaner_at_hand=True)
    assert difference(with_cost, MONEY) == pytest.approx(difference(without, MONEY) + 1000)


def test_changes_go_together(ground):
    found = what_if(ground, hours_factor=2, longer_life={"component": "carburetor", "factor": 1.2})
    assert len(found.changes) == 2
    assert all(change.lower() in found.text.lower() for change in found.changes)


def test_no_saving_lifts_a_ceiling_or_drops_safety_work(make):
    """A valve that lasts five times as long, at no price, keeps its limit and its looks."""
    limit = {"coding": {"components": {"safety relief valve": {"maker_limit_days": 200}}}}
    fleet = make(20, settings=STATED | limit)
    ground = what_if_ground(tables_of(fleet), fleet.settings)
    change = CHANGES["longer_life"]
    after, _ = change(ground, {"component": "safety relief valve", "factor": 5})
    after, _ = CHANGES["loaner_at_hand"](after, True)
    for cell in ground.cells("safety relief valve"):
        before, now = ground.plan.policies[cell.key], after.plan.policies[cell.key]
        assert now.looks == before.looks
        assert now.change_at is not None
        assert now.change_at.days <= 200


@pytest.mark.parametrize(
    ("changes", "where", "mend"),
    [
        ({"hours": 2}, "hours", "hours_factor"),
        ({"hours_factor": 0}, "hours_factor", "above 0"),
        ({"hours_factor": "twice"}, "hours_factor", "number"),
        ({"hours_factor": float("nan")}, "hours_factor", "number"),
        ({"lost_day_cost": -1}, "lost_day_cost", "0 or more"),
        ({"loaner_at_hand": 3}, "loaner_at_hand", "True or False"),
        ({"new_contract": {"duty": "harbor", "n_machines": 2}}, "duty", "harbour"),
        ({"new_contract": {"duty": "harbour", "n_machines": 0}}, "n_machines", "1 or more"),
        ({"new_contract": {"duty": "harbour"}}, "new_contract", "n_machines"),
        ({"new_contract": {"duty": "harbour", "n_machines": 2, "equipment_class": "trench pmp"}},
         "equipment_class", "trench pump"),
        ({"longer_life": {"component": "air filtre", "factor": 2}}, "component", "air filter"),
        ({"longer_life": {"component": "air filter", "factor": 2, "cost": 2}},
         "longer_life", "extra_cost"),
        ({"cover": {"duty": "harbour", "factor": -2}}, "factor", "above 0"),
        ({"cover": 1.3}, "cover", "dictionary"),
        ({"measure_instead": "spark plug"}, "measure_instead", "known"),
        ({"skip_task": "safety relief valve"}, "skip_task", "can't hurt"),
        ({"skip_task": "clean recoil starter rope"}, "skip_task", "recoil starter rope"),
        ({"skip_task": 4}, "skip_task", "replace air filter"),
        ({"hire_out_days": -1}, "hire_out_days", "above 0"),
        ({"cost_a_year": "much"}, "cost_a_year", "number"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_by_its_key_with_the_cure(ground, changes, where, mend):
    with pytest.raises(DecisionError) as caught:
        what_if(ground, **changes)
    assert where in caught.value.where
    assert mend in caught.value.mend


def test_the_price_of_a_day_needs_days(make):
    fleet = make(10)
    ground = what_if_ground(tables_of(fleet), fleet.settings)
    with pytest.raises(DecisionError) as caught:
        what_if(ground, lost_day_cost=100)
    assert "lost_days_per_failure" in caught.value.mend
    found = what_if(ground, lost_day_cost=100, lost_days_per_failure=2)
    assert np.isfinite(rows(found)["after"]["lost days"])


def test_tables_alone_need_settings(made):
    with pytest.raises(DecisionError) as caught:
        what_if(tables_of(made))
    assert "settings" in caught.value.mend
