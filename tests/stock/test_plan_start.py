"""A plan that starts on a later day, use by the season, and streams beside the lives."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from dutylife.lives.clocks.season import Season
from dutylife.schema import as_table
from dutylife.stock.calendar import UseClock
from dutylife.stock.comings import flow_of
from dutylife.stock.demand import Span, days_ahead
from dutylife.stock.fleet_demand import fleet_demand

AS_OF = pd.Timestamp("2026-03-15")
FIRST = AS_OF + pd.Timedelta(days=1)
SPANS = [
    days_ahead(AS_OF, 30), days_ahead(AS_OF, 180),
    Span(from_date=FIRST + pd.Timedelta(days=90), months=1.0, start=90.0, days=30.0),
]  # fmt: skip
SCHEDULE = {"air filter": {"hours": 60}}


def demand(fleet, **more):
    names = (
        "failure_events", "life_draws", "units", "unit_spans", "service_lines",
        "maintenance_events", "catalogue",
    )  # fmt: skip
    given = {n: more.pop(n, getattr(fleet, n)) for n in names}
    return fleet_demand(intervals=pd.DataFrame(), settings=fleet.settings, **given, **more)


def means(make, begins, number="AF-12", plan="present_schedule", **more):
    """Planned and unplanned pieces of a part in each of `SPANS`, for a plan starting on a day."""
    told = {"in_force": plan} | ({} if begins is None else {"from": begins})
    fleet = make(12, settings={"plan": told, "present_schedule": SCHEDULE})
    laws = demand(fleet, **more).laws(plan, SPANS)[number]
    return np.array([[laws[s.key].mean_planned, laws[s.key].mean_unplanned] for s in SPANS])


def test_before_its_day_a_plan_is_not_there_and_after_it_it_is(make):
    seen = means(make, None, plan="as seen")
    at_once = means(make, None)
    later = means(make, dt.date(2026, 5, 15))  # 60 days on
    assert later[0] == pytest.approx(seen[0], rel=0.02)
    # first month of the plan: what is overdue is caught up
    assert later[2, 0] > 2 * seen[2, 0]
    assert seen[1, 0] < later[1, 0] < at_once[1, 0]
    assert at_once[1, 1] < later[1, 1] < seen[1, 1]


def test_a_start_at_the_cut_off_is_no_start_and_one_beyond_the_forecast_never_comes(make):
    at_once = means(make, None)
    assert means(make, dt.date(2026, 3, 16)) == pytest.approx(at_once)
    assert means(make, dt.date(2026, 3, 17)) == pytest.approx(at_once, rel=0.05, abs=0.1)
    assert means(make, dt.date(2027, 3, 16)) == pytest.approx(means(make, None, plan="as seen"))


def test_what_a_schedule_does_not_name_goes_on_as_it_was(make):
    own = means(make, None, number="CAP-5K")
    assert own == pytest.approx(means(make, None, number="CAP-5K", plan="as seen"))
    assert own[1, 0] > 0.5
    assert means(make, None, number="CAP-5K", plan="none")[:, 0] == pytest.approx(np.zeros(3))


def test_a_law_across_the_start_is_a_law(make):
    plan = {"in_force": "present_schedule", "from": dt.date(2026, 5, 15)}
    fleet = make(12, settings={"plan": plan, "present_schedule": SCHEDULE})
    for law in demand(fleet).laws("present_schedule", SPANS)["AF-12"].values():
        chances = law.chances()
        assert chances.sum() == pytest.approx(1.0)
        assert chances @ np.arange(len(chances)) == pytest.approx(law.mean, rel=1e-3)


def test_a_plan_read_from_a_file_is_followed_duty_by_duty(make):
    fleet = make(12, settings={"plan": {"in_force": "plan.csv"}})
    stated = as_table(
        "stated_plan",
        pd.DataFrame({"component": ["air filter"], "duty": ["harbour"], "interval_hours": [60.0]}),
    )

    def pieces(table):
        laws = demand(fleet, stated_plan=table).laws("plan.csv", SPANS)["AF-12"]
        return laws[SPANS[1].key].mean_planned

    everywhere = pd.concat([stated.astype(object), stated.astype(object).assign(duty="orchard")])
    everywhere = as_table("stated_plan", everywhere)
    seen = means(make, None, plan="as seen")[1, 0]
    assert seen < pieces(stated) < pieces(everywhere)
    assert pieces(everywhere) == pytest.approx(means(make, None)[1, 0])


def test_use_by_the_season_moves_demand_within_the_year_only():
    shares = np.ones(12)
    shares[:6], shares[6:] = 1.5, 0.5
    table = Season(np.array(["d", "e"], dtype=object), np.stack([shares, np.ones(12)])).table
    assert table["duty"].tolist() == ["d"] * 12
    clock = UseClock(first=pd.Timestamp("2026-01-01"), season=Season.of_table(table))
    assert clock.passed("d", [31.0, 365.0]) == pytest.approx([46.5, 365.0], abs=2.5)
    assert not clock.has("e")


def test_a_quiet_month_asks_for_less_of_what_wears_by_hours(make):
    fleet = make(12)
    rows = [
        {"duty": duty, "month_of_year": m, "use_share": 0.4 if m in (3, 4) else 1.12}
        for duty in ("harbour", "orchard") for m in range(1, 13)
    ]  # fmt: skip
    season = as_table("use_seasons", pd.DataFrame(rows))
    plain, quiet = demand(fleet), demand(fleet, use_seasons=season)
    before = plain.laws("as seen", SPANS)
    after = quiet.laws("as seen", SPANS)
    month, half = SPANS[0].key, SPANS[1].key
    assert after["AF-12"][month].mean < 0.6 * before["AF-12"][month].mean
    assert after["AF-12"][half].mean > 0.85 * before["AF-12"][half].mean
    # by days: the season of use is nothing to it
    assert after["CAP-5K"][month].mean == pytest.approx(before["CAP-5K"][month].mean)


def test_what_is_sold_with_a_part_stays_demand_of_its_own(make):
    fleet = make(12)
    lines = fleet.service_lines.copy()
    first = lines[lines["part_number"].astype(object) == "AF-12"].iloc[:20]
    oil = first.assign(line_id="O" + first["line_id"].astype(str), part_number="OIL-1")
    lines = as_table("service_lines", pd.concat([lines.astype(object), oil.astype(object)]))
    events = fleet.maintenance_events.astype({"line_ids": object})
    mine = events["line_ids"].isin(first["line_id"])
    both = events["line_ids"].where(~mine, events["line_ids"] + ";O" + events["line_ids"])
    found = demand(fleet, service_lines=lines, maintenance_events=events.assign(line_ids=both))
    recent = (oil["service_date"] > AS_OF - pd.DateOffset(months=24)).sum()
    assert found.inputs.other["OIL-1"].n_lines == recent > 0
    assert found.inputs.other["AF-12"].n_lines == demand(fleet).inputs.other["AF-12"].n_lines


def test_machines_of_unknown_beginning_come_as_often_as_the_others():
    days = pd.date_range("2024-04-01", "2026-03-01", periods=40)
    units = as_table(
        "units",
        pd.DataFrame(
            {"unit_id": [f"U{i:02d}" for i in range(40)], "in_service_on": days,
             "first_seen": days, "last_seen": AS_OF, "prob_in_service": 1.0}
        ),
    )  # fmt: skip
    whole = flow_of(units, AS_OF).coming_rate
    half = units.assign(in_service_on=days.where(np.arange(40) % 3 > 0))
    assert flow_of(half, AS_OF).coming_rate == pytest.approx(whole, rel=0.06)
