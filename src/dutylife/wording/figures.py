"""Figures, spans, ages, days and chances as a person says them."""

import datetime as dt
import math
import re
from functools import lru_cache

import numpy as np

from dutylife.vocabulary.spans import DAYS_PER_MONTH


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


# digits set apart by a plain space: as tables, workbook and terminal have them
_THOUSANDS = re.compile(r"(?<![\w.,])(?<!\w-)\d{1,3}(?: \d{3})+(?![\w])")

_UNIT = re.compile(r"(?<=\d) (?=(?:h|km|mi|mm|ml|kPa|psi|bar|%)(?!\w))")


NARROW_SPACE = "\u202f"  # narrow, and no line breaks at it
WHOLE_SPACE = "\u00a0"  # neither at this one


@lru_cache(maxsize=8192)  # a page says the same words in many cells
def unbroken(text: str) -> str:
    """Return text for a page: no line of it ends inside a number, nor between it and its unit.

    Examples
    --------
    >>> unbroken("1 010 h of 12 000 000") == "1\u202f010\u00a0h of 12\u202f000\u202f000"
    True
    >>> unbroken("2 Mar 2026, 100 2000, AF-100 200")
    '2 Mar 2026, 100 2000, AF-100 200'
    """
    whole = _THOUSANDS.sub(lambda number: number[0].replace(" ", NARROW_SPACE), text)
    return _UNIT.sub(WHOLE_SPACE, whole)


def true_minus(text: str) -> str:
    """Return figures with a minus sign in place of each hyphen that stands for one.

    Examples
    --------
    >>> true_minus("-3 to -1.5") == "\u22123 to \u22121.5", true_minus("2026-01-02, A-1")
    (True, '2026-01-02, A-1')
    """
    return re.sub(r"(?<![\w.,\-])-(?=[\d.])", "\u2212", text)


def whole(n: float) -> str:
    """Return a whole number, all its digits, thousands set off by a space.

    Examples
    --------
    >>> whole(43), whole(106_267)
    ('43', '106 267')
    """
    return f"{int(n):,}".replace(",", " ")


def count(n: float, noun: str, nouns: str = "") -> str:
    """Return a whole number with its noun in the right form.

    Examples
    --------
    >>> count(1, "failure"), count(3, "failure"), count(2, "life", "lives")
    ('1 failure', '3 failures', '2 lives')
    """
    return f"{whole(n)} {noun if int(n) == 1 else nouns or noun + 's'}"


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
    """Return a span on the meter with its short unit (h, mi, km, starts).

    Whole from 10 on and to three figures; two figures below.

    Examples
    --------
    >>> meter(1234.5, "hours"), meter(31.6, "hours"), meter(2.46, "km")
    ('1 230 h', '32 h', '2.5 km')
    """
    short = {"hours": "h", "miles": "mi", "km": "km", "starts": "starts"}[meter_unit]
    if value is not None and math.isfinite(value) and abs(value) >= 10:
        return f"{number(round(value))} {short}"
    return f"{number(value, 2)} {short}"


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
    return count(round(days / DAYS_PER_MONTH), "month")


def percent(share: float) -> str:
    """Return a share as whole percent, small ones with one figure.

    Examples
    --------
    >>> percent(0.314), percent(0.004), percent(0.0)
    ('31 %', '0.4 %', '0 %')
    """
    if 0 < abs(share) < 0.01:
        return f"{number(100 * share, 1)} %"
    return f"{100 * share:.0f} %"


def share(value: float) -> str:
    """Return a share as per cent; close to certain is not written as certain, nor as never.

    Examples
    --------
    >>> share(0.934), share(0.9996), share(1.0), share(0.001)
    ('93 %', 'over 99 %', '100 %', 'under 1 %')
    """
    if 0.995 < value < 1:
        return "over 99 %"
    if 0 < value < 0.005:
        return "under 1 %"
    return f"{100 * value:.0f} %"


def percent_range(low: float, high: float) -> str:
    """Return a range of a share in whole per cent; what is never certain is not written so.

    Examples
    --------
    >>> percent_range(0.88, 0.997), percent_range(0.2, 0.4), percent_range(0.0001, 0.004)
    ('88 % or more', '20 to 40 %', 'under 1 %')
    >>> percent_range(0.001, 0.999)
    '0 to 100 %'
    """
    if high < 0.01:
        return "under 1 %"
    if high > 0.99 and low >= 0.01:
        return "over 99 %" if low > 0.99 else f"{100 * low:.0f} % or more"
    return f"{100 * low:.0f} to {100 * high:.0f} %"


def chances(probability: float) -> str:
    """Return a probability as chances in 10, never as certainty.

    Examples
    --------
    >>> chances(0.9), chances(0.999), chances(0.02)
    ('9 chances in 10', 'more than 9 chances in 10', 'less than 1 chance in 10')
    """
    if probability > 0.95:
        return "more than 9 chances in 10"
    if probability < 0.05:
        return "less than 1 chance in 10"
    tenths = round(10 * probability)
    return count(min(max(tenths, 1), 9), "chance") + " in 10"


def every(hours: float | None, days: float | None, clock: str, meter_unit: str) -> str:
    """Return a spacing on its own clock; both, whichever first, where ``clock`` is blank.

    Examples
    --------
    >>> every(200, 365, "", "hours"), every(200, 365, "days", "hours"), every(200, None, "", "km")
    ('200 h or 12 months, whichever comes first', '12 months (about 200 h)', '200 km')
    """
    has_hours = hours is not None and math.isfinite(hours)
    has_days = days is not None and math.isfinite(days)
    on_meter = meter(hours, meter_unit) if has_hours and hours is not None else ""
    on_calendar = weeks(days) if has_days and days is not None else ""
    if not (on_meter and on_calendar):
        return on_meter or on_calendar or "not known"
    if clock == "hours":
        return f"{on_meter} (about {on_calendar})"
    if clock:
        return f"{on_calendar} (about {on_meter})"
    return f"{on_meter} or {on_calendar}, whichever comes first"


def one_clock(hours: float | None, days: float | None, clock: str, meter_unit: str) -> str:
    """Return an age on one clock, blank when it is not known there.

    Examples
    --------
    >>> one_clock(200, 365, "days", "hours"), one_clock(None, 365, "hours", "hours")
    ('12 months', '')
    """
    age = hours if clock == "hours" else days
    if age is None or not math.isfinite(age):
        return ""
    return meter(age, meter_unit) if clock == "hours" else weeks(age)


def age_range(lower: float, upper: float, clock: str, meter_unit: str) -> str:
    """Return a range of ages on one clock.

    Examples
    --------
    >>> age_range(330, 580, "days", "hours"), age_range(80, 130, "hours", "hours")
    ('11 to 19 months', '80 to 130 h')
    """
    show = (lambda a: meter(a, meter_unit)) if clock == "hours" else weeks
    low, high = show(lower), show(upper)
    if low == high:
        return low
    (first, unit), (_, other) = low.rsplit(" ", 1), high.rsplit(" ", 1)
    same = unit.rstrip("s") == other.rstrip("s")
    return f"{first} to {high}" if same else f"{low} to {high}"


def evidence(n_failed: float, n_lives: float) -> str:
    """Return the failures and lives an answer stands on."""
    return f"{count(n_failed, 'failure')} in {count(n_lives, 'life', 'lives')}"


def record_behind(n_failed: float, n_lives: float, basis: str) -> str:
    """Return the evidence, and what stands in where the cell's own is thin."""
    own = evidence(n_failed, n_lives)
    return own if basis == "own data" else f"{own} here, the rest borrowed from other duties"


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_words(day: dt.date, as_of: dt.date) -> str:
    """Return a day as people write it, the year only where it is another.

    Examples
    --------
    >>> day_words(dt.date(2026, 3, 3), dt.date(2026, 2, 1))
    '3 Mar'
    >>> day_words(dt.date(2027, 1, 9), dt.date(2026, 12, 1))
    '9 Jan 2027'
    """
    words = f"{day.day} {_MONTHS[day.month - 1]}"
    return words if day.year == as_of.year else f"{words} {day.year}"
