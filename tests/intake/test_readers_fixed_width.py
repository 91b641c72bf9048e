"""Text in columns of fixed width: each form of print gives its cells, or asks, or is refused."""

from pathlib import Path

import pytest

from dutylife.errors import ExportError, SettingsError
from dutylife.intake.layout import RawTable, lay_out
from dutylife.intake.readers import read_sheets
from dutylife.settings import Export

PLAIN = """\
Repairs of the north yard                             Page 1

Job    Date        Machine   Work                 Qty    Each
J1     2024-01-05  TP-1      cap renewed            1    9.50
J2     2024-01-16  TP-1      oil filter             2   12.00
J3     2024-02-28  TP-22     rope, new              1    4.25
J4     2024-03-01            counter sale          10    0.40
"""


def read(folder: Path, text: str, **export: object) -> RawTable:
    path = folder / "jobs.txt"
    path.write_bytes(text.encode("cp1252"))
    given = Export.model_validate({"path": path.name, **export})
    return lay_out(read_sheets(path, given, "exports.1")[0], given, "exports.1")


def cells(raw: RawTable) -> list[list[str]]:
    return raw.cells[raw.usable].astype("object").to_numpy().tolist()


def test_a_print_with_gaps(tmp_path: Path):
    raw = read(tmp_path, PLAIN)
    assert list(raw.cells.columns) == ["Job", "Date", "Machine", "Work", "Qty", "Each"]
    assert cells(raw) == [
        ["J1", "2024-01-05", "TP-1", "cap renewed", "1", "9.50"],
        ["J2", "2024-01-16", "TP-1", "oil filter", "2", "12.00"],
        ["J3", "2024-02-28", "TP-22", "rope, new", "1", "4.25"],
        ["J4", "2024-03-01", "", "counter sale", "10", "0.40"],
    ]
    assert raw.source_row[raw.usable].tolist() == [4, 5, 6, 7]
    assert raw.titles == ("Repairs of the north yard Page 1",)


def test_a_text_goes_on_below_and_over_a_page(tmp_path: Path):
    text = PLAIN + (
        "J5     2024-03-02  TP-1      pump stripped,         1   80.00\n"
        "                             seal renewed, run\n"
        "\fRepairs of the north yard                             Page 2\n\n"
        "Job    Date        Machine   Work                 Qty    Each\n"
        "                             up ok\n"
        "J6     2024-03-05  TP-1      plug                   1    5.00\n"
        "\n                                           Total 100.00\n"
    )
    raw = read(tmp_path, text)
    assert cells(raw)[4:] == [
        ["J5", "2024-03-02", "TP-1", "pump stripped, seal renewed, run up ok", "1", "80.00"],
        ["J6", "2024-03-05", "TP-1", "plug", "1", "5.00"],
    ]
    assert sum("2 lines went on" in n.message for n in raw.notes) == 1


def test_texts_cut_at_the_edge_of_their_column_lose_no_letter(tmp_path: Path):
    rows = "".join(
        f"J{n}   2024-01-{n:02d}  renewed c  9.5{n}\n                 ap, ok\n" for n in range(1, 8)
    )
    raw = read(tmp_path, "Job  Date        Work       Each\n" + rows)
    assert {r[2] for r in cells(raw)} == {"renewed cap, ok"}


def test_dates_in_words_are_one_column(tmp_path: Path):
    words = ["pump", "cap"] * 5
    rows = "".join(f"J{n} {n:02d} Jan 24  {words[n]:4} {n}.50\n" for n in range(1, 10))
    raw = read(tmp_path, "No Date       Work Each\n" + rows)
    assert list(raw.cells.columns) == ["No", "Date", "Work", "Each"]
    assert cells(raw)[0] == ["J1", "01 Jan 24", "cap", "1.50"]


def test_two_cuts_that_explain_the_file_are_asked_about(tmp_path: Path):
    rows = "".join(f"J{n}  SP 0{n}1  2024-01-0{n}  pump {n}.50\n" for n in range(1, 10))
    text = "Job Pa no   Date        Work Each\n" + rows
    raw = read(tmp_path, text)
    asked = [n for n in raw.notes if n.kind == "ask"]
    assert len(asked) == 1
    assert "one column or two" in asked[0].message
    assert "column_starts" in asked[0].mend
    stated = read(tmp_path, text, column_starts=[1, 5, 8, 13, 25, 30])
    assert cells(stated)[0] == ["J1", "SP", "011", "2024-01-01", "pump", "1.50"]
    assert not [n for n in stated.notes if n.kind == "ask"]


def test_columns_without_a_gap_are_refused_with_the_row_and_the_cure(tmp_path: Path):
    rows = "".join(f"J{n}  2024-01-0{n}  1{n}00009{n}.50\n" for n in range(1, 10))
    text = "Job Date        Qty  Each\n" + rows
    with pytest.raises(ExportError, match="No gap parts the columns 'Qty' and 'Each'") as caught:
        read(tmp_path, text)
    assert "row 1" in caught.value.where
    assert "column_starts" in caught.value.mend
    stated = read(tmp_path, text, column_starts=[1, 5, 17, 21])
    assert cells(stated)[0] == ["J1", "2024-01-01", "1100", "0091.50"]


def test_starts_out_of_order_are_refused(tmp_path: Path):
    with pytest.raises(SettingsError, match="one after the other"):
        read(tmp_path, PLAIN, column_starts=[1, 9, 5])


def test_a_line_that_leaves_its_columns_is_set_aside_and_told(tmp_path: Path):
    many = "".join(
        f"J{n:<5} 2024-01-05  TP-1      cap renewed            1    9.50\n" for n in range(10, 200)
    )
    odd = "J9     2024-01-05  TP-1      a text far too long for it 1    9.50\n"
    raw = read(tmp_path, PLAIN + many + odd)
    assert len(cells(raw)) == 4 + 190
    assert raw.fault.iloc[-1] == "text across the columns"
    assert [n.row for n in raw.notes if n.kind == "ask"] == [198]


def test_a_delimited_file_with_padded_cells_stays_delimited(tmp_path: Path):
    raw = read(
        tmp_path,
        "Job  ;Date      ;Work        ;Each\nJ1   ;2024-01-05;cap renewed ;  9,50\n"
        "J2   ;2024-01-06;oil         ; 12,00\nJ3   ;2024-01-07;rope        ;  1,00\n",
    )
    assert raw.delimiter == ";"
    assert cells(raw)[1] == ["J2", "2024-01-06", "oil", "12,00"]
