"""One sheet a supplier in the order workbook: what to order of him today, in whole packs."""

import re
from typing import Any

import pandas as pd

NOBODY = "no supplier given"
_LONGEST = 31  # signs of a sheet's name
_FORBIDDEN = re.compile(r"[\[\]:*?/\\\x00-\x1f]|^'|'$")
_TAKEN = ("order list", "read me", "history")  # names of ours, and one no workbook can have


def to_order_by_supplier(rows: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Rows to order now by supplier, in the order of names; those of nobody last.

    Parameters
    ----------
    rows : DataFrame
        Table "stock_plan".
    """
    due = rows[rows["order_now"].fillna(0) > 0]
    names = due["supplier"].astype(object).fillna("").astype(str).str.strip()
    named = {str(n): due[names == n] for n in sorted(set(names) - {""})}
    return named | ({NOBODY: due[names == ""]} if (names == "").any() else {})


def sheet_names(suppliers: list[str]) -> list[str]:
    """Return a name a sheet may have for each supplier, no two alike but for capitals."""
    taken = set(_TAKEN)
    out = []
    for supplier in suppliers:
        plain = _FORBIDDEN.sub(" ", supplier).strip()[:_LONGEST].strip() or "supplier"
        name, number = plain, 1
        while name.casefold() in taken:
            number += 1
            name = f"{plain[: _LONGEST - len(str(number)) - 1]} {number}"
        taken.add(name.casefold())
        out.append(name)
    return out


def write_supplier_sheets(book: Any, stock_plan: pd.DataFrame, money_unit: str, fleet: str) -> None:
    """Add the sheets to a workbook of xlsxwriter.

    Notes
    -----
    Headings are words, none of our column names: only the first sheet of the book is read back.
    """
    by_supplier = to_order_by_supplier(stock_plan)
    head = book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "top"})
    text = book.add_format({"num_format": "@", "valign": "top", "text_wrap": True})
    date = book.add_format({"num_format": "yyyy-mm-dd", "valign": "top", "align": "left"})
    figure = book.add_format({"num_format": "0.##", "valign": "top"})
    money = book.add_format({"num_format": "0.00", "valign": "top"})
    total = book.add_format({"num_format": "0.00", "bold": True, "top": 1})
    bold = book.add_format({"bold": True, "top": 1, "text_wrap": True})
    title = book.add_format({"bold": True, "font_size": 13})
    names = sheet_names(list(by_supplier))
    for (supplier, rows), name in zip(by_supplier.items(), names, strict=True):
        sheet = book.add_worksheet(name)
        sheet.write_string(0, 0, f"To order from {supplier}, for {fleet}", title)
        columns = (
            ("order number of the part", 20, "part_number", text),
            ("what it is", 34, "description", text),
            ("pieces", 10, "order_now", figure),
            ("pieces in a pack", 10, "pack_size", figure),
            ("packs", 10, "packs", figure),
            (f"price of one [{money_unit}]", 13, "unit_cost", money),
            (f"together [{money_unit}]", 13, "order_cost", money),
            ("wanted on the shelf by", 13, "needed_by", date),
        )
        packs = rows["order_now"] / rows["pack_size"].where(rows["pack_size"] > 0)
        rows = rows.assign(packs=packs).sort_values(
            ["needed_by", "part_number"], na_position="last", kind="stable"
        )
        for place, (heading, width, column, style) in enumerate(columns):
            sheet.set_column(place, place, width)
            sheet.write_string(2, place, heading, head)
            for line, value in enumerate(rows[column].tolist(), start=3):
                if value is None or value == "" or pd.isna(value):
                    continue
                if column == "needed_by":
                    sheet.write_datetime(line, place, value.to_pydatetime(), style)
                elif isinstance(value, str):
                    sheet.write_string(line, place, value, style)
                else:
                    sheet.write_number(line, place, float(value), style)
        end = 3 + len(rows)
        unpriced = int(rows["order_cost"].isna().sum())
        said = "together" + (f", {unpriced} without a price" if unpriced else "")
        sheet.write_string(end, 0, said, bold)
        for place in range(1, len(columns)):
            sheet.write_blank(end, place, None, bold)
        if unpriced < len(rows):
            sheet.write_number(end, 6, float(rows["order_cost"].sum()), total)
        sheet.freeze_panes(3, 0)
        sheet.set_landscape()
        sheet.set_paper(9)
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(2)
