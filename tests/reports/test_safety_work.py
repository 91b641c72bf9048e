"""Overdue work that can hurt someone: the owner sees it beside the order, with parts and money."""

import pandas as pd
import pytest
from made_run import AS_OF

from dutylife.reports.facts import Facts
from dutylife.reports.stock.safety_work import safety_sentence, safety_table, safety_work
from dutylife.schema import as_table

GIVEN = Facts(fleet="f", currency="EUR", meter_unit="hours", as_of=AS_OF, plan_in_force="as seen",
              horizon_months=6, confidence_level=0.9)  # fmt: skip


def tasks(rows):
    names = ["unit_id", "task", "part_number", "is_overdue", "can_hurt", "component"]
    frame = pd.DataFrame(rows, columns=names).assign(
        equipment_class="trench pump", next_on=pd.Timestamp("2026-04-14")
    )
    return as_table("machine_tasks", frame)


def stock(**columns):
    return as_table("stock_plan", pd.DataFrame(columns))


LATE = tasks(
    [(f"U{i}", "replace", "H-1", True, "fire", "fuel hose") for i in range(9)]
    + [("U1", "inspect", None, True, "fire", "fuel hose"),  # the same machine, no part
       ("V1", "inspect", None, True, "pressure", "relief valve"),
       ("V2", "replace", "H-1", False, "fire", "fuel hose"),  # not due yet
       ("V3", "replace", "A-1", True, None, "air filter")]  # hurts nobody
)  # fmt: skip
SHELF = stock(
    part_number=["H-1", "A-1"], on_hand=[2, 0], on_order=[1, 0], order_now=[4, 3],
    reorder_point=[3, 2], pack_size=[2, 1], unit_cost=[5.0, 10.0], order_cost=[20.0, 30.0],
)  # fmt: skip


def test_the_shelf_stands_at_its_level_after_the_work():
    work = safety_work(LATE, SHELF)
    (row,) = work.parts.to_dict("records")
    assert (row["part_number"], row["machines"]) == ("H-1", 9)
    # 2 there, 1 coming, 4 ordered; 3 stay as the level: 4 are free for 9 machines, in packs of 2
    assert row["to_order"] == 6
    after = 2 + 1 + 4 + row["to_order"] - row["machines"]
    assert 3 <= after < 3 + 2
    assert work.n_machines == 10


def test_a_job_that_takes_two_pieces_takes_two_of_the_shelf():
    events = as_table(
        "maintenance_events",
        pd.DataFrame({
            "unit_id": ["U1", "U2", "U3", "U4"], "component": "fuel hose", "part_number": "H-1",
            "event_date": pd.Timestamp("2026-01-05"), "activity": "replace", "reason": "failure",
            "quantity": 2.0,
        }),
    )  # fmt: skip
    work = safety_work(LATE, SHELF, maintenance_events=events)
    (row,) = work.parts.to_dict("records")
    assert (row["machines"], row["takes"]) == (9, 18)
    assert row["to_order"] == 14  # 4 free of 18, in packs of 2
    assert "takes 18 pieces of 1 part: order 14 pieces more" in safety_sentence(work, SHELF, GIVEN)


def test_the_sentence_counts_machines_pieces_money_and_the_whole_order():
    text = safety_sentence(safety_work(LATE, SHELF), SHELF, GIVEN)
    assert text.startswith("Not in this order: 10 machines have overdue work")
    assert "(fire, pressure): replace fuel hose on 9, inspect fuel hose on 1" in text
    assert "inspect relief valve on 1." in text
    assert "by 14 Apr 2026" in text
    assert "takes 9 pieces of 1 part: order 6 pieces more, 30 EUR." in text
    assert text.endswith("If it is to be done, order all at once: 13 pieces, 80 EUR.")


def test_the_day_the_parts_can_be_here_stands_beside_the_visits():
    days = {"H-1": 8.5, "A-1": 30.0}
    shelf = SHELF.assign(lead_time_days=[days[n] for n in SHELF["part_number"]])
    text = safety_sentence(safety_work(LATE, shelf, pd.Timestamp("2026-03-31")), SHELF, GIVEN)
    assert "the parts can be here by 9 Apr 2026" in text  # of the hose, not of the filter
    unknown = SHELF.assign(lead_time_days=float("nan"))
    text = safety_sentence(safety_work(LATE, unknown, pd.Timestamp("2026-03-31")), SHELF, GIVEN)
    assert "can be here" not in text


def test_a_shelf_nobody_counted_is_counted_first_and_nothing_is_invented():
    shelf = stock(part_number=["H-1"], on_hand=[None], reorder_point=[3.0], unit_cost=[5.0])
    work = safety_work(LATE, shelf)
    assert work.parts["to_order"].isna().all()
    assert "(1 shelf to count first)" in safety_sentence(work, shelf, GIVEN)
    html = safety_table(work, GIVEN)
    assert "not counted" in html
    assert "count the shelf" in html


def test_a_number_not_on_record_is_that_of_most_of_the_class():
    rows = [(f"U{i}", "replace", number, True, "fire", "fuel hose")
            for i, number in enumerate(["H-1", "H-1", "H-2", None, "fuel hose"])]  # fmt: skip
    work = safety_work(tasks(rows), SHELF)
    assert dict(zip(work.parts["part_number"], work.parts["machines"], strict=True)) == {
        "H-1": 4, "H-2": 1,
    }  # fmt: skip
    alone = safety_work(tasks([("U1", "replace", None, True, "fire", "fuel hose")]), SHELF)
    assert "number not known" in safety_table(alone, GIVEN)


def test_looks_alone_take_no_parts():
    work = safety_work(tasks([("V1", "test", None, True, "pressure", "relief valve")]), SHELF)
    assert safety_sentence(work, SHELF, GIVEN).endswith("It takes no parts.")


@pytest.mark.parametrize("late", [tasks([]), tasks([("V", "replace", "A-1", True, "", "filter")])])
def test_without_such_work_nothing_is_said(late):
    assert safety_work(late, SHELF) is None


def test_an_order_that_follows_the_proposed_plan_holds_it_already():
    given = Facts(fleet="f", currency="EUR", meter_unit="hours", as_of=AS_OF,
                  plan_in_force="recommended", horizon_months=6, confidence_level=0.9)  # fmt: skip
    assert safety_sentence(safety_work(LATE, SHELF), SHELF, given) == ""
