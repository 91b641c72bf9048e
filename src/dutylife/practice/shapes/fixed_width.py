"""A print saved as text: columns of fixed width, page heads, long texts on over several lines."""

import textwrap

import pandas as pd

from dutylife.practice.shapes.form import NUMBERS, Form
from dutylife.practice.shapes.shape import Shape, Tables

FORM = Form(
    thousands=",",
    date_format="%d-%b-%y",
    lines={
        "ticket": "W/O",
        "service_date": "Date",
        "ticket_kind": "Job type",
        "unit_id": "Machine",
        "customer": "Customer",
        "meter_hours": "Hours",
        "complaint": "Complaint",
        "work_done": "Work carried out",
        "line_kind": "Line type",
        "part_number": "Part number",
        "description": "Description",
        "quantity": "Qty",
        "unit_price": "Unit price",
    },
    machines={
        "unit_id": "Machine",
        "equipment_class": "Machine type",
        "engine_model": "Engine",
        "in_service_on": "In service",
        "left_on": "Left on",
        "customer": "Customer",
        "duty": "Duty",
    },
    parts={
        "part_number": "Part number",
        "description": "Description",
        "on_hand": "On hand",
        "on_order": "On order",
        "unit_cost": "Unit cost",
        "supplier": "Supplier",
        "lead_time_days": "Lead days",
        "pack_size": "Pack size",
    },
)
PAGE_LINES = 50
WRAPPED = {"complaint": 26, "work_done": 30}


def printed(kind: str, plain: pd.DataFrame, title: str) -> bytes:
    """Return a table of the plain form as pages of text, figures on the right of their column."""
    table = FORM.signed(kind, plain)
    heads = {ours: head for ours, head in FORM.columns(kind).items() if ours in table}
    widths = {
        ours: WRAPPED.get(ours, max([len(head), *map(len, table[ours])]))
        for ours, head in heads.items()
    }

    def line(cells: dict[str, str]) -> str:
        """Cells side by side, two blanks between them."""
        out = [
            cells.get(o, "").rjust(w) if o in NUMBERS else cells.get(o, "").ljust(w)
            for o, w in widths.items()
        ]
        return "  ".join(out).rstrip()

    body: list[str] = []
    for row in table[list(heads)].to_dict("records"):
        wrapped = {o: textwrap.wrap(row[o], w) for o, w in WRAPPED.items() if o in heads}
        first = {o: pieces[0] for o, pieces in wrapped.items() if pieces}
        body.append(line({str(o): text for o, text in (row | first).items()}))
        for turn in range(1, max((len(p) for p in wrapped.values()), default=0)):
            body.append(line({o: p[turn] for o, p in wrapped.items() if turn < len(p)}))
    out: list[str] = []
    for page, start in enumerate(range(0, len(body), PAGE_LINES), 1):
        head = f"{title}, list of {kind}"
        out += [f"{'' if page == 1 else chr(12)}{head:<60}Page {page}", ""]
        out += [line(heads), "", *body[start : start + PAGE_LINES], ""]
    return ("\r\n".join([*out, "*** End of list ***"]) + "\r\n").encode("cp1252")


def _files(tables: Tables) -> dict[str, bytes]:
    out = {
        f"{name.replace('lines', 'work orders')}.prn": printed("lines", plain, tables.title)
        for name, plain in tables.lines.items()
    }
    out["machines.prn"] = printed("machines", tables.machines, tables.title)
    out["parts.prn"] = printed("parts", tables.parts, tables.title)
    return out


SHAPE = Shape(
    name="fixed-width",
    about="a print saved as text: fixed width, page heads, texts on over several lines",
    files=_files,
)
