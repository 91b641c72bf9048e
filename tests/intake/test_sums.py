"""A row that sums up those above is no record, whatever a shop calls it; a record stays one."""

from pathlib import Path

import pandas as pd
import pytest

from dutylife.draft import draft_settings
from dutylife.intake import read_exports
from dutylife.intake.raw import read_raw
from dutylife.settings import Export, settings_from

HEAD = "Job;Date;Customer;Machine;Work;Part;Qty;Each;Amount"
PRICES = [12.40, 7.35, 19.99, 4.10, 250.00, 33.33, 8.05, 61.20]


def rows() -> list[str]:
    return [
        f"J{n};{n + 1:02d}.02.2024;Kerb Crew {n % 3};RM-{n % 4};plug renewed;P-{n % 5};1;"
        f"{p:.2f};{p:.2f}"
        for n, p in enumerate(PRICES, start=12)
    ]


def money(value: float, *, comma: bool) -> str:
    text = f"{value:,.2f}"
    return text.translate(str.maketrans(",.", ".,")) if comma else text.replace(",", "")


def read(folder: Path, lines: list[str], *, comma: bool = False) -> dict[str, pd.DataFrame]:
    text = "\n".join([HEAD, *lines])
    (folder / "book.csv").write_text(text.replace(".00", ",00") if comma else text)
    columns = {"ticket": "Job", "service_date": "Date", "customer": "Customer",
               "unit_id": "Machine", "work_done": "Work", "part_number": "Part",
               "quantity": "Qty", "unit_price": "Each"}  # fmt: skip
    export = {"path": "book.csv", "date_order": "dmy", "columns": columns}
    return dict(read_exports(
        settings_from({"fleet": {"name": "x"}, "duty": {"all": "x"}, "exports": [export]},
                      folder=folder, source="s.toml")
    ).tables)  # fmt: skip


WHOLE = sum(PRICES)


@pytest.mark.parametrize("word", [
    "Total lines", "Summe", "Gesamt", "Totaux", "Totales", "Totaal", "alles zusammen", "so weit",
    "makes altogether", "Kassensturz", "Σ", "",
])  # fmt: skip
@pytest.mark.parametrize("column", [0, 2, 4])
def test_a_sum_at_the_end_is_set_aside_and_needs_nobody(tmp_path: Path, word: str, column: int):
    cells = [""] * 9
    cells[column], cells[8] = word, f"{WHOLE:.2f}"
    tables = read(tmp_path, [*rows(), ";".join(cells)])
    aside = tables["set_aside"]
    assert aside["reason"].astype(str).tolist() == ["totals row"]
    assert not aside["needs_person"].any()
    assert f"{WHOLE:.2f}" in aside["detail"].iloc[0]
    assert len(tables["service_lines"]) == len(PRICES)
    assert word not in set(tables["service_lines"]["customer"].astype(str)) - {""}


def test_sums_of_months_in_own_words_and_the_number_of_lines(tmp_path: Path):
    first, second = rows()[:4], rows()[4:]
    lines = [
        *first, f";;February so far;;;;;;{sum(PRICES[:4]):.2f}",
        *second, f";;the rest;;;;;;{sum(PRICES[4:]):.2f}",
        f";;both;;;;;;{WHOLE:.2f}", f";;entries;;;;;;{len(PRICES)}",
    ]  # fmt: skip
    tables = read(tmp_path, lines)
    assert tables["set_aside"]["reason"].astype(str).tolist() == ["totals row"] * 4
    assert tables["set_aside"]["source_row"].tolist() == [6, 11, 12, 13]


@pytest.mark.parametrize("cells", [
    ["", "", "counter", "", "plug", "P-1", "1", "9.40", "9.40"],
    ["J99", "28.02.2024", "Kerb Crew 1", "", "", "", "", "", f"{WHOLE:.2f}"],
    ["", "", "Kerb Crew 1", "", "", "", "", "", "9.40"],
])  # fmt: skip
def test_a_row_that_sums_nothing_is_not_taken_for_a_sum(tmp_path: Path, cells: list[str]):
    tables = read(tmp_path, [*rows(), ";".join(cells)])
    assert "totals row" not in set(tables["set_aside"]["reason"].astype(str))


def test_a_line_amid_others_is_no_sum_since_its_quantity_is(tmp_path: Path):
    # 1 + 1 + 1 pieces above, and the next line bills 3
    lines = [*rows()[:3], ";;;;oil;P-9;3;;", *rows()[3:]]
    tables = read(tmp_path, lines)
    assert "totals row" not in set(tables["set_aside"]["reason"].astype(str))


def test_figures_with_a_comma_sum_up_as_well(tmp_path: Path):
    lines = [r.replace(".", ",", 0) for r in rows()]
    lines = [";".join([*r.split(";")[:7], *(money(float(v), comma=True) for v in r.split(";")[7:])])
             for r in lines]  # fmt: skip
    end = f";;alles zusammen;;;;;;{money(WHOLE * 1, comma=True)}"
    tables = read(tmp_path, [*lines, end])
    assert tables["set_aside"]["reason"].astype(str).tolist() == ["totals row"]


def test_a_sum_makes_no_customer_whose_duty_is_asked(tmp_path: Path):
    lines = [*rows(), *rows(), *rows(), f";;alles zusammen;;;;;;{3 * WHOLE:.2f}",
             ";;printed by the office;;;;;;"]  # fmt: skip
    (tmp_path / "book.csv").write_text("\n".join([HEAD, *lines]))
    draft = draft_settings([tmp_path / "book.csv"], tmp_path)
    assert "Kerb Crew 1" in draft.duty_csv
    assert "zusammen" not in draft.duty_csv
    assert "office" not in draft.duty_csv


def test_a_short_table_whose_figures_happen_to_add_up_loses_no_row(tmp_path: Path):
    path = tmp_path / "parts.csv"
    path.write_text("part,name,on hand\nIC-1,,1\nIC-2,,2\nIC-3,,3\n", encoding="utf-8")
    raw = read_raw(path, Export(path="parts.csv", kind="parts"), "settings: exports.1")
    assert len(raw.cells) == 3
