"""Each malformed file is read with its findings, or refused with its row and the cure."""

import csv
import re
from pathlib import Path

import pytest

from dutylife.errors import DutylifeError
from dutylife.intake import account, read_exports
from dutylife.settings import settings_from

HERE = Path(__file__).parent / "malformed"
COLUMNS = {
    "ticket": "Job", "service_date": "Date", "unit_id": "Unit", "customer": "Cust",
    "part_number": "PN", "description": "Text", "quantity": "Qty", "unit_price": "Each",
}  # fmt: skip
# made by hand beside the files: what each must give, from the promise and not from the code
with (HERE / "expected.csv").open(encoding="utf-8", newline="") as stream:
    EXPECTED = list(csv.DictReader(stream))


def read(name: str):
    columns = dict(COLUMNS)
    if name == "two_columns_of_a_name.csv":
        del columns["part_number"]
    return read_exports(
        settings_from(
            {"exports": [{"path": name, "columns": columns}], "duty": {"all": "paving"}},
            folder=HERE,
            source="run.toml",
        )
    )


def test_every_file_is_in_the_table_and_there_are_twenty_or_more():
    files = {p.name for p in HERE.iterdir()} - {"expected.csv"}
    assert files == {e["file"] for e in EXPECTED}
    assert len(files) >= 20


@pytest.mark.parametrize(
    "case", [e for e in EXPECTED if e["outcome"] == "read"], ids=lambda e: e["file"]
)
def test_it_is_read_and_every_row_accounted_for(case: dict[str, str]):
    found = read(case["file"])
    table = account(found)
    # every row of the file is a line, or stands in set_aside with its reason
    assert int(table["n_rows"].sum()) == int(case["rows"])
    assert len(found.tables["service_lines"]) == int(case["used"])
    assert len(found.tables["set_aside"]) == int(case["rows"]) - int(case["used"])
    if case["says"]:
        told = found.tables["findings"]
        mine = told[told["message"].str.contains(re.escape(case["says"]))]
        assert len(mine) == 1
        if int(case["row"]):
            assert int(mine["source_row"].iloc[0]) == int(case["row"])
    else:
        assert found.tables["findings"].empty


@pytest.mark.parametrize(
    "case", [e for e in EXPECTED if e["outcome"] == "refused"], ids=lambda e: e["file"]
)
def test_it_is_refused_with_its_row_and_the_cure(case: dict[str, str]):
    with pytest.raises(DutylifeError) as caught:
        read(case["file"])
    error = caught.value
    assert case["says"] in str(error)
    assert case["file"] in error.where
    assert error.mend
    if int(case["row"]):
        assert f"row {case['row']}" in error.where
