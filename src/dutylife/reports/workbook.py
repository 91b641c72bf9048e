"""The order list as a workbook: send it to the supplier, count the shelf in it, feed it back."""

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.provenance import Run, open_run
from dutylife.reports.cautions import FOOTER
from dutylife.reports.facts import Facts, day, facts_of, plain, table_or_empty
from dutylife.reports.stock.assumed import what_is_assumed
from dutylife.reports.stock.safety_work import safety_sentence, safety_work
from dutylife.reports.stock.stock_page import order_answer
from dutylife.reports.supplier_sheets import write_supplier_sheets
from dutylife.wording import plan_words

# our own column names, so that the sheet is itself a parts file for the next run
COLUMNS = (
    "part_number", "description", "supplier", "on_hand", "on_order", "counted", "order_now",
    "needed_by", "p50", "p90", "reorder_point", "order_up_to", "unit_cost", "order_cost",
    "lead_time_days", "pack_size", "sentence",
)  # fmt: skip
_WIDTHS = {"part_number": 18, "description": 30, "supplier": 18, "needed_by": 12, "sentence": 90}
_DATES = ("needed_by",)
# no columns of a parts file, so that they may be said in words
_HEADINGS = {
    "p50": "expected need: as likely above as below", "p90": "expected need: 9 in 10 stay below",
}  # fmt: skip


def write_order_list(folder: str | Path) -> Path:
    """Write DIR/order-list.xlsx from the run's stock plan.

    Parameters
    ----------
    folder : str or Path
        Run DIR.

    Returns
    -------
    Path
        Sheet "order list" (header in row 1, our column names, a blank ``counted`` to fill in),
        sheet "read me", and one a supplier with what to order of him today. Same tables, same
        bytes.
    """
    import xlsxwriter

    run = open_run(folder)
    given = facts_of(run)
    path = run.folder / "order-list.xlsx"
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(str(path), options) as book:
        made = dt.datetime.combine(given.as_of, dt.time())
        book.set_properties({"title": "order list", "created": made})
        _order_sheet(book, _rows(run.table("stock_plan")))
        _read_me(book, run, given)
        write_supplier_sheets(book, plain(run.table("stock_plan")), given.money_unit, given.fleet)
    return path


def _rows(stock_plan: pd.DataFrame) -> pd.DataFrame:
    """Return all parts: to order first, then to count, then the rest."""
    rows = plain(stock_plan).assign(counted=float("nan"))
    to_order = rows["order_now"].fillna(0) > 0
    rank = (~to_order).astype(int) + (~to_order & rows["on_hand"].notna()).astype(int)
    rows = rows.assign(rank=rank).sort_values(
        ["rank", "needed_by", "part_number"], na_position="last"
    )
    return rows[list(COLUMNS)]


def _order_sheet(book: Any, rows: pd.DataFrame) -> None:
    sheet = book.add_worksheet("order list")
    head = book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "top"})
    text = book.add_format({"num_format": "@", "valign": "top"})
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    date = book.add_format({"num_format": "yyyy-mm-dd", "valign": "top", "align": "left"})
    figure = book.add_format({"num_format": "0.##", "valign": "top"})
    money = book.add_format({"num_format": "0.00", "valign": "top"})
    to_fill = book.add_format({"border": 2, "valign": "top"})
    for place, name in enumerate(COLUMNS):
        sheet.write_string(0, place, _HEADINGS.get(name, name), head)
        sheet.set_column(place, place, _WIDTHS.get(name, 11))
        for line, value in enumerate(rows[name].tolist(), start=1):
            if name == "counted":
                sheet.write_blank(line, place, None, to_fill)
            elif value is None or value == "" or pd.isna(value):
                continue
            elif name in _DATES:
                sheet.write_datetime(line, place, value.to_pydatetime(), date)
            elif isinstance(value, str):
                style = wrapped if name in ("sentence", "description") else text
                sheet.write_string(line, place, value, style)
            else:
                style = money if name in ("unit_cost", "order_cost") else figure
                sheet.write_number(line, place, float(value), style)
    sheet.freeze_panes(1, 1)
    sheet.autofilter(0, 0, max(len(rows), 1), len(COLUMNS) - 1)
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)


def _read_me(book: Any, run: Run, given: Facts) -> None:
    stock_plan = run.table("stock_plan")
    pending = safety_work(
        table_or_empty(run, "machine_tasks"), stock_plan, pd.Timestamp(given.as_of),
        table_or_empty(run, "maintenance_events"),
    )  # fmt: skip
    money = given.money_unit
    notes = [
        f"Order list of {given.fleet}, record up to {day(given.as_of)}.",
        order_answer(stock_plan, given.currency),
        f"The forecast takes it that {plan_words(given.plan_in_force)}.",
        safety_sentence(pending, stock_plan, given) if pending and len(stock_plan) else "",
        "The sheets after this one: what to order today, one a supplier, to be sent on as it is.",
        "",
        "counted (bordered): walk the shelf, write how many pieces you find, give this file back "
        'as a parts file (kind = "parts") of the next run. A count stands above on_hand.',
        "on_hand, on_order, counted, order_now, reorder_point, order_up_to, pack_size: pieces. "
        "A blank on_hand means not known, never 0: count before ordering.",
        "order_now: what to order today. reorder_point: order when on_hand + on_order is below. "
        "order_up_to: what to fill up to.",
        "expected need: pieces from today until the next order can be there (time until a part "
        "comes and time between orders); half of all such spans stay under the first figure, 9 in "
        "10 under the second.",
        "needed_by: day the shelf may run out, from which a piece is lacking more often than the "
        "aim allows. lead_time_days: days from order to shelf.",
        f"unit_cost, order_cost: {money}.",
        "sentence: why.",
        what_is_assumed(run),
        "",
        f"Quantities are estimates from past repairs, too. {FOOTER}",
    ]
    sheet = book.add_worksheet("read me")
    style = book.add_format({"text_wrap": True, "valign": "top"})
    sheet.set_column(0, 0, 100)
    for line, note in enumerate(notes):
        sheet.write_string(line, 0, note, style)
