"""Demand and orders: what the owner is promised."""

import numpy as np
import pandas as pd
import pytest

from dutylife.decisions import recommend_intervals
from dutylife.errors import SettingsError
from dutylife.schema import as_table, empty_table
from dutylife.stock import plan_stock

AS_OF = pd.Timestamp("2026-03-15")
PARTS = ["AF-12", "CAP-5K", "ROPE-1", "RV-8"]
INPUTS = ["failure_events", "life_draws", "units", "unit_spans", "service_lines",
          "maintenance_events", "catalogue", "shelf"]  # fmt: skip


def stock(fleet, intervals=None, **changed):
    given = {n: getattr(fleet, n) for n in INPUTS} | changed
    if intervals is None:
        intervals = recommend_intervals(
            fleet.life_draws, fleet.life_models, fleet.failure_events, fleet.service_lines,
            fleet.maintenance_events, fleet.unit_spans, fleet.settings,
        )["intervals"]  # fmt: skip
    return plan_stock(
        intervals=intervals, settings=changed.pop("settings", fleet.settings), **given
    )


@pytest.fixture(scope="module")
def tables(fleet):
    return stock(fleet)


def part(tables, number):
    rows = tables["stock_plan"]
    return rows[rows["part_number"] == number].iloc[0]


def forecast(tables, number, plan="as seen", months=6.0):
    rows = tables["demand_forecast"]
    rows = rows[(rows["part_number"] == number) & (rows["plan"] == plan)]
    rows = rows[(rows["months"] == months) & (rows["from_date"] == AS_OF + pd.Timedelta(days=1))]
    assert len(rows) == 1
    return rows.iloc[0]


def test_every_part_has_its_spans_under_both_plans(tables):
    rows = tables["demand_forecast"].astype({"plan": object, "part_number": object})
    assert set(rows["plan"]) == {"as seen", "recommended"}
    for _, own in rows.groupby(["part_number", "plan"]):
        months = own[own["from_date"] > AS_OF + pd.Timedelta(days=1)]
        assert list(months["from_date"].dt.month) == [4, 5, 6, 7, 8]
        assert (months["months"] == 1).all()
        spans = set(own.loc[own["from_date"] == AS_OF + pd.Timedelta(days=1), "months"].round(6))
        assert spans == {1, 3, 6, round(40 / 30.436875, 6)}
    streams = rows["mean_planned"] + rows["mean_unplanned"] + rows["mean_other"]
    assert streams.to_numpy() == pytest.approx(rows["mean"].to_numpy())
    quantiles = rows[["p50", "p80", "p90", "p95"]].to_numpy()
    assert (np.diff(quantiles, axis=1) >= 0).all()
    assert (quantiles == quantiles.round()).all()


def test_calendar_months_starting_the_day_after_appear_once(make):
    fleet = make(6, settings={"fleet": {"as_of": "2026-03-31"}})
    rows = stock(fleet)["demand_forecast"].astype({"plan": object, "part_number": object})
    assert not rows.duplicated(["part_number", "plan", "from_date", "months"]).any()
    april = rows[(rows["from_date"] == pd.Timestamp("2026-04-01")) & (rows["months"] == 1)]
    assert len(april) == rows["part_number"].nunique() * 2


def test_demand_agrees_with_what_the_record_used(fleet, tables):
    # six months ahead against the last two years' rate: lives in steady state, within sampling
    lines = fleet.service_lines.astype({"part_number": object})
    recent = lines[lines["service_date"] > AS_OF - pd.DateOffset(months=24)]
    for number in ("AF-12", "CAP-5K", "ROPE-1"):
        used = recent.loc[recent["part_number"] == number, "quantity"].sum() / 4
        assert forecast(tables, number)["mean"] == pytest.approx(used, rel=0.3)


def test_the_recommended_plan_is_another_demand(make):
    given = {"costs": {"ignition cap": {"planned_cost": 5.0, "failure_cost": 400.0}}}
    tables = stock(make(settings=given))
    seen, told = (forecast(tables, "CAP-5K", p) for p in ("as seen", "recommended"))
    assert told["mean_unplanned"] < 0.7 * seen["mean_unplanned"]
    assert told["mean_planned"] > 2 * seen["mean_planned"]


def test_plans_in_force(make):
    def planned(settings):
        tables = stock(make(20, settings=settings))
        plan = settings["plan"]["in_force"]
        return forecast(tables, "AF-12", plan)["mean_planned"]

    assert planned({"plan": {"in_force": "none"}}) == 0
    now = {"plan": {"in_force": "present_schedule"}}
    often = planned(now | {"present_schedule": {"air filter": {"hours": 60}}})
    seldom = planned(now | {"present_schedule": {"air filter": {"hours": 250}}})
    assert often > 2 * seldom > 0
    tables = stock(make(20, settings={"plan": {"in_force": "recommended"}}))
    assert set(tables["demand_forecast"]["plan"].astype(object)) == {"recommended"}
    with pytest.raises(SettingsError, match="in_force"):
        stock(make(20, settings={"plan": {"in_force": "hope.csv"}}))


def test_unknown_on_hand_is_not_zero(tables):
    row = part(tables, "AF-12")
    assert np.isnan(row["on_hand"])
    assert np.isnan(row["order_now"])
    assert np.isnan(row["order_cost"])
    assert f"Hold {row['reorder_point']:.0f}, count the shelf" in row["sentence"]
    none = part(tables, "RV-8")
    assert none["on_hand"] == 0
    assert none["order_now"] > 0


def test_orders_fill_up_in_packs_when_below_the_point(make):
    def one(**terms):
        fleet = make(settings={"stock": {"CAP-5K": terms}})
        return part(stock(fleet), "CAP-5K")

    row = one(on_hand=0, pack_size=4)
    assert row["order_now"] % 4 == 0
    assert row["order_now"] >= row["order_up_to"]
    assert row["order_now"] - 4 < row["order_up_to"]
    assert row["order_cost"] == pytest.approx(row["order_now"] * 4.0)
    # of the pieces that lie on the shelf on average, fewer than it is filled up to
    assert (
        0.25 * 4.0 * row["reorder_point"] / 2 < row["held_cost"] < 0.25 * 4.0 * row["order_up_to"]
    )
    assert one(on_hand=0, minimum_order=60)["order_now"] >= 60
    full = one(on_hand=100)
    assert full["order_now"] == 0
    assert "Nothing to order now" in full["sentence"]
    on_the_way = one(on_hand=0, on_order=100)
    assert on_the_way["order_now"] == 0
    assert "on order" in on_the_way["sentence"]


@pytest.mark.slow
def test_a_higher_service_level_holds_more_and_runs_out_less(make):
    def one(level, measure):
        terms = {"service_level": level, "service_measure": measure, "on_hand": 0}
        return part(stock(make(settings={"stock": {"ROPE-1": terms}})), "ROPE-1")

    for measure, column in (("fill rate", "fill_rate"), ("ready rate", "ready_rate")):
        low, high = one(0.80, measure), one(0.99, measure)
        assert low["reorder_point"] < high["reorder_point"]
        assert high[column] >= 0.99
    assert one(0.9, "ready rate")["reorder_point"] >= one(0.9, "fill rate")["reorder_point"]


def test_settings_stand_above_the_shelf_and_defaults_fill_its_gaps(make):
    terms = {
        "default": {"lead_time_days": 50, "unit_cost": 9.0, "supplier": "south store"},
        "CAP-5K": {"lead_time_days": 3},
    }
    tables = stock(make(8, settings={"stock": terms}))
    assert part(tables, "CAP-5K")["lead_time_days"] == 3
    assert part(tables, "AF-12")["lead_time_days"] == 10  # the shelf file says so
    assert part(tables, "RV-8")["unit_cost"] == 9.0  # blank on the shelf
    assert part(tables, "RV-8")["supplier"] == "north store"


def test_needed_by_comes_sooner_with_less_on_the_shelf(make):
    def day(on_hand):
        given = {"stock": {"ROPE-1": {"on_hand": on_hand}}}
        return part(stock(make(settings=given)), "ROPE-1")["needed_by"]

    assert AS_OF < day(0) < day(6)
    assert pd.isna(day(1000))


def test_other_use_is_what_lives_do_not_explain(make):
    fleet = make(12)
    counter = pd.DataFrame(
        {"line_id": [f"C{i}" for i in range(24)], "source_file": "lines.csv",
         "source_row": range(900, 924), "line_kind": "part", "part_number": "CAP-5K",
         "service_date": pd.date_range("2024-04-01", periods=24, freq="MS"), "quantity": 2.0}
    )  # fmt: skip
    back = counter.iloc[:12].assign(
        line_id=[f"R{i}" for i in range(12)], quantity=-2.0, source_row=range(950, 962)
    )
    words = fleet.service_lines.astype(
        {c: object for c in fleet.service_lines if fleet.service_lines[c].dtype == "category"}
    )

    def mean_other(extra):
        lines = as_table("service_lines", pd.concat([words, extra]))
        return forecast(stock(fleet, service_lines=lines), "CAP-5K")["mean_other"]

    assert forecast(stock(fleet), "CAP-5K")["mean_other"] == 0
    assert mean_other(counter) == pytest.approx(12.0, rel=0.1)  # 2 a month, 6 months
    assert mean_other(pd.concat([counter, back])) == pytest.approx(6.0, rel=0.15)


def test_a_cell_that_only_has_its_prior_is_forecast_from_its_own_use(make):
    fleet = make(20)
    basis = fleet.life_draws["basis"].astype(object)
    draws = fleet.life_draws.assign(
        basis=basis.where(fleet.life_draws["component"] != "recoil starter rope", "starting value")
    )
    row = forecast(stock(fleet, life_draws=as_table("life_draws", draws)), "ROPE-1")
    assert row["mean_unplanned"] == 0
    lines = fleet.service_lines.astype({"part_number": object})
    recent = lines[lines["service_date"] > AS_OF - pd.DateOffset(months=24)]
    used = recent.loc[recent["part_number"] == "ROPE-1", "quantity"].sum() / 4
    assert row["mean_other"] == pytest.approx(used, rel=0.1)


def test_failures_that_are_cleaned_away_take_no_part(make):
    fleet = make(20)
    events = fleet.maintenance_events.astype({"activity": object, "component": object})
    rope = events["component"] == "recoil starter rope"
    half = rope & (np.arange(len(events)) % 2 == 0)
    repaired = events.assign(activity=events["activity"].where(~half, "repair"))
    share = 1 - half.sum() / rope.sum()
    whole = forecast(stock(fleet), "ROPE-1")["mean_unplanned"]
    events = as_table("maintenance_events", repaired)
    part_of = forecast(stock(fleet, maintenance_events=events), "ROPE-1")["mean_unplanned"]
    assert part_of == pytest.approx(share * whole, rel=0.06)


def test_machines_likely_gone_ask_for_less(make):
    fleet = make(20)
    gone = as_table("units", fleet.units.assign(prob_in_service=0.5))
    whole = forecast(stock(fleet), "AF-12")["mean"]
    assert forecast(stock(fleet, units=gone), "AF-12")["mean"] == pytest.approx(whole / 2, rel=0.12)
    left = as_table("units", fleet.units.assign(left_on=AS_OF - pd.Timedelta(days=1)))
    assert forecast(stock(fleet, units=left), "AF-12")["mean_unplanned"] == 0


def test_a_superseded_number_is_forecast_under_the_new_one(make):
    fleet = make(10)
    listed = fleet.catalogue.astype({"part_number": object, "component": object})
    new = pd.DataFrame(
        {"part_number": ["CAP-NEW"], "component": ["ignition cap"], "replaces": ["CAP-5K"]}
    )
    catalogue = as_table("catalogue", pd.concat([listed, new]))
    tables = stock(fleet, catalogue=catalogue)
    assert forecast(tables, "CAP-NEW")["mean_unplanned"] > 0
    assert "CAP-5K" not in set(tables["demand_forecast"]["part_number"].astype(object))
    assert "CAP-5K" not in set(tables["stock_plan"]["part_number"].astype(object))


def test_no_part_numbers_no_shelf_gives_empty_tables(make):
    for parts in (make(6, parts=False), make(6, parts=False, money=False, meter=False)):
        tables = stock(parts)
        assert len(tables["demand_forecast"]) == 0
        assert len(tables["stock_plan"]) == 0


def test_no_shelf_file_still_says_what_to_hold(make):
    tables = stock(make(10), shelf=empty_table("shelf"))
    rows = tables["stock_plan"]
    assert len(rows) == 5
    assert rows["on_hand"].isna().all()
    assert rows["order_now"].isna().all()
    assert (rows["reorder_point"] > 0).any()
    assert (rows["lead_time_days"] == 14).all()


def test_an_empty_record_gives_empty_tables(make):
    fleet = make(4)
    tables = stock(fleet, empty_table("intervals"), **{n: empty_table(n) for n in INPUTS})
    assert len(tables["demand_forecast"]) == len(tables["stock_plan"]) == 0


def test_row_order_changes_nothing(fleet, tables):
    def shuffled(frame):
        return frame.sample(frac=1, random_state=9).reset_index(drop=True)

    other = stock(fleet, **{n: shuffled(getattr(fleet, n)) for n in INPUTS})
    for name in ("demand_forecast", "stock_plan"):
        pd.testing.assert_frame_equal(tables[name], other[name])


def test_the_sentence_names_the_packs_that_are_ordered(make):
    terms = {"on_hand": 0, "unit_cost": 4.0, "pack_size": 5}
    row = part(stock(make(settings={"stock": {"CAP-5K": terms}})), "CAP-5K")
    n = row["order_now"] / 5
    assert n == int(n) > 0
    packs = "1 pack" if n == 1 else f"{n:.0f} packs"
    assert f"Order {row['order_now']:.0f} ({packs} of 5) now" in row["sentence"]


def test_an_economic_lot_buys_no_further_than_the_forecast_reaches(make):
    def lot(order_cost):
        terms = {"on_hand": 0, "order_cost": order_cost, "unit_cost": 4.0, "pack_size": 1}
        fleet = make(settings={"stock": {"CAP-5K": terms}})
        tables = stock(fleet)
        row = part(tables, "CAP-5K")
        return row["order_up_to"] - row["reorder_point"], forecast(tables, "CAP-5K")

    small, half_year = lot(0.5)
    # square root of 2 x yearly demand x 0.5 / (0.25 x 4); an order also makes up for what a month
    # between two reviews took below the point, half of it on average
    a_month = half_year["mean"] / 6
    economic = (2 * 2 * half_year["mean"] * 0.5) ** 0.5
    assert small == pytest.approx(economic - a_month / 2, abs=1)
    large, half_year = lot(5000.0)
    assert large == pytest.approx(half_year["mean"] - a_month / 2, abs=1)


def announced(kind, duty, n, day):
    return as_table(
        "contracts",
        pd.DataFrame(
            {"contract": ["new work"], "equipment_class": [kind], "duty": [duty],
             "n_machines": [n], "from_date": [pd.Timestamp(day)], "hours_per_week": [np.nan],
             "source_file": ["contracts.csv"], "source_row": [2]}
        ),
    )  # fmt: skip


def test_announced_machines_ask_for_parts_from_their_day_on(make):
    fleet = make(20)
    kind = str(fleet.units["equipment_class"].astype(object).iloc[0])
    duty = str(fleet.unit_spans["duty"].astype(object).iloc[0])
    before = forecast(stock(fleet), "AF-12")
    after = forecast(stock(fleet, contracts=announced(kind, duty, 20, "2026-04-01")), "AF-12")
    assert after["mean"] > 1.2 * before["mean"]
    assert after["p90"] > before["p90"]
    late = forecast(stock(fleet, contracts=announced(kind, duty, 20, "2027-04-01")), "AF-12")
    assert late["mean"] == pytest.approx(before["mean"])
    elsewhere = announced(kind, "a duty without machines", 20, "2026-04-01")
    moved = forecast(stock(fleet, contracts=elsewhere), "AF-12")
    assert moved["mean"] > 1.2 * before["mean"]


def test_a_doubled_lead_time_never_lowers_stock(make):
    def points(days):
        rows = stock(make(20, settings={"stock": {n: {"lead_time_days": days} for n in PARTS}}))
        return rows["stock_plan"].set_index("part_number")["reorder_point"]

    low, high = points(12), points(24)
    assert (high >= low).all()
    assert (high > low).any()


def test_the_same_twice_to_the_byte(fleet, tables):
    again = stock(fleet)
    for name in ("demand_forecast", "stock_plan"):
        assert again[name].to_csv() == tables[name].to_csv()


def test_a_fleet_that_loses_machines_asks_for_less(make):
    fleet = make(20)
    gone = fleet.units.assign(left_on=pd.NaT)
    gone.loc[gone.index[:8], "left_on"] = AS_OF - pd.Timedelta(days=30)
    gone.loc[gone.index[:8], "prob_in_service"] = 0.0
    there = set(fleet.units["unit_id"].astype(object).iloc[8:])
    steady = stock(fleet)
    assert len(there) == 12
    losing = forecast(stock(fleet, units=as_table("units", gone)), "AF-12")
    # 12 of 20 machines, and some of the 12 leave within the six months too
    assert losing["mean_unplanned"] < 0.62 * forecast(steady, "AF-12")["mean_unplanned"]


def test_fleets_of_thousands_forecast_as_the_small_path_does(monkeypatch, make):
    from dutylife.stock import streams

    fleet = make(20)
    small = stock(fleet)["demand_forecast"]
    monkeypatch.setattr(streams, "MANY_POSITIONS", 5)
    many = stock(fleet)["demand_forecast"]
    assert many["mean"].to_numpy() == pytest.approx(small["mean"].to_numpy(), rel=5e-3)
    for name in ("p50", "p80", "p95"):
        assert np.abs(many[name] - small[name]).max() <= 1
        assert (many[name] == small[name]).mean() > 0.9


def test_that_a_large_fleet_is_gathered_is_said(monkeypatch, make):
    from dutylife.stock import fleet_demand, gathered

    ages = {"air filter": {"hours": 60}}
    plan = {"plan": {"in_force": "present_schedule"}, "present_schedule": ages}
    fleet = make(20, settings=plan)
    exact = stock(fleet)
    assert "grid" not in " ".join(exact["findings"]["message"])
    for module in (fleet_demand, gathered):
        monkeypatch.setattr(module, "MANY_PLANNED", 5)
    told = stock(fleet)
    assert "air filter" in " ".join(m for m in told["findings"]["message"] if "grid" in m)
    one, other = (
        t["demand_forecast"].set_index(["part_number", "plan", "from_date", "months"])["mean"]
        for t in (exact, told)
    )
    long = one.index.get_level_values("months") == 6.0
    assert other[long].to_numpy() == pytest.approx(one[long].to_numpy(), rel=0.05, abs=0.3)
