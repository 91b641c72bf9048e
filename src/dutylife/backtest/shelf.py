"""A part's shelf replayed day by day under levels that change from month to month."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.stock.terms import Terms

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """From day ``start`` on: order when the position falls below ``point``, up to ``up_to``."""

    start: int
    point: float
    up_to: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """Pieces asked for and given at once, orders, days something was short.

    ``held_mean``, ``waiting_mean``: pieces on the shelf and pieces owed, mean over the days.
    """

    asked: float
    given: float
    held_mean: float
    n_orders: int
    n_short_days: int
    waiting_mean: float = 0.0


def replay(
    daily: Array,
    levels: list[Level],
    terms: Terms,
    *,
    on_hand: float | None = None,
    before: Array | None = None,
) -> Replay:
    """Replay one part; a piece that is short is not counted as given at once.

    Parameters
    ----------
    daily : ndarray, shape (n_days,)
        Pieces asked for each day; returned ones are negative and go back on the shelf.
    levels : list of Level
        In order of their start, the first at day 0.
    terms : Terms
        Lead time, days between reviews, pack, least order; whether what is short waits and is
        given later ("back order") or is lost.
    on_hand : float, optional
        On the shelf at the start; by default it is full to the first ``up_to``. [pieces]
    before : ndarray, shape (n_before,), optional
        Pieces asked for on the days before, replayed under the first level and not counted: a
        shelf is seldom full on the day one looks, and one that starts full lasts out a short
        replay of a slow part whatever its level.

    Notes
    -----
    Orders are placed at the close of a review day and are there at the close of the day a lead
    time later, so that they serve from the next one on.

    Examples
    --------
    >>> from dutylife.settings import Settings
    >>> from dutylife.stock.terms import terms_of
    >>> stock = {"default": {"lead_time_days": 2.0, "review_days": 1.0}}
    >>> terms = terms_of("A", {}, Settings(stock=stock))
    >>> replay(np.array([1.0, 2.0, 1.0]), [Level(start=0, point=1, up_to=2)], terms).given
    2.0
    """
    n_before = 0 if before is None else len(before)
    every = daily if before is None else np.concatenate([before, daily])
    shelf, waiting = levels[0].up_to if on_hand is None else on_hand, 0.0
    asked = given = held = owed = 0.0
    n_orders = n_short = 0
    coming: dict[int, float] = {}
    lead, review = terms.lead_whole_days, terms.review_whole_days
    level, later = levels[0], levels[1:]
    for day, pieces in enumerate(every, start=-n_before):
        while later and later[0].start <= day:
            level, later = later[0], later[1:]
        counts = day >= 0
        if pieces < 0:
            shelf -= pieces
        elif pieces > 0:
            now = min(pieces, shelf)
            shelf -= now
            if terms.when_short == "back order":
                waiting += pieces - now
            if counts:
                asked, given = asked + pieces, given + now
                n_short += now < pieces
        if counts:
            held += shelf
            owed += waiting
        if day % review == review - 1:
            position = shelf - waiting + sum(coming.values())
            if position < level.point:
                wanted = max(level.up_to - position, terms.minimum_order)
                packs = math.ceil(wanted / terms.pack_size - 1e-9)
                coming[day + lead] = coming.get(day + lead, 0.0) + packs * terms.pack_size
                n_orders += counts
        shelf += coming.pop(day, 0.0)
        late = min(waiting, shelf)
        waiting, shelf = waiting - late, shelf - late
    return Replay(
        asked=float(asked), given=float(given), held_mean=float(held / max(len(daily), 1)),
        n_orders=int(n_orders), n_short_days=int(n_short),
        waiting_mean=float(owed / max(len(daily), 1)),
    )  # fmt: skip
