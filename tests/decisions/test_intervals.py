"""Recommended intervals: what the readers are promised."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dutylife.components import shipped_components
from dutylife.decisions import recommend_intervals
from dutylife.decisions.age_weibull import age_replacement_weibull
from dutylife.errors import DecisionError
from dutylife.schema import as_table, empty_table


def recommend(fleet, **changed):
    given = vars(fleet) | changed
    return recommend_intervals(
        given["life_draws"], given["life_models"], given["failure_events"],
        given["service_lines"], given["maintenance_events"], given["unit_spans"],
        given["settings"],
    )  # fmt: skip


def row(tables, component, duty="harbour", task=None):
    rows = tables["intervals"]
    rows = rows[(rows["component"] == component) & (rows["duty"] == duty)]
    rows = rows if task is None else rows[rows["task"] == task]
    assert len(rows) == 1, rows
    return rows.iloc[0]


def every_component(make, basis="starting value", **given):
    """One cell for each shipped component, all with a law that never wears out."""
    fleet = make(4, duties=("harbour",), **given)
    names = sorted(shipped_components())
    clocks = [shipped_components()[n].clock for n in names]
    draws = pd.DataFrame(
        {"component": np.repeat(names, 5), "duty": "harbour", "clock": np.repeat(clocks, 5),
         "draw": np.tile(np.arange(5), len(names)), "weight": 0.2, "distribution": "weibull",
         "shape": 0.8, "scale": 400.0, "basis": basis}
    )  # fmt: skip
    models = pd.DataFrame(
        {"component": names, "duty": "harbour", "clock": clocks, "basis": basis, "n_lives": 40,
         "n_failed": 20, "longest_life_hours": 900.0, "longest_life_days": 900.0}
    )  # fmt: skip
    fleet.life_draws = as_table("life_draws", draws)
    fleet.life_models = as_table("life_models", models)
    return fleet


def test_intervals_minimise_the_mean_cost(fleet):
    tables = recommend(fleet)
    found = row(tables, "air filter", task="replace")
    draws = fleet.life_draws[
        (fleet.life_draws["component"] == "air filter") & (fleet.life_draws["duty"] == "harbour")
    ]
    cost = tables["costs"]
    cost = cost[(cost["component"] == "air filter") & (cost["task"] == "replace")].iloc[0]
    best = age_replacement_weibull(
        draws["shape"], draws["scale"], draws["weight"], planned_cost=cost["planned_cost"],
        failure_cost=cost["failure_cost"], longest_age=1e4,
    )  # fmt: skip
    assert found["interval_hours"] == pytest.approx(best.best_age, rel=0.02)
    assert found["cost_per_1000_hours"] == pytest.approx(1000 * best.cost_rate, rel=1e-3)
    assert found["interval_days"] == pytest.approx(found["interval_hours"] / 14 * 7)
    assert found["interval_hours_lower"] < found["interval_hours"] < found["interval_hours_upper"]
    assert "failures in" in found["sentence"]


@pytest.mark.parametrize("basis", ["own data", "pooled", "starting value"])
def test_what_can_hurt_is_never_run_to_failure(make, basis):
    tables = recommend(every_component(make, basis))
    rows = tables["intervals"].astype({"component": object, "task": object, "can_hurt": object})
    for name, component in shipped_components().items():
        own = rows[rows["component"] == name]
        assert len(own) > 0, name
        if component.can_hurt:
            assert "run to failure" not in set(own["task"]), name
            assert (own["can_hurt"] == component.can_hurt).all()
            looks = own[own["task"] != "replace"]
            # someone competent looks at it at least every so often, whatever it saves
            assert looks["interval_days"].notna().any(), name
            assert (looks["interval_days"] <= 24 * 30.436875 * 1.001).any(), name
            assert looks["sentence"].str.contains("can hurt").all()
            assert looks["sentence"].str.contains("maker's manual").all()


def test_the_settings_can_make_any_component_one_that_can_hurt(make):
    given = {"coding": {"components": {"carburetor": {"can_hurt": "fire"}}}}
    tables = recommend(make(10, settings=given))
    tasks = set(tables["intervals"].query("component == 'carburetor'")["task"].astype(object))
    assert tasks == {"clean"}


@pytest.mark.parametrize("component", ["air filter", "carburetor", "safety relief valve"])
def test_the_makers_limit_is_a_ceiling(make, component):
    given = {
        "coding": {"components": {component: {"maker_limit_hours": 50, "maker_limit_days": 90}}}
    }
    found = row(recommend(make(10, settings=given)), component, task="replace")
    assert found["interval_hours"] <= 50
    assert found["interval_days"] <= 90
    assert "maker's or legal limit" in found["sentence"]


def test_a_limit_beyond_the_best_changes_nothing(make, fleet):
    given = {"coding": {"components": {"air filter": {"maker_limit_hours": 5000}}}}
    limited = row(recommend(make(settings=given)), "air filter", task="replace")
    free = row(recommend(fleet), "air filter", task="replace")
    assert limited["interval_hours"] == pytest.approx(free["interval_hours"])
    assert limited["interval_hours"] <= 5000


def test_dearer_failures_shorten_and_cheap_ones_end_replacement(make):
    def interval(failure):
        given = {"costs": {"air filter": {"planned_cost": 20.0, "failure_cost": failure}}}
        return row(recommend(make(20, settings=given)), "air filter", task="replace")

    assert interval(400.0)["interval_hours"] < interval(80.0)["interval_hours"]
    given = {"costs": {"recoil starter rope": {"planned_cost": 20.0, "failure_cost": 21.0}}}
    tables = recommend(make(20, settings=given))
    found = row(tables, "recoil starter rope", task="run to failure")
    assert np.isnan(found["interval_hours"])
    assert "hold the spare" in found["sentence"]


def test_a_failure_cheaper_than_planned_work_is_refused_with_its_key(make):
    given = {
        "costs": {
            "plug cap": {"planned_cost": 50.0, "failure_cost": 40.0},
            "air filter": {"planned_cost": 9.0, "failure_cost": 9.0},
        }
    }
    with pytest.raises(DecisionError) as caught:
        recommend(make(6, settings=given))
    assert "ignition cap" in str(caught.value)
    assert "air filter" in str(caught.value)


def test_costs_say_where_they_come_from(make):
    def cost(fleet, component="ignition cap", task="replace"):
        rows = recommend(fleet)["costs"]
        rows = rows[(rows["component"] == component) & (rows["task"] == task)]
        return rows[rows["duty"] == "harbour"].iloc[0]

    billed = cost(make(20))
    assert billed["basis"] == "billed lines"
    assert billed["planned_cost"] == pytest.approx(9.0 + 15.0)
    assert billed["failure_cost"] == pytest.approx(9.0 + 40.0)
    given = {"costs": {"plug cap": {"planned_cost": 30.0, "failure_cost": 90.0}}}
    stated = cost(make(20, settings=given))
    assert (stated["planned_cost"], stated["failure_cost"]) == (30.0, 90.0)
    assert stated["basis"] == "settings"
    lost = {
        "costs": {"default": {"lost_days_per_failure": 2.0}},
        "customers": {"C-harbour": {"lost_day_cost": 100.0}},
    }
    assert cost(make(20, settings=lost))["failure_cost"] == pytest.approx(9 + 40 + 200)
    none = cost(make(20, money=False))
    assert (none["planned_cost"], none["failure_cost"]) == (1.0, 3.0)
    assert none["is_relative"]
    assert none["basis"] == "our proposal"


def test_without_money_the_sentence_says_the_costs_are_relative(make):
    found = row(recommend(make(20, money=False)), "air filter", task="replace")
    assert "planned replacements" in found["sentence"]


def test_a_starting_value_says_so_and_claims_no_saving(make):
    fleet = every_component(make)
    found = row(recommend(fleet), "spark plug", task="replace")
    assert found["basis"] == "starting value"
    assert found["interval_hours"] == 300
    assert found["interval_days"] == pytest.approx(365.2, abs=0.1)
    assert found["mark"] == "seen in a named source"
    assert np.isnan(found["cost_per_1000_hours"])
    assert np.isnan(found["probability_it_pays"])
    assert "starting value" in found["sentence"]
    severe = every_component(make, settings={"duty": {"severe": ["harbour"]}})
    assert row(recommend(severe), "spark plug", task="replace")["interval_hours"] == 150


def test_a_thin_record_does_not_drop_what_the_trade_replaces(make):
    fleet = every_component(make, "own data")
    fleet.life_models = as_table("life_models", fleet.life_models.assign(n_failed=2))
    found = row(recommend(fleet), "engine oil", task="replace")
    assert (found["interval_hours"], found["basis"]) == (100, "starting value")
    assert "too few to drop it" in found["sentence"]


def test_an_interval_beyond_the_longest_life_seen_says_so(make):
    fleet = make(20)
    short = fleet.life_models.assign(longest_life_hours=60.0, longest_life_days=60.0)
    tables = recommend(fleet, life_models=as_table("life_models", short))
    found = row(tables, "recoil starter rope", task="replace")
    assert found["interval_hours"] > 60
    assert "beyond the longest life seen (60 h)" in found["sentence"]
    # nobody knows what comes there: what can hurt is never changed later than that
    rows = tables["intervals"]
    hurts = rows[(rows["component"] == "safety relief valve") & (rows["task"] == "replace")]
    assert (hurts["interval_days"] <= 60).all()


def test_hidden_parts_are_looked_at_within_half_their_warning(fleet):
    found = row(recommend(fleet), "ignition cap", task="measure")
    assert found["interval_days"] <= 30.0 + 1e-9
    assert "first sign to failure" in found["sentence"]
    assert "kOhm" in found["sentence"]


def test_todays_schedule_is_shown(make):
    given = {"present_schedule": {"air filter": {"hours": 200}}}
    found = row(recommend(make(12, settings=given)), "air filter", task="replace")
    assert "Today: every 200 h." in found["sentence"]


def test_without_a_meter_everything_is_in_days(make):
    fleet = make(20, meter=False, duties=("harbour",))
    keep = fleet.life_draws["clock"] == "days"
    tables = recommend(
        fleet,
        life_draws=as_table("life_draws", fleet.life_draws[keep]),
        life_models=as_table(
            "life_models", fleet.life_models[fleet.life_models["clock"] == "days"]
        ),
    )
    found = row(tables, "ignition cap", task="replace")
    assert found["interval_days"] > 0
    assert np.isnan(found["interval_hours"])
    assert "per 1000 days" in found["sentence"]
    # the filter, whose law needs a meter, keeps its starting value
    assert row(tables, "air filter", task="replace")["basis"] == "starting value"


def test_row_order_changes_nothing(fleet):
    def shuffled(frame, seed):
        return frame.sample(frac=1, random_state=seed).reset_index(drop=True)

    names = ["life_draws", "life_models", "failure_events", "service_lines", "maintenance_events",
             "unit_spans"]  # fmt: skip
    one = recommend(fleet)
    other = recommend(fleet, **{n: shuffled(getattr(fleet, n), i) for i, n in enumerate(names)})
    for name in ("costs", "intervals", "cost_curves"):
        pd.testing.assert_frame_equal(one[name], other[name])


def test_an_empty_record_gives_empty_tables(fleet):
    names = ["life_draws", "life_models", "failure_events", "service_lines", "maintenance_events",
             "unit_spans"]  # fmt: skip
    tables = recommend(fleet, **{n: empty_table(n) for n in names})
    assert all(len(t) == 0 for t in tables.values())


def renewed(fleet, component, *, scale, shape=3.0, failure_cost=3000.0, visit_cost=5.0):
    """The fleet with one cell of a law that wears out, so that its part is renewed by age."""
    cell = shipped_components()[component]
    draws = pd.DataFrame(
        {"component": component, "duty": "harbour", "clock": cell.clock, "draw": range(5),
         "weight": 0.2, "distribution": "weibull", "shape": shape, "scale": scale,
         "basis": "own data"}
    )  # fmt: skip
    models = pd.DataFrame(
        {"component": [component], "duty": "harbour", "clock": cell.clock, "basis": "own data",
         "n_lives": 40, "n_failed": 20, "longest_life_hours": 9000.0,
         "longest_life_days": 9000.0, "component_wears": 1.0}
    )  # fmt: skip
    given = fleet.settings.model_dump(exclude_unset=True) | {
        "costs": {component: {"planned_cost": 30.0, "failure_cost": failure_cost}},
        "workshop": {"visit_cost": visit_cost},
    }  # fmt: skip
    rows = recommend(
        fleet, life_draws=as_table("life_draws", draws),
        life_models=as_table("life_models", models), settings=type(fleet.settings)(**given),
    )["intervals"]  # fmt: skip
    return rows[(rows["component"] == component) & (rows["duty"] == "harbour")]


@pytest.mark.parametrize("scale", [200.0, 500.0, 1000.0, 4000.0])
def test_no_look_is_advised_later_than_the_replacement_of_its_part(fleet, scale):
    for component in ("fuel hose and clamps", "rubber isolators", "ignition cap"):
        rows = renewed(fleet, component, scale=scale)
        change = rows[rows["task"] == "replace"]["interval_days"]
        looks = rows[~rows["task"].isin(["replace", "run to failure"])]["interval_days"]
        assert len(change) == 1, component
        assert (looks < change.iloc[0]).all(), component
        if shipped_components()[component].can_hurt:  # never without its look
            assert len(looks) == 1


@pytest.mark.parametrize("scale", [200.0, 1000.0, 4000.0])
@pytest.mark.parametrize("today", [{"hours": 100}, {"months": 9}, {"hours": 300, "months": 30}])
def test_what_can_hurt_is_never_advised_later_than_today(fleet, scale, today):
    """Whatever it saves; the sentence gives the same figures, and the look comes before."""
    given = fleet.settings.model_dump(exclude_unset=True)
    held = SimpleNamespace(**vars(fleet) | {"settings": type(fleet.settings)(
        **given, present_schedule={"fuel hose and clamps": today})})  # fmt: skip
    rows = renewed(held, "fuel hose and clamps", scale=scale).set_index("task")
    change, look = rows.loc["replace"], rows.loc["inspect"]
    free = renewed(fleet, "fuel hose and clamps", scale=scale).set_index("task").loc["replace"]
    use = 14.0 / 7  # hours a day
    most_days = min(today.get("hours", np.inf) / use, today.get("months", np.inf) * 30.436875)
    at_days = min(change["interval_days"], change["interval_hours"] / use)
    assert at_days <= most_days + 1e-6
    assert at_days == pytest.approx(min(free["interval_days"], most_days), rel=1e-6)
    if free["interval_days"] > most_days:
        assert "today's interval, which is not made longer" in change["sentence"]
    assert min(look["interval_days"], look["interval_hours"] / use) < at_days
    # what hurts nobody may be left longer
    longer = renewed(
        SimpleNamespace(**vars(fleet) | {"settings": type(fleet.settings)(
            **given, present_schedule={"ignition cap": today})}), "ignition cap", scale=4000.0,
    ).set_index("task")  # fmt: skip
    assert longer.loc["replace", "interval_days"] > most_days


def test_a_look_at_what_can_hurt_is_brought_half_way_to_a_sooner_replacement(fleet):
    """By itself it would come at half of the warning time, 18 months."""
    told = {"failure_cost": 245.0, "shape": 5.0, "visit_cost": 400.0}
    rows = renewed(fleet, "fuel hose and clamps", scale=700.0, **told).set_index("task")
    change, look = rows.loc["replace", "interval_days"], rows.loc["inspect", "interval_days"]
    assert 0.4 * change <= look <= 0.5 * change
    assert "Half way to its replacement" in rows.loc["inspect", "sentence"]
    assert "fire" in rows.loc["inspect", "sentence"]
    # far from its replacement it stands as it was
    later = renewed(fleet, "fuel hose and clamps", scale=4000.0, **told).set_index("task")
    assert "Half way" not in later.loc["inspect", "sentence"]
