"""One row a visit: its lines stand beside each other in numbered columns."""

import pandas as pd

from dutylife.practice.shapes.form import OF_TICKET, Form
from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import delimited, tickets_and_lines

FORM = Form(
    date_format="%Y-%m-%d",
    lines={
        "service_date": "Visit date",
        "ticket": "Job no",
        "customer": "Customer",
        "unit_id": "Machine",
        "meter_hours": "Meter hours",
        "ticket_kind": "Type of visit",
        "complaint": "Complaint",
        "work_done": "Work done",
    },
    machines={
        "unit_id": "Machine",
        "equipment_class": "Machine type",
        "engine_model": "Engine",
        "in_service_on": "In service since",
        "left_on": "Left on",
        "customer": "Customer",
        "duty": "Duty",
    },
    parts={
        "part_number": "Part no",
        "description": "Part name",
        "on_hand": "On hand",
        "on_order": "On order",
        "unit_cost": "Cost price",
        "supplier": "Supplier",
        "lead_time_days": "Lead days",
        "pack_size": "Pack size",
    },
)
SLOT = {
    "part_number": "Part no", "description": "Text", "quantity": "Qty", "unit_price": "Price",
}  # fmt: skip


def one_row_a_visit(table: pd.DataFrame, slot: dict[str, str]) -> pd.DataFrame:
    """Return tickets under our names with their lines in columns "Part no 1", "Text 1", ..."""
    tickets, lines = tickets_and_lines(table)
    turn = lines.groupby("ticket", sort=False).cumcount()
    out = tickets.set_index("ticket", drop=False)
    for number in range(int(turn.max()) + 1):
        mine = lines[turn == number].set_index("ticket")[list(slot)]
        named = mine.rename(columns={name: f"{head} {number + 1}" for name, head in slot.items()})
        out = out.join(named.reindex(out.index).fillna(""))
    return out.reset_index(drop=True)


def _files(tables: Tables) -> dict[str, bytes]:
    out = {}
    for name, plain in tables.lines.items():
        wide = one_row_a_visit(FORM.signed("lines", plain), SLOT)
        order = [*FORM.lines, *(c for c in wide.columns if c not in OF_TICKET)]
        table = wide[order].rename(columns=dict(FORM.lines))
        out[f"{name.replace('lines', 'visits')}.csv"] = delimited(table, ",")
    out["machines.csv"] = delimited(FORM.written("machines", tables.machines), ",")
    out["parts.csv"] = delimited(FORM.written("parts", tables.parts), ",")
    return out


SHAPE = Shape(name="visits", about="one row a visit, its lines in wide columns", files=_files)
