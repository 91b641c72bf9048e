"""A small shop's invoice lines under headers of five languages, for draft to look at."""

import csv
import datetime as dt
import io
from pathlib import Path
from types import SimpleNamespace

import pytest

OURS = (
    "ticket", "service_date", "unit_id", "customer", "meter_hours", "complaint", "work_done",
    "part_number", "description", "quantity", "unit_price",
)  # fmt: skip
HEADERS = {
    "English": "Invoice no,Invoice date,Serial no,Customer,Engine hours,Complaint,Work done,"
    "Part no,Description,Qty,Unit price",
    "German": "Rechnungsnr.,Rechnungsdatum,Maschinennummer,Kunde,Betriebsstunden,Beanstandung,"
    "Ausgeführte Arbeiten,Artikelnr.,Bezeichnung,Menge,Einzelpreis",
    "French": "N° facture,Date facture,N° de série,Client,Compteur horaire,Panne,Travaux effectués,"
    "Réf. article,Désignation,Quantité,Prix unitaire",
    "Spanish": "Nº factura,Fecha factura,Nº de serie,Cliente,Horómetro,Avería,Trabajo realizado,"
    "Código artículo,Descripción,Cantidad,Precio unitario",
    "Dutch": "Factuurnummer,Factuurdatum,Serienummer,Klant,Draaiuren,Klacht,Uitgevoerd werk,"
    "Artikelnummer,Omschrijving,Aantal,Stuksprijs",
    "program names": "invoice_no,invoiceDate,unit_serial,custName,EngineHours,complaint_text,"
    "WorkDone,partNo,lineDescription,qty,unitPrice",
}  # fmt: skip


def rows(n: int = 60, form: str = "{d:02d}.{m:02d}.{y}", decimal: str = ".") -> list[list[str]]:
    """Invoice lines of six machines at three customers, two lines a ticket."""
    out = []
    for i in range(n):
        on = dt.date(2022, 1, 3) + dt.timedelta(days=11 * i)
        day = form.format(y=on.year, m=on.month, d=on.day)
        unit, visit = i % 6, i // 6
        head = [
            f"R{500 + i}", day, f"TP-{unit:03d}", ("Quay Crew", "Kerb Store", "Parks")[unit % 3],
            str(100 + 40 * visit + unit) if i % 4 else "",
            ("won't start", "no power", "leaks fuel", "dies when hot")[i % 4],
            ("replaced cap, tested ok", "cleaned carburetor, set idle", "new hose fitted")[i % 3],
        ]  # fmt: skip
        part = (("IC-11", "ignition cap"), ("CB-20", "carburetor"), ("FH-07", "fuel hose"))[i % 3]
        price = f"{4 + i % 3}{decimal}50"
        out.append([*head, *part, "1" if i % 5 else "2", price])
        out.append([*head, "", "labour", f"0{decimal}75", f"48{decimal}00"])
    return out


def written(path: Path, header: str, lines: list[list[str]], delimiter: str = ",") -> Path:
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
    writer.writerow(header.split(","))
    writer.writerows(lines)
    path.write_text(out.getvalue(), encoding="utf-8")
    return path


@pytest.fixture
def shop() -> SimpleNamespace:
    """The headers by language, what they are, the rows, and a writer of files."""
    return SimpleNamespace(ours=OURS, headers=HEADERS, rows=rows, written=written)
