"""Reorder point and order-up-to level of a review that reach a service, evaluated exactly."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from dutylife.stock.order_lot import order_quantity
from dutylife.stock.terms import Terms
from dutylife.vocabulary.spans import DAYS_PER_YEAR

Array = npt.NDArray[np.float64]
LawOf = Callable[[int], Array]  # days ahead to the chance of 0, 1, 2, ... pieces


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of one part and what they give in the long run under the law of its demand.

    Parameters
    ----------
    point, up_to : int
        At a review with less than the point on the shelf and on order, order up to the level. The
        point is 0 where nothing is asked for or none may be held. [pieces]
    fill_rate : float
        Share of the pieces asked for that are given at once. [1]
    ready_rate : float
        Share of deliveries before which nothing was owed. [1]
    held : float
        Mean pieces on the shelf at the close of a day. [pieces]
    order_size : float
        Mean pieces of an order. [pieces]
    lowered_to : int, optional
        Most pieces the shelf life allows, where that lowered the levels. [pieces]
    """

    point: int
    up_to: int
    fill_rate: float
    ready_rate: float
    held: float
    order_size: float
    lowered_to: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Served:
    """What every reorder point gives, 0, 1, 2, ... pieces; shape (n_points,) each.

    ``gap``: pieces from the point to the order-up-to level; ``a_day``: mean demand [pieces a day].
    """

    gap: int
    fill_rate: Array
    ready_rate: Array
    held: Array
    order_size: float
    a_day: float

    def at(self, point: int) -> Levels:
        """Levels with this point."""
        return Levels(
            point=point, up_to=point + self.gap, fill_rate=float(self.fill_rate[point]),
            ready_rate=float(self.ready_rate[point]), held=float(self.held[point]),
            order_size=self.order_size,
        )  # fmt: skip

    def smallest(self, level: float, measure: str) -> int:
        """Smallest point that reaches a service, at least 1 where anything is asked for.

        With a great lot waiting until somebody is owed a piece can reach the service, too; but an
        empty shelf is a reason to order (our proposal).
        """
        if len(self.fill_rate) == 1:
            return 0
        served = self.ready_rate if measure == "ready rate" else self.fill_rate
        enough = np.flatnonzero(served >= level - 1e-9)
        return max(int(enough[0]), 1) if enough.size else len(served) - 1


def levels_of(law_of: LawOf, terms: Terms, horizon_days: int) -> Levels:
    """Smallest levels that reach the service asked for.

    Parameters
    ----------
    law_of : callable
        Chances of 0, 1, 2, ... pieces in so many days from now; of the days of `days_asked`.
    terms : Terms
    horizon_days : int
        No order buys further than this. [d]

    Returns
    -------
    Levels
    """
    found = served_by(law_of, terms, horizon_days)
    point = found.smallest(terms.service_level, terms.service_measure)
    return within_shelf_life(found, point, law_of, terms, horizon_days)


def days_asked(terms: Terms, horizon_days: int) -> list[int]:
    """Days ahead whose law `levels_of` asks for."""
    ends = {days for days, _ in terms.lead_times if days > 0}
    review = terms.review_whole_days
    return sorted(ends | {d + review for d, _ in terms.lead_times} | {review, horizon_days})


def served_by(law_of: LawOf, terms: Terms, horizon_days: int, *, gap: int | None = None) -> Served:
    """What every reorder point gives, the lot being that of `lot_of` unless ``gap`` is given.

    Parameters
    ----------
    law_of, terms, horizon_days
        As of `levels_of`.

    Returns
    -------
    Served

    Notes
    -----
    A review leaves y pieces on the shelf and on order; the orders of this review serve from a lead
    time L on until those of the next one, R later. Pieces asked for at L..L+R that are not there
    are E(D(L+R) - y)+ - E(D(L) - y)+ (Hadley & Whitin, Analysis of Inventory Systems, chapter 5,
    from memory), so that fill = 1 - mean of that over y, over the mean demand of L..L+R. How often
    each y comes follows from the renewal chain of reviews between two orders, undershoot, whole
    packs and the least order included (`_offsets`). The laws hold what is not known of the lives'
    laws; of successive reviews they are taken as independent in that chain only.

    A sale that is lost leaves the position as it is: of B pieces short a cycle and Q ordered, Q + B
    were asked for. Right with one order on its way at a time; with several the true fill is higher
    (at 95 % by 1 to 3 points in long simulations), so that a little much is held, at one within a
    point.
    """
    from scipy.signal import correlate

    review = law_of(terms.review_whole_days)
    mean_review = _mean(review)
    a_day = _mean(law_of(horizon_days)) / horizon_days
    both = [(law_of(d + terms.review_whole_days), share) for d, share in terms.lead_times]
    if mean_review <= 0 or all(_mean(law) <= 0 for law, _ in both):
        none, sure = np.zeros(1), np.ones(1)
        return Served(
            gap=gap or 0, fill_rate=sure, ready_rate=sure, held=none, order_size=0.0, a_day=a_day
        )
    lead = [(law_of(d) if d > 0 else np.ones(1), share) for d, share in terms.lead_times]
    pack = terms.whole_pack
    if gap is None:
        gap = _gap(review, mean_review, lot_of(a_day, mean_review, terms, horizon_days), pack)
    weight, order_size = _offsets(review, mean_review, gap, pack, terms.minimum_order)
    n_points = max(len(law) for law, _ in both) + 1
    positions = np.arange(n_points + len(weight) - 1, dtype=float)
    short_at_end, ready = _short(both, positions)
    short_before, _ = _short(lead, positions)
    asked = sum(share * _mean(law) for law, share in both)
    before = sum(share * _mean(law) for law, share in lead)
    window = max(asked - before, 1e-12)
    # mean pieces on the shelf at the close of the days that an order serves; what is short grows
    # about with the square of the time since the delivery
    a_close = (asked + before + window / terms.review_whole_days) / 2
    held = positions - a_close + (2 * short_before + short_at_end) / 3

    def over(values: Array) -> Array:
        return np.asarray(correlate(values, weight, mode="valid"))

    unmet = np.clip(over(short_at_end - short_before) / window, 0.0, 1.0)
    if terms.when_short == "lost sale":
        unmet = unmet / (1 + unmet)
    return Served(
        gap=gap, fill_rate=1 - unmet, ready_rate=np.clip(over(ready), 0.0, 1.0),
        held=np.maximum(over(held), 0.0), order_size=order_size, a_day=a_day,
    )  # fmt: skip


def lot_of(a_day: float, mean_review: float, terms: Terms, horizon_days: int) -> float:
    """Pieces an order should have: the economic quantity, else one review's demand.

    The square-root rule buys years ahead of a slow part; what is needed beyond the forecast's
    horizon nobody has looked at, so it buys no further (our proposal).
    """
    if terms.order_cost and terms.unit_cost and terms.holding_rate and a_day > 0:
        yearly = a_day * DAYS_PER_YEAR
        lot = order_quantity(yearly, terms.order_cost, terms.unit_cost, terms.holding_rate).quantity
        return max(min(lot, a_day * horizon_days), 1.0)
    return mean_review


def within_shelf_life(
    found: Served, point: int, law_of: LawOf, terms: Terms, horizon_days: int
) -> Levels:
    """Levels of a point, lowered so that no more is held than is used within the shelf life."""
    most = most_within_shelf_life(found.a_day, terms)
    if most is None:
        return found.at(point)
    # the last pack may bring the shelf above the level; one pack is the least that can be bought
    top = max(most - terms.whole_pack + 1, min(most, 1))
    if point + found.gap <= top:
        return found.at(point)
    point = min(point, top)
    lowered = served_by(law_of, terms, horizon_days, gap=top - point).at(point)
    return replace(lowered, lowered_to=most)


def most_within_shelf_life(a_day: float, terms: Terms) -> int | None:
    """Whole pieces expected to be used within the shelf life; None without one."""
    return None if terms.shelf_life_days is None else int(a_day * terms.shelf_life_days + 1e-9)


def _mean(chance: Array) -> float:
    return float(chance @ np.arange(len(chance)))


def _visits(review: Array, n: int) -> Array:
    """Expected reviews at 0, 1, ... n - 1 pieces below the top between two orders."""
    from scipy.signal import lfilter

    impulse = np.zeros(n)
    impulse[0] = 1.0
    # 1 / (1 - D(z)), the renewal measure of the demand of a review
    return np.asarray(lfilter([1.0], np.concatenate([[1 - review[0]], -review[1:n]]), impulse))


def _gap(review: Array, mean_review: float, lot: float, pack: int) -> int:
    """Pieces from the point to the level with which an order is nearest to the lot.

    An order also makes up for what was asked for below the point since the review before, and
    for half a pack.
    """
    wanted = lot - (pack - 1) / 2
    sizes = mean_review * np.cumsum(_visits(review, math.ceil(lot) + 1))
    return int(np.argmin(np.abs(sizes - wanted)))


def _offsets(
    review: Array, mean_review: float, gap: int, pack: int, least: float
) -> tuple[Array, float]:
    """How often a review leaves 0, 1, 2, ... pieces above the point, and the mean order."""
    deepest = len(review) - 1  # pieces below the point that a review can find
    under = np.arange(1, max(deepest, 1) + 1)
    wanted = np.maximum(gap + under, least)
    after = (np.ceil(wanted / pack - 1e-9) * pack).astype(np.int64) - under
    starts = np.unique(after)
    visits = _visits(review, int(starts.max()) + 1)
    place = np.searchsorted(starts, after)
    moves = np.zeros((len(starts), len(starts)))
    stays = np.zeros((len(starts), len(visits)))
    for i, start in enumerate(starts):
        stays[i, : start + 1] = visits[: start + 1][::-1]
        # a review at k above the point finds u below it after a demand of k + u
        padded = np.concatenate([review[1:], np.zeros(start + 1)])
        found = np.correlate(padded, stays[i, : start + 1], mode="valid")[: len(under)]
        moves[i] = np.bincount(place[: len(found)], weights=found, minlength=len(starts))
    moves /= moves.sum(axis=1, keepdims=True)
    # every other step stays, so that a chain that comes round settles as well
    share = np.linalg.matrix_power((moves + np.eye(len(starts))) / 2, 1 << 14).mean(axis=0)
    stay = share @ stays
    return stay / stay.sum(), float(mean_review * stay.sum())


def _short(laws: list[tuple[Array, float]], positions: Array) -> tuple[Array, Array]:
    """Mean shortage at each position, and chance of none, over lead times."""
    short, ready = np.zeros(len(positions)), np.zeros(len(positions))
    for law, share in laws:
        chance = np.zeros(max(len(law), len(positions)) + 1)
        chance[: len(law)] = law
        above = np.cumsum(chance[::-1])[::-1]  # chance of n or more
        beyond = np.cumsum(above[::-1])[::-1]  # sums of those
        short += share * beyond[1 : len(positions) + 1]
        ready += share * (1 - above[1 : len(positions) + 1])
    return short, np.clip(ready, 0.0, 1.0)
