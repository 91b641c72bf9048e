"""One workbook: job headers on one sheet, their lines on another, titles above, merged cells."""

import datetime as dt
import io
from typing import Any

import pandas as pd

from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import tickets_and_lines, typed

HEADS = {
    "ticket": "Work order", "service_date": "Order date", "ticket_kind": "Order type",
    "unit_id": "Machine no", "customer": "Customer", "meter_hours": "Meter reading",
    "complaint": "Complaint", "work_done": "Work done",
}  # fmt: skip
LINES = {
    "ticket": "Work order", "line_kind": "Line type", "part_number": "Part no",
    "description": "Description", "quantity": "Quantity", "unit_price": "Unit price",
}  # fmt: skip
MACHINES = {
    "unit_id": "Machine no", "equipment_class": "Machine type", "engine_model": "Engine",
    "in_service_on": "In service since", "left_on": "Left fleet", "customer": "Customer",
    "duty": "Duty",
}  # fmt: skip
PARTS = {
    "part_number": "Part no", "description": "Part name", "on_hand": "On hand",
    "on_order": "On order", "unit_cost": "Unit cost", "supplier": "Supplier",
    "lead_time_days": "Lead time (days)", "pack_size": "Pack size",
}  # fmt: skip
MADE = dt.datetime(2026, 1, 1)  # a file of the same fleet has the same bytes


def _sheet(book: Any, name: str, table: pd.DataFrame, titles: list[str]) -> None:
    sheet = book.add_worksheet(name)
    title, date = book.add_format({"bold": True}), book.add_format({"num_format": "dd/mm/yyyy"})
    for row, text in enumerate(titles):
        sheet.merge_range(row, 0, row, len(table.columns) - 1, text, title)
    first = len(titles) + 1 if titles else 0
    for column, heading in enumerate(table.columns):
        sheet.write_string(first, column, heading, title)
        for row, value in enumerate(table[heading], start=first + 1):
            if isinstance(value, dt.date):
                sheet.write_datetime(row, column, dt.datetime.combine(value, dt.time()), date)
            elif isinstance(value, str):
                sheet.write_string(row, column, value)
            elif value is not None:
                sheet.write_number(row, column, value)


def named(table: pd.DataFrame, names: dict[str, str]) -> pd.DataFrame:
    """Return a table of our columns under other headings, in their order."""
    return table[[name for name in names if name in table]].rename(columns=names)


def workbook(sheets: list[tuple[str, pd.DataFrame, list[str]]]) -> bytes:
    """Return a workbook of typed tables; each sheet has its titles in merged cells above."""
    import xlsxwriter

    out = io.BytesIO()
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(out, {**options, "in_memory": True}) as book:
        book.set_properties({"created": MADE})
        for name, table, titles in sheets:
            _sheet(book, name, table, titles)
    return out.getvalue()


def _files(tables: Tables) -> dict[str, bytes]:
    tickets, lines = tickets_and_lines(typed("lines", tables.whole))
    last = tables.whole["Job date"].iloc[-1]
    machines, parts = typed("machines", tables.machines), typed("parts", tables.parts)
    sheets = [
        ("Orders", named(tickets, HEADS), [tables.title, f"Work orders up to {last}"]),
        ("Order lines", named(lines, LINES), [tables.title, "Lines of the work orders"]),
        ("Machines", named(machines, MACHINES), [f"Machines of {tables.title}"]),
        ("Stock", named(parts, PARTS), []),
    ]
    return {"workshop.xlsx": workbook(sheets)}


SHAPE = Shape(
    name="workbook",
    about="one workbook with titles in merged cells: headers, lines, machines and stock on sheets",
    files=_files,
)
