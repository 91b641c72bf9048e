"""Cells of text to dates: figures in a stated order, months in words, serial days, seconds."""

import re
import unicodedata
from calendar import isleap

import numpy as np
import pandas as pd

from dutylife.intake.values.coded import on_unlike

# beginnings of the months' names, accents taken off: English, German, French, Spanish, Dutch
_BEGINNINGS: dict[int, tuple[str, ...]] = {
    1: ("jan", "ene"), 2: ("feb", "fev"), 3: ("mar", "mae", "mrz", "mrt", "maa"),
    4: ("apr", "avr", "abr"), 5: ("may", "mai", "mei"), 6: ("jun", "juin"),
    7: ("jul", "juil"), 8: ("aug", "aou", "ago"), 9: ("sep", "set"),
    10: ("oct", "okt"), 11: ("nov",), 12: ("dec", "dez", "dic"),
}  # fmt: skip
_MONTHS = {word: month for month, words in _BEGINNINGS.items() for word in words}
_WEEKDAY = re.compile(
    r"(?:mon|tue|wed|thu|fri|sat|sun|lun|mar|mer|jeu|ven|sam|dim|mie|jue|vie|sab|dom"
    r"|mo|di|mi|do|fr|sa|so|ma|wo|vr|za|zo)[a-z]{0,8}\.?,? +(?=\d)",
    re.IGNORECASE,
)
_TIME = r"(?:[T ,]+\d{1,2}[:.h]\d{2}.*)?"
_WORD = r"([^\W\d_]{3,10})"
THREE = re.compile(rf"(\d{{1,4}}) ?[-/. ] ?(\d{{1,2}}) ?[-/. ] ?(\d{{1,4}}){_TIME}")
_DAY_MONTH_YEAR = re.compile(
    rf"(\d{{1,2}})(?:st|nd|rd|th|er)?[-/., ]*(?:(?:de|of) )?{_WORD}"
    rf"\.?[-/., ]*(?:del? )?'?(\d{{2,4}}){_TIME}"
)
_MONTH_DAY_YEAR = re.compile(rf"{_WORD}\.? +(\d{{1,2}})(?:st|nd|rd|th)?,? +(\d{{4}}){_TIME}")
_YEAR_MONTH_DAY = re.compile(rf"(\d{{4}})[-/. ]{_WORD}\.?[-/. ](\d{{1,2}}){_TIME}")
EIGHT = re.compile(rf"(\d{{8}})(?:\.0+)?{_TIME}")
_SERIAL = re.compile(r"(\d{5})(?:[.,]\d+)?")
# year and day of the year, 2024031
_ORDINAL = re.compile(r"((?:19[7-9]|20[0-6])\d)(\d{3})")
_SECONDS = re.compile(r"(\d{10})(?:\.\d+)?|(\d{10})\d{3}")
# day 0 of spreadsheets; serials of 1954 to 2119
_DAY_NOUGHT = pd.Timestamp("1899-12-30")
_SERIALS = (20000, 80000)
# bare figures are days or seconds only where most of the column is so
_SERIAL_SHARE = 0.5
# two-digit years: 70 to 99 lie in the last century
_CENTURY_CUT = 70
Parts = tuple[float, float, float]
_NOTHING: Parts = (np.nan, np.nan, np.nan)


def read_dates(cells: pd.Series, date_order: str) -> pd.Series:
    """Dates behind cells of text; NaT where blank or unreadable.

    Parameters
    ----------
    cells : Series of str
        Any of - / . or a space between day, month and year; a time after it and a weekday before
        it are dropped. Dates that start with a four-digit year are read year first whatever the
        order; months in words are those of English, German, French, Spanish and Dutch. A column
        of five-digit figures is read as serial days of a spreadsheet (day 1 is 1900-01-01), one
        of seven as year and day of the year, one of ten or thirteen as seconds or milliseconds
        since 1970.
    date_order : str
        ``ymd``, ``dmy`` or ``mdy``.
    """

    def read(unlike: pd.Series) -> pd.Series:
        parts = [date_parts(c, date_order) for c in unlike]
        frame = pd.DataFrame(parts, columns=["year", "month", "day"], dtype="float64")
        inside = frame["year"].between(1900, 2200)
        good = frame.where(inside)
        dates = pd.to_datetime(good, errors="coerce").astype("datetime64[ns]")
        counted = _counted_days(unlike)
        filled = int((unlike != "").sum())
        if filled and counted.notna().sum() >= _SERIAL_SHARE * filled:
            dates = dates.fillna(counted.set_axis(dates.index))
        return dates

    return on_unlike(cells, read)


def _counted_days(unlike: pd.Series) -> pd.Series:
    """Days behind serial numbers, year and day of the year, and seconds; NaT for anything else."""
    days = np.full(len(unlike), np.nan)
    for i, cell in enumerate(unlike):
        if not cell[:5].isdigit():
            continue
        if found := _SERIAL.fullmatch(cell):
            serial = int(found[1])
            days[i] = serial if _SERIALS[0] <= serial < _SERIALS[1] else np.nan
        elif found := _ORDINAL.fullmatch(cell):
            first = np.datetime64(f"{found[1]}-01-01") - _DAY_NOUGHT.to_datetime64()
            days[i] = first / np.timedelta64(1, "D") + int(found[2]) - 1
            last = 365 + isleap(int(found[1]))
            days[i] = days[i] if 1 <= int(found[2]) <= last else np.nan
        elif found := _SECONDS.fullmatch(cell):
            seconds = int(found[1] or found[2])
            # 25569 is 1970-01-01 in serial days
            days[i] = 25569 + seconds // 86400 if 2e8 <= seconds < 4.2e9 else np.nan
    known = ~np.isnan(days)
    out = np.full(len(days), np.datetime64("NaT", "ns"))
    out[known] = _DAY_NOUGHT.to_datetime64() + days[known].astype("timedelta64[D]")
    return pd.Series(out)


def is_counted(cells: pd.Series) -> pd.Series:
    """Cells that may be serial days, year and day of the year, or seconds since 1970."""
    return on_unlike(cells, lambda u: _counted_days(u).notna())


def month_of(word: str) -> int | None:
    """Month behind a word of five languages, None where it is none.

    Examples
    --------
    >>> month_of("Mär"), month_of("juillet"), month_of("août"), month_of("marble")
    (3, 7, 8, None)
    """
    plain = unicodedata.normalize("NFKD", word.casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    month = _MONTHS.get(plain[:4]) or _MONTHS.get(plain[:3])
    return month if month and (len(plain) <= 4 or plain in _FULL) else None


_FULL = frozenset(
    [
        "january",
        "february",
        "march",
        "april",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
        "sept",
        "januar",
        "februar",
        "maerz",
        "juni",
        "juli",
        "oktober",
        "dezember",
        "janner",
        "janvier",
        "fevrier",
        "avril",
        "juillet",
        "septembre",
        "octobre",
        "novembre",
        "decembre",
        "enero",
        "febrero",
        "marzo",
        "abril",
        "mayo",
        "junio",
        "julio",
        "agosto",
        "septiembre",
        "setiembre",
        "octubre",
        "noviembre",
        "diciembre",
        "januari",
        "februari",
        "maart",
        "augustus",
        "oktober",
    ]
)


def date_parts(cell: str, order: str) -> Parts:
    """Year, month and day of one cell; NaN where it is none in that order."""
    found = THREE.fullmatch(cell)
    if found:
        first, second, third = found.groups()
        if len(first) >= 3:
            return (_year(first), float(second), float(third)) if len(first) == 4 else _NOTHING
        if order == "ymd":
            if len(third) > 2:
                return _NOTHING
            return _year(first), float(second), float(third)
        day, month = (first, second) if order == "dmy" else (second, first)
        return (_year(third), float(month), float(day)) if len(third) != 3 else _NOTHING
    found = EIGHT.fullmatch(cell)
    if found:
        d = found.group(1)
        if order == "ymd":
            return float(d[:4]), float(d[4:6]), float(d[6:])
        day, month = (d[:2], d[2:4]) if order == "dmy" else (d[2:4], d[:2])
        return float(d[4:]), float(month), float(day)
    parts = _in_words(cell)
    weekday = _WEEKDAY.match(cell) if np.isnan(parts[0]) else None
    return date_parts(cell[weekday.end() :], order) if weekday else parts


def _in_words(cell: str) -> Parts:
    for pattern, (day, month, year) in (
        (_DAY_MONTH_YEAR, (1, 2, 3)), (_MONTH_DAY_YEAR, (2, 1, 3)), (_YEAR_MONTH_DAY, (3, 2, 1)),
    ):  # fmt: skip
        found = pattern.fullmatch(cell)
        if found and (number := month_of(found.group(month))):
            return _year(found.group(year)), float(number), float(found.group(day))
    return _NOTHING


def _year(text: str) -> float:
    if len(text) > 2:
        return float(text) if len(text) == 4 else np.nan
    return float(text) + (1900 if int(text) >= _CENTURY_CUT else 2000)
