"""Figures and results in plain words: numbers with units, ranges, one sentence for each result."""

import datetime as dt
import math
import re

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


# digits set apart by a plain space: as tables, workbook and terminal have them
_THOUSANDS = re.compile(r"(?<![\w.,])(?<!\w-)\d{1,3}(?: \d{3})+(?![\w])")
NARROW_SPACE = "\u202f"  # narrow, and no line breaks at it


def unbroken(text: str) -> str:
    """Return text for a page: no line of it ends inside a number.

    Examples
    --------
    >>> unbroken("1 010 h of 12 000 000") == "1\u202f010 h of 12\u202f000\u202f000"
    True
    >>> unbroken("2 Mar 2026, 100 2000, AF-100 200")
    '2 Mar 2026, 100 2000, AF-100 200'
    """
    return _THOUSANDS.sub(lambda number: number[0].replace(" ", NARROW_SPACE), text)


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


def age_replacement_text(
    interval: float,
    lower: float,
    upper: float,
    cost_rate: float,
    cost_rate_run_to_failure: float,
    *,
    beyond_seen: bool,
) -> str:
    """Sentence of an age-replacement result, in the clock of its survival function."""
    if not math.isfinite(interval):
        why = (
            "the cost still falls at the longest age given"
            if beyond_seen
            else "no planned age costs less"
        )
        return f"Run to failure: {why} ({number(cost_rate_run_to_failure)} per unit of age)."
    saving = 1 - cost_rate / cost_rate_run_to_failure
    return (
        f"Replace at {number(interval, 4)} ({number(lower)} to {number(upper)} costs nearly the "
        f"same): {number(cost_rate, 4)} per unit of age, {percent(saving)} less than waiting for "
        f"failure ({number(cost_rate_run_to_failure, 4)})."
    )


def inspection_text(interval: float, share_failing: float, rate: float, criterion: str) -> str:
    """Sentence of a delay-time result, in the clock of its inputs."""
    what = "costs" if criterion == "cost" else "keeps the machine down"
    unit = "per unit of age" if criterion == "cost" else "of the time"
    return (
        f"Look every {number(interval, 4)}: {what} {number(rate)} {unit}; "
        f"{percent(share_failing)} of defects fail before the next look."
    )


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


def replace_sentence(
    *,
    component: str,
    duty: str,
    at: str,
    also: str,
    flat: str,
    record: str,
    saving: float,
    probability: float,
) -> str:
    """Sentence for a replacement that pays; ``also`` is the age on the other clock, if known."""
    other = f", about {also} of its work" if also else ""
    return (
        f"Replace the {component} at {at} ({flat} cost nearly the same) in {duty}{other}: "
        f"{record}; costs {percent(saving)} less than waiting for failure "
        f"({chances(probability)} that it pays)."
    )


def limit_sentence(*, component: str, duty: str, at: str, record: str) -> str:
    """Sentence for a replacement set by the maker's limit."""
    return (
        f"Replace the {component} at {at} at the latest in {duty}: the maker's or legal limit, "
        f"which no saving lifts; {record}."
    )


def starting_sentence(*, component: str, duty: str, at: str, mark: str, record: str) -> str:
    """Sentence for a starting replacement interval."""
    return (
        f"Replace the {component} every {at} in {duty}: a starting value ({mark}), not a finding "
        f"of yours; {record}. The maker's manual stands above it."
    )


def run_to_failure_sentence(*, component: str, duty: str, record: str, why: str) -> str:
    """Sentence for a component that is left to fail."""
    return f"Run the {component} to failure in {duty} and hold the spare: {why}; {record}."


def look_sentence(
    *, task: str, component: str, duty: str, at: str, what: str, why: str, record: str, hurt: str
) -> str:
    """Sentence for a look: what to look for, how often, why that often."""
    caution = (
        f" A failure can hurt someone ({hurt}): never run to failure, and have it done by someone "
        "competent."
        if hurt
        else ""
    )
    return (
        f"{task.capitalize()} the {component} every {at} in {duty}: {what} {why}; {record}."
        f"{caution} The maker's manual stands above this."
    )


def check_words(action: str, measurement: str, unit: str, nominal: str, reject_limit: str) -> str:
    """Return what a look looks for: action, measurement, nominal and reject limit.

    Examples
    --------
    >>> check_words("check gap", "electrode gap", "mm", "0.7-0.8", "outside 0.6-0.9")
    'check gap; electrode gap 0.7-0.8 mm, reject: outside 0.6-0.9.'
    """
    nominal_words = " ".join(w for w in (measurement, nominal, unit if nominal else "") if w)
    parts = [nominal_words, f"reject: {reject_limit}" if reject_limit else ""]
    read = ", ".join(p for p in parts if p)
    return f"{action}; {read}." if read else f"{action}."


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


def _expected(low: float, high: float, by: dt.date, as_of: dt.date) -> str:
    most = "" if low == high else f", 9 times in 10 no more than {high:.0f},"
    return f"expect {low:.0f}{most} by {day_words(by, as_of)}"


def _covers(level: float, ready: float) -> str:
    if ready > 0.99:
        times = "nearly always"
    elif ready > 0.95:
        times = "more than 9 times in 10"
    elif ready < 0.05:
        times = "hardly ever"
    else:
        times = f"{min(max(round(10 * ready), 1), 9)} times in 10"
    return f"{level:.0f} {'covers' if level == 1 else 'cover'} it {times}"


def order_sentence(
    *,
    order: float,
    order_by: dt.date | None,
    order_cost: float | None,
    currency: str,
    lasts_months: float,
    low: float,
    high: float,
    by: dt.date,
    as_of: dt.date,
    level: float,
    ready: float,
) -> str:
    """Sentence for a part to order: how many, until when, what is expected, what it covers."""
    # at this review: the next one comes too late for it, though its last day may lie ahead
    when = "now"
    if order_by is not None and order_by > as_of:
        when = f"now, by {day_words(order_by, as_of)} at the latest"
    paid = "" if order_cost is None else f" ({money(order_cost, currency)})"
    # why more is ordered than the weeks ahead ask for: pack, minimum, or what an order costs
    lot = ""
    if lasts_months > 4:
        about = f"about {lasts_months:.0f} months" if lasts_months < 24 else "two years or more"
        lot = (
            f" These pieces alone last {about}: it follows from the pack and the cost of an order."
        )
    return (
        f"Order {order:.0f} {when}{paid}: {_expected(low, high, by, as_of)}; "
        f"{_covers(level, ready)}.{lot}"
    )


def no_order_sentence(
    *,
    on_order: float,
    point: float,
    low: float,
    high: float,
    by: dt.date,
    as_of: dt.date,
    level: float,
    ready: float,
) -> str:
    """Sentence for a part that needs no order now."""
    held = f"{level:.0f} on hand" + (" and on order" if on_order else "")
    if high == 0 and level > 0:
        return f"Nothing to order: {held}, and no use expected by {day_words(by, as_of)}."
    return (
        f"Nothing to order now: {held}, order below {point:.0f}; "
        f"{_expected(low, high, by, as_of)}; {_covers(level, ready)}."
    )


def shelf_life_sentence(*, most: int, days: float, there: float, ordered: float) -> str:
    """Sentence for a part whose shelf life, not its demand, sets how many are held."""
    held = "none is" if most < 1 else f"no more than {most} {'is' if most == 1 else 'are'}"
    text = f"Within its shelf life of {days:.0f} days {held} expected to be used: hold no more."
    if there > most:
        return text + f" {there - most:.0f} of those on hand and on order may pass it."
    if there + ordered > most:
        return text + f" The pack or least order brings {there + ordered - most:.0f} beyond that."
    return text


def count_shelf_sentence(
    *,
    hold: float,
    low: float,
    high: float,
    by: dt.date,
    as_of: dt.date,
    level: float,
    ready: float,
) -> str:
    """Sentence for a part whose number on the shelf is not known."""
    if hold == 0:
        return f"Hold none; what is on the shelf is not known: {_expected(low, high, by, as_of)}."
    return (
        f"Hold {hold:.0f}, count the shelf: what is on it is not known; "
        f"{_expected(low, high, by, as_of)}; {_covers(level, ready)}."
    )
