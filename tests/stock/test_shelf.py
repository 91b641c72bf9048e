"""The shelf as it counts: old numbers, what can't be, and parts not sold by the piece."""

import numpy as np
import pandas as pd
import pytest

from dutylife.errors import SettingsError, TableError
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings, settings_from
from dutylife.stock import plan_stock
from dutylife.stock.shelf import shelf_rows, stock_findings

INPUTS = ["failure_events", "life_draws", "units", "unit_spans", "service_lines",
          "maintenance_events", "catalogue", "shelf"]  # fmt: skip


def stock(fleet, **changed):
    given = {n: getattr(fleet, n) for n in INPUTS} | changed
    return plan_stock(intervals=empty_table("intervals"), settings=fleet.settings, **given)


def shelf_of(**columns):
    return as_table("shelf", pd.DataFrame({"source_file": "parts.csv", "source_row": 1} | columns))


def test_old_numbers_share_the_shelf_line_of_the_new_one():
    shelf = shelf_of(
        part_number=["A-1", "A-2", "A-3", "B-1", "C-1", "C-2"],
        on_hand=[4.0, 3.0, 2.0, 5.0, 1.0, np.nan], on_order=[np.nan, 1.0, 2.0, 0, 0, 0],
        counted=[np.nan, 6.0, np.nan, np.nan, np.nan, np.nan],
        unit_cost=[1.0, 1.1, 1.5, 9.0, 2.0, 2.5],
    )  # fmt: skip
    rows = shelf_rows(shelf, {"A-1": "A-3", "A-2": "A-3", "B-1": "B-2", "C-1": "C-2"})
    assert set(rows) == {"A-3", "B-2", "C-2"}
    assert rows["A-3"]["on_hand"] == 2 + 4 + 6  # what was counted goes before what was listed
    assert rows["A-3"]["on_order"] == 3
    assert rows["A-3"]["unit_cost"] == 1.5
    assert rows["B-2"]["on_hand"] == 5  # never listed itself: the old one's shelf is its own
    assert np.isnan(rows["C-2"]["on_hand"])  # unknown is not 0


def test_a_superseded_number_is_used_up_before_the_new_one_is_ordered(make):
    fleet = make(10)
    listed = fleet.catalogue.astype({"part_number": object, "component": object})
    new = pd.DataFrame(
        {"part_number": ["CAP-NEW"], "component": ["ignition cap"], "replaces": ["CAP-5K"]}
    )
    catalogue = as_table("catalogue", pd.concat([listed, new]))
    rows = []
    for there in (0.0, 50.0):
        shelf = shelf_of(part_number=["CAP-5K", "CAP-NEW"], on_hand=[there, 0.0])
        plan = stock(fleet, catalogue=catalogue, shelf=shelf)["stock_plan"]
        assert "CAP-5K" not in set(plan["part_number"].astype(object))
        rows.append(plan[plan["part_number"] == "CAP-NEW"].iloc[0])
    assert rows[0]["order_now"] > 0
    assert (rows[1]["on_hand"], rows[1]["order_now"]) == (50, 0)


def test_figures_that_cannot_be_are_refused_all_at_once():
    with pytest.raises(TableError, match="3 faults in 3 of 3 rows"):
        shelf_of(part_number=["A", "B", "C"], on_hand=[-1.0, 2.0, 3.0],
                 lead_time_days=[3.0, -2.0, 0.0], pack_size=[1.0, 1.0, 0.0])  # fmt: skip
    for bad in ({"pack_size": 0}, {"on_hand": -1}, {"lead_time_days": -1}, {"when_short": "?"}):
        with pytest.raises(SettingsError, match=next(iter(bad))):
            settings_from({"stock": {"A": bad}})


def test_terms_of_a_part_nobody_knows_are_asked_about():
    settings = settings_from({"stock": {"default": {}, "CAP-5X": {}, "AF-12": {}}})
    found = stock_findings(empty_table("service_lines"), ["AF-12", "CAP-5K"], settings, [])
    assert len(found) == 1
    row = found.astype(object).iloc[0]
    assert (row["kind"], row["key"]) == ("ask", 'stock."CAP-5X"')
    assert "did you mean 'CAP-5K'?" in row["mend"]


def test_parts_sold_by_length_are_named(make):
    lines = make(6).service_lines
    assert stock_findings(lines, [], Settings(), []).empty
    rope = lines["part_number"].astype(object) == "ROPE-1"
    by_length = lines.assign(quantity=lines["quantity"].where(~rope, 2.3))
    found = stock_findings(by_length, [], Settings(), []).astype(object)
    assert len(found) == 1
    assert "ROPE-1" in found["message"].iloc[0]


def test_no_lead_time_and_reviews_of_less_than_a_day(make):
    terms = {"lead_time_days": 0, "review_days": 0, "on_hand": 0}
    plan = stock(make(10, settings={"stock": {"CAP-5K": terms}}))["stock_plan"]
    row = plan[plan["part_number"] == "CAP-5K"].iloc[0]
    assert row["reorder_point"] >= 1
    assert row["fill_rate"] >= 0.95


def test_a_short_shelf_life_holds_less_and_says_so(make):
    def one(**terms):
        plan = stock(make(settings={"stock": {"ROPE-1": terms}}))["stock_plan"]
        return plan[plan["part_number"] == "ROPE-1"].iloc[0]

    free = one(on_hand=0, order_cost=50.0, unit_cost=4.0)
    short = one(on_hand=0, order_cost=50.0, unit_cost=4.0, shelf_life_days=40)
    assert short["order_now"] < free["order_now"]
    assert "Within its shelf life of 40 days" in short["sentence"]
    assert "shelf life" not in free["sentence"]
    many = one(on_hand=500, shelf_life_days=40)
    assert "may pass it" in many["sentence"]


def test_what_is_told_of_one_number_only():
    """On order counts from either; a shelf of which one number was never counted is not known."""
    shelf = shelf_of(part_number=["OLD", "NEW"], on_hand=[None, 3.0], on_order=[5.0, None])
    row = shelf_rows(shelf, {"OLD": "NEW"})["NEW"]
    assert row["on_order"] == 5.0
    assert np.isnan(row["on_hand"])
