"""Sentences on orders and shelves: how many, until when, what they cover."""

import datetime as dt

from dutylife.wording.figures import count, day_words, money


def _expected(low: float, high: float, by: dt.date, as_of: dt.date) -> str:
    most = "" if low == high else f", 9 times in 10 no more than {high:.0f}"
    usual = "usually none is" if low < 0.5 else f"about {low:.0f} {'is' if low < 1.5 else 'are'}"
    return f"{usual} asked for by {day_words(by, as_of)}{most}"


def _covers(level: float, ready: float) -> str:
    if ready > 0.99:
        times = "nearly always"
    elif ready > 0.95:
        times = "more than 9 times in 10"
    elif ready < 0.05:
        times = "hardly ever"
    else:
        times = f"{min(max(round(10 * ready), 1), 9)} times in 10"
    return f"{level:.0f} {'is' if level == 1 else 'are'} enough {times}"


def order_sentence(
    *,
    order: float,
    needed_by: dt.date | None,
    comes_on: dt.date,
    order_cost: float | None,
    currency: str,
    packs: str = "",
    low: float,
    high: float,
    by: dt.date,
    as_of: dt.date,
    level: float,
    ready: float,
) -> str:
    """Sentence for a part to order: how many, in which packs, until when, what it covers."""
    needed = ""
    if needed_by is not None:
        early = (comes_on - needed_by).days
        late = f", {count(early, 'day')} before it can be here" if early > 0 else ""
        needed = f"; the shelf may run out on {day_words(needed_by, as_of)}{late}"
    paid = "" if order_cost is None else f" ({money(order_cost, currency)})"
    return (
        f"Order {order:.0f}{packs} now{paid}{needed}: {_expected(low, high, by, as_of)}; "
        f"{_covers(level, ready)}."
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


def season_order_sentence(
    *,
    season: str,
    low: float,
    high: float,
    by: dt.date,
    as_of: dt.date,
    currency: str,
    order: float = 0.0,
    there: float = 0.0,
    cost: float = 0.0,
    gain: float = 0.0,
    left_over: float = 0.0,
    unknown: str = "",
) -> str:
    """Sentence for a part that can be ordered ahead of a season; ``unknown`` what is missing."""
    most = "" if low == high else f", 9 times in 10 no more than {high:.0f}"
    asked = f"in the {season} expect {low:.0f}{most}"
    if unknown:
        return f"Not told: {unknown} is not known; {asked}."
    left = f" {there:.0f} of those on hand or ordered will likely be left then." if there else ""
    if not order:
        none = "Order none ahead: a further piece costs more to hold than it saves"
        return f"{none}; {asked}.{left}"
    over = "" if left_over < 0.5 else f", about {left_over:.0f} likely to be left at its end"
    return (
        f"Order {order:.0f} by {day_words(by, as_of)} ({money(cost, currency)}), which saves about "
        f"{money(gain, currency)}: {asked}{over}.{left}"
    )
