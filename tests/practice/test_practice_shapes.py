"""Every shape is written alike each time; the two with settings give intake the same tables."""

import pandas as pd
import pytest

from dutylife.intake import read_exports
from dutylife.intake.history.accounts import NETTED
from dutylife.practice import make_practice
from dutylife.practice.shapes import SHAPES
from dutylife.settings import read_settings

MAPPED = [name for name, shape in SHAPES.items() if shape.form is not None]


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    return {
        shape: make_practice(
            tmp_path_factory.mktemp(shape), n_units=40, n_years=3, seed=8, shape=shape
        )
        for shape in MAPPED
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
    assert SHAPES["semicolon"].form.number(plain) == written
    assert SHAPES["lines"].form.number(plain) == plain


def test_intake_reads_the_same_service_lines_from_both(read):
    one, two = (read[shape]["service_lines"].drop(columns=["source_file"]) for shape in MAPPED)
    assert len(one) > 500
    pd.testing.assert_frame_equal(one, two)
    # what was sold and brought back is netted: set aside with its credit
    assert {"part", "labour", "fee", "note"} <= set(two["line_kind"].astype(str))


@pytest.mark.parametrize("table", ["units", "unit_spans", "shelf"])
def test_and_the_same_other_tables(read, table):
    one, two = (read[shape][table] for shape in MAPPED)
    assert len(one) > 10
    pd.testing.assert_frame_equal(one, two)


def test_only_what_was_sold_and_brought_back_is_set_aside_of_either(read):
    one, two = (tables["set_aside"]["reason"].astype(str).tolist() for tables in read.values())
    assert one == two
    assert set(one) <= set(NETTED)


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


def test_there_are_shapes_and_each_says_what_it_is():
    assert MAPPED == ["lines", "semicolon"]
    assert len(SHAPES) >= 13
    assert all(shape.name == name and shape.about for name, shape in SHAPES.items())


@pytest.mark.parametrize("shape", [name for name in SHAPES if name not in MAPPED])
def test_a_shape_is_the_same_bytes_each_time_and_has_no_settings(shape, tmp_path):
    written = []
    for n in range(2):
        paths = make_practice(tmp_path / str(n), n_units=4, n_years=1, seed=3, shape=shape)
        assert "settings" not in paths
        written.append({name: path.read_bytes() for name, path in paths.items()})
    assert written[0] == written[1]


@pytest.mark.parametrize("shape", ["month-first", "nested-json"])
def test_duties_can_be_left_to_be_confirmed(shape, tmp_path):
    stated, left = (
        make_practice(
            tmp_path / str(says), n_units=4, n_years=1, seed=3, shape=shape, says_duty=says
        )
        for says in (True, False)
    )
    name = "equipment" if shape == "month-first" else "machines"
    assert "duty" in stated[name].read_text(encoding="utf-8").casefold()
    assert "duty" not in left[name].read_text(encoding="utf-8").casefold()


def test_the_settings_file_leaves_them_out_too(tmp_path):
    paths = make_practice(tmp_path, n_units=4, n_years=1, seed=3, says_duty=False)
    duty = read_settings(paths["settings"]).duty
    assert (duty.by_customer, duty.by_unit, duty.severe) == ({}, {}, [])


def test_a_month_issued_again_corrects_one_line(tmp_path):
    paths = make_practice(tmp_path, n_units=15, n_years=1, seed=3, shape="monthly")
    again = [name for name in paths if name.endswith("corrected")]
    assert len(again) == 1
    first, second = (
        set(paths[name].read_text(encoding="utf-8").splitlines())
        for name in (again[0].removesuffix(" corrected"), again[0])
    )
    assert len(first - second) == len(second - first) == 1
