"""Figures and results in plain words: numbers with units, ranges, one sentence for each result."""

import math

import numpy as np


def number(value: float, digits: int = 3) -> str:
    """Round to about ``digits`` figures, with thousands set off by a space.

    Examples
    --------
    >>> number(1234.5), number(0.0456), number(17.0)
    ('1 230', '0.0456', '17')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    text = f"{rounded:,.{max(places, 0)}f}".replace(",", " ")
    return text.rstrip("0").rstrip(".") if "." in text else text


def count(n: float, noun: str, nouns: str = "") -> str:
    """Return a whole number with its noun in the right form.

    Examples
    --------
    >>> count(1, "failure"), count(3, "failure"), count(2, "life", "lives")
    ('1 failure', '3 failures', '2 lives')
    """
    return f"{int(n):,} {noun if int(n) == 1 else nouns or noun + 's'}".replace(",", " ")


def span(lower: float, upper: float, unit: str) -> str:
    """Return a range as words; one figure when both ends round alike.

    Examples
    --------
    >>> span(80, 130, "h"), span(4, 4, "pieces")
    ('80 to 130 h', '4 pieces')
    """
    low, high = number(lower), number(upper)
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def money(value: float, currency: str) -> str:
    """Return an amount without cents, its currency after it.

    Examples
    --------
    >>> money(1234.4, "EUR")
    '1 234 EUR'
    """
    if value is None or not np.isfinite(value):
        return "not known"
    return f"{value:,.0f} {currency}".replace(",", " ").rstrip()


def meter(value: float, meter_unit: str) -> str:
    """Return a meter figure with its short unit (h, mi, km, starts)."""
    short = {"hours": "h", "miles": "mi", "km": "km", "starts": "starts"}[meter_unit]
    return f"{number(value)} {short}"


def weeks(days: float) -> str:
    """Return days as the span a person would plan with: days, weeks or months.

    Examples
    --------
    >>> weeks(5), weeks(30), weeks(400)
    ('5 days', '4 weeks', '13 months')
    """
    if days is None or not math.isfinite(days):
        return "not known"
    if days < 14:
        return count(max(round(days), 1), "day")
    if days < 120:
        return count(round(days / 7), "week")
    return count(round(days / 30.436875), "month")
