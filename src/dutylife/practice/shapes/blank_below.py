"""A printed list saved as text: preamble, German headings, ticket head blank on its later lines."""

from dutylife.practice.shapes.form import OF_TICKET, Form
from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import delimited, rows_text

FORM = Form(
    delimiter=";",
    decimal=",",
    thousands=".",
    date_format="%d.%m.%Y",
    lines={
        "ticket": "Auftragsnr.",
        "service_date": "Auftragsdatum",
        "ticket_kind": "Auftragsart",
        "customer": "Kunde",
        "unit_id": "Maschinennr.",
        "meter_hours": "Betriebsstunden",
        "complaint": "Beanstandung",
        "work_done": "Ausgeführte Arbeit",
        "line_kind": "Positionsart",
        "part_number": "Artikelnr.",
        "description": "Bezeichnung",
        "quantity": "Menge",
        "unit_price": "Einzelpreis",
    },
    machines={
        "unit_id": "Maschinennr.",
        "equipment_class": "Gerätetyp",
        "engine_model": "Motortyp",
        "in_service_on": "In Betrieb seit",
        "left_on": "Außer Betrieb",
        "customer": "Kunde",
        "duty": "Einsatz",
    },
    parts={
        "part_number": "Artikelnr.",
        "description": "Bezeichnung",
        "on_hand": "Bestand",
        "on_order": "Bestellt",
        "unit_cost": "Einkaufspreis",
        "supplier": "Lieferant",
        "lead_time_days": "Lieferzeit Tage",
        "pack_size": "Verpackungseinheit",
    },
)


def _files(tables: Tables) -> dict[str, bytes]:
    out = {}
    heads = [FORM.lines[name] for name in OF_TICKET]
    for name, plain in tables.lines.items():
        table = FORM.written("lines", plain)
        below = table[FORM.lines["ticket"]].duplicated()
        table.loc[below, heads] = ""
        n = len(table.columns)
        rows = [
            [tables.title, *[""] * (n - 1)],
            [f"Auftragsliste für die Zeit bis {plain['Job date'].iloc[-1].replace('/', '.')}"],
            [""] * n,
            list(table.columns),
            *table.to_numpy().tolist(),
            ["Ende der Liste", *[""] * (n - 1)],
        ]
        text = rows_text(rows, ";")
        out[f"{name.replace('lines', 'Auftragsliste')}.csv"] = text.encode("cp1252")
    for name, kind, plain in (
        ("Maschinen", "machines", tables.machines), ("Artikel", "parts", tables.parts)
    ):  # fmt: skip
        table = FORM.written(kind, plain)
        out[f"{name}.csv"] = delimited(table, ";", encoding="cp1252", line_end="\r\n")
    return out


SHAPE = Shape(
    name="blank-below",
    about="semicolons, decimal comma, cp1252, a preamble, German headings, the head of a ticket "
    "on its first line only",
    files=_files,
)
