"""The order list opens as meant: our column names in row 1, text never a formula or a link."""

import zipfile
from pathlib import Path

import pandas as pd
import pytest
import python_calamine
from made_run import BAD, FORMULA, make_run

from dutylife.provenance import Run
from dutylife.reports import write_order_list
from dutylife.reports.supplier_sheets import NOBODY, sheet_names, to_order_by_supplier
from dutylife.vocabulary import TABLES

Sheet = list[list[object]]
NEED = ("expected need: as likely above as below", "expected need: 9 in 10 stay below")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_order_list(make_run(tmp_path_factory.mktemp("book") / "run"))


def sheet(book: Path, number: int) -> Sheet:
    return python_calamine.load_workbook(str(book)).get_sheet_by_index(number).to_python()


def test_first_row_holds_our_column_names(book: Path):
    head = sheet(book, 0)[0]
    assert head == [
        "part_number", "description", "supplier", "on_hand", "on_order", "counted", "order_now",
        "needed_by", *NEED, "reorder_point", "order_up_to", "unit_cost", "order_cost",
        "lead_time_days", "pack_size", "sentence",
    ]  # fmt: skip
    assert set(head) - set(NEED) <= set(TABLES["stock_plan"].columns) | {"counted"}


def test_every_part_once_orders_first_with_the_values_of_the_plan(book: Path, run: Run):
    head, *rows = sheet(book, 0)
    plan = run.table("stock_plan").set_index("part_number")
    assert sorted(str(r[0]) for r in rows) == sorted(plan.index)
    order = [float(r[head.index("order_now")] or 0) > 0 for r in rows]
    assert order == sorted(order, reverse=True)
    for row in rows:
        for name in ("on_hand", "order_now", "p90", "unit_cost"):
            heading = NEED[1] if name == "p90" else name
            told, meant = row[head.index(heading)], plan.loc[str(row[0]), name]
            assert told == ("" if meant != meant else meant)


def test_counted_is_left_to_be_filled_in(book: Path):
    head, *rows = sheet(book, 0)
    assert {r[head.index("counted")] for r in rows} == {""}


def test_text_is_neither_formula_nor_link(book: Path):
    with zipfile.ZipFile(book) as parts:
        xml = {n: parts.read(n).decode() for n in parts.namelist() if n.endswith(".xml")}
    assert not any("<f>" in x or "<f " in x for x in xml.values())
    assert not any("hyperlink" in x.lower() for n, x in xml.items() if "worksheets" in n)
    flat = [str(c) for r in sheet(book, 0) for c in r]
    assert FORMULA in flat
    assert any(BAD in c for c in flat)


def test_same_tables_same_bytes(book: Path, tmp_path: Path):
    assert write_order_list(make_run(tmp_path / "again")).read_bytes() == book.read_bytes()


def test_the_notes_say_what_to_do_with_counted(book: Path):
    notes = " ".join(str(r[0]) for r in sheet(book, 1))
    for what in (
        "counted",
        'kind = "parts"',
        "31 Mar 2026",
        "today's practice goes on",
        "not known, never 0",
    ):
        assert what in notes


def test_each_supplier_has_a_sheet_of_what_to_order_of_him(book: Path, run: Run):
    plan = run.table("stock_plan")
    due = plan[plan["order_now"].fillna(0) > 0]
    assert len(due)
    n_sheets = len(python_calamine.load_workbook(str(book)).sheet_names)
    sheets = [sheet(book, n) for n in range(2, n_sheets)]
    told = {}
    for rows in sheets:
        title, _, head, *lines, last = rows
        assert str(title[0]).startswith("To order from ")
        told |= {str(r[0]): r[2] for r in lines}
        place = next(i for i, h in enumerate(head) if str(h).startswith("together"))
        costs = [float(r[place]) for r in lines if r[place] != ""]
        if costs:
            assert float(last[place]) == pytest.approx(sum(costs))
    assert told == dict(zip(due["part_number"], due["order_now"], strict=True))


def test_names_of_sheets_are_ones_a_workbook_can_have():
    names = sheet_names(
        ["Read me", "read ME", "a/b[c]:d*?", "x" * 40, "x" * 41, "'q'", "///", "History", "=1+1"]
    )
    assert len({n.casefold() for n in names}) == len(names)
    assert all(0 < len(n) <= 31 and not set(n) & set("[]:*?/\\") for n in names)
    assert not any(n.casefold() in ("read me", "history", "order list") for n in names)
    assert not any(n.startswith("'") or n.endswith("'") for n in names)


def test_parts_of_nobody_come_last():
    rows = pd.DataFrame(
        {
            "part_number": list("abcd"),
            "supplier": ["Z", None, " ", "B"],
            "order_now": [1, 2, 0, 3.0],
        }
    )
    found = to_order_by_supplier(rows)
    assert {k: v["part_number"].tolist() for k, v in found.items()} == {
        "B": ["d"], "Z": ["a"], NOBODY: ["b"]
    }  # fmt: skip
    assert list(found) == ["B", "Z", NOBODY]
