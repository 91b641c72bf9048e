"""Tickets as nested JSON: machine and customer inside, and a list of items."""

import json

import pandas as pd

from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import records, tickets_and_lines, typed

MACHINE = {
    "unit_id": "machineId", "equipment_class": "machineType", "engine_model": "engineModel",
    "in_service_on": "inServiceSince", "left_on": "outOfServiceOn", "customer": "customerName",
    "duty": "duty",
}  # fmt: skip
PART = {
    "part_number": "partNumber", "description": "partName", "on_hand": "onHand",
    "on_order": "onOrder", "unit_cost": "unitCost", "supplier": "supplier",
    "lead_time_days": "leadTimeDays", "pack_size": "packSize",
}  # fmt: skip
ITEM = {
    "line_kind": "lineType", "part_number": "partNumber", "description": "description",
    "quantity": "quantity", "unit_price": "unitPrice",
}  # fmt: skip


def tickets_of(plain: pd.DataFrame) -> list[dict[str, object]]:
    """Return the tickets of a table of plain lines, each with its machine, customer and items."""
    tickets, lines = tickets_and_lines(typed("lines", plain))
    items: dict[str, list[dict[str, object]]] = {}
    for ticket, item in zip(lines["ticket"], records(lines.rename(columns=ITEM)), strict=True):
        items.setdefault(ticket, []).append({name: item[name] for name in ITEM.values()})
    return [
        {
            "ticketNumber": row["ticket"],
            "serviceDate": row["service_date"],
            "ticketType": row["ticket_kind"],
            "machine": {"machineId": row["unit_id"], "meterHours": row["meter_hours"]},
            "customer": {"customerName": row["customer"]},
            "complaint": row["complaint"],
            "workDone": row["work_done"],
            "items": items[row["ticket"]],
        }
        for row in records(tickets)
    ]


def as_bytes(value: object) -> bytes:
    """Return a value as indented JSON."""
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode("utf-8")


def _files(tables: Tables) -> dict[str, bytes]:
    machines = typed("machines", tables.machines).rename(columns=MACHINE)
    parts = typed("parts", tables.parts).rename(columns=PART)
    out = {
        f"{name.replace('lines', 'tickets')}.json": as_bytes({"tickets": tickets_of(plain)})
        for name, plain in tables.lines.items()
    }
    out["machines.json"] = as_bytes(records(machines))
    out["parts.json"] = as_bytes(records(parts))
    return out


SHAPE = Shape(
    name="nested-json", about="JSON tickets with machine, customer and items inside", files=_files
)
