"""An SQLite file of joined tables: machines by number, tickets, lines, and the stock."""

import sqlite3

import pandas as pd

from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.workbook import named
from dutylife.practice.shapes.writing import tickets_and_lines, typed

TICKETS = {
    "ticket": "ticket_no", "service_date": "service_date", "ticket_kind": "ticket_type",
    "machine_id": "machine_id", "customer": "customer_name", "meter_hours": "meter_hours",
    "complaint": "complaint", "work_done": "work_done",
}  # fmt: skip
LINES = {
    "ticket": "ticket_no", "line_kind": "line_type", "part_number": "part_no",
    "description": "description", "quantity": "quantity", "unit_price": "unit_price",
}  # fmt: skip
MACHINES = {
    "machine_id": "machine_id", "unit_id": "machine_no", "equipment_class": "machine_type",
    "engine_model": "engine_model", "in_service_on": "in_service_on", "left_on": "left_on",
    "customer": "customer_name", "duty": "duty",
}  # fmt: skip
PARTS = {
    "part_number": "part_no", "description": "part_name", "on_hand": "on_hand",
    "on_order": "on_order", "unit_cost": "unit_cost", "supplier": "supplier",
    "lead_time_days": "lead_time_days", "pack_size": "pack_size",
}  # fmt: skip
FIRST_ID = 501  # record numbers that are no row numbers


def database(tables: dict[str, pd.DataFrame]) -> bytes:
    """Return typed tables as the bytes of an SQLite file; dates are ISO text."""
    with sqlite3.connect(":memory:") as connection:
        for name, table in tables.items():
            columns = ", ".join(f'"{c}"' for c in table.columns)
            connection.execute(f'CREATE TABLE "{name}" ({columns})')
            marks = ", ".join("?" * len(table.columns))
            rows = [
                tuple(v.isoformat() if hasattr(v, "isoformat") else v for v in row)
                for row in table.itertuples(index=False, name=None)
            ]
            connection.executemany(f'INSERT INTO "{name}" VALUES ({marks})', rows)
        connection.commit()
        data = connection.serialize()
    connection.close()
    return data


def _files(tables: Tables) -> dict[str, bytes]:
    tickets, lines = tickets_and_lines(typed("lines", tables.whole))
    machines = typed("machines", tables.machines)
    # a ticket can be of a machine the list does not have
    seen = [u for u in tickets["unit_id"].dropna().unique() if u not in set(machines["unit_id"])]
    extra = pd.DataFrame({"unit_id": sorted(seen)}, dtype="object")
    machines = pd.concat([machines, extra], ignore_index=True).astype("object")
    machines = machines.map(lambda value: None if pd.isna(value) else value).astype("object")
    machines["machine_id"] = list(range(FIRST_ID, FIRST_ID + len(machines)))
    ids = dict(zip(machines["unit_id"], machines["machine_id"], strict=True))
    tickets["machine_id"] = pd.Series([ids.get(u) for u in tickets["unit_id"]], dtype="object")
    return {
        "workshop.sqlite": database(
            {
                "machines": named(machines, MACHINES),
                "tickets": named(tickets, TICKETS),
                "ticket_lines": named(lines, LINES),
                "stock": named(typed("parts", tables.parts), PARTS),
            }
        )
    }


SHAPE = Shape(
    name="database", about="an SQLite file: machines by record number, tickets, lines, stock",
    files=_files,
)  # fmt: skip
