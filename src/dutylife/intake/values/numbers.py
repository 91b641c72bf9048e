"""Cells of text to numbers: signs, brackets, currency and unit words, decimal and thousands."""

import re

import numpy as np
import pandas as pd

from dutylife.intake.values.coded import on_unlike
from dutylife.settings import Export

# a currency word or sign, or a unit, before or after the figure
_WORDS = (
    "dollars?|euros?|pounds?|pesos?|francs?|franken|crowns?|kronen|kroner|pieces?|stück|stuks?"
    "|pièces?|piezas?|unidad(?:es)?|unités?|units?|hours?|stunden?|heures?|horas?|liters?|litres?"
    "|meters?|metres?|sets?|pairs?|packs?|boxes"
)
_CURRENCY = rf"(?:(?:{_WORDS})|[^\W\d_]{{1,4}}[.$]?|[$\u20ac\u00a3\u00a5\u20b9\u20bd])"
_FIGURE = re.compile(
    rf"(?:{_CURRENCY} ?)?(?P<lead>[-+\u2212])?(?P<body>[\d.,' ]*\d[\d.,' ]*?)"
    rf"(?: ?(?P<after>{_CURRENCY}))?(?P<trail> ?-)?",
    re.IGNORECASE,
)
# a spreadsheet's short form of a number; the digits it left out are lost
_POWER = re.compile(r"[-+]?\d(?:[.,]\d+)?E[-+]?\d{1,2}", re.IGNORECASE)


def read_numbers(cells: pd.Series, export: Export) -> pd.Series:
    """Numbers behind cells of text; NaN where blank or unreadable.

    Currency and unit words are dropped; ``(12.50)``, ``12.50-`` and ``12.50 CR`` are negative. A
    thousands sign must stand between groups of three, so that 2,5 is never read as 25. Without a
    decimal mark in the settings a point is meant.
    """
    mark = export.decimal or "."
    plain = re.compile(rf"-?[0-9]+(?:{re.escape(mark)}[0-9]+)?")

    def one(cell: str) -> float:
        if plain.fullmatch(cell):  # nearly all are
            return float(cell.replace(mark, "."))
        text = cleaned(cell)
        if _POWER.fullmatch(text):
            return float(text.replace(",", "."))
        in_brackets = text.startswith("(") and text.endswith(")")
        text = text[1:-1].strip() if in_brackets else text
        is_minus = text[:1] in ("-", "\u2212")
        found = _FIGURE.fullmatch(text[1:].strip() if is_minus else text)
        if not found or (is_minus and (found["lead"] or found["trail"])):
            return np.nan
        is_minus = is_minus or in_brackets or found["lead"] in ("-", "\u2212")
        is_minus |= (found["after"] or "").upper() == "CR"
        value = _plain_number(found["body"].strip(), mark, export.thousands)
        return -value if is_minus or found["trail"] else value

    return on_unlike(cells, lambda u: u.map(one).astype("float64"))


def cleaned(cell: str) -> str:
    """Cell with the spaces and apostrophes of typesetters made plain."""
    plain = cell.replace("\u00a0", " ").replace("\u202f", " ").replace("\u2009", " ")
    return plain.replace("\u2019", "'").strip()


def figure_of(cell: str) -> str:
    """Digits and marks of a cell that is a number; blank where it is none.

    Examples
    --------
    >>> figure_of("EUR (1.234,50)"), figure_of("12.50-"), figure_of("3 pcs"), figure_of("two")
    ('1.234,50', '12.50', '3', '')
    """
    text = cleaned(cell)
    text = re.sub(r"^(\D{0,5})\((.*)\)(\D{0,5})$", r"\1\2\3", text).strip()
    text = text[1:].strip() if text[:1] in ("-", "\u2212") else text
    found = _FIGURE.fullmatch(text)
    return found["body"].strip() if found else ""


def _plain_number(text: str, decimal: str, thousands: str) -> float:
    whole, mark, rest = text.partition(decimal)
    groups = re.split(f"[ {re.escape(thousands)}]", whole)
    if len(groups) > 1 and not (
        re.fullmatch(r"\d{1,3}", groups[0]) and all(re.fullmatch(r"\d{3}", g) for g in groups[1:])
    ):
        return np.nan
    digits = "".join(groups)
    if not re.fullmatch(r"\d*", digits) or not re.fullmatch(r"\d*", rest):
        return np.nan
    return float(f"{digits or 0}.{rest or 0}") if mark else float(digits)
