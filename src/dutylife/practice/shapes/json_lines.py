"""JSON lines: one flat object an invoice line, dates with a time of day."""

import json
from typing import Any

import pandas as pd

from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import records, typed

LINE = {
    "ticket": "work_order", "service_date": "completed_at", "ticket_kind": "work_order_type",
    "unit_id": "equipment_id", "customer": "customer_name", "meter_hours": "engine_hours",
    "complaint": "problem", "work_done": "action_taken", "line_kind": "line_type",
    "part_number": "part_number", "description": "line_description", "quantity": "qty",
    "unit_price": "unit_price",
}  # fmt: skip
MACHINE = {
    "unit_id": "equipment_id", "equipment_class": "equipment_type", "engine_model": "engine_model",
    "in_service_on": "in_service_on", "left_on": "retired_on", "customer": "customer_name",
    "duty": "duty",
}  # fmt: skip
PART = {
    "part_number": "part_number", "description": "part_name", "on_hand": "qty_on_hand",
    "on_order": "qty_on_order", "unit_cost": "unit_cost", "supplier": "vendor",
    "lead_time_days": "lead_time_days", "pack_size": "pack_qty",
}  # fmt: skip


def _text(kind: str, plain: pd.DataFrame, names: dict[str, str]) -> bytes:
    table = typed(kind, plain)
    table = table[[name for name in names if name in table]].rename(columns=names)
    rows: list[dict[str, Any]] = records(table)
    for row in rows:
        if "completed_at" in row:
            row["completed_at"] += "T00:00:00"
    return "".join(json.dumps(row, ensure_ascii=False) + "\n" for row in rows).encode("utf-8")


def _files(tables: Tables) -> dict[str, bytes]:
    out = {
        f"{name.replace('lines', 'work_order_lines')}.jsonl": _text("lines", plain, LINE)
        for name, plain in tables.lines.items()
    }
    out["equipment.jsonl"] = _text("machines", tables.machines, MACHINE)
    out["parts.jsonl"] = _text("parts", tables.parts, PART)
    return out


SHAPE = Shape(name="json-lines", about="one JSON object a line, dates with a time", files=_files)
