"""The outermost value of a figure on a contour of the likelihood, where Newton steps missed it.

For each shape the values of b that the lives do not contradict form one interval, since the
likelihood is concave in b; its ends give the figure's extreme for that shape. The extreme over
shapes is looked for on a grid and narrowed: slow, sure, and needed by few cells.
"""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import Block
from dutylife.models.batch.climb import SEARCHED
from dutylife.models.batch.levels import best_b, profile
from dutylife.models.batch.surface import HIGHEST_B, surface
from dutylife.models.checks import Array

if TYPE_CHECKING:
    from dutylife.models.batch.limits import Figure

N_SHAPES = 61
_GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0


def outermost(block: Block, q_top: Array, least: Array, figure: "Figure", side: int) -> Array:
    """Greatest (side 1) or smallest (side -1) value of a figure where the likelihood is ``least``.

    Infinite where the lives contradict no shape on the side that carries the figure there.
    """
    low, low_open = _end(block, q_top, least, -1)
    high, high_open = _end(block, q_top, least, 1)
    if figure.kind == "shape":
        end, is_open = (low, low_open) if side < 0 else (high, high_open)
        return np.where(is_open, side * np.inf, end)

    def extreme(q: Array) -> Array:
        ends = [figure.x(q, b) for b in _ends_of_b(block, q, least)]
        best = np.fmax(*ends) if side > 0 else np.fmin(*ends)
        return np.where(np.isnan(best), -np.inf, side * best)

    shares = np.linspace(0.0, 1.0, N_SHAPES)
    heights = np.array([extreme(low + s * (high - low)) for s in shares])
    best = np.clip(heights.argmax(axis=0), 1, N_SHAPES - 2)
    step = (high - low) / (N_SHAPES - 1)
    a, c = low + (best - 1) * step, low + (best + 1) * step
    for _ in range(30):
        inner, outer = c - _GOLDEN * (c - a), a + _GOLDEN * (c - a)
        left = extreme(inner) >= extreme(outer)
        a, c = np.where(left, a, inner), np.where(left, outer, c)
    found = side * np.fmax(extreme(0.5 * (a + c)), heights.max(axis=0))
    # the extreme lies at the end of the shapes looked at, and the contour goes on beyond
    at_low, at_high = heights.argmax(axis=0) == 0, heights.argmax(axis=0) == N_SHAPES - 1
    return np.where((at_low & low_open) | (at_high & high_open), side * np.inf, found)


def _end(block: Block, q_top: Array, least: Array, side: int) -> tuple[Array, NDArray[np.bool_]]:
    """Log shape where the profile falls below ``least``, and whether it never does."""
    stop = _furthest_told(block, np.full_like(q_top, SEARCHED[0 if side < 0 else -1]))
    inside, outside = q_top.copy(), stop.copy()
    is_open = _profile(block, outside) >= least
    # the first crossing outward from the top
    for share in np.linspace(0.0, 1.0, 41)[1:]:
        q = q_top + share * (stop - q_top)
        above = _profile(block, q) >= least
        still = inside == q_top + (share - 0.025) * (stop - q_top)
        inside = np.where(above & still, q, inside)
        outside = np.where(~above & still & (outside == stop), q, outside)
    for _ in range(60):
        middle = 0.5 * (inside + outside)
        above = _profile(block, middle) >= least
        inside, outside = np.where(above, middle, inside), np.where(above, outside, middle)
    return 0.5 * (inside + outside), is_open


def _furthest_told(block: Block, stop: Array) -> Array:
    """Shapes at which no figure passes what a float holds, from some on downward."""
    step = SEARCHED[1] - SEARCHED[0]
    while block.has_between:
        past = best_b(block, stop) > HIGHEST_B - 1.0
        if not past.any():
            break
        stop = np.where(past, stop - step, stop)
    return stop


def _profile(block: Block, q: Array) -> Array:
    value = surface(block, q, best_b(block, q)).value if block.has_between else profile(block, q)[1]
    return np.nan_to_num(value, nan=-np.inf)


def _ends_of_b(block: Block, q: Array, least: Array) -> tuple[Array, Array]:
    """Both b where the likelihood is ``least`` for a shape; missing where it never gets there.

    Newton steps from beyond an end never pass it, since the likelihood is concave in b.
    """
    if not block.has_between:
        b, height, _, _ = profile(block, q)
        # with y = b - best b: value = height + failures (1 + y - e^y)
        m = 1.0 + (height - least) / block.failures
        low, high = -m, np.log(2.0 * m) + 0.5
        for _ in range(40):
            at_low, at_high = np.exp(low), np.exp(high)
            down = (low - at_low + m) / np.maximum(1.0 - at_low, 1e-9)
            up = (high - at_high + m) / np.minimum(1.0 - at_high, -1e-9)
            low, high = low - down, high - up
            if not (np.abs(np.where(m >= 1.0, np.abs(down) + np.abs(up), 0.0)) > 1e-13).any():
                break
        there = m >= 1.0
        return np.where(there, b + low, np.nan), np.where(there, b + high, np.nan)
    top = best_b(block, q)
    there = surface(block, q, top).value >= least
    ends = []
    for side in (-1.0, 1.0):
        b = top + side
        for _ in range(10):
            above = surface(block, q, b).value >= least
            if not above.any():
                break
            b = np.where(above, top + 2.0 * (b - top), b)
        for _ in range(40):
            at = surface(block, q, b)
            step = np.nan_to_num((least - at.value) / at.b)
            b = b + step
            if not (np.abs(step[there]) > 1e-10).any():
                break
        ends.append(np.where(there, b, np.nan))
    return ends[0], ends[1]
