"""A plan of maintenance given as a file."""

import pytest

from dutylife.errors import ColumnMissingError, ExportError, SettingsError
from dutylife.intake import stated_plan
from dutylife.settings import settings_from


def read(tmp_path, text, name="plan.csv"):
    (tmp_path / "plan.csv").write_text(text, encoding="utf-8")
    settings = settings_from({"plan": {"in_force": name}}, folder=tmp_path)
    return stated_plan(settings, {"harbour", "orchard"})


def test_ages_of_components_are_read_by_duty(tmp_path):
    text = "Component,Duty,Hours,Months\nair filter,,250,12\nair filter,harbour,120,\n"
    table = read(tmp_path, text).astype(object)
    table = table.where(table.notna(), "")
    # the row without a duty stands for those without a row of their own
    assert table["duty"].tolist() == ["harbour", "orchard"]
    assert table["interval_hours"].tolist() == [120.0, 250.0]
    assert table["interval_days"].tolist() == ["", pytest.approx(12 * 30.436875)]


def test_a_plan_that_is_no_file_gives_no_rows(tmp_path):
    assert read(tmp_path, "", name="as seen").empty


def test_every_fault_of_a_plan_is_told_at_once(tmp_path):
    text = (
        "component,duty,hours,months\nair filter,,none,\nwarp drive,,5,\n"
        "spark plug,moon,5,\nfuel filter,,,\nfuel hose and clamps,,,24\nfuel hose and clamps,,,12\n"
    )
    with pytest.raises(ExportError) as error:
        read(tmp_path, text)
    for told in ("row 2", "'none' is no number", "warp drive", "'moon'", "neither hours nor months",
                 "row 7", "stated before", "5 faults"):  # fmt: skip
        assert told in str(error.value)


def test_a_missing_file_and_missing_columns_are_named(tmp_path):
    with pytest.raises(SettingsError, match=r"hope\.csv"):
        read(tmp_path, "", name="hope.csv")
    with pytest.raises(ColumnMissingError, match="hours or months"):
        read(tmp_path, "component,weeks\nair filter,5\n")
