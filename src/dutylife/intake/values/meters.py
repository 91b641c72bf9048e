"""Cells of text to meter readings, with their unit brought to the fleet's."""

import re

import pandas as pd

from dutylife.errors import SettingsError
from dutylife.intake.values.coded import on_unlike
from dutylife.intake.values.numbers import read_numbers
from dutylife.settings import Export
from dutylife.vocabulary.spans import DAYS_PER_MONTH

_METER_UNITS = {
    "h": "hours", "hr": "hours", "hrs": "hours", "hour": "hours", "hours": "hours",
    "std": "hours", "bh": "hours", "stunden": "hours", "heures": "hours", "horas": "hours",
    "uur": "hours", "uren": "hours", "u": "hours", "tage": "days", "jours": "days",
    "min": "minutes", "mins": "minutes", "minutes": "minutes", "d": "days", "days": "days",
    "mi": "miles", "mile": "miles", "miles": "miles", "km": "km", "kms": "km",
    "starts": "starts",
}  # fmt: skip
# one of each unit in the first unit of its family; the mile is 1.609344 km by definition
_IN_BASE = {
    "hours": ("time", 1.0), "minutes": ("time", 1 / 60), "days": ("time", 24.0),
    "km": ("distance", 1.0), "miles": ("distance", 1.609344), "starts": ("starts", 1.0),
}  # fmt: skip
_SPAN_UNITS = {"days": 1.0, "weeks": 7.0, "months": DAYS_PER_MONTH}


def read_meters(cells: pd.Series, export: Export, unit: str, meter_unit: str) -> pd.Series:
    """Meter readings in the fleet's meter unit; NaN where blank or unreadable.

    Parameters
    ----------
    cells : Series of str
        A figure, with or without its unit ("1 234 h").
    unit : str
        Unit of cells that name none; blank means the fleet's.
    meter_unit : str
        The fleet's meter unit.
    """
    ends = re.compile(r"(?P<figure>.*?\d[.,]?) ?(?P<unit>[A-Za-z]+)?\.?")

    def read(unlike: pd.Series) -> pd.Series:
        found = [ends.fullmatch(c) for c in unlike]
        figures = read_numbers(pd.Series([f["figure"] if f else "" for f in found]), export)
        factors = [
            meter_factor(_METER_UNITS.get((f["unit"] or "").lower(), f["unit"] or unit), meter_unit)
            if f
            else None
            for f in found
        ]
        values = figures * pd.Series(factors, dtype="float64")
        return values.where(values >= 0)

    return on_unlike(cells, read)


def meter_factor(unit: str, meter_unit: str) -> float | None:
    """Factor from a unit to the fleet's meter unit, None where there is no way between them.

    Examples
    --------
    >>> meter_factor("miles", "km"), meter_factor("km", "hours")
    (1.609344, None)
    """
    unit = _METER_UNITS.get(unit.lower(), unit.lower())
    if not unit or unit == meter_unit:
        return 1.0
    if unit not in _IN_BASE or _IN_BASE[unit][0] != _IN_BASE[meter_unit][0]:
        return None
    return _IN_BASE[unit][1] / _IN_BASE[meter_unit][1]


def factor_of(column: str, unit: str, meter_unit: str, where: str) -> float:
    """Factor that a mapped column's stated unit asks for.

    Raises
    ------
    SettingsError
        The unit is unknown for that column.
    """
    if not unit:
        return 1.0
    if column in ("meter_hours", "hours_per_week"):
        factor = meter_factor(unit, meter_unit)
        known = [u for u, (family, _) in _IN_BASE.items() if family == _IN_BASE[meter_unit][0]]
    elif column.endswith("_days"):
        factor, known = _SPAN_UNITS.get(unit.lower()), list(_SPAN_UNITS)
    else:
        factor, known = None, []
    if factor is None:
        raise SettingsError(
            f"Unit '{unit}' can't be used for {column}.",
            where,
            f"one of: {', '.join(known)}" if known else f"{column} takes no unit; remove it",
        )
    return factor
