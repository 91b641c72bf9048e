"""Shelves replayed through a year that came, each method's levels scaled to the same fill."""

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from dutylife.backtest.shelf import Level, replay
from dutylife.stock.part_law import quantiles
from dutylife.stock.terms import Terms
from dutylife.vocabulary.spans import DAYS_PER_YEAR

Array = npt.NDArray[np.float64]
STARTS = (0, 1, 3)  # months after the cut-off from which on a level is the next one
QUANTILES = (0.5, 0.6, 0.7, 0.78, 0.85, 0.9, 0.94, 0.97, 0.985, 0.995, 0.999)
TIMES = (1.5, 2.0, 3.0, 5.0, 8.0)  # of the highest quantile, where that does not fill enough
STEPS = (*((q, 1.0) for q in QUANTILES), *((QUANTILES[-1], t) for t in TIMES))
FILL = 0.95
WAITING = FILL / (1 - FILL)  # cost of a piece waited for over that of one held, a day
Law = Callable[[str, int, float], Array]  # part, month of the start, days: chances


def stock_rows(
    law: Law, asked: dict[str, Array], terms: dict[str, Terms], costs: dict[str, float],
    starts: tuple[float, ...],
) -> list[dict[str, Any]]:  # fmt: skip
    """Replay every part at each quantile of its demand over lead time and review, or times that.

    Parameters
    ----------
    law : callable
        Chances of a part's demand from a month of `STARTS` on, over so many days.
    asked : dict of str to ndarray, shape (n_days,)
        Pieces asked for each day after the cut-off.
    terms : dict of str to Terms
    costs : dict of str to float
        True cost of a piece. [currency]
    starts : tuple of float
        Day each of `STARTS` begins.

    Returns
    -------
    list of dict
        quantile, times, asked, given [pieces]; held_cost, ordering_cost, waiting_cost [currency].
        Ordered when the position falls below the quantile of the demand over lead time and review,
        up to that and the mean of a review: alike for every method, so that only what it knows
        differs.
    """
    sums = np.zeros((len(STEPS), 5))
    for part, daily in sorted(asked.items()):
        own = terms[part]
        by_start = []
        for month in STARTS:
            chances = law(part, month, own.protection_days)
            mean = float(chances @ np.arange(len(chances)))
            lot = round(mean * own.review_days / own.protection_days)
            by_start.append((quantiles(chances, QUANTILES), lot))
        years = len(daily) / DAYS_PER_YEAR
        done: dict[tuple[float, ...], tuple[float, ...]] = {}
        for i, (level, times) in enumerate(STEPS):
            at = QUANTILES.index(level)
            points = tuple(float(np.ceil(q[at] * times)) for q, _ in by_start)
            if points not in done:
                levels = [
                    Level(start=int(day), point=point, up_to=point + lot)
                    for day, point, (_, lot) in zip(starts, points, by_start, strict=True)
                ]
                found = replay(daily, levels, own, on_hand=levels[0].point)
                a_year = own.holding_rate * costs[part] * years
                done[points] = (
                    found.asked, found.given, a_year * found.held_mean,
                    found.n_orders * (own.order_cost or 0.0),
                    a_year * WAITING * found.waiting_mean,
                )  # fmt: skip
            sums[i] += done[points]
    names = ("asked", "given", "held_cost", "ordering_cost", "waiting_cost")
    return [
        {"quantile": q, "times": t} | dict(zip(names, map(float, row), strict=True))
        for (q, t), row in zip(STEPS, sums, strict=True)
    ]
