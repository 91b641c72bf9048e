"""Tab-separated UTF-16 as spreadsheets save "Unicode text", months in letters."""

from dutylife.practice.shapes.form import Form
from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import delimited_files

FORM = Form(
    delimiter="\t",
    date_format="%d %b %Y",
    lines={
        "service_date": "Date",
        "ticket": "Job card",
        "unit_id": "Plant no",
        "customer": "Client",
        "ticket_kind": "Job type",
        "meter_hours": "Hours",
        "complaint": "Reported fault",
        "work_done": "Repair carried out",
        "line_kind": "Item type",
        "part_number": "Stock code",
        "description": "Description",
        "quantity": "Quantity",
        "unit_price": "Price each",
    },
    machines={
        "unit_id": "Plant no",
        "equipment_class": "Plant type",
        "engine_model": "Engine",
        "in_service_on": "Purchase date",
        "left_on": "Disposal date",
        "customer": "Client",
        "duty": "Duty",
    },
    parts={
        "part_number": "Stock code",
        "description": "Description",
        "on_hand": "In stock",
        "on_order": "On order",
        "unit_cost": "Cost",
        "supplier": "Supplier",
        "lead_time_days": "Lead time days",
        "pack_size": "Pack size",
    },
)


def _files(tables: Tables) -> dict[str, bytes]:
    names = {name: name.replace("lines", "job cards") for name in tables.lines}
    return delimited_files(
        FORM, tables, machines="plant list", parts="stock list", ending=".txt", lines=names,
        encoding="utf-16", line_end="\r\n",
    )  # fmt: skip


SHAPE = Shape(name="utf16-tabs", about="tab-separated UTF-16, months in letters", files=_files)
