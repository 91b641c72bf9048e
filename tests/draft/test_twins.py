"""Files for each customer, sheets for each month: what their columns are is told by all of them."""

import tomllib
import zipfile
from pathlib import Path

import pandas as pd
import pytest

from dutylife.draft import draft_settings
from dutylife.pipeline import run_stages
from dutylife.settings import settings_from

CUSTOMERS = ("North Yard", "Quay Store", "West Depot")


def lines() -> pd.DataFrame:
    """Jobs of three customers; the last has so few that its meter alone says nothing."""
    rows = []
    for n, customer in enumerate(CUSTOMERS):
        for i in range(24 if n < 2 else 2):
            day = pd.Timestamp("2024-01-03") + pd.Timedelta(days=14 * i + n)
            rows.append(
                {"Job": f"J{n}{i:03d}", "Job date": f"{day:%d/%m/%Y}",
                 "Machine": f"P{n}{i % 3}", "Customer": customer,
                 "Hour meter": f"{100 + 40 * i}" if n < 2 or i else "",
                 "Complaint": "runs rough", "Work done": "spark plug fouled, replaced",
                 "Part no": "PL-1", "Qty": "1", "Price each": "4.50"}
            )  # fmt: skip
    return pd.DataFrame(rows)


def lines_read(files: list[Path], folder: Path) -> pd.DataFrame:
    draft = draft_settings(list(map(str, files)), folder)
    assert draft.questions == ()
    text = tomllib.loads(draft.text) | {"duty": {"all": "kerb"}}
    _, tables = run_stages(settings_from(text, folder=folder, source="s.toml"))
    wanted = ["line_id", "service_date", "unit_id", "customer", "meter_hours", "part_number"]
    found = tables["service_lines"][wanted].astype("object")
    return found.sort_values("line_id", ignore_index=True)


def test_a_file_for_each_customer_reads_as_one_file(tmp_path: Path) -> None:
    one, many = tmp_path / "one", tmp_path / "many"
    one.mkdir()
    many.mkdir()
    lines().to_csv(one / "lines.csv", index=False)
    with zipfile.ZipFile(many / "export.zip", "w") as packed:
        for customer, rows in lines().groupby("Customer"):
            packed.writestr(f"jobs/{customer}.csv", rows.to_csv(index=False))
    expected = lines_read([one / "lines.csv"], one)
    assert len(expected) == 50
    assert expected["meter_hours"].notna().sum() == 49
    pd.testing.assert_frame_equal(lines_read([many / "export.zip"], many), expected)


@pytest.mark.slow
def test_a_sheet_for_each_month_reads_as_one_sheet(tmp_path: Path) -> None:
    one, many = tmp_path / "one", tmp_path / "many"
    one.mkdir()
    many.mkdir()
    lines().to_csv(one / "lines.csv", index=False)
    with pd.ExcelWriter(many / "jobs.xlsx") as book:
        for month, rows in lines().groupby(lines()["Job date"].str[3:5]):
            rows.to_excel(book, sheet_name=f"month {month}", index=False)
    expected = lines_read([one / "lines.csv"], one)
    pd.testing.assert_frame_equal(lines_read([many / "jobs.xlsx"], many), expected)


@pytest.mark.parametrize("names", [CUSTOMERS, ("jobs-1", "jobs-2", "jobs-3")], ids=["who", "when"])
def test_columns_in_another_order_from_file_to_file(tmp_path: Path, names: tuple[str, ...]) -> None:
    """Under names of any kind, and of one kind that a pattern stands for."""
    one, many = tmp_path / "one", tmp_path / "many"
    one.mkdir()
    many.mkdir()
    lines().to_csv(one / "lines.csv", index=False)
    parts = [rows for _, rows in lines().groupby("Customer")]
    for n, (name, rows) in enumerate(zip(names, parts, strict=True)):
        rows[list(rows.columns[n:]) + list(rows.columns[:n])].to_csv(
            many / f"{name}.csv", index=False
        )
    expected = lines_read([one / "lines.csv"], one)
    found = lines_read(sorted(many.glob("*.csv")), many)
    pd.testing.assert_frame_equal(found, expected)
