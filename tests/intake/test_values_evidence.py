"""What a whole column tells of its dates and figures, and what it can't tell."""

import pandas as pd
import pytest

from dutylife.errors import SettingsError
from dutylife.intake.values import date_evidence, number_evidence, read_dates, read_numbers
from dutylife.intake.values.damage import find_damage
from dutylife.settings import Export


def texts(*cells: str) -> pd.Series:
    return pd.Series(list(cells), dtype="object")


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["01/02/2024", "13/02/2024"], "dmy"),
        (["01/02/2024", "02/13/2024"], "mdy"),
        (["01.02.24", "31.12.99"], "dmy"),
        (["01.02.24", "28.02.24"], ""),  # 2028-02-24 is a date too
        (["2024-02-01", ""], "ymd"),
        (["5 Mar 2024", "7 Aug 2024"], "ymd"),  # nothing depends on it
        (["01/02/2024", "03/04/2024"], ""),  # both readings are dates
        (["13/02/2024", "02/13/2024"], ""),  # both orders are there
        (["00/00/0000", "n/a", ""], "ymd"),
    ],
)
def test_the_order_is_decided_by_the_column_or_not_at_all(cells: list[str], order: str):
    assert date_evidence([texts(*cells)]).order == order


def test_a_date_that_reads_the_same_is_no_question():
    found = date_evidence([texts("05/05/2024", "07/07/2024")])
    read = read_dates(texts("05/05/2024"), found.order)
    assert read.dt.strftime("%F").tolist() == ["2024-05-05"]


def test_one_column_of_a_file_decides_for_another():
    assert date_evidence([texts("01/02/2024"), texts("25/12/2020")]).order == "dmy"


def test_one_slip_does_not_overrule_hundreds_of_dates():
    days = [f"{d:02d}/{m:02d}/2024" for m in range(1, 13) for d in range(1, 29)]
    assert date_evidence([texts(*days, "05/31/2024")]).order == "dmy"


def test_two_digit_years_are_the_few_figures_close_together():
    days = [f"{d:02d}.{m:02d}.{y}" for y in (23, 24) for m in range(1, 13) for d in (1, 9, 17, 28)]
    assert date_evidence([texts(*days)]).order == "dmy"
    turned = [".".join(reversed(d.split("."))) for d in days]
    assert date_evidence([texts(*turned)]).order == "ymd"


@pytest.mark.parametrize(
    ("cell", "day"),
    [
        ("5. März 2024", "2024-03-05"),
        ("1er août 2024", "2024-08-01"),
        ("5 de marzo de 2024", "2024-03-05"),
        ("5 mrt. 2024", "2024-03-05"),
        ("March 5th, 2024", "2024-03-05"),
        ("Mar 5, 2024", "2024-03-05"),
        ("Di. 05.03.2024", "2024-03-05"),
        ("05-MAR-24", "2024-03-05"),
        ("45356", "2024-03-05"),  # serial day of a spreadsheet
        ("45356.25", "2024-03-05"),
        ("1709596800", "2024-03-05"),  # seconds since 1970
        ("05/03/2024 14:20:00", "2024-03-05"),
        ("marble 5 2024", None),
    ],
)
def test_months_in_words_serial_days_and_times(cell: str, day: str | None):
    read = read_dates(texts(cell), "dmy").iloc[0]
    assert (None if pd.isna(read) else f"{read:%F}") == day


def test_a_five_digit_figure_among_dates_is_no_date():
    read = read_dates(texts("05/03/2024", "06/03/2024", "45356"), "dmy")
    assert read.isna().tolist() == [False, False, True]


@pytest.mark.parametrize(
    ("cells", "decimal", "thousands"),
    [
        (["1.234,50", "3"], ",", "."),
        (["1,234.50", "3"], ".", ","),
        (["12.5", "3"], ".", ""),
        (["1'234.50"], ".", "'"),
        (["1 234,5"], ",", ""),
        (["1.234.567", "2"], ",", "."),
        (["0,125"], ",", ""),
        (["(12,50)", "EUR 3,20-"], ",", ""),
        (["1", "20"], ".", ""),  # nothing depends on it
        (["1.234", "2"], "", ""),  # thousands or three decimals
        (["12,5", "12.5"], "", ""),  # both marks are there
    ],
)
def test_signs_are_decided_by_the_column_or_not_at_all(cells, decimal, thousands):
    found = number_evidence([texts(*cells)])
    assert (found.decimal, found.thousands) == (decimal, thousands)


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("12.50 CR", -12.5), ("12.50 -", -12.5), ("3 pieces", 3.0), ("1.5 hours", 1.5),
        ("12.50 crowns", 12.5), ("1E+05", 1e5), ("2 pcs", 2.0),
    ],
)  # fmt: skip
def test_units_and_credits_are_read(cell: str, value: float):
    assert read_numbers(texts(cell), Export(path="x")).iloc[0] == value


def test_a_part_number_is_kept_as_typed(intake):
    rows = "".join(f"J1,2024-01-{d},U1,C,{p},cap,1,9.50\n" for d, p in ((5, "00123"), (6, "1E+05")))
    lines = intake("Job,Date,Unit,Cust,PN,Text,Qty,Each\n" + rows).tables["service_lines"]
    assert sorted(lines["part_number"].astype(str)) == ["00123", "1E+05"]


def test_run_refuses_to_guess_and_names_the_key(intake):
    text = "Job,Date,Unit,Cust,PN,Text,Qty,Each\nJ1,03/04/2024,U1,C,P,cap,1,9.50\n"
    with pytest.raises(SettingsError) as caught:
        intake(text)
    assert "exports.1.date_order" in str(caught.value)
    assert "03/04/2024" in str(caught.value)
    text = text.replace("03/04/2024", "2024-03-04").replace("9.50", "1.234")
    with pytest.raises(SettingsError) as caught:
        intake(text)
    assert "exports.1.decimal" in str(caught.value)


def test_a_short_month_is_read_as_its_sister_files_are(intake):
    head = "Job,Date,Unit,Cust,PN,Text,Qty,Each\n"
    read = intake(
        head + "J1,03/04/2024,U1,C,P,cap,1,9.50\n",
        export={"path": "2*.csv"},
        files={
            "2a.csv": head + "J1,03/04/2024,U1,C,P,cap,1,9.50\n",
            "2b.csv": head + "J2,25/04/2024,U1,C,P,cap,1,9.50\n",
        },
    )
    days = read.tables["service_lines"]["service_date"].dt.strftime("%F")
    assert sorted(days) == ["2024-04-03", "2024-04-25"]


def test_totals_unlike_quantity_times_price_are_told():
    n = 60
    frame = pd.DataFrame(
        {"Qty": ["2"] * n, "Price": [f"{i}.50" for i in range(n)],
         "Total": [f"{2 * i + 1}.00" for i in range(n - 6)] + ["7.77"] * 6}
    )  # fmt: skip
    (found,) = find_damage(frame, Export(path="x"))
    assert (found.column, found.n_rows, found.first_row) == ("Total", 6, n - 6)
    clean = frame.assign(Total=[f"{2 * i + 1}.00" for i in range(n)])
    assert find_damage(clean, Export(path="x")) == []


def test_years_with_a_comma_are_told():
    frame = pd.DataFrame({"Year": ["2,023", "2,02", "2,01"] * 5, "Qty": ["1,5", "2,5", "3"] * 5})
    (found,) = find_damage(frame, Export(path="x", decimal=","))
    assert found.column == "Year"
    assert "2,01" in found.message
