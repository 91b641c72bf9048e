"""The visit plan: every machine, the right day, one visit for what falls together."""

import pandas as pd
import pytest

from dutylife.decisions import plan_visits, recommend_intervals
from dutylife.schema import as_table

AS_OF = pd.Timestamp("2026-03-15")


def tables_of(fleet):
    return recommend_intervals(
        fleet.life_draws, fleet.life_models, fleet.failure_events, fleet.service_lines,
        fleet.maintenance_events, fleet.unit_spans, fleet.settings,
    )  # fmt: skip


def plan(fleet, intervals=None, **changed):
    tables = tables_of(fleet)
    given = vars(fleet) | changed
    return plan_visits(
        tables["intervals"] if intervals is None else intervals, tables["costs"],
        given["failure_events"], given["maintenance_events"], given["units"],
        given["unit_spans"], given["settings"],
    )  # fmt: skip


def only(component, task="replace", **given):
    rows = [
        {"component": component, "duty": d, "task": task, "basis": "own data", "n_failed": 20,
         "sentence": "x"} | given
        for d in ("harbour", "orchard")
    ]  # fmt: skip
    return as_table("intervals", pd.DataFrame(rows))


def test_visits_are_working_days_within_the_horizon(fleet):
    visits = plan(fleet)
    assert len(visits) > 0
    assert (visits["due_on"] > AS_OF).all()
    assert (visits["due_on"] <= AS_OF + pd.DateOffset(months=6)).all()
    assert (visits["due_on"].dt.day_of_week < 5).all()
    assert set(visits["unit_id"].astype(object)) == set(fleet.units["unit_id"].astype(object))


def test_a_part_is_due_when_it_reaches_its_age(fleet):
    intervals = only("carburetor", interval_days=600.0, clock="days")
    visits = plan(fleet, intervals)
    lives = fleet.failure_events
    running = lives[(lives["component"] == "carburetor") & (lives["event"] == "running")]
    for life in running.itertuples():
        mine = visits[visits["unit_id"] == life.unit_id]
        due = AS_OF + pd.Timedelta(days=600 - life.exit_days)
        if due <= AS_OF:
            assert mine["due_on"].min() == AS_OF + pd.Timedelta(days=1)
        elif due <= AS_OF + pd.Timedelta(days=180):
            assert 0 <= (mine["due_on"].min() - due).days <= 3
        else:
            assert len(mine[mine["due_on"] < due - pd.Timedelta(days=3)]) == 0


def test_hours_become_days_by_the_machines_own_use(make):
    fleet = make(6)
    units = fleet.units.copy()
    spans = fleet.unit_spans.assign(hours_per_week=[7.0] * 3 + [70.0] * 3)
    intervals = only("air filter", interval_hours=300.0, interval_days=150.0, clock="hours")
    visits = plan(fleet, intervals, units=units, unit_spans=as_table("unit_spans", spans))
    counts = visits["unit_id"].astype(object).value_counts()
    counts = counts.reindex(fleet.units["unit_id"].astype(object), fill_value=0)
    slow, fast = counts.iloc[:3], counts.iloc[3:]
    assert slow.max() < fast.min()


def test_tasks_that_fall_together_share_a_visit(fleet):
    visits = plan(fleet)
    for _, mine in visits.groupby("unit_id", observed=True):
        gaps = mine["due_on"].sort_values().diff().dropna().dt.days
        assert (gaps >= 26).all() or mine["tasks"].str.contains(";").any()
    assert visits["tasks"].str.contains(";").any()


def test_one_visit_costs_one_visit(make):
    dear = make(8, settings={"workshop": {"visit_cost": 500.0}})
    visits = plan(
        dear, only("air filter", interval_hours=200.0, interval_days=100.0, clock="hours")
    )
    replace = visits[visits["parts"] != ""]
    assert replace["cost"].to_numpy() == pytest.approx(500 + 14 + 15)
    assert set(replace["parts"]) == {"AF-12"}


def test_operator_checks_are_no_visits(fleet):
    daily = only("air filter", "inspect", interval_hours=8.0, interval_days=4.0)
    assert len(plan(fleet, daily)) == 0


def test_run_to_failure_is_no_visit(fleet):
    assert len(plan(fleet, only("air filter", "run to failure"))) == 0


def test_a_machine_that_left_gets_none(make):
    fleet = make(6)
    units = fleet.units.assign(
        prob_in_service=[0.4, 1, 1, 1, 1, 1],
        left_on=[None, AS_OF - pd.Timedelta(days=5), None, None, None, None],
    )
    visits = plan(fleet, units=as_table("units", units))
    assert set(visits["unit_id"].astype(object)) == {"U002", "U003", "U004", "U005"}


def test_overdue_work_waits_for_the_workshops_hours(make):
    def first_days(settings):
        fleet = make(20, settings=settings)
        overdue = only("carburetor", "clean", interval_days=15.0, clock="days")
        visits = plan(fleet, overdue)
        return visits.groupby("unit_id", observed=True)["due_on"].min()

    free = first_days({})
    narrow = first_days({"workshop": {"hours_per_week": 1.5}})
    overdue = free.index[free == AS_OF + pd.Timedelta(days=1)]
    assert len(overdue) > 3
    # 0.3 h a day for looks of 0.3 h: one overdue machine a day
    assert narrow[overdue].is_unique
    assert narrow[overdue].max() > free[overdue].max()


def test_row_order_changes_nothing(fleet):
    def shuffled(frame):
        return frame.sample(frac=1, random_state=4).reset_index(drop=True)

    names = ["failure_events", "maintenance_events", "units", "unit_spans"]
    other = plan(fleet, **{n: shuffled(getattr(fleet, n)) for n in names})
    pd.testing.assert_frame_equal(plan(fleet), other)
