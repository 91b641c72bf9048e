"""The second form of the export holds the same lines: intake reads the same tables from both."""

import pandas as pd
import pytest

from dutylife.intake import read_exports
from dutylife.practice import make_practice
from dutylife.practice.shapes import SHAPES
from dutylife.settings import read_settings


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    return {
        shape: make_practice(
            tmp_path_factory.mktemp(shape), n_units=40, n_years=3, seed=8, shape=shape
        )
        for shape in SHAPES
    }


@pytest.fixture(scope="module")
def read(both):
    return {
        shape: read_exports(read_settings(paths["settings"])).tables
        for shape, paths in both.items()
    }


def test_the_second_form_is_another_form(both):
    lines = both["semicolon"]["lines"].read_text(encoding="utf-8").splitlines()
    plain = both["lines"]["lines"].read_text(encoding="utf-8").splitlines()
    assert not set(lines[0].split(";")) & set(plain[0].split(","))
    assert len(lines) == len(plain)
    cells = pd.DataFrame([row.split(";")[:1] + row.split(";")[-1:] for row in lines[1:]])
    assert cells[0].str.fullmatch(r"\d\d\.\d\d\.\d{4}").all()
    assert cells[1].str.fullmatch(r"(-?\d+,\d\d)?").all()
    hours = pd.read_csv(both["semicolon"]["lines"], sep=";", dtype=str)["Hours run"].dropna()
    assert hours.str.fullmatch(r"\d\.\d{3}").sum() > 20
    assert not {"Sort", "part", "labour"} & set(lines[0].split(";"))


@pytest.mark.parametrize(
    ("plain", "written"),
    [
        ("", ""), ("7", "7"), ("12.50", "12,50"), ("-1", "-1"), ("1234.5", "1.234,5"),
        ("1234567.00", "1.234.567,00"), ("999.99", "999,99"), ("0123", "0123"),
    ],
)  # fmt: skip
def test_figures_with_decimal_comma_and_thousands_dots(plain, written):
    assert SHAPES["semicolon"].number(plain) == written
    assert SHAPES["lines"].number(plain) == plain


def test_intake_reads_the_same_service_lines_from_both(read):
    one, two = (read[shape]["service_lines"].drop(columns=["source_file"]) for shape in SHAPES)
    assert len(one) > 500
    pd.testing.assert_frame_equal(one, two)
    assert {"part", "labour", "fee", "note", "credit"} == set(two["line_kind"].astype(str))


@pytest.mark.parametrize("table", ["units", "unit_spans", "shelf"])
def test_and_the_same_other_tables(read, table):
    one, two = (read[shape][table] for shape in SHAPES)
    assert len(one) > 10
    pd.testing.assert_frame_equal(one, two)


def test_nothing_is_set_aside_of_either(read):
    assert all(tables["set_aside"].empty for tables in read.values())


def test_reissued_files_are_read_as_one(tmp_path):
    """Two files that repeat each other give the lines of the one whole file."""
    lines = []
    for strength in (0.0, 0.6, 1.0):
        paths = make_practice(
            tmp_path / f"{strength:g}", n_units=20, n_years=2, seed=9,
            difficulties={"reissued_files": strength},
        )  # fmt: skip
        table = read_exports(read_settings(paths["settings"])).tables["service_lines"]
        lines.append(set(table["line_id"]))
    assert lines[0] == lines[1] == lines[2]
