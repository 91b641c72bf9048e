"""Rows of a report told from its records; the same lines whatever their place on the page."""

import csv
import io
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from dutylife.errors import ColumnMissingError, ExportError, SettingsError
from dutylife.intake import read_exports
from dutylife.intake.layout import lay_out
from dutylife.intake.readers import read_sheets
from dutylife.settings import Export, settings_from

NAMES = ("Job", "Date", "Unit", "Cust", "Work", "PN", "Text", "Qty", "Each")
COLUMNS = dict(
    zip(
        ("ticket", "service_date", "unit_id", "customer", "work_done", "part_number",
         "description", "quantity", "unit_price"),
        NAMES, strict=True,
    )
)  # fmt: skip
TICKETS = [
    (("J-1", "05.01.2024", "WC-1", "Kerb", "cap renewed"),
     [("IC-1", "plug cap", "1", "9.50"), ("SP-7", "plug", "2", "4.25")]),
    (("J-2", "17.01.2024", "WC-2", "Edge Cutters", ""), [("AF-3", "air filter", "1", "12.00")]),
    (("J-3", "01.02.2024", "WC-1", "Kerb", "filter and rope"),
     [("AF-3", "air filter", "1", "12.00"), ("RP-1", "rope", "3", "1.10"),
      ("", "labour", "0.5", "60.00")]),
    (("J-4", "02.02.2024", "WC-3", "Kerb", "checked, no fault"), [("", "", "", "")]),
]  # fmt: skip
ROWS = [(*head, *part) for head, parts in TICKETS for part in parts]


def text_of(rows: list[tuple[str, ...]], sign: str = ";") -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=sign, lineterminator="\n").writerows(rows)
    return out.getvalue()


def write(folder: Path, rows: list[tuple[str, ...]], encoding: str = "utf-8") -> None:
    (folder / "a.csv").write_text(text_of(rows), encoding=encoding)


def read(folder: Path, **export: Any) -> dict[str, pd.DataFrame]:
    given = {"path": "a.csv", "columns": COLUMNS, "date_order": "dmy", "decimal": "."} | export
    settings = settings_from({"exports": [given], "duty": {"all": "paving"}}, folder=folder)
    return read_exports(settings).tables


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    folder = tmp_path_factory.mktemp("plain")
    write(folder, [NAMES, *ROWS])
    lines = read(folder)["service_lines"]
    assert len(lines) == len(ROWS)
    return set(lines["line_id"])


BELOW = [
    (*(head if i == 0 else ("",) * 5), *part)
    for head, parts in TICKETS
    for i, part in enumerate(parts)
]


def test_a_header_given_once_and_blank_below(plain: set[str], tmp_path: Path):
    write(tmp_path, [NAMES, *BELOW])
    sheet = read_sheets(tmp_path / "a.csv", Export(path="a.csv"), "exports.1")[0]
    raw = lay_out(sheet, Export(path="a.csv"), "exports.1")
    assert raw.fills_down == ("Job", "Date", "Unit", "Cust", "Work")
    tables = read(tmp_path, fill_down=True)
    assert set(tables["service_lines"]["line_id"]) == plain
    assert tables["set_aside"].empty
    # J-2 says nothing of the work: it is not taken from the ticket above
    mine = tables["service_lines"].set_index("ticket").loc["J-2"]
    assert pd.isna(mine["work_done"])


def test_rows_that_stand_alone_are_not_filled_down(tmp_path: Path):
    # notes leave number, quantity and price blank together, but have their own date
    rows = [r if i % 2 else (*r[:5], "", r[6], "", "") for i, r in enumerate(ROWS)]
    write(tmp_path, [NAMES, *rows])
    sheet = read_sheets(tmp_path / "a.csv", Export(path="a.csv"), "exports.1")[0]
    assert lay_out(sheet, Export(path="a.csv"), "exports.1").fills_down == ()


def test_broken_rows_are_not_taken_for_lines_of_the_ticket_above(tmp_path: Path):
    # rows of another delimiter come as one cell; they are set aside, not dated from above
    text = text_of([NAMES, *ROWS]) + text_of(ROWS, sign="|")
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    sheet = read_sheets(tmp_path / "a.csv", Export(path="a.csv"), "exports.1")[0]
    assert lay_out(sheet, Export(path="a.csv"), "exports.1").fills_down == ()
    aside = read(tmp_path, fill_down=True)["set_aside"]
    assert len(aside) == len(ROWS)
    assert aside["needs_person"].all()


def test_a_printed_report(plain: set[str], tmp_path: Path):
    def wide(*cells: str) -> tuple[str, ...]:
        return (*cells, *[""] * (len(NAMES) - len(cells)))

    title = [wide("Werkstatt Süd, Aufträge"), wide("Gedruckt am 3.2.2024"), wide()]
    page = [NAMES, *BELOW[:3], wide("Seite 1 von 2")]
    rest = [wide("Werkstatt Süd, Aufträge"), NAMES, *BELOW[3:]]
    end = [wide("Zwischensumme", "", "", "", "", "", "", "", "99.00"), wide(),
           wide("Summe:", "", "", "", "", "", "", "", "123.00"), wide("Seite 2 von 2"),
           wide("--- Ende der Liste ---")]  # fmt: skip
    write(tmp_path, [*title, *page, *rest, *end], "cp1252")
    tables = read(tmp_path, fill_down=True)
    assert set(tables["service_lines"]["line_id"]) == plain
    reasons = tables["set_aside"]["reason"].astype(str).value_counts().to_dict()
    assert reasons == {
        "page header or footer": 4, "totals row": 2, "header repeated": 1, "blank row": 1,
    }  # fmt: skip
    assert not tables["set_aside"]["needs_person"].any()
    told = tables["findings"]["message"].str.cat(sep=" ")
    assert "4 page header or footer" in told


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        (("Total", "", "", "", "", "", "", "9", "120.00"), "totals row"),
        (("", "", "", "Grand total: 120.00 EUR", "", "", "", "", ""), "totals row"),
        (("Subtotal for Kerb Layers", "", "", "", "", "", "", "", "88"), "totals row"),
        (("", "", "", "", "", "", "Übertrag", "", "88"), "totals row"),
        (("Total général", "", "", "", "", "", "", "", "88"), "totals row"),
        (("Page 3", "", "", "", "", "", "", "", ""), "page header or footer"),
        (("Printed: 03/02/2024 10:11", "", "", "", "", "", "", "", "Page 2/3"),
         "page header or footer"),
        (("-----", "-----", "---", "", "", "", "", "", ""), "page header or footer"),
        (("(6 rows affected)", "", "", "", "", "", "", "", ""), "page header or footer"),
    ],
)  # fmt: skip
def test_rows_that_are_no_records(tmp_path: Path, cells: tuple[str, ...], reason: str):
    write(tmp_path, [NAMES, *ROWS, cells, *ROWS[:1]])
    aside = read(tmp_path)["set_aside"]
    assert aside["reason"].astype(str).tolist() == [reason]


@pytest.mark.parametrize(
    "cells",
    [
        ("J-9", "03.02.2024", "WC-1", "Total Paving", "", "", "", "", ""),
        ("J-9", "03.02.2024", "WC-1", "Kerb", "", "", "total of 3 plugs", "3", "4"),
        ("J-9", "03.02.2024", "", "", "total loss, scrapped", "", "", "", ""),
        ("J-9", "03.02.2024", "", "", "page 3 of the manual followed", "", "", "", ""),
    ],
)
def test_records_that_sound_like_totals_stay(tmp_path: Path, cells: tuple[str, ...]):
    write(tmp_path, [NAMES, *ROWS, cells])
    tables = read(tmp_path)
    assert tables["set_aside"].empty
    assert "J-9" in set(tables["service_lines"]["ticket"].astype(str))


def test_lines_of_ticket_text_below_are_not_page_lines(tmp_path: Path):
    note = ("", "", "", "", "", "", "page 3 of manual followed", "", "")
    write(tmp_path, [NAMES, *BELOW, note])
    lines = read(tmp_path, fill_down=True)["service_lines"]
    mine = lines[lines["description"] == note[6]]
    assert mine["ticket"].tolist() == ["J-4"]


@pytest.mark.parametrize("n_titles", [1, 4, 20])
def test_the_header_is_found_without_a_mapping(tmp_path: Path, n_titles: int):
    titles = [(f"Report no. {i}", "Kerb Layers" if i == 2 else "") for i in range(n_titles)]
    write(tmp_path, [*titles, NAMES, *ROWS])
    sheet = read_sheets(tmp_path / "a.csv", Export(path="a.csv"), "exports.1")[0]
    raw = lay_out(sheet, Export(path="a.csv"), "exports.1")
    assert raw.header_row == n_titles + 1
    assert tuple(raw.cells.columns) == NAMES
    assert len(raw.titles) == n_titles
    assert raw.has_header


def test_a_missing_header_is_said(tmp_path: Path):
    write(tmp_path, ROWS)
    sheet = read_sheets(tmp_path / "a.csv", Export(path="a.csv"), "exports.1")[0]
    raw = lay_out(sheet, Export(path="a.csv"), "exports.1")
    assert not raw.has_header
    assert raw.header_row == 0
    assert raw.cells.columns.tolist() == [f"column {i}" for i in range(1, 10)]
    assert len(raw.cells) == len(ROWS)


WIDE_SLOTS = [
    {ours: f"{name} {i}" for ours, name in list(COLUMNS.items())[5:]} for i in range(1, 5)
]


def wide_rows() -> list[tuple[str, ...]]:
    rows = [(*NAMES[:5], *[c for slot in WIDE_SLOTS for c in slot.values()])]
    for head, parts in TICKETS:
        cells = [c for part in parts for c in part]
        rows.append((*head, *cells, *[""] * (16 - len(cells))))
    return rows


def test_parts_in_wide_columns(plain: set[str], tmp_path: Path):
    write(tmp_path, wide_rows())
    columns = dict(list(COLUMNS.items())[:5])
    tables = read(tmp_path, columns=columns, parts=WIDE_SLOTS)
    assert set(tables["service_lines"]["line_id"]) == plain
    # the row of the file a line came from is the visit's
    assert sorted(tables["service_lines"]["source_row"]) == [2, 2, 3, 4, 4, 4, 5]


def test_wide_columns_of_one_name(plain: set[str], tmp_path: Path):
    rows = wide_rows()
    rows[0] = (*NAMES[:5], *NAMES[5:] * 4)
    write(tmp_path, rows)
    slots = [{o: f"{n} ({i})" for o, n in list(COLUMNS.items())[5:]} for i in range(1, 5)]
    columns = dict(list(COLUMNS.items())[:5])
    lines = read(tmp_path, columns=columns, parts=slots)["service_lines"]
    assert set(lines["line_id"]) == plain


@pytest.mark.parametrize(
    ("separator", "form"),
    [
        (";", "{2} x {0} {1} @ {3}"),
        ("|", "{0} {1} ({2}) @ {3}"),
        (" / ", "{0} {1} x{2} @ {3}"),
        ("\n", "{0}, {1} x {2} @ {3}"),
    ],
)
def test_parts_in_one_cell(tmp_path: Path, separator: str, form: str):
    tickets = TICKETS[:2]
    rows = [(*NAMES[:5], "Used")]
    for head, parts in tickets:
        rows.append((*head, separator.join(form.format(*p) for p in parts)))
    write(tmp_path, rows)
    lines = read(
        tmp_path, columns=dict(list(COLUMNS.items())[:5]),
        parts_cell={"column": "Used", "separator": separator},
    )["service_lines"]  # fmt: skip
    columns = ["part_number", "description", "quantity", "unit_price"]
    found = [(a, b, float(c), float(d)) for a, b, c, d in lines[columns].to_numpy().tolist()]
    expected = [(a, b, float(c), float(d)) for _, parts in tickets for a, b, c, d in parts]
    assert sorted(found) == sorted(expected)


def test_a_pattern_for_a_cell_of_its_own_form(tmp_path: Path):
    write(tmp_path, [(*NAMES[:5], "Used"), (*TICKETS[0][0], "<IC-1>1<SP-7>2")])
    given = {
        "column": "Used",
        "separator": "<",
        "pattern": r"(?P<part_number>[^>]+)>(?P<quantity>\d+)",
    }
    columns = dict(list(COLUMNS.items())[:5])
    lines = read(tmp_path, columns=columns, parts_cell=given)["service_lines"]
    found = lines.set_index("part_number")["quantity"].to_dict()
    assert found == {"IC-1": 1.0, "SP-7": 2.0}
    for pattern in ("(", "(?P<number>x)", "x"):
        with pytest.raises(SettingsError, match="pattern"):
            read(tmp_path, columns=columns, parts_cell={**given, "pattern": pattern})


def test_what_the_settings_name_must_be_there(tmp_path: Path):
    write(tmp_path, [NAMES, *ROWS])
    with pytest.raises(ColumnMissingError, match="Part 1"):
        read(tmp_path, parts=[{"part_number": "Part 1"}])
    with pytest.raises(ColumnMissingError, match="Used"):
        read(tmp_path, parts_cell={"column": "Used"})
    with pytest.raises(ExportError, match="header_row = 90"):
        read(tmp_path, header_row=90)
    join = {"path": "a.csv", "left": "Job", "right": "Order"}
    with pytest.raises(ColumnMissingError, match="Order"):
        read(tmp_path, join=[join])
    with pytest.raises(ExportError, match="Not one"):
        read(tmp_path, join=[{**join, "right": "Unit"}])
    with pytest.raises(ExportError, match="several unlike rows"):
        read(tmp_path, join=[{**join, "left": "Unit", "right": "Unit"}])


def test_tickets_without_lines_and_lines_without_tickets_are_told(tmp_path: Path):
    heads = [NAMES[:5], *[head for head, _ in TICKETS]]
    (tmp_path / "heads.csv").write_text(text_of(heads), encoding="utf-8")
    lines = [(head[0], *p) for head, parts in TICKETS[:3] for p in parts]
    (tmp_path / "a.csv").write_text(
        text_of([("Job", *NAMES[5:]), *lines, ("J-77", "X-1", "unknown", "1", "1")]),
        encoding="utf-8",
    )
    tables = read(tmp_path, join=[{"path": "heads.csv", "left": "Job", "right": "Job"}])
    used = tables["service_lines"]
    assert set(used["ticket"].astype(str)) == {"J-1", "J-2", "J-3", "J-4"}
    assert used.set_index("ticket").loc["J-4", "work_done"] == "checked, no fault"
    told = tables["findings"]["message"].str.cat(sep=" ")
    assert "1 of 7 rows of a.csv have a Job that is not in heads.csv (first in row 8)" in told
    assert "1 row of heads.csv has no rows in a.csv; kept as tickets without lines" in told
    assert tables["set_aside"]["source_row"].tolist() == [8]
