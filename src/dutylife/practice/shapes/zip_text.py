"""A zip of text files with Dutch headings, bars between the cells, decimal comma."""

import io
import zipfile

from dutylife.practice.shapes.form import Form
from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import delimited_files

FORM = Form(
    delimiter="|",
    decimal=",",
    date_format="%d-%m-%Y",
    lines={
        "ticket": "Werkbonnummer",
        "service_date": "Werkbondatum",
        "ticket_kind": "Soort werk",
        "customer": "Klant",
        "unit_id": "Machinenummer",
        "meter_hours": "Urenstand",
        "complaint": "Klacht",
        "work_done": "Uitgevoerd werk",
        "line_kind": "Regelsoort",
        "part_number": "Artikelnummer",
        "description": "Omschrijving",
        "quantity": "Aantal",
        "unit_price": "Stukprijs",
    },
    machines={
        "unit_id": "Machinenummer",
        "equipment_class": "Machinesoort",
        "engine_model": "Motortype",
        "in_service_on": "In gebruik sinds",
        "left_on": "Uit gebruik",
        "customer": "Klant",
        "duty": "Inzet",
    },
    parts={
        "part_number": "Artikelnummer",
        "description": "Omschrijving",
        "on_hand": "Voorraad",
        "on_order": "In bestelling",
        "unit_cost": "Inkoopprijs",
        "supplier": "Leverancier",
        "lead_time_days": "Levertijd dagen",
        "pack_size": "Verpakkingseenheid",
    },
)
_STAMP = (2026, 1, 1, 0, 0, 0)


def zipped(files: dict[str, bytes]) -> bytes:
    """Return files as one zip; the same files give the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name, date_time=_STAMP), data)
    return out.getvalue()


def _files(tables: Tables) -> dict[str, bytes]:
    names = {name: name.replace("lines", "werkbonregels") for name in tables.lines}
    members = delimited_files(
        FORM, tables, machines="machines", parts="artikelen", ending=".txt", lines=names,
        line_end="\r\n",
    )  # fmt: skip
    return {"export.zip": zipped(members)}


SHAPE = Shape(name="zip-text", about="a zip of text files with Dutch headings", files=_files)
