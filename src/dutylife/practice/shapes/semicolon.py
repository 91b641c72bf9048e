"""Semicolons, decimal comma, dates with dots; no column says what a line bills."""

from dutylife.practice.shapes.form import Form
from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import delimited_files

SEMICOLON = Form(
    delimiter=";",
    decimal=",",
    thousands=".",
    date_format="%d.%m.%Y",
    # no column says what a line bills: its text and figures have to
    lines={
        "service_date": "Date",
        "ticket": "Order",
        "customer": "Account",
        "unit_id": "Fleet no",
        "ticket_kind": "Order type",
        "complaint": "Reported",
        "work_done": "Report",
        "meter_hours": "Hours run",
        "quantity": "Number",
        "part_number": "Article",
        "description": "Item",
        "unit_price": "Price",
    },
    machines={
        "unit_id": "Fleet no",
        "customer": "Account",
        "equipment_class": "Type",
        "engine_model": "Motor",
        "in_service_on": "Bought",
        "left_on": "Gone",
    },
    parts={
        "part_number": "Article",
        "description": "Item",
        "supplier": "From",
        "unit_cost": "Cost price",
        "lead_time_days": "Days to come",
        "pack_size": "Per pack",
        "on_hand": "Counted",
        "on_order": "Ordered",
    },
)


def _files(tables: Tables) -> dict[str, bytes]:
    return delimited_files(SEMICOLON, tables, machines="machines", parts="parts")


SHAPE = Shape(
    name="semicolon", about="semicolons, decimal comma, no column for the sort of line",
    files=_files, form=SEMICOLON,
)  # fmt: skip
