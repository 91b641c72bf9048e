"""Visits keep the workshop's hours, customers' blackout weeks, and limits of what can hurt."""

import pandas as pd
import pytest

from dutylife.decisions import plan_visits, visit_tables
from dutylife.errors import DecisionError, SettingsError
from dutylife.schema import as_table
from dutylife.settings import settings_from

AS_OF = pd.Timestamp("2026-03-15")
ALL_WEEKS = list(range(1, 54))


def rows(*tasks):
    """Interval rows in both duties: component, task and anything else."""
    made = [
        {"component": component, "duty": duty, "task": task, "basis": "own data", "n_failed": 20,
         "sentence": "x"} | more
        for component, task, more in tasks
        for duty in ("harbour", "orchard")
    ]  # fmt: skip
    return as_table("intervals", pd.DataFrame(made))


def costs(*components):
    made = [
        {"component": c, "duty": d, "task": t, "planned_cost": 40.0, "failure_cost": 240.0,
         "labour_hours": h, "is_relative": False, "basis": "settings"}
        for c in components
        for d in ("harbour", "orchard")
        for t, h in (("replace", 1.0), ("inspect", 0.5), ("test", 0.5), ("clean", 0.5))
    ]  # fmt: skip
    return as_table("costs", pd.DataFrame(made))


HURTS = ("safety relief valve", "test", {"interval_days": 100.0, "clock": "days",
                                         "can_hurt": "pressure"})  # fmt: skip
MONTHLY = ("safety relief valve", "test", {"interval_days": 30.0, "clock": "days",
                                           "can_hurt": "pressure"})  # fmt: skip
WEAR = ("air filter", "replace", {"interval_hours": 200.0, "interval_days": 100.0,
                                  "clock": "hours"})  # fmt: skip
CLEAN = ("carburetor", "clean", {"interval_days": 120.0, "clock": "days"})
NAMES = ("safety relief valve", "air filter", "carburetor")


def visits_of(fleet, intervals, settings=None, **more):
    given = fleet.settings
    if settings:
        data = {"fleet": {"as_of": AS_OF.date(), "currency": "EUR"}} | settings
        given = settings_from(data, source="shop.toml")
    found = visit_tables(
        intervals, costs(*NAMES), fleet.failure_events, fleet.maintenance_events, fleet.units,
        fleet.unit_spans, given, fleet.life_draws, **more,
    )  # fmt: skip
    out = found["visit_plan"].astype({"unit_id": object, "customer": object})
    return out.assign(week=out["due_on"].dt.isocalendar()["week"].astype(int))


def days_of(fleet, visits, component, task):
    """Days of a task, machine by machine, from the last time in the record on."""
    events = fleet.maintenance_events.astype({"unit_id": object, "component": object})
    last = events[events["component"] == component].groupby("unit_id")["event_date"].max()
    does = visits[visits["tasks"].str.split(";").map(lambda t: f"{task} {component}" in t)]
    changed = visits[visits["tasks"].str.split(";").map(lambda t: f"replace {component}" in t)]
    both = pd.concat([does, changed])
    return {u: (last.get(u), sorted(both.loc[both["unit_id"] == u, "due_on"])) for u in
            fleet.units["unit_id"].astype(object)}  # fmt: skip


def assert_never_late(fleet, visits, interval):
    end = AS_OF + pd.DateOffset(months=6)
    for unit, (last, days) in days_of(fleet, visits, "safety relief valve", "test").items():
        at = last
        for day in [*days, end]:
            if at is not None and at + pd.Timedelta(days=interval) > AS_OF:
                assert (day - at).days <= interval, f"{unit}: {at} to {day}"
            at = day


def test_what_can_hurt_is_never_later_than_its_interval(fleet):
    dear = {"workshop": {"visit_cost": 5000.0}}
    visits = visits_of(fleet, rows(HURTS, WEAR, CLEAN), dear)
    assert_never_late(fleet, visits, 100)


def test_what_can_hurt_each_month_is_never_late(fleet):
    visits = visits_of(fleet, rows(MONTHLY, WEAR), {"workshop": {"visit_cost": 40.0}})
    assert_never_late(fleet, visits, 30)
    # other work shares the monthly visits
    filters = visits[visits["tasks"].str.contains("replace air filter")]
    tests = visits["tasks"].str.contains("test safety relief valve")
    assert filters["tasks"].str.contains("test safety relief valve").mean() > 0.9
    assert tests.sum() > 4 * len(fleet.units)


def test_what_is_overdue_and_can_hurt_comes_first(make):
    fleet = make(20, settings={"workshop": {"hours_per_week": 6.0}})
    visits = visits_of(
        fleet, rows(HURTS, WEAR, CLEAN), {"workshop": {"hours_per_week": 6.0, "visit_cost": 40.0}}
    )
    days = days_of(fleet, visits, "safety relief valve", "test")
    overdue = [d[0] for last, d in days.values() if last is not None
               and last + pd.Timedelta(days=100) <= AS_OF]  # fmt: skip
    assert len(overdue) > 3
    others = visits[~visits["tasks"].str.contains("safety relief valve")]["due_on"]
    assert max(overdue) <= AS_OF + pd.Timedelta(days=15)
    assert others.empty or sorted(overdue)[len(overdue) // 2] <= others.min()


def test_a_machine_called_for_safety_work_takes_along_what_else_is_due(make):
    """One call a machine in its first month, though the first week's hours don't do for all."""
    workshop = {"workshop": {"hours_per_week": 14.0, "visit_cost": 40.0}}
    visits = visits_of(make(20, settings=workshop), rows(HURTS, WEAR, CLEAN), workshop)
    soon = visits[visits["due_on"] <= AS_OF + pd.Timedelta(days=30)]
    called = soon[soon["tasks"].str.contains("safety relief valve")]
    assert len(called) > 5
    assert called["tasks"].str.contains(";").mean() > 0.5  # most have more to be done
    assert (soon[soon["unit_id"].isin(called["unit_id"])].groupby("unit_id").size() == 1).all()
    assert soon.groupby("week")["labour_hours"].sum().max() <= 14.0 + 1e-9


def test_no_visit_falls_in_a_blackout_week_and_safety_comes_before_it(fleet):
    shut = {"customers": {"C-harbour": {"blackout_weeks": [17, 18, 19, 20, 21, 22]},
                          "C-orchard": {"blackout_weeks": [12, 25]}},
            "workshop": {"visit_cost": 40.0}}  # fmt: skip
    free = visits_of(fleet, rows(HURTS, WEAR, CLEAN), {"workshop": {"visit_cost": 40.0}})
    visits = visits_of(fleet, rows(HURTS, WEAR, CLEAN), shut)
    for name, c in shut["customers"].items():
        mine = visits[visits["customer"] == name]
        assert len(mine) > 5
        assert not mine["week"].isin(c["blackout_weeks"]).any()
        assert free.loc[free["customer"] == name, "week"].isin(c["blackout_weeks"]).any()
    assert_never_late(fleet, visits, 100)


@pytest.mark.parametrize("hours", [8.0, pytest.param(5.0, marks=pytest.mark.slow)])
def test_no_week_holds_more_than_the_workshops_hours(fleet, hours):
    free = visits_of(fleet, rows(HURTS, WEAR, CLEAN), {"workshop": {"visit_cost": 40.0}})
    visits = visits_of(
        fleet, rows(HURTS, WEAR, CLEAN), {"workshop": {"visit_cost": 40.0, "hours_per_week": hours}}
    )
    weeks = visits["due_on"].dt.to_period("W")
    assert free.groupby(free["due_on"].dt.to_period("W"))["labour_hours"].sum().max() > hours
    assert visits.groupby(weeks)["labour_hours"].sum().max() <= hours + 1e-6
    assert_never_late(fleet, visits, 100)


def test_blackout_weeks_that_leave_no_day_name_the_customer(fleet):
    settings = {"customers": {"C-orchard": {"blackout_weeks": ALL_WEEKS}}}
    with pytest.raises(DecisionError) as error:
        visits_of(fleet, rows(HURTS, WEAR), settings)
    assert 'customers."C-orchard".blackout_weeks' in str(error.value)
    assert "C-harbour" not in str(error.value)
    assert "test safety relief valve" in str(error.value)


def test_a_closed_customer_without_work_that_can_hurt_gets_no_visit(fleet):
    settings = {"customers": {"C-orchard": {"blackout_weeks": ALL_WEEKS}}}
    visits = visits_of(fleet, rows(WEAR, CLEAN), settings)
    assert set(visits["customer"]) == {"C-harbour"}


@pytest.mark.parametrize("task", [HURTS, MONTHLY])
def test_hours_that_do_not_do_for_what_can_hurt_are_named(fleet, task):
    # 30 machines, half an hour each within 100 (30) days: 14 weeks (4) of 0.6 h are too few
    with pytest.raises(DecisionError) as error:
        visits_of(fleet, rows(task, WEAR), {"workshop": {"hours_per_week": 0.6}})
    assert "hours_per_week" in str(error.value)


def test_a_task_longer_than_a_week_of_the_workshop_is_named(fleet):
    with pytest.raises(DecisionError, match="replace air filter"):
        visits_of(fleet, rows(WEAR), {"workshop": {"hours_per_week": 0.9}})


def test_no_hours_and_weeks_that_are_none_are_refused():
    with pytest.raises(SettingsError, match="hours_per_week"):
        settings_from({"workshop": {"hours_per_week": 0}})
    with pytest.raises(SettingsError, match="blackout_weeks"):
        settings_from({"customers": {"A": {"blackout_weeks": [54]}}})


def test_no_use_of_any_machine_names_the_key(make):
    fleet = make(6, meter=False)
    only_meter = rows(("air filter", "replace", {"interval_hours": 200.0, "clock": "hours"}))
    with pytest.raises(DecisionError) as error:
        visits_of(fleet, only_meter)
    assert "fleet.hours_per_week" in str(error.value)


def test_a_makers_limit_is_kept_though_waiting_were_cheaper(make):
    fleet = make(20)
    settings = {"workshop": {"visit_cost": 5000.0},
                "coding": {"components": {"carburetor": {"maker_limit_days": 150.0}}}}  # fmt: skip
    soon = rows(("carburetor", "replace", {"interval_days": 120.0, "clock": "days"}))
    visits = visits_of(fleet, soon, settings)
    lives = fleet.failure_events.astype({"unit_id": object, "component": object})
    running = lives[(lives["component"] == "carburetor") & (lives["event"] == "running")]
    for life in running.itertuples():
        left = 150 - life.exit_days
        days = (visits.loc[visits["unit_id"] == life.unit_id, "due_on"] - AS_OF).dt.days
        if left > 0:
            assert days.min() <= left
        assert (days.sort_values().diff().dropna() <= 150).all()


def test_a_customers_machines_share_a_visit_where_the_settings_say_so(fleet):
    each = visits_of(fleet, rows(WEAR, CLEAN), {"workshop": {"visit_cost": 60.0}})
    shared = visits_of(
        fleet, rows(WEAR, CLEAN),
        {"workshop": {"visit_cost": 60.0, "visit_cost_per": "customer"}},
    )  # fmt: skip
    days = shared.groupby("customer")["due_on"].nunique()
    assert days.max() < each.groupby("customer")["due_on"].nunique().min()
    # one visit cost for all machines of a customer on a day
    parts = 40.0 * shared["tasks"].str.count("replace")
    trips = (shared["cost"] - parts).groupby([shared["customer"], shared["due_on"]]).sum()
    assert trips.to_numpy() == pytest.approx(60.0)


def test_the_same_tables_come_twice(fleet):
    given = {"workshop": {"visit_cost": 40.0, "hours_per_week": 8.0}}
    pd.testing.assert_frame_equal(
        visits_of(fleet, rows(HURTS, WEAR, CLEAN), given),
        visits_of(fleet, rows(HURTS, WEAR, CLEAN), given),
    )


def test_a_horizon_of_years_goes_window_by_window(fleet):
    visits = visits_of(
        fleet, rows(HURTS, WEAR),
        {"workshop": {"visit_cost": 40.0}, "report": {"horizon_months": 20}},
    )  # fmt: skip
    assert visits["due_on"].max() > AS_OF + pd.DateOffset(months=18)
    for last, days in days_of(fleet, visits, "safety relief valve", "test").values():
        assert last is None or pd.Series(days).diff().dt.days.max() <= 100


def test_grouping_costs_less_than_single_dates(fleet):
    few = visits_of(fleet, rows(WEAR, CLEAN), {"workshop": {"visit_cost": 80.0}})
    many = visits_of(fleet, rows(WEAR, CLEAN), {"workshop": {"visit_cost": 0.5}})
    assert len(few) < len(many)


def test_every_task_of_a_machine_has_its_row_and_its_person(fleet):
    daily = ("air filter", "inspect", {"interval_hours": 8.0, "interval_days": 4.0})
    found = visit_tables(
        rows(HURTS, WEAR, daily), costs(*NAMES), fleet.failure_events, fleet.maintenance_events,
        fleet.units, fleet.unit_spans, fleet.settings, fleet.life_draws,
    )  # fmt: skip
    tasks = found["machine_tasks"].astype({"task": object, "component": object})
    assert len(tasks) == 3 * len(fleet.units)
    by = tasks.groupby(["component", "task"])["done_by"].unique().map(lambda w: w[0])
    assert by["safety relief valve", "test"] == "qualified person"
    assert by["air filter", "inspect"] == "operator"
    assert by["air filter", "replace"] == "yard"
    visits = found["visit_plan"].astype({"unit_id": object})
    first = visits.groupby("unit_id")["due_on"].min()
    named = tasks.dropna(subset=["next_on"]).groupby("unit_id", observed=True)["next_on"].min()
    assert (named == first.reindex(named.index.astype(object)).to_numpy()).all()


def test_plan_visits_is_the_plan_of_the_tables(fleet):
    given = (rows(WEAR), costs(*NAMES), fleet.failure_events, fleet.maintenance_events,
             fleet.units, fleet.unit_spans, fleet.settings, fleet.life_draws)  # fmt: skip
    pd.testing.assert_frame_equal(plan_visits(*given), visit_tables(*given)["visit_plan"])
