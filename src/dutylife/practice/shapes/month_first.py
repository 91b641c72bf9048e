"""Invoice lines with the month first, thousands commas, a line total, a byte order mark."""

import pandas as pd

from dutylife.practice.shapes.form import Form, our_names
from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import delimited

FORM = Form(
    thousands=",",
    date_format="%m/%d/%Y",
    lines={
        "ticket": "Invoice No",
        "service_date": "Invoice Date",
        "customer": "Customer Name",
        "unit_id": "Equipment No",
        "meter_hours": "Hour Meter",
        "ticket_kind": "Order Type",
        "complaint": "Customer Complaint",
        "work_done": "Work Performed",
        "line_kind": "Line Type",
        "part_number": "Item No",
        "description": "Item Description",
        "quantity": "Qty Billed",
        "unit_price": "Unit Price",
    },
    machines={
        "unit_id": "Equipment No",
        "equipment_class": "Equipment Type",
        "engine_model": "Engine Model",
        "in_service_on": "In Service Date",
        "left_on": "Retired On",
        "customer": "Customer Name",
        "duty": "Duty",
    },
    parts={
        "part_number": "Item No",
        "description": "Item Description",
        "on_hand": "Qty On Hand",
        "on_order": "Qty On Order",
        "unit_cost": "Unit Cost",
        "supplier": "Vendor",
        "lead_time_days": "Lead Time Days",
        "pack_size": "Pack Qty",
    },
)


def _with_total(plain: pd.DataFrame) -> pd.DataFrame:
    out = FORM.written("lines", plain)
    named = our_names("lines", plain)
    total = pd.to_numeric(named["quantity"]) * pd.to_numeric(named["unit_price"])
    texts = total.map(lambda v: "" if pd.isna(v) else FORM.number(f"{v:.2f}"))
    return out.assign(**{"Extended Amount": texts})


def _files(tables: Tables) -> dict[str, bytes]:
    written = {
        name.replace("lines", "invoice lines"): _with_total(table)
        for name, table in tables.lines.items()
    }
    written["equipment"] = FORM.written("machines", tables.machines)
    written["inventory"] = FORM.written("parts", tables.parts)
    return {
        f"{name}.csv": delimited(table, ",", encoding="utf-8-sig", line_end="\r\n")
        for name, table in written.items()
    }


SHAPE = Shape(
    name="month-first", about="invoice lines, month first, thousands commas, a total on each line",
    files=_files,
)  # fmt: skip
