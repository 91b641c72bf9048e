"""Cells of text to dates, numbers and meter readings; each unlike cell is read once."""

import re
from collections.abc import Callable

import numpy as np
import pandas as pd

from dutylife.errors import SettingsError
from dutylife.settings import Export

# words a shop types for "nothing there"; a run of dashes or question marks means the same
_MISSING = re.compile(r"(?:|nil|n/a|n\.a\.|null|none|-+|\?+|0{1,4}[-/.]0{1,2}[-/.]0{1,4})", re.I)
_MONTHS = {
    "jan": 1, "feb": 2, "mar": 3, "apr": 4, "may": 5, "jun": 6,
    "jul": 7, "aug": 8, "sep": 9, "oct": 10, "nov": 11, "dec": 12,
}  # fmt: skip
_TIME = r"(?:[T ,]+\d{1,2}[:.h]\d{2}.*)?"
_THREE = re.compile(rf"(\d{{1,4}}) ?[-/. ] ?(\d{{1,2}}) ?[-/. ] ?(\d{{1,4}}){_TIME}")
_DAY_MONTH_YEAR = re.compile(rf"(\d{{1,2}})[-/. ]*([A-Za-z]{{3,9}})\.?[-/., ]*(\d{{2,4}}){_TIME}")
_MONTH_DAY_YEAR = re.compile(rf"([A-Za-z]{{3,9}})\.? +(\d{{1,2}}),? +(\d{{4}}){_TIME}")
_EIGHT = re.compile(rf"(\d{{8}}){_TIME}")
# two-digit years: 70 to 99 lie in the last century
_CENTURY_CUT = 70

# a currency word or sign before or after the figure
_CURRENCY = r"(?:[A-Za-z]{1,4}[.$]?|[$\u20ac\u00a3\u00a5\u20b9\u20bd])"
_FIGURE = re.compile(
    rf"(?:{_CURRENCY} ?)?(?P<lead>[-+\u2212])?(?P<body>[\d.,' ]*\d[\d.,' ]*?)"
    rf"(?: ?{_CURRENCY})?(?P<trail>-)?"
)
_METER_UNITS = {
    "h": "hours", "hr": "hours", "hrs": "hours", "hour": "hours", "hours": "hours",
    "min": "minutes", "mins": "minutes", "minutes": "minutes", "d": "days", "days": "days",
    "mi": "miles", "mile": "miles", "miles": "miles", "km": "km", "kms": "km",
    "starts": "starts",
}  # fmt: skip
# one of each unit in the first unit of its family; the mile is 1.609344 km by definition
_IN_BASE = {
    "hours": ("time", 1.0), "minutes": ("time", 1 / 60), "days": ("time", 24.0),
    "km": ("distance", 1.0), "miles": ("distance", 1.609344), "starts": ("starts", 1.0),
}  # fmt: skip
_SPAN_UNITS = {"days": 1.0, "weeks": 7.0, "months": 30.436875}


def on_unlike(cells: pd.Series, read: Callable[[pd.Series], pd.Series]) -> pd.Series:
    """Apply ``read`` to each unlike cell once and spread the answers over all rows."""
    codes, unlike = pd.factorize(cells, use_na_sentinel=False)
    answers = read(pd.Series(unlike, dtype="object"))
    return answers.take(codes).set_axis(cells.index)


def blanked(cells: pd.Series) -> pd.Series:
    """Cells with the words for "nothing there" made blank."""
    return on_unlike(cells, lambda u: u.map(lambda c: "" if _MISSING.fullmatch(c) else c))


def filled_from(words: pd.Series, other: pd.Series | str) -> pd.Series:
    """Words with the missing ones taken from ``other``; always of type object."""
    given = words.astype("object").to_numpy()
    rest = other if isinstance(other, str) else other.astype("object").to_numpy()
    return pd.Series(np.where(pd.isna(given), rest, given), index=words.index, dtype="object")


def is_total_row(cells: pd.DataFrame) -> pd.Series:
    """Rows in which a cell is the word for a total."""
    words = ("total", "totals", "total:", "subtotal", "grand total", "sum")
    found: pd.Series = cells.apply(lambda c: c.str.casefold().isin(words)).any(axis=1)
    return found


def read_dates(cells: pd.Series, date_order: str) -> pd.Series:
    """Dates behind cells of text; NaT where blank or unreadable.

    Parameters
    ----------
    cells : Series of str
        Any of - / . or a space between day, month and year; a time after it is dropped. Dates
        that start with a four-digit year are read year first whatever the order.
    date_order : str
        ``ymd``, ``dmy`` or ``mdy``.
    """

    def read(unlike: pd.Series) -> pd.Series:
        parts = [_date_parts(c, date_order) for c in unlike]
        frame = pd.DataFrame(parts, columns=["year", "month", "day"], dtype="float64")
        inside = frame["year"].between(1900, 2200)
        good = frame.where(inside)
        return pd.to_datetime(good, errors="coerce").astype("datetime64[ns]")

    return on_unlike(cells, read)


def _date_parts(cell: str, order: str) -> tuple[float, float, float]:
    nothing = (np.nan, np.nan, np.nan)
    found = _THREE.fullmatch(cell)
    if found:
        first, second, third = found.groups()
        if len(first) >= 3:
            return (_year(first), float(second), float(third)) if len(first) == 4 else nothing
        if order == "ymd":
            if len(third) > 2:
                return nothing
            return _year(first), float(second), float(third)
        day, month = (first, second) if order == "dmy" else (second, first)
        return (_year(third), float(month), float(day)) if len(third) != 3 else nothing
    found = _EIGHT.fullmatch(cell)
    if found:
        d = found.group(1)
        if order == "ymd":
            return float(d[:4]), float(d[4:6]), float(d[6:])
        day, month = (d[:2], d[2:4]) if order == "dmy" else (d[2:4], d[:2])
        return float(d[4:]), float(month), float(day)
    found = _DAY_MONTH_YEAR.fullmatch(cell)
    if found and (month_number := _MONTHS.get(found.group(2)[:3].lower())):
        return _year(found.group(3)), float(month_number), float(found.group(1))
    found = _MONTH_DAY_YEAR.fullmatch(cell)
    if found and (month_number := _MONTHS.get(found.group(1)[:3].lower())):
        return _year(found.group(3)), float(month_number), float(found.group(2))
    return nothing


def _year(text: str) -> float:
    if len(text) > 2:
        return float(text) if len(text) == 4 else np.nan
    return float(text) + (1900 if int(text) >= _CENTURY_CUT else 2000)


def read_numbers(cells: pd.Series, export: Export) -> pd.Series:
    """Numbers behind cells of text; NaN where blank or unreadable.

    Currency words are dropped; ``(12.50)`` and ``12.50-`` are negative. A thousands sign must
    stand between groups of three, so that 2,5 is never read as 25.
    """

    def one(cell: str) -> float:
        text = cell.replace("\u00a0", " ").replace("\u202f", " ").replace("\u2019", "'").strip()
        in_brackets = text.startswith("(") and text.endswith(")")
        text = text[1:-1].strip() if in_brackets else text
        is_minus = text[:1] in ("-", "\u2212")
        found = _FIGURE.fullmatch(text[1:].strip() if is_minus else text)
        if not found or (is_minus and (found["lead"] or found["trail"])):
            return np.nan
        is_minus = is_minus or in_brackets or found["lead"] in ("-", "\u2212")
        value = _plain_number(found["body"].strip(), export)
        return -value if is_minus or found["trail"] else value

    return on_unlike(cells, lambda u: u.map(one).astype("float64"))


def _plain_number(text: str, export: Export) -> float:
    whole, mark, rest = text.partition(export.decimal)
    groups = re.split(f"[ {re.escape(export.thousands)}]", whole)
    if len(groups) > 1 and not (
        re.fullmatch(r"\d{1,3}", groups[0]) and all(re.fullmatch(r"\d{3}", g) for g in groups[1:])
    ):
        return np.nan
    digits = "".join(groups)
    if not re.fullmatch(r"\d*", digits) or not re.fullmatch(r"\d*", rest):
        return np.nan
    return float(f"{digits or 0}.{rest or 0}") if mark else float(digits)


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
