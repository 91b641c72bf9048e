"""Sound inputs to start from: one small export of every kind of file, settings, words of a shop."""

import gzip
import io
import json
import sqlite3
import tempfile
import zipfile
from functools import cache
from pathlib import Path

TESTS = Path(__file__).parents[1]
COLUMNS = {
    "ticket": "Job", "service_date": "Date", "unit_id": "Unit", "customer": "Cust",
    "part_number": "PN", "description": "Text", "quantity": "Qty", "unit_price": "Each",
}  # fmt: skip
_MOST_BYTES = 16_000
ROWS = [
    [f"J{n}", f"2024-{1 + n % 12:02d}-{1 + n % 27:02d}", f"TP-{n % 3}", "Kerb Crew",
     ("IC-1", "SP-7", "")[n % 3], ("ignition cap renewed", "jet 85", "9.9k ok")[n % 3],
     str(1 + n % 4), f"{n}.50"]
    for n in range(12)
]  # fmt: skip


def _delimited(sign: str) -> str:
    return "\n".join(sign.join(row) for row in [list(COLUMNS.values()), *ROWS]) + "\n"


def _printed() -> str:
    rows = [list(COLUMNS.values()), *ROWS]
    widths = [max(len(r[c]) for r in rows) + 2 for c in range(len(COLUMNS))]
    return "\n".join("".join(c.ljust(w) for c, w in zip(r, widths, strict=True)) for r in rows)


def _page() -> str:
    lines = ["".join(f"<td>{c}</td>" for c in row) for row in [list(COLUMNS.values()), *ROWS]]
    return "<html><table>" + "".join(f"<tr>{line}</tr>" for line in lines) + "</table></html>"


def _records() -> list[dict[str, str]]:
    return [dict(zip(COLUMNS.values(), row, strict=True)) for row in ROWS]


def _nested() -> bytes:
    jobs = [{"Job": r[0], "Date": r[1], "Unit": r[2], "Cust": r[3],
             "items": [{"PN": r[4], "Text": r[5], "Qty": 1, "Each": 9.5}, {"PN": "IC-1"}]}
            for r in ROWS]  # fmt: skip
    return json.dumps({"tickets": jobs}).encode()


def _xml() -> bytes:
    jobs = "".join(
        "<job>" + "".join(f"<{k}>{v}</{k}>" for k, v in r.items()) + "</job>" for r in _records()
    )
    return f'<?xml version="1.0"?><jobs>{jobs}</jobs>'.encode()


def _workbook() -> bytes:
    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        sheet = book.add_worksheet("Jobs")
        for at, row in enumerate([list(COLUMNS.values()), *ROWS]):
            sheet.write_row(at, 0, row)
        sheet.merge_range(14, 0, 15, 0, "J99")
    return out.getvalue()


def _sqlite() -> bytes:
    base = sqlite3.connect(":memory:")
    base.execute("PRAGMA page_size=512")
    base.execute(f"CREATE TABLE jobs ({', '.join(f'{c} TEXT' for c in COLUMNS.values())})")
    base.executemany(f"INSERT INTO jobs VALUES ({', '.join('?' * len(COLUMNS))})", ROWS)
    base.execute("CREATE VIEW seen AS SELECT Job, Unit FROM jobs")
    base.commit()
    return base.serialize()


def _parquet() -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    out = io.BytesIO()
    pq.write_table(pa.Table.from_pylist(_records()), out)
    return out.getvalue()


def _sql() -> bytes:
    values = ",\n".join("(" + ",".join(f"'{c}'" for c in row) + ")" for row in ROWS)
    names = ", ".join(COLUMNS.values())
    head = f"CREATE TABLE jobs ({', '.join(f'{c} varchar(60)' for c in COLUMNS.values())});\n"
    return f"{head}INSERT INTO jobs ({names}) VALUES\n{values};\n".encode()


def _zip(method: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        archive.writestr("jobs/lines.csv", _delimited(","))
        archive.writestr("more.json", json.dumps(_records()))
    return out.getvalue()


@cache
def files() -> dict[str, bytes]:
    """Small sound files by name, every format a reader has; and the malformed ones at hand."""
    made = {
        "comma.csv": _delimited(",").encode(), "semicolon.csv": _delimited(";").encode("cp1252"),
        "tabs.txt": _delimited("\t").encode("utf-16"), "printed.prn": _printed().encode(),
        "page.html": _page().encode(), "flat.json": json.dumps(_records()).encode(),
        "lines.jsonl": "\n".join(map(json.dumps, _records())).encode(), "nested.json": _nested(),
        "jobs.xml": _xml(), "jobs.xlsx": _workbook(), "jobs.sqlite": _sqlite(),
        "jobs.parquet": _parquet(), "dump.sql": _sql(), "stored.zip": _zip(zipfile.ZIP_STORED),
        "packed.zip": _zip(zipfile.ZIP_DEFLATED),
        "comma.csv.gz": gzip.compress(_delimited(",").encode(), mtime=0),
    }  # fmt: skip
    others = [*(TESTS / "intake" / "malformed").iterdir(), TESTS / "intake" / "lines.xls"]
    for path in sorted(others):
        if path.stat().st_size <= _MOST_BYTES and path.name != "expected.csv":
            made[path.name] = path.read_bytes()
    return made


@cache
def settings_texts() -> tuple[str, ...]:
    """Settings files: the demo's own and those the practice fleet's shapes come with."""
    from dutylife.practice import make_practice
    from dutylife.practice.shapes import SHAPES

    texts = [(TESTS.parent / "data_demo" / "dutylife.toml").read_text(encoding="utf-8")]
    for name in [n for n, shape in SHAPES.items() if shape.form is not None]:
        with tempfile.TemporaryDirectory() as folder:
            made = make_practice(Path(folder), n_units=2, n_years=0.5, seed=3, shape=name)
            texts.append(made["settings"].read_text(encoding="utf-8"))
    return tuple(texts)
