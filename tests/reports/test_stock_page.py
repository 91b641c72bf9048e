"""The owner's page: what to order, which shelves to count, what demand, what lies dead."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from made_run import AS_OF, PARTS

from dutylife.provenance import Run
from dutylife.reports import section
from dutylife.reports.facts import facts_of
from dutylife.reports.stock.assumed import what_is_assumed
from dutylife.reports.stock.stock_page import order_answer, order_lines, visits_ask_more
from dutylife.schema import as_table


def plan(**columns: object) -> pd.DataFrame:
    return as_table("stock_plan", pd.DataFrame(columns))


def test_the_answer_counts_pieces_parts_money_and_shelves():
    text = order_answer(
        plan(
            part_number=list("abcd"), on_hand=[0, 1, 9, None], order_now=[4, 1, 0, None],
            order_up_to=[4, 2, 5, 6], reorder_point=[1, 2, 3, 3], order_cost=[1000, 40, 0, None],
        ),
        "EUR",
    )  # fmt: skip
    assert "Order 5 pieces of 2 parts today, 1 040 EUR" in text
    assert "2 of 4 parts are below their level" in text
    assert "1 shelf has no count" in text


def test_the_answer_says_when_the_first_part_is_needed():
    days = [pd.Timestamp("2026-02-03"), pd.Timestamp("2026-01-09"), pd.Timestamp("2026-01-01")]
    text = order_answer(
        plan(
            part_number=list("abc"), on_hand=[0, 0, 9], order_now=[1, 2, 0], needed_by=days,
            order_up_to=[1, 2, 3], reorder_point=[1, 1, 1], order_cost=[1, 1, 0],
        ),
        "EUR",
    )  # fmt: skip
    assert text.endswith("; the first may run out on 9 Jan 2026.")  # of those ordered


def with_terms(run: Run, folder: Path, stock: dict[str, dict[str, float]]) -> Run:
    """The run with these terms of buying in its settings."""
    shutil.copytree(run.folder, folder)
    info = run.info | {"settings": {"stock": stock}}
    (folder / "run.json").write_text(json.dumps(info), encoding="utf-8")
    return Run(folder)


def test_what_nobody_stated_is_called_assumed(run: Run, tmp_path: Path):
    text = what_is_assumed(with_terms(run, tmp_path / "a", {}))
    assert text.startswith("Assumed, since no file or setting says: ")
    for words in ("every 30 days", "95", "of a piece's price", "an order costs nothing by itself",
                  "the parts file or the settings"):  # fmt: skip
        assert words in text
    default = {"review_days": 7, "order_cost": 3, "service_level": 0.9}
    text = what_is_assumed(with_terms(run, tmp_path / "b", {"default": default}))
    assert "every" not in text
    assert "by itself" not in text
    assert "of a piece's price" in text  # the holding rate is still nobody's word
    numbers = list(map(str, run.table("stock_plan")["part_number"]))
    text = what_is_assumed(with_terms(run, tmp_path / "c", {numbers[0]: {"review_days": 7}}))
    assert f"every 30 days ({len(numbers) - 1} part" in text


def test_a_cost_that_is_not_known_is_not_zero():
    text = order_answer(
        plan(
            part_number=["a"],
            on_hand=[0],
            order_now=[4],
            order_up_to=[4],
            reorder_point=[1],
            order_cost=[None],
        ),
        "",
    )
    assert "1 part of unknown cost" in text


def test_nothing_to_order_says_so():
    text = order_answer(
        plan(
            part_number=["a"],
            on_hand=[5],
            order_now=[0],
            order_up_to=[4],
            reorder_point=[1],
            order_cost=[0],
        ),
        "EUR",
    )
    assert text.startswith("Nothing to order today")


def test_soonest_need_first_and_an_unknown_shelf_is_counted_not_ordered(run: Run):
    lines = order_lines(run.table("stock_plan"))
    ordered = lines[~lines["to_count"]]
    assert len(ordered) == 7
    assert ordered["needed_by"].is_monotonic_increasing
    counted = lines[lines["to_count"]]
    assert list(counted["part_number"]) == ["P-109", "P-110", "P-111"]
    assert (counted.index > ordered.index.max()).all()
    assert list(counted["what_to_do"]) == [f"hold {n}, count the shelf" for n in (4, 3, 2)]


def test_a_part_above_its_level_is_no_order_line(run: Run):
    assert {"P-107", "P-108"}.isdisjoint(order_lines(run.table("stock_plan"))["part_number"])


def test_demand_shows_both_plans_with_their_ranges(run: Run):
    html = section(run, "demand").html
    assert html.count("<table") == 2
    assert "today&#39;s practice goes on (the order follows this)" in html
    assert "recommended" in html
    for part in PARTS:
        assert html.count(f">{part}<") == 2
    # P-100 in the plan in force: 3.2 a month, so 9.6 in three, median 9, nine in ten 12
    assert "9.6" in html
    assert "9 to 12" in html


def test_demand_takes_the_spans_from_the_day_after_as_of(run: Run):
    table = run.table("demand_forecast")
    start = pd.Timestamp(AS_OF) + pd.Timedelta(days=1)
    spans = table[(table["from_date"] == start) & (table["plan"] == "as seen")]
    assert set(spans["months"]) == {1.0, 3.0, 6.0}


def test_dead_stock_is_what_nobody_bought_for_a_year(run: Run):
    told = section(run, "dead stock")
    assert told.answer.startswith("2 parts")
    assert "54 EUR" in told.answer  # two parts, 3 pieces at 9 each
    html = told.html
    assert "OLD-1" in html
    assert "OLD-2" in html
    assert "10 Feb 2024" in html
    assert "never in this record" in html
    assert "P-100" not in html


def test_money_on_the_shelf_leaves_out_what_is_not_counted(run: Run):
    stock_plan = run.table("stock_plan")
    held = float(np.nansum(stock_plan["on_hand"] * stock_plan["unit_cost"]))
    told = section(run, "shelf")
    assert f"{held:,.0f} EUR".replace(",", " ") in told.answer
    assert "9 parts" in told.answer


def test_an_order_says_how_long_it_lasts(run: Run):
    html = section(run, "order today").html
    # P-100: none on the shelf, 9 ordered, 3.2 a month expected
    row = html.split(">P-100<")[1].split("</tr>")[0]
    assert ">2.8<" in row


def test_the_order_says_what_the_visits_ask_for_beyond_it(run: Run):
    given, forecast = facts_of(run), run.table("demand_forecast")
    first = pd.Timestamp(AS_OF) + pd.Timedelta(days=1)
    month = forecast[(forecast["from_date"] == first) & (forecast["months"] == 1)]
    asked = month.groupby("plan", observed=True)["mean"].sum()
    told = visits_ask_more(forecast, given)
    # the made plan we recommend asks for 1.3 times as much
    assert f"about {round(asked['recommended'])} pieces" in told
    assert f"instead of {round(asked['as seen'])};" in told
    assert told in section(run, "demand").sentences
    assert any("What will be asked for" in t for t in section(run, "order today").sentences)
    assert visits_ask_more(forecast, replace(given, plan_in_force="recommended")) == ""
    same = forecast.assign(mean=np.where(forecast["months"] == 1, 1.0, forecast["mean"]))
    assert visits_ask_more(same, given) == ""
    assert visits_ask_more(forecast[forecast["plan"] == "as seen"], given) == ""
