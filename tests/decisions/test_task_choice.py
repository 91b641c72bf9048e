"""The task choice: in the order of reliability-centred maintenance, each test with its evidence."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from tasks_of_the_list import DUTY, nothing_known, table_of_tasks

from dutylife.components import shipped_components
from dutylife.decisions import recommend_intervals
from dutylife.decisions.task_questions import QUESTIONS
from dutylife.decisions.work_cautions import cautions_for
from dutylife.reports.cautions import CAUTIONS
from dutylife.schema import as_table, empty_table
from dutylife.settings import settings_from

YEAR = 365.2425


@pytest.fixture(scope="module")
def listed():
    return nothing_known()


def decided(tables, component):
    rows = tables["task_choice"].astype({"component": object, "task": object})
    rows = rows[(rows["component"] == component) & rows["decides"]]
    assert len(rows) == 1, component
    return rows.iloc[0]


def one_cell(component, *, shape, scale, n_lives, n_failed, costs=None, spread=0.05, clock=None,
             events=None, basis="own data", use=14.0, coding=None):  # fmt: skip
    """Tables of one component in one duty with a law that is nearly known."""
    clock = clock or shipped_components()[component].clock
    random = np.random.default_rng(3)
    draws = pd.DataFrame(
        {"component": component, "duty": DUTY, "clock": clock, "draw": np.arange(64),
         "weight": 1 / 64, "distribution": "weibull", "basis": basis,
         "shape": shape * np.exp(spread * random.standard_normal(64)),
         "scale": scale * np.exp(spread * random.standard_normal(64))}
    )  # fmt: skip
    model = {"component": component, "duty": DUTY, "clock": clock, "basis": basis,
             "n_lives": n_lives, "n_failed": n_failed, "longest_life_hours": 2 * scale,
             "longest_life_days": 2 * scale}  # fmt: skip
    span = {"unit_id": "M1", "from_date": pd.Timestamp("2010-01-01"),
            "to_date": pd.Timestamp("2026-01-01"), "customer": "C", "duty": DUTY,
            "hours_per_week": use}  # fmt: skip
    given = {"costs": costs or {}, "coding": {"components": coding or {}}}
    return recommend_intervals(
        as_table("life_draws", draws), as_table("life_models", pd.DataFrame([model])),
        empty_table("failure_events"), empty_table("service_lines"),
        events if events is not None else empty_table("maintenance_events"),
        as_table("unit_spans", pd.DataFrame([span])), settings_from(given),
    )  # fmt: skip


def record_of_tests(component, n, finding="ok"):
    """A machine's component tested n times, a fortnight apart."""
    days = pd.Timestamp("2010-01-04") + pd.to_timedelta(14 * np.arange(n), unit="D")
    return as_table(
        "maintenance_events",
        pd.DataFrame(
            {"unit_id": "M1", "component": component, "event_date": days, "activity": "test",
             "reason": "preventive", "finding": finding, "confidence": 1.0,
             "ticket": [f"T{i}" for i in range(n)], "found_at_service": False,
             "line_ids": [f"L{i}" for i in range(n)]}
        ),
    )  # fmt: skip


def test_every_row_of_the_list_has_its_task(listed):
    table = table_of_tasks(listed)
    assert set(table["component"]) == set(shipped_components())
    assert table["task"].str.len().gt(0).all()
    assert table["evidence"].str.len().gt(10).all()
    waits = table[table["task"] == "run to failure"]
    assert (waits["can_hurt"] == "").all()
    # the list has no task with a spacing for these, and their failure hurts nobody
    assert set(waits["component"]) == {
        "connecting rod and crank bearings", "exciter bearings", "piston, rings and bore",
        "pump rings, rods and bearings", "recoil starter spring and pawls",
    }  # fmt: skip
    hidden = table[table["hidden"] == "yes"]
    assert len(hidden)
    assert (hidden["decided_by"] == "hidden").all()
    assert hidden["task"].str.endswith("(failure finding)").all()


def test_all_questions_are_asked_in_order_with_evidence(listed):
    rows = listed["task_choice"].astype({"component": object, "question": object})
    for name, asked in rows.groupby("component"):
        asked = asked.sort_values("question_order")
        assert tuple(asked["question"]) == QUESTIONS, name
        assert asked["evidence"].str.len().gt(0).all()
        assert asked["decides"].sum() == 1


@pytest.mark.parametrize("shape", [0.7, 1.0, 3.0])
def test_what_can_hurt_has_a_task_whatever_it_costs(shape):
    dear_looks = {"fuel hose and clamps": {"planned_cost": 10.0, "failure_cost": 10.01}}
    tables = one_cell("fuel hose and clamps", shape=shape, scale=5000.0, n_lives=50, n_failed=40,
                      costs=dear_looks)  # fmt: skip
    found = decided(tables, "fuel hose and clamps")
    assert found["task"] != "run to failure"
    last = tables["task_choice"].query("question == 'run to failure'").iloc[0]
    assert "never" in last["evidence"]
    assert "run to failure" not in set(tables["intervals"]["task"].astype(object))


def test_without_a_limit_the_text_says_whom_to_ask(listed):
    rows = listed["intervals"].astype({"can_hurt": object})
    hurts = rows["can_hurt"].notna() & (rows["can_hurt"] != "")
    asks = rows["sentence"].str.contains("ask the maker or a competent person")
    assert asks[hurts].all()
    assert not asks[~hurts].any()
    safety = listed["task_choice"].query("question == 'safety' and answer == 'yes'")
    assert safety["evidence"].str.contains("ask the maker or a competent person").all()


def test_a_relief_valve_with_400_tests_and_no_failure_keeps_its_interval():
    """2 x 1 % of a mean life of decades would be a year: a record without failure never counts."""
    valve = "safety relief valve"
    tables = one_cell(valve, shape=1.0, scale=60 * YEAR, n_lives=400, n_failed=0,
                      events=record_of_tests(valve, 400))  # fmt: skip
    found = tables["intervals"].query("task == 'test'").iloc[0]
    assert found["interval_days"] == pytest.approx(30.436875)
    assert "400 tests" in found["sentence"]
    assert "never lengthens it" in found["sentence"]
    assert decided(tables, valve)["task"] == "test (failure finding)"


def test_a_hidden_device_that_fails_often_is_tested_more_often():
    """Allowed 1 % of the time: 2 x 0.01 x 500 days are 10 days, under the month it starts with."""
    valve = "safety relief valve"
    tables = one_cell(valve, shape=1.0, scale=500.0, n_lives=60, n_failed=20, spread=1e-9,
                      events=record_of_tests(valve, 60))  # fmt: skip
    found = tables["intervals"].query("task == 'test'").iloc[0]
    assert found["interval_days"] == pytest.approx(10.0, rel=1e-6)
    # nor does a found failure lengthen the interval of what can hurt
    rare = one_cell(valve, shape=1.0, scale=60 * YEAR, n_lives=60, n_failed=1,
                    events=record_of_tests(valve, 60))  # fmt: skip
    assert rare["intervals"].query("task == 'test'").iloc[0]["interval_days"] < 30.5


def test_the_allowed_unavailability_is_the_shops():
    switch = "low-oil shutdown switch"
    given = {switch: {"allowed_unavailability": 0.1}}
    tables = one_cell(switch, shape=1.0, scale=1000.0, n_lives=60, n_failed=20, spread=1e-9,
                      coding=given)  # fmt: skip
    found = tables["intervals"].query("task == 'test'").iloc[0]
    assert found["interval_days"] == pytest.approx(2 * 0.1 * 1000, rel=1e-6)
    assert "settings" in found["sentence"]


def test_a_makers_limit_of_100_h_stands_over_an_optimum_of_300_h():
    costs = {"air filter": {"planned_cost": 10.0, "failure_cost": 50.0}}
    free = one_cell("air filter", shape=3.0, scale=591.0, n_lives=60, n_failed=30, costs=costs)
    at = free["intervals"].query("task == 'replace'").iloc[0]
    assert at["interval_hours"] == pytest.approx(300, rel=0.04)
    given = {"air filter": {"maker_limit_hours": 100}}
    held = one_cell("air filter", shape=3.0, scale=591.0, n_lives=60, n_failed=30, costs=costs,
                    coding=given)  # fmt: skip
    row = held["intervals"].query("task == 'replace'").iloc[0]
    assert row["interval_hours"] == 100
    assert "no saving lifts" in row["sentence"]
    choice = decided(held, "air filter")
    assert (choice["question"], choice["task"]) == ("safety", "replace (at the limit)")


def test_a_limit_on_the_other_clock_stands_beside_the_interval():
    """A machine that runs little reaches 12 months before its hours: whichever comes first."""
    costs = {"air filter": {"planned_cost": 10.0, "failure_cost": 50.0}}
    given = {"air filter": {"maker_limit_days": 365}}
    held = one_cell("air filter", shape=3.0, scale=591.0, n_lives=60, n_failed=30, costs=costs,
                    coding=given)  # fmt: skip
    row = held["intervals"].query("task == 'replace'").iloc[0]
    assert row["interval_hours"] == pytest.approx(300, rel=0.04)
    assert row["interval_days"] == 365
    assert pd.isna(row["clock"])
    assert "12 months" in row["sentence"]


@pytest.mark.parametrize(
    ("shape", "question"), [(3.0, "wear-out"), (1.0, "run to failure"), (0.7, "run to failure")]
)
def test_wear_is_replaced_and_chance_is_not(shape, question):
    costs = {"pressure washer nozzle": {"planned_cost": 10.0, "failure_cost": 60.0}}
    tables = one_cell("pressure washer nozzle", shape=shape, scale=500.0, n_lives=60, n_failed=30,
                      costs=costs)  # fmt: skip
    assert decided(tables, "pressure washer nozzle")["question"] == question
    assert tables["task_choice"]["evidence"].str.contains("30 failures in 60 lives").any()


def test_cautions_stand_with_their_tasks_and_are_lines_the_reports_print(listed):
    printed = {hazard for hazard, _ in CAUTIONS}
    for name, part in shipped_components().items():
        assert set(cautions_for(part)) <= printed, name
        if part.can_hurt:
            assert cautions_for(part), name
    rows = listed["intervals"].astype({"component": object}).set_index("component")
    assert "Pressure vessel" in rows.loc["air receiver", "cautions"].iloc[0]
    assert "Fire" in rows.loc["fuel hose and clamps", "cautions"]
    assert "Ignition shock" in rows.loc["spark plug", "cautions"].iloc[0]
    unknown = dataclasses.replace(shipped_components()["spark plug"], name="x", system="")
    assert cautions_for(unknown) == ("Unexpected start",)
