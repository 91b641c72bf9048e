from pathlib import Path

import pytest
import xlsxwriter

from dutylife.errors import ColumnMissingError, ExportError, SettingsError
from dutylife.intake import account, read_exports
from dutylife.settings import settings_from

HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each\n"
ROW = "1,2024-01-05,WC-1,Kerb,IC-1,plug cap,1,9.50\n"


def test_a_quote_that_is_an_inch_mark_swallows_no_rows(intake):
    text = HEADER + '1,2024-01-05,A,K,P,"5 inch hose,1,2\n2,2024-01-06,A,K,P,6" hose,1,2\n' + ROW
    read = intake(text)
    assert len(read.tables["service_lines"]) == 3
    assert sorted(read.tables["service_lines"]["source_row"]) == [2, 3, 4]


def test_cells_over_several_lines_keep_their_row_numbers(intake):
    text = HEADER + '1,2024-01-05,A,K,P,"cap\nrenewed",1,2\n' + ROW
    read = intake(text)
    lines = read.tables["service_lines"].sort_values("source_row")
    assert lines["source_row"].tolist() == [2, 4]
    assert lines["description"].astype(str).tolist() == ["cap renewed", "plug cap"]


@pytest.mark.parametrize(
    ("data", "export", "says"),
    [
        (b"", {}, "empty"),
        (HEADER.encode(), {}, "no rows"),
        (b"PK\x03\x04rest", {}, "workbook"),
        (b"just words\nand more\n", {}, "not a table"),
        ((HEADER + ROW).replace(",", ";").encode(), {"delimiter": ","}, 'delimiter = ";"'),
        (HEADER.encode() + b"1,2024-01-05,A,K,P,caf\xe9,1,2\n", {"encoding": "utf-8"}, "encoding"),
        (HEADER.encode() + b'1,2024-01-05,A,K,P,"open,1,2\n2,x\n', {}, "never closed"),
        ((HEADER + ROW).encode(), {"path": "no.csv"}, "does not exist"),
        ((HEADER + ROW).encode(), {"encoding": "cp9999"}, "encoding"),
    ],
)
def test_a_file_that_is_no_table_is_refused_with_a_mend(intake, data, export, says):
    with pytest.raises((ExportError, SettingsError)) as caught:
        intake(data, export=export)
    assert says in str(caught.value)
    assert caught.value.where
    assert caught.value.mend


def test_unreadable_bytes_name_the_row(intake):
    with pytest.raises(ExportError, match=r"lines\.csv, row 3"):
        intake(
            (HEADER + ROW).encode() + b"1,2024-01-05,A,K,P,caf\xe9,1,2\n",
            export={"encoding": "utf-8"},
        )


def test_stated_encoding_reads_them(intake):
    data = HEADER.encode() + b"1,2024-01-05,A,K,P,caf\xe9,1,2\n"
    lines = intake(data, export={"encoding": "cp1252"}).tables["service_lines"]
    assert lines["description"].astype(str).tolist() == ["café"]


def test_absent_columns_are_all_named_with_the_nearest(intake):
    with pytest.raises(ColumnMissingError) as caught:
        intake(
            HEADER + ROW,
            export={"columns": {"service_date": "Dates", "unit_id": "Unti", "customer": "Cust"}},
        )
    text = str(caught.value)
    assert "'Dates'" in text
    assert "'Unti'" in text
    assert "did you mean 'Date'?" in text
    assert "did you mean 'Unit'?" in text
    assert "Job, Date, Unit" in text


@pytest.mark.parametrize("columns", [{"unit_id": "Unit"}, {"service_date": "Date"}])
def test_the_needed_columns_are_asked_for(intake, columns):
    with pytest.raises(SettingsError, match="service_date|unit_id"):
        intake(HEADER + ROW, export={"columns": columns})


def test_a_workbook_reads_like_a_csv(tmp_path: Path):
    book = xlsxwriter.Workbook(tmp_path / "lines.xlsx", {"default_date_format": "yyyy-mm-dd"})
    page = book.add_worksheet("export")
    import datetime as dt

    for column, (name, cell) in enumerate(
        {"Date": dt.datetime(2024, 1, 5), "Unit": 12.0, "Text": "cap", "Each": 9.5}.items()
    ):
        page.write(1, column, name)
        page.write(2, column, cell)
    book.close()
    settings = settings_from(
        {
            "exports": [
                {
                    "path": "lines.xlsx", "header_row": 2, "decimal": ",", "date_order": "dmy",
                    "columns": {
                        "service_date": "Date", "unit_id": "Unit", "description": "Text",
                        "unit_price": "Each",
                    },
                }
            ]
        },
        folder=tmp_path,
    )  # fmt: skip
    line = read_exports(settings).tables["service_lines"].iloc[0]
    assert (line["unit_id"], line["unit_price"], line["source_row"]) == ("12", 9.5, 3)
    assert f"{line['service_date']:%Y-%m-%d}" == "2024-01-05"


def test_the_edited_order_list_is_a_parts_file(intake, tmp_path: Path):
    book = xlsxwriter.Workbook(tmp_path / "order-list.xlsx")
    page = book.add_worksheet("order list")
    names = ["part_number", "description", "supplier", "on_hand", "order_now", "counted"]
    for row, cells in enumerate([names, ["IC-1", "cap", "first", 7, 2, 3], ["SP-1", "", "", 4, 0]]):
        page.write_row(row, 0, cells)
    book.add_worksheet("notes").write(0, 0, "not this one")
    book.close()
    read = intake(HEADER + ROW, exports=[{"path": "order-list.xlsx", "kind": "parts"}])
    shelf = read.tables["shelf"].set_index("part_number")
    assert shelf["on_hand"].to_dict() == {"IC-1": 3.0, "SP-1": 4.0}


@pytest.mark.shared
def test_decimal_commas_and_semicolons_of_a_city_export(shared: Path):
    folder = shared / "data" / "city_fleet_orders"
    settings = settings_from(
        {
            "exports": [
                {
                    "path": "fact_work_orders_sample.csv", "delimiter": ";", "decimal": ",",
                    "columns": {
                        "ticket": "work_order_id", "service_date": "date_id",
                        "unit_id": "asset_id", "unit_price": "labor_hours",
                    },
                }
            ]
        },
        folder=folder,
    )  # fmt: skip
    read = read_exports(settings)
    lines = read.tables["service_lines"]
    # counts of the data set's own README
    assert account(read)["n_rows"].tolist() == [16984]
    assert len(lines) == 16984
    assert lines["unit_id"].nunique() == 418
    assert lines["unit_price"].notna().all()
    assert "00991" in set(lines["unit_id"])
