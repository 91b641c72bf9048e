"""The search of cells whose climb found no top, or may have missed a higher one."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import NEVER, Block
from dutylife.models.batch.climb import LARGEST_RESIDUAL, SEARCHED, Tops, checked, newton
from dutylife.models.batch.levels import Between, best_b, profile
from dutylife.models.batch.surface import Surface
from dutylife.models.checks import Array

FEW_FAILED = 5  # with late entries, so few failures can leave a second top
BARELY = 1e-3  # bend of the profile over the failures; that of a top is near 2
FIRST_LOOK = np.append(SEARCHED[:-1:3], SEARCHED[-1])
ROWS_AT_ONCE = 1_000_000


def unsure(block: Block, top: Tops) -> NDArray[np.bool_]:
    """Cells to search: no top was found, it lies at an end or is flat, or there may be another.

    Without failures between two ages there is but one top, whatever the entries: with n(t) lives
    under watch at age t, S0(k) / k is the integral of n(t) t^(k - 1), whose log is convex in k, so
    that the profile, k x sum of log t - failures x log(S0(k) / k), is concave. Without late entries
    the surface is concave. With both, few failures can leave a second top.
    """
    at, few = top.at, block.rows_failed <= FEW_FAILED
    with np.errstate(all="ignore"):
        flat = ~((at.qq - at.qb**2 / at.bb) / block.rows_failed < -BARELY)
    edge = (top.q < SEARCHED[0] + 1.0) | (top.q > SEARCHED[-1] - 1.0)
    late, looked = np.zeros((2, block.n_cells), dtype=bool)
    if block.has_between:
        kind = block.between
        late[block.entered.cells] = True
        late[kind.cells] |= np.maximum.reduceat(kind.log_age[2], kind.starts) > NEVER
        looked[kind.cells] = True
    unsure: NDArray[np.bool_] = (block.rows_failed > 0) & (
        ~top.found | edge | flat | (late & looked & few)
    )
    return unsure


def searched(block: Block, known: Tops) -> Tops:
    """Look at many shapes, take the highest top, polish it.

    A cell whose top was known, and that shows one top at every third shape, keeps it: tops of few
    failures are wider than that. ``found`` is false where the likelihood rises to the end of
    the shapes, or is as high there as at any top; ``second`` where there is more than one top.
    """
    with np.errstate(all="ignore"):
        if not block.has_between:
            low, high = _scanned(block, SEARCHED[[0, -1]])[0]
            none = (low <= 0) | (high > 0)  # concave, it rises to that end all the way
            if none.any():
                return _nowhere(known, none) if none.all() else _put(
                    _nowhere(known, none), ~none, searched(block.of(~none), known.of(~none))
                )  # fmt: skip
        slopes, values = _scanned(block, FIRST_LOOK)
        top = (slopes[:-1] > 0) & (slopes[1:] <= 0)
        ends = _height_at_ends(slopes, values)
        at = np.searchsorted(FIRST_LOOK, known.q)
        there = top[np.clip(at - 1, 0, len(top) - 1), np.arange(block.n_cells)]
        sure = known.found & there & (top.sum(axis=0) == 1)
        sure &= known.at.value > ends + 1e-9 * (1.0 + np.abs(ends))
        if sure.all():
            return known
        return _put(known, ~sure, _searched_wholly(block.of(~sure)))


def _nowhere(known: Tops, cells: NDArray[np.bool_]) -> Tops:
    """The tops, those of some cells taken for none."""
    return replace(known, found=known.found & ~cells, second=known.second & ~cells)


def _put(known: Tops, cells: NDArray[np.bool_], tops: Tops) -> Tops:
    """The tops, those of some cells put in."""
    out = {k: getattr(known, k).copy() for k in ("q", "b", "residual", "found", "second")}
    for name, values in out.items():
        values[cells] = getattr(tops, name)
    at = {k: getattr(known.at, k).copy() for k in Surface.__slots__}
    for name, values in at.items():
        values[cells] = getattr(tops.at, name)
    return Tops(at=Surface(**at), **out)


def _searched_wholly(block: Block) -> Tops:
    slopes, values = _scanned(block, SEARCHED)
    top = (slopes[:-1] > 0) & (slopes[1:] <= 0)
    height = np.where(top, np.fmax(values[:-1], values[1:]), -np.inf)
    best = height.argmax(axis=0)
    ends = _height_at_ends(slopes, values)
    # no top is higher than its steeper side leads; on a level, slopes are noise
    step = 2.0 * (SEARCHED[1] - SEARCHED[0])
    highest = np.where(top, np.fmax(values[:-1] + step * slopes[:-1], values[1:]), -np.inf)
    found: NDArray[np.bool_] = highest.max(axis=0) > ends + 1e-9 * (1.0 + np.abs(ends))
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
        q[found], b[found], _ = newton(part, q[found], b[found])
    at, residual = checked(block, q, b)
    found &= np.isfinite(residual) & (residual <= LARGEST_RESIDUAL)
    found &= at.value > ends + 1e-9 * (1.0 + np.abs(ends))
    return Tops(q, b, at, residual, found, top.sum(axis=0) > 1)


def _height_at_ends(slopes: Array, values: Array) -> Array:
    """Height of the profile at the smallest or the greatest shape, whichever is higher.

    Of those looked at and told: the slope is missing where figures pass what a float holds.
    """
    told, cell = np.isfinite(slopes), np.arange(slopes.shape[1])
    first, last = told.argmax(axis=0), len(told) - 1 - told[::-1].argmax(axis=0)
    return np.asarray(np.fmax(values[first, cell], values[last, cell]))


def _scanned(block: Block, log_shapes: Array) -> tuple[Array, Array]:
    """Slope and height of the profile at the same log shapes in all cells; shape (m, n_cells)."""
    shapes = np.exp(log_shapes)
    sums = block.sums_at(shapes, 1)
    k, d = shapes[:, None], block.failures
    if not block.has_between:
        slopes = d + k * (block.log_failed - d * sums[1] / sums[0])
        values = d * (log_shapes[:, None] + np.log(d) - np.log(sums[0])) + k * block.log_failed - d
        return slopes, values
    slopes, values = np.empty((2, len(shapes), block.n_cells))
    step = max(ROWS_AT_ONCE // block.between.log_age.shape[1], 1)
    for first in range(0, len(shapes), step):
        some = slice(first, first + step)
        q = np.repeat(log_shapes[None, some], block.n_cells, axis=0)
        level = Between(block, q, sums[0, some].T, sums[1, some].T)
        told = level.told(level.best())
        slopes[some], values[some] = told[0].T, told[1].T
    return slopes, values


def _along(block: Block, q: Array) -> tuple[Array, Array]:
    """Slope and height of the profile at given log shapes."""
    if not block.has_between:
        _, value, slope, _ = profile(block, q)
        return slope, value
    level = Between.at(block, q)
    slope, value = level.told(level.best())
    return slope[:, 0], value[:, 0]
