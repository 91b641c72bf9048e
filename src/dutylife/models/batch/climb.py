"""Where the likelihood of each cell is highest: Newton steps on series, a search for the rest."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import Block
from dutylife.models.batch.series import LATER_ORDER, ORDER, Series
from dutylife.models.batch.surface import Surface, from_sums, surface
from dutylife.models.checks import Array

SMALL_STEP = 3e-6  # Newton doubles the digits: the step after it is below 1e-10
LARGEST_RESIDUAL = 1e-8
FEW_FAILED = 5  # with late entries, so few failures can leave a second top
# shapes searched where Newton finds no top; two failures within a hundredth give shapes of 300
SEARCHED = np.linspace(np.log(0.02), np.log(5000.0), 75)
FINE = 1e-10  # slope over the failures, with what the series leaves out, that ends a cell's climb
FIRST_LOOK = SEARCHED[::3]
_MOST_SERIES = 8


@dataclass(frozen=True, slots=True, eq=False)
class Tops:
    """Per cell: log shape ``q`` and ``b`` at the top, the surface there, and what was found.

    ``residual`` is the greater of the two slopes over the failures; ``found`` tells a top from
    none; ``second`` that the surface has another, lower top.
    """

    q: Array
    b: Array
    at: Surface
    residual: Array
    found: NDArray[np.bool_]
    second: NDArray[np.bool_]

    def of(self, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> "Tops":
        """Tops of some cells."""
        at = Surface(*(getattr(self.at, k)[chosen] for k in Surface.__slots__))
        return Tops(
            self.q[chosen], self.b[chosen], at, self.residual[chosen], self.found[chosen],
            self.second[chosen],
        )  # fmt: skip


def climbed(block: Block) -> Tops:
    """Tops of a block, as Newton steps from one start find them."""
    n = block.n_cells
    q, sums, left = block.start.copy(), np.ones((3, n)), np.full(n, np.inf)
    b = np.zeros(n)
    with np.errstate(all="ignore"):
        if block.has_between:
            b = _first_b(block, q)
        at, piece = np.flatnonzero(block.rows_failed > 0), block
        if len(at) < n:
            piece = block.of(block.rows_failed > 0)
        for turn in range(_MOST_SERIES):
            if not len(at):
                break
            series = Series.about(piece, q[at], LATER_ORDER if turn else ORDER)
            if block.has_between:
                q[at], b[at] = newton(
                    piece, q[at], b[at], series=series, active=np.ones(len(at), dtype=bool)
                )
            else:
                q[at] = _on_series(piece, series)
            shape = np.exp(q[at])
            sums[:, at] = series.sums(shape)
            left[at] = series.error(shape, sums[0, at])
            if block.has_between:
                there = from_sums(
                    piece, q[at], b[at], shape, (sums[0, at], sums[1, at], sums[2, at])
                )
                slope = np.maximum(np.abs(there.q), np.abs(there.b)) / piece.rows_failed
            else:
                inner = piece.log_failed - piece.failures * sums[1, at] / sums[0, at]
                slope = np.abs(1.0 + shape * inner / piece.failures)
            more = ~(left[at] + slope <= FINE)
            if more.sum() < 0.7 * len(at):
                piece = piece.of(more)
                at = at[more]
            elif not more.any():
                break
        if not block.has_between:
            b = np.log(block.failures) - np.log(sums[0])
        top = from_sums(block, q, b, np.exp(q), (sums[0], sums[1], sums[2]))
        n_failed = block.rows_failed if block.has_between else block.failures
        residual = np.maximum(np.abs(top.q), np.abs(top.b)) / n_failed + left
    fine = np.isfinite(residual) & (residual <= LARGEST_RESIDUAL) & (block.rows_failed > 0)
    return Tops(q, b, top, residual, fine, np.zeros(n, dtype=bool))


def _on_series(block: Block, series: Series) -> Array:
    """Newton steps of the profile over log shape, the sums taken from a series."""
    q, d = series.middle.copy(), block.failures
    for _ in range(8):
        shape = np.exp(q)
        s0, s1, s2 = series.sums(shape)
        ratio = s1 / s0
        inner = shape * (block.log_failed - d * ratio)
        bend = inner - d * shape * shape * (s2 / s0 - ratio * ratio)
        slope = d + inner
        step = np.where(bend < 0, -slope / bend, 0.5 * np.sign(slope))
        last, q = q, np.clip(series.within(q + step), SEARCHED[0], SEARCHED[-1])
        if (np.abs(q - last) > SMALL_STEP).sum() <= 0.03 * len(q):
            break
    return q


def unsure(block: Block, found: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Cells to search: no top was found, or late entries may have left a second one."""
    late = np.zeros(block.n_cells, dtype=bool)
    late[block.entered.cells] = True
    return (block.rows_failed > 0) & (~found | (late & (block.rows_failed <= FEW_FAILED)))


def _checked(block: Block, q: Array, b: Array) -> tuple[Surface, Array]:
    with np.errstate(all="ignore"):
        at = surface(block, q, b)
        n_failed = np.where(block.has_between, block.rows_failed, block.failures)
        residual = np.maximum(np.abs(at.q), np.abs(at.b)) / n_failed
    return at, residual


def profile(block: Block, q: Array) -> tuple[Array, Array, Array, Array]:
    """Without failures between two ages: b of the best scale, and the profile's value and slopes.

    The best scale for a shape is known in closed form: exp(-b) = S0 / failures.
    """
    shape, d = np.exp(q), block.failures
    s0, s1, s2 = block.sums(shape)
    ratio = s1 / s0
    inner = block.log_failed - d * ratio
    slope = d + shape * inner
    bend = shape * inner - d * shape * shape * (s2 / s0 - ratio * ratio)
    b = np.log(d) - np.log(s0)
    return b, d * (q + b) + shape * block.log_failed - d, slope, bend


def _first_b(block: Block, q: Array) -> Array:
    """Best b if each failure between two ages had come at the upper one."""
    kind, shape = block.between, np.exp(q)
    weight = 1.0 if kind.weight is None else kind.weight
    high = np.exp(kind.spread(shape) * kind.log_age[:, 1])
    lived = block.moments(shape, 0)[0] + kind.total(weight * high, block.n_cells)
    first: Array = np.log(block.rows_failed) - np.log(lived)
    return first


def newton(
    block: Block, q: Array, b: Array, *, active: NDArray[np.bool_], series: Series | None = None
) -> tuple[Array, Array]:
    """Damped Newton steps in (q, b); a step that falls is halved, cell by cell.

    With a series, as far as it is trusted.
    """

    def height(q: Array, b: Array) -> Surface:
        if series is None:
            return surface(block, q, b)
        shape = np.exp(q)
        return from_sums(block, q, b, shape, series.sums(shape))

    with np.errstate(all="ignore"):
        here = height(q, b)
        move_q, move_b = _uphill(here)
        for _ in range(60 if series is None else 4):
            next_q = q + move_q if series is None else series.within(q + move_q)
            there = height(next_q, b + move_b)
            risen = there.value >= here.value - 1e-12 * np.abs(here.value)
            risen &= np.isfinite(there.value)
            moved = np.maximum(np.abs(next_q - q), np.abs(move_b))
            q, b = np.where(risen, next_q, q), np.where(risen, b + move_b, b)
            here = Surface(*(
                np.where(risen, getattr(there, k), getattr(here, k)) for k in Surface.__slots__
            ))  # fmt: skip
            next_q, next_b = _uphill(here)
            move_q, move_b = (
                np.where(risen, next_q, move_q / 2.0), np.where(risen, next_b, move_b / 2.0)
            )  # fmt: skip
            # a few slow cells go on with the next series
            slow = 0.0 if series is None else 0.03 * len(q)
            if (active & (moved > SMALL_STEP)).sum() <= slow:
                break
    return q, b


def _uphill(at: Surface) -> tuple[Array, Array]:
    """Newton step where the surface curves down, else along the slope; at most 1 and 2 long."""
    determinant = at.qq * at.bb - at.qb * at.qb
    down = (determinant > 0) & (at.bb < 0)
    step_q = -(at.bb * at.q - at.qb * at.b) / determinant
    step_b = -(at.qq * at.b - at.qb * at.q) / determinant
    steep = np.maximum(np.maximum(np.abs(at.q), np.abs(at.b)), 1e-300)
    step_q = np.where(down, step_q, 0.5 * at.q / steep)
    step_b = np.where(down, step_b, 0.5 * at.b / steep)
    far = np.maximum(np.maximum(np.abs(step_q), np.abs(step_b) / 2.0), 1.0)
    return np.nan_to_num(step_q / far), np.nan_to_num(step_b / far)


def best_b(block: Block, q: Array) -> Array:
    """Best b for each shape; concave in b whatever the rows."""
    with np.errstate(all="ignore"):
        if not block.has_between:
            return np.asarray(np.log(block.failures) - np.log(block.moments(np.exp(q), 0)[0]))
        return best_b_between(block, q, block.sums(np.exp(q)), _first_b(block, q))[0]


def best_b_between(
    block: Block,
    q: Array,
    sums: tuple[Array, Array, Array],
    b: Array,
    within: float = 1e-7,
    most: int = 50,
) -> tuple[Array, Surface]:
    """Best b from a first guess, the last step ``within`` it, and the surface, the sums known."""
    shape = np.exp(q)
    for _ in range(most):
        at = from_sums(block, q, b, shape, sums)
        step = np.nan_to_num(np.clip(-at.b / at.bb, -2.0, 2.0))
        if not (np.abs(step) > within).any():
            break
        b = b + step
    return b, at


def searched(block: Block, known: Tops) -> Tops:
    """Look at many shapes, take the highest top, polish it.

    A cell whose top was known, and that shows one top at every third shape, keeps it: tops of few
    failures are wider than that. ``found`` is false where the likelihood rises to the end of
    the shapes, or is higher there than at any top; ``second`` where there is more than one top.
    """
    with np.errstate(all="ignore"):
        slopes, values = _scanned(block, FIRST_LOOK)
        top = (slopes[:-1] > 0) & (slopes[1:] <= 0)
        ends = np.fmax(values[0], values[-1])
        at = np.searchsorted(FIRST_LOOK, known.q)
        there = top[np.clip(at - 1, 0, len(top) - 1), np.arange(block.n_cells)]
        sure = known.found & there & (top.sum(axis=0) == 1)
        sure &= known.at.value >= ends - 1e-9 * np.abs(ends)
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
    ends = np.fmax(values[0], values[-1])
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
    at, residual = _checked(block, q, b)
    found &= np.isfinite(residual) & (residual <= LARGEST_RESIDUAL)
    found &= at.value >= ends - 1e-9 * np.abs(ends)
    return Tops(q, b, at, residual, found, top.sum(axis=0) > 1)


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
    b = _first_b(block, np.full(block.n_cells, log_shapes[0]))
    for i, q in enumerate(log_shapes):
        now = sums[0, i], sums[1, i], sums[2, i]
        b, at = best_b_between(block, np.full(block.n_cells, q), now, b, within=0.02, most=4)
        # what the last step in b would still add, to second order
        slopes[i] = at.q - np.nan_to_num(at.qb / at.bb * at.b)
        values[i] = at.value - np.nan_to_num(0.5 * at.b**2 / at.bb)
        if i + 1 < len(log_shapes):
            b = b - np.clip(np.nan_to_num(at.qb / at.bb), -50.0, 50.0) * (log_shapes[i + 1] - q)
    return slopes, values


def _along(block: Block, q: Array) -> tuple[Array, Array]:
    """Slope and height of the profile at given log shapes."""
    if not block.has_between:
        _, value, slope, _ = profile(block, q)
        return slope, value
    _, at = best_b_between(block, q, block.sums(np.exp(q)), _first_b(block, q), most=12)
    return at.q, at.value
