import math

import pandas as pd
import pytest

from dutylife.intake.values import read_dates, read_meters, read_numbers
from dutylife.settings import Export


def dates(cells: list[str], order: str) -> list[str | None]:
    read = read_dates(pd.Series(cells), order)
    return [None if pd.isna(d) else f"{d:%Y-%m-%d}" for d in read]


@pytest.mark.parametrize(
    ("cell", "order", "day"),
    [
        ("2024-03-05", "ymd", "2024-03-05"),
        ("2024-03-05", "dmy", "2024-03-05"),  # year first is never taken for a day
        ("05/03/2024", "dmy", "2024-03-05"),
        ("05/03/2024", "mdy", "2024-05-03"),
        ("5.3.24", "dmy", "2024-03-05"),
        ("24-03-05", "ymd", "2024-03-05"),
        ("20240305", "ymd", "2024-03-05"),
        ("05/03/1998 14:20", "dmy", "1998-03-05"),
        ("2024-03-05T08:00:00", "ymd", "2024-03-05"),
        ("5-Mar-24", "dmy", "2024-03-05"),
        ("05/03/2024", "ymd", None),
        ("31/02/2024", "dmy", None),
        ("13/13/2024", "dmy", None),
        ("12", "dmy", None),
        ("soon", "dmy", None),
    ],
)
def test_dates_follow_the_stated_order(cell: str, order: str, day: str | None):
    assert dates([cell], order) == [day]


@pytest.mark.parametrize(
    ("cell", "settings", "value"),
    [
        ("12.50", {}, 12.5),
        ("(12.50)", {}, -12.5),
        ("12.50-", {}, -12.5),
        ("-12.50", {}, -12.5),
        ("-$5", {}, -5.0),
        ("12.50 EUR", {}, 12.5),
        ("USD 1 234.50", {}, 1234.5),
        ("1.234,56", {"decimal": ",", "thousands": "."}, 1234.56),
        ("1,234.56", {"thousands": ","}, 1234.56),
        ("2,5", {"thousands": ","}, None),  # never 25
        ("1,234.56", {}, None),
        ("12.5", {"decimal": ","}, None),
        ("one", {}, None),
        ("12..5", {}, None),
    ],
)
def test_numbers_follow_the_stated_signs(cell: str, settings: dict, value: float | None):
    read = read_numbers(pd.Series([cell]), Export(path="x.csv", **settings)).iloc[0]
    assert (math.isnan(read) and value is None) or read == value


@pytest.mark.parametrize(
    ("cell", "unit", "fleet", "value"),
    [
        ("1 234 h", "", "hours", 1234.0),
        ("90", "minutes", "hours", 1.5),
        ("90 min", "", "hours", 1.5),
        ("2 days", "", "hours", 48.0),
        ("100", "miles", "km", 160.9344),
        ("100 km", "miles", "km", 100.0),  # what the cell says comes first
        ("100 km", "", "hours", None),
        ("-5", "", "hours", None),
        ("broken", "", "hours", None),
    ],
)
def test_meters_come_out_in_the_fleet_unit(cell: str, unit: str, fleet: str, value: float | None):
    read = read_meters(pd.Series([cell]), Export(path="x.csv"), unit, fleet).iloc[0]
    assert (math.isnan(read) and value is None) or read == pytest.approx(value)
