"""Demand of a plan that starts on a later day: as it was until then, by the plan from then on."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from dutylife.stock.lattice import RenewalLaw, Spans
from dutylife.stock.positions import CellChances, Draws, Positions, planned_chances

Array = npt.NDArray[np.float64]
ALTERNATIVES = 3  # of each position: before the start; after it unrenewed; after it renewed


def switched_chances(
    law: RenewalLaw, positions: Positions, draws: Draws, spans: Spans, starts_days: float,
    rates: tuple[float, float],
) -> tuple[CellChances, Array]:  # fmt: skip
    """Chances of pieces where a plan starts after so many days.

    Parameters
    ----------
    law : RenewalLaw
    positions : Positions
        ``planned_age`` as it holds from the start on.
    draws : Draws
        Few: each position has its own lattice.
    spans : Spans
    starts_days : float
        Above 0 and before the last span's end. [d]
    rates : tuple of float
        Planned replacements a day before the start and after it. [1/d]

    Returns
    -------
    chances : CellChances
        Positions three times over: up to the start, then from it on as a part that was not
        renewed before, then as one that was.
    present : ndarray, shape (3 n,)
        Chance of each of the three, to be multiplied with being in service. [1]

    Notes
    -----
    A part that is not renewed before the start is then as much older; one that is renewed is taken
    as half as old as the time before the start. All three share the draws of the law; that a
    renewal before the start makes one soon after it less likely goes in by the chances only, so
    that a span across the start is told a little wide.
    """
    # a step at least on either side: a plan that starts within a step of the ends
    at = min(max(round(starts_days / spans.step_days), 1), int(spans.end.max()) - 1)
    n = len(positions.age)
    before_of = [(int(s), int(min(e, at))) for s, e in zip(spans.start, spans.end, strict=True)]
    after_of = [
        (int(max(s, at) - at), int(e - at)) for s, e in zip(spans.start, spans.end, strict=True)
    ]
    none = np.full(n, np.inf)
    before = _found(
        replace(law, planned_rate=np.array([rates[0]])), replace(positions, planned_age=none),
        draws, before_of, spans.step_days,
    )  # fmt: skip
    stays = _unrenewed(positions, draws, starts_days, rates[0])
    older = replace(positions, age=positions.age + starts_days)
    newer = replace(positions, age=np.full(n, starts_days / 2), is_known=np.ones(n, dtype=np.bool_))
    later = replace(law, planned_rate=np.array([rates[1]]))
    parts = [before] + [
        _found(later, own, draws, after_of, spans.step_days) for own in (older, newer)
    ]
    there = float(np.exp(-law.leaving_rate * starts_days))
    present = np.concatenate([np.ones(n), stays * there, (1 - stays) * there])
    return _beside(parts, len(spans.start)), present


_Found = tuple[CellChances, dict[int, int]]


def _found(
    law: RenewalLaw, positions: Positions, draws: Draws, ends: list[tuple[int, int]], step: float
) -> _Found:
    """Chances in the spans that are not empty, and which column each of the spans has."""
    kept = sorted({pair for pair in ends if pair[1] > pair[0]})
    both = np.array(kept, dtype=np.int64)
    spans = Spans(start=both[:, 0], end=both[:, 1], step_days=step)
    place = {i: kept.index(pair) for i, pair in enumerate(ends) if pair[1] > pair[0]}
    return planned_chances(law, positions, draws, spans), place


def _unrenewed(positions: Positions, draws: Draws, days: float, rate: float) -> Array:
    """Chance that the part now in service is still there after so many days; shape (n,)."""
    from scipy.special import gamma

    scale = draws.scale[:, None] * positions.days_per_unit
    shape = draws.shape[:, None]
    hazard = ((positions.age + days) / scale) ** shape - (positions.age / scale) ** shape
    # of unknown age: met at any time, it is renewed as often as parts are in the long run
    hazard = np.where(positions.is_known, hazard, days / (scale * gamma(1 + 1 / shape)))
    return np.asarray(draws.weight @ np.exp(-np.minimum(hazard + rate * days, 700.0)))


def _beside(parts: list[_Found], n_spans: int) -> CellChances:
    """Positions of all beside each other, with columns for every span."""
    most = [
        max(found.columns[place[i]][1] for found, place in parts if i in place)
        for i in range(n_spans)
    ]
    begins = np.concatenate([[0], np.cumsum([m + 2 for m in most])]).astype(int)
    wide = []
    for found, place in parts:
        out = np.zeros((*found.chances.shape[:2], int(begins[-1])))
        for i, j in place.items():
            at, n = found.columns[j]
            to = int(begins[i])
            out[..., to : to + n] = found.chances[..., at : at + n]
            end = to + most[i]
            out[..., end : end + 2] = found.chances[..., at + n : at + n + 2]
        wide.append(out)
    columns = tuple((int(b), int(m)) for b, m in zip(begins, most, strict=False))
    return CellChances(
        chances=np.concatenate(wide, axis=1), columns=columns, weight=parts[0][0].weight
    )
