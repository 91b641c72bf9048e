"""The search of cells whose climb found no top, or may have missed a higher one."""

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import NEVER, Block
from dutylife.models.batch.climb import LARGEST_RESIDUAL, SEARCHED, Tops, checked, newton
from dutylife.models.batch.levels import best_b, best_b_between, first_b, profile
from dutylife.models.batch.surface import HIGHEST_B, Surface
from dutylife.models.checks import Array

FEW_FAILED = 5  # with late entries, so few failures can leave a second top
BARELY = 1e-3  # bend of the profile over the failures; that of a top is near 2
FIRST_LOOK = SEARCHED[::3]


def unsure(block: Block, top: Tops) -> NDArray[np.bool_]:
    """Cells to search: no top was found, it lies at an end or is flat, or there may be another.

    Without failures between two ages there is but one top, whatever the entries: with n(t) lives
    under watch at age t, S0(k) / k is the integral of n(t) t^(k - 1), whose log is convex in k, so
    that the profile, k x sum of log t - failures x log(S0(k) / k), is concave. With such failures
    and late entries, few failures can leave a second one.
    """
    at, few = top.at, block.rows_failed <= FEW_FAILED
    with np.errstate(all="ignore"):
        flat = ~((at.qq - at.qb**2 / at.bb) / block.rows_failed < -BARELY)
    edge = (top.q < SEARCHED[0] + 1.0) | (top.q > SEARCHED[-1] - 1.0)
    late = np.zeros(block.n_cells, dtype=bool)
    late[block.entered.cells] = block.has_between
    kind = block.between
    if block.has_between:
        late[kind.cells] |= np.maximum.reduceat(kind.log_age[2], kind.starts) > NEVER
    return (block.rows_failed > 0) & (~top.found | edge | flat | (late & few))


def searched(block: Block, known: Tops) -> Tops:
    """Look at many shapes, take the highest top, polish it.

    A cell whose top was known, and that shows one top at every third shape, keeps it: tops of few
    failures are wider than that. ``found`` is false where the likelihood rises to the end of
    the shapes, or is as high there as at any top; ``second`` where there is more than one top.
    """
    with np.errstate(all="ignore"):
        slopes, values = _scanned(block, FIRST_LOOK)
        top = (slopes[:-1] > 0) & (slopes[1:] <= 0)
        ends = _height_at_ends(block, FIRST_LOOK, slopes)
        at = np.searchsorted(FIRST_LOOK, known.q)
        there = top[np.clip(at - 1, 0, len(top) - 1), np.arange(block.n_cells)]
        sure = known.found & there & (top.sum(axis=0) == 1)
        sure &= known.at.value > ends + 1e-9 * (1.0 + np.abs(ends))
        if sure.all():
            return known
        again = _searched_wholly(block.of(~sure))
    out = {k: getattr(known, k).copy() for k in ("q", "b", "residual", "found", "second")}
    for name, values in out.items():
        values[~sure] = getattr(again, name)
    at_top = {k: getattr(known.at, k).copy() for k in Surface.__slots__}
    for name, values in at_top.items():
        values[~sure] = getattr(again.at, name)
    return Tops(at=Surface(**at_top), **out)


def _searched_wholly(block: Block) -> Tops:
    slopes, values = _scanned(block, SEARCHED)
    top = (slopes[:-1] > 0) & (slopes[1:] <= 0)
    height = np.where(top, np.fmax(values[:-1], values[1:]), -np.inf)
    best = height.argmax(axis=0)
    ends = _height_at_ends(block, SEARCHED, slopes)
    found: NDArray[np.bool_] = np.asarray(top.any(axis=0))
    low, high = SEARCHED[best], SEARCHED[best + 1]
    q = 0.5 * (low + high)
    if found.any():
        part = block if found.all() else block.of(found)
        inner, outer = low[found], high[found]
        for _ in range(6):  # Newton steps do the rest
            middle = 0.5 * (inner + outer)
            up = _along(part, middle)[0] > 0
            inner, outer = np.where(up, middle, inner), np.where(up, outer, middle)
        q[found] = 0.5 * (inner + outer)
    b = best_b(block, q)
    if found.any():
        q[found], b[found] = newton(part, q[found], b[found], active=found[found])
    at, residual = checked(block, q, b)
    found &= np.isfinite(residual) & (residual <= LARGEST_RESIDUAL)
    found &= at.value > ends + 1e-9 * (1.0 + np.abs(ends))
    return Tops(q, b, at, residual, found, top.sum(axis=0) > 1)


def _height_at_ends(block: Block, log_shapes: Array, slopes: Array) -> Array:
    """Height of the profile at the smallest or the greatest shape, whichever is higher.

    Of those looked at and told: the slope is missing where figures pass what a float holds.
    """
    told = np.isfinite(slopes)
    ends = told.argmax(axis=0), len(told) - 1 - told[::-1].argmax(axis=0)
    low, high = (_along(block, log_shapes[at])[1] for at in ends)
    return np.fmax(low, high)


def _scanned(block: Block, log_shapes: Array) -> tuple[Array, Array]:
    """Slope and height of the profile at the same log shapes in all cells; shape (m, n_cells)."""
    shapes = np.exp(log_shapes)
    sums = block.sums_at(shapes, 2 if block.has_between else 1)
    k, d = shapes[:, None], block.failures
    if not block.has_between:
        slopes = d + k * (block.log_failed - d * sums[1] / sums[0])
        values = d * (log_shapes[:, None] + np.log(d) - np.log(sums[0])) + k * block.log_failed - d
        return slopes, values
    slopes, values = np.empty((2, len(shapes), block.n_cells))
    b = first_b(block, np.full(block.n_cells, log_shapes[0]))
    for i, q in enumerate(log_shapes):
        now = sums[0, i], sums[1, i], sums[2, i]
        b, at = best_b_between(block, np.full(block.n_cells, q), now, b, within=0.02, most=12)
        # what the last step in b would still add, to second order
        slopes[i] = at.q - np.nan_to_num(at.qb / at.bb * at.b)
        slopes[i, b > HIGHEST_B - 1.0] = np.nan  # the surface is not told beyond
        values[i] = at.value - np.nan_to_num(0.5 * at.b**2 / at.bb)
        if i + 1 < len(log_shapes):
            b = b - np.clip(np.nan_to_num(at.qb / at.bb), -50.0, 50.0) * (log_shapes[i + 1] - q)
    return slopes, values


def _along(block: Block, q: Array) -> tuple[Array, Array]:
    """Slope and height of the profile at given log shapes."""
    if not block.has_between:
        _, value, slope, _ = profile(block, q)
        return slope, value
    _, at = best_b_between(block, q, block.sums(np.exp(q)), first_b(block, q))
    return at.q, at.value
