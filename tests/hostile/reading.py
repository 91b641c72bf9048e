"""Attacks by what is read: files, archives, databases, texts and the settings that name them."""

import gzip
import io
import json
import os
import sqlite3
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from dutylife.coding import code_lines
from dutylife.errors import DutylifeError
from dutylife.intake import read_exports
from dutylife.schema import as_table, empty_table
from dutylife.settings import read_settings, settings_from

COLUMNS = {"ticket": "job", "service_date": "date", "unit_id": "machine", "work_done": "work"}
HEADER = "job,date,machine,work\n"
ROWS = "".join(f"J{n},2024-01-{1 + n:02d},M{n % 3},cap renewed\n" for n in range(12))
_XLSX_TYPES = b'<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>'  # noqa: E501
_SECONDS = 30  # of processor, far beyond what any of these may take


def spent() -> float:
    """Seconds of processor of this process and of those it started."""
    return sum(os.times()[:4])


def read(folder: Path, name: str, data: bytes | None = None, **export: object) -> pd.DataFrame:
    """Table "service_lines" of one export; in bounded time."""
    if data is not None:
        (folder / name).write_bytes(data)
    given = {"path": name, "columns": COLUMNS, **export}
    settings = settings_from({"exports": [given], "duty": {"all": "yard"}}, folder=folder)
    started = spent()
    try:
        return read_exports(settings).tables["service_lines"]
    finally:
        assert spent() - started < _SECONDS


def refused(folder: Path, name: str, data: bytes | None, says: str, **export: object) -> None:
    """The export is refused with words and a cure; nothing is written beside it."""
    before = {p.name for p in folder.iterdir()} | {name}
    with pytest.raises(DutylifeError, match=says) as caught:
        read(folder, name, data, **export)
    assert caught.value.mend
    assert {p.name for p in folder.iterdir()} <= before


def zipped(members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def member_above_the_archive(folder: Path) -> None:
    inner = folder / "inner"
    inner.mkdir()
    refused(inner, "a.zip", zipped({"../../x.csv": (HEADER + ROWS).encode()}), "outside itself")
    assert not (folder.parent / "x.csv").exists()


def member_at_the_root(folder: Path) -> None:
    for name in (f"{os.sep}x.csv", "X" + ":\\x.csv", "..\\..\\x.csv"):
        refused(folder, "a.zip", zipped({name: (HEADER + ROWS).encode()}), "outside itself")


def zip_bomb(folder: Path) -> None:
    refused(folder, "a.zip", zipped({"a.csv": b"," * (60 << 20)}), "grows from")


def archives_in_archives(folder: Path) -> None:
    data = (HEADER + ROWS).encode()
    for _ in range(8):
        data = zipped({"a.zip": data})
    refused(folder, "a.zip", data, "inside an archive")


def gzip_bomb(folder: Path) -> None:
    refused(folder, "a.csv.gz", gzip.compress(b"," * (60 << 20)), "grows from")


def workbook_bomb(folder: Path) -> None:
    sheet = b"<worksheet><sheetData>" + b" " * (60 << 20)
    data = zipped({"[Content_Types].xml": _XLSX_TYPES, "xl/worksheets/sheet1.xml": sheet})
    refused(folder, "a.xlsx", data, "grows from")


def workbook_that_lies_about_its_size(folder: Path) -> None:
    data = bytearray(
        zipped({"[Content_Types].xml": _XLSX_TYPES, "xl/worksheets/sheet1.xml": b" " * (60 << 20)})
    )
    at = data.rfind(b"PK\x01\x02")  # the entry of the sheet in the list of contents
    struct.pack_into("<I", data, at + 24, 100)
    refused(folder, "a.xlsx", bytes(data), "can't be opened")


def entities_in_a_workbook(folder: Path) -> None:
    text = (
        b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><worksheet/>'
    )
    data = zipped({"[Content_Types].xml": _XLSX_TYPES, "xl/worksheets/sheet1.xml": text})
    refused(folder, "a.xlsx", data, "grow into text")


def entities_in_xml(folder: Path) -> None:
    names = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10 or "x"}">' for n in range(1, 12))
    text = (
        f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a0 "x">{names}]><jobs><job>&a11;</job></jobs>'
    )
    refused(folder, "a.xml", text.encode(), "grow into text")


def a_file_named_inside_xml(folder: Path) -> None:
    (folder / "private.txt").write_text("the shop's own letter")
    text = (
        f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file://{folder}/private.txt">]>'
        "<jobs><job><n>&a;</n></job><job><n>2</n></job></jobs>"
    )
    refused(folder, "a.xml", text.encode(), "grow into text")


def chain_of_blocks_that_never_ends(folder: Path) -> None:
    """An old workbook whose blocks lead back into themselves: the library would take all memory."""
    data = bytearray((Path(__file__).parents[1] / "intake" / "lines.xls").read_bytes())
    shift = struct.unpack_from("<H", data, 30)[0]
    fat = struct.unpack_from("<I", data, 76)[0]
    at = 512 + (fat << shift)
    for sector in range((1 << shift) // 4):
        struct.pack_into("<I", data, at + 4 * sector, sector)
    refused(folder, "a.xls", bytes(data), "can't be opened")


def rows_that_are_claimed(folder: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    one = pa.DictionaryArray.from_arrays(pa.array([0] * 1_000_000, pa.int8()), ["x"])
    table = pa.table({f"c{n}": one for n in range(130)})
    pq.write_table(table, folder / "a.parquet", compression="zstd")
    assert (folder / "a.parquet").stat().st_size < 1_000_000
    refused(folder, "a.parquet", None, "cells are read")


def view_without_end(folder: Path) -> None:
    base = sqlite3.connect(folder / "a.db")
    base.execute(
        "CREATE VIEW v AS WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) "
        "SELECT x AS job FROM c WHERE x < 0"
    )
    base.close()
    refused(folder, "a.db", None, "can't be read")


def cell_of_a_gigabyte(folder: Path) -> None:
    base = sqlite3.connect(folder / "a.db")
    base.execute("CREATE VIEW v AS SELECT zeroblob(999999999) AS job")
    base.close()
    refused(folder, "a.db", None, "can't be read")


def sql_in_names(folder: Path) -> None:
    name = 'x"; DROP TABLE kept; --'
    quoted = '"' + name.replace('"', '""') + '"'
    base = sqlite3.connect(folder / "a.db")
    base.execute("CREATE TABLE kept (a TEXT)")
    base.execute(
        f'CREATE TABLE {quoted} (job TEXT, date TEXT, machine TEXT, "work"" FROM kept --" TEXT)'
    )
    rows = [(f"J{n}", "2024-01-02", "M1", "'; DROP TABLE kept; --") for n in range(5)]
    base.executemany(f"INSERT INTO {quoted} VALUES (?, ?, ?, ?)", rows)
    base.commit()
    columns = {"ticket": "job", "service_date": "date", "unit_id": "machine",
               "work_done": 'work" FROM kept --'}  # fmt: skip
    for path in ("a.db", f"sqlite:///{folder / 'a.db'}"):
        assert len(read(folder, path, sheet=name, columns=columns)) == 5
    assert base.execute("SELECT count(*) FROM kept").fetchone() == (0,)
    base.close()


def gigantic_cell(folder: Path) -> None:
    text = HEADER + ROWS + f'J99,2024-02-01,M1,"{"cap 9.9k ohm, " * 800_000}"\n'
    assert len(text) > 10_000_000
    assert len(read(folder, "a.csv", text.encode())) == 13


def five_thousand_columns(folder: Path) -> None:
    more = ",".join(f"c{n}" for n in range(5000))
    rows = [line + "," + "x," * 4999 + "x" for line in ROWS.splitlines()]
    text = HEADER.strip() + "," + more + "\n" + "\n".join(rows) + "\n"
    assert len(read(folder, "a.csv", text.encode())) == 12


def zero_bytes(folder: Path) -> None:
    text = HEADER + ROWS + "J99,2024-02-01,M1,cap\x00 renewed\n"
    lines = read(folder, "a.csv", text.encode())
    assert len(lines) == 13
    assert not lines["work_done"].astype("object").str.contains("\x00").any()
    record = [{"job": "J1", "date": "2024-01-02", "machine": "M\x001", "work": "a\x00b"}] * 3
    assert len(read(folder, "a.json", json.dumps(record).encode())) >= 1


def records_too_deep(folder: Path) -> None:
    refused(folder, "a.json", b'[{"a":' * 50_000 + b"1" + b"}]" * 50_000, "too deep")
    refused(folder, "a.json", b'[{"a":' * 300 + b"1" + b"}]" * 300, "too deep")
    deep = b"<?xml version='1.0'?>" + b"<a>" * 5000 + b"</a>" * 5000
    refused(folder, "a.xml", deep, "too deep|not well formed|no records|web page")


def pattern_that_explodes(folder: Path) -> None:
    text = "job,date,machine,parts\n" + "".join(
        f"J{n},2024-01-02,M1,{'a' * 5000}!\n" for n in range(20)
    )
    cell = {"column": "parts", "pattern": "(?P<part_number>(?:a+)+)b"}
    columns = {"ticket": "job", "service_date": "date", "unit_id": "machine"}
    assert len(read(folder, "a.csv", text.encode(), parts_cell=cell, columns=columns)) == 20


def words_that_explode(folder: Path) -> None:
    """Our own patterns over long texts of the signs they look for."""
    pieces = ("a ", "9.9k ", "1", "not ", "+/- 5 % ", "(", "- ", ", ", "l/h ", "12,5 ", ". ")
    lines = pd.DataFrame(
        {"line_id": [f"{n}" for n in range(len(pieces))], "source_file": "a.csv",
         "source_row": range(len(pieces)), "service_date": pd.Timestamp("2024-01-02"),
         "unit_id": "M1", "line_kind": "labour", "ticket": "J1",
         "work_done": [p * (20_000 // len(p)) for p in pieces]}
    )  # fmt: skip
    units = as_table("units", pd.DataFrame({"unit_id": ["M1"]}))
    started = spent()
    code_lines(as_table("service_lines", lines), units, empty_table("shelf"), settings_from({}))
    assert spent() - started < _SECONDS


def cell_over_all_columns(folder: Path) -> None:
    rows = "".join(f"<tr><td>J{n}</td><td>2024-01-02</td><td>M1</td></tr>" for n in range(9))
    page = f'<table><tr><td>job</td><td>date</td><td colspan="99999999999">machine</td></tr>{rows}'
    columns = {"ticket": "job", "service_date": "date", "unit_id": "machine"}
    assert len(read(folder, "a.html", page.encode(), columns=columns)) == 9


def device_as_an_export(folder: Path) -> None:
    refused(folder, str(Path(os.devnull).with_name("zero")), None, "does not exist")
    os.mkfifo(folder / "pipe.csv")
    refused(folder, "pipe.csv", None, "does not exist")


def letter_as_an_export(folder: Path) -> None:
    """A path out of the folder is the shop's right; but no text that is no table is shown."""
    (folder / "private.txt").write_text("user:secret-words:0:0\n" * 9)
    inner = folder / "inner"
    inner.mkdir()
    with pytest.raises(DutylifeError) as caught:
        read(inner, "../private.txt")
    assert "secret-words" not in str(caught.value)


def codec_that_is_no_text(folder: Path) -> None:
    for name in ("zlib", "hex", "base64", "rot13", "unicode_escape", "idna", "punycode", "utf-7"):
        try:
            read(folder, "a.csv", (HEADER + ROWS).encode(), encoding=name)
        except DutylifeError as error:
            assert error.mend  # noqa: PT017


def settings_too_deep(folder: Path) -> None:
    path = folder / "run.toml"
    path.write_text("x = " + "[" * 100_000 + "]" * 100_000)
    with pytest.raises(DutylifeError):
        read_settings(path)


ATTACKS: dict[str, Callable[[Path], None]] = {
    "zip: a member above the archive": member_above_the_archive,
    "zip: a member at the root, or on another drive": member_at_the_root,
    "zip: a member of blanks that fills the memory": zip_bomb,
    "zip: archives in archives": archives_in_archives,
    "gzip: blanks that fill the memory": gzip_bomb,
    "workbook: a sheet that fills the memory": workbook_bomb,
    "workbook: a sheet longer than it says": workbook_that_lies_about_its_size,
    "workbook: names that grow into text": entities_in_a_workbook,
    "workbook, old: a chain of blocks without end": chain_of_blocks_that_never_ends,
    "xml: names that grow into text": entities_in_xml,
    "xml: a file of the shop named inside": a_file_named_inside_xml,
    "xml, json: records too deep in each other": records_too_deep,
    "parquet: more rows than a memory holds": rows_that_are_claimed,
    "sqlite: a view without end": view_without_end,
    "sqlite: a cell of a gigabyte": cell_of_a_gigabyte,
    "sqlite: SQL in names of tables and columns": sql_in_names,
    "csv: a cell of 10 MB": gigantic_cell,
    "csv: 5 000 columns": five_thousand_columns,
    "csv, json: zero bytes": zero_bytes,
    "html: a cell over a hundred thousand million columns": cell_over_all_columns,
    "settings: a pattern that explodes": pattern_that_explodes,
    "texts: words that explode our own patterns": words_that_explode,
    "settings: a device or a pipe as an export": device_as_an_export,
    "settings: a letter outside the folder as an export": letter_as_an_export,
    "settings: a codec that is no text": codec_that_is_no_text,
    "settings: keys too deep in each other": settings_too_deep,
}
