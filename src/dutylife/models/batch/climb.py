"""Where the likelihood of each cell is highest: Newton steps on series of its sums."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import Block
from dutylife.models.batch.series import LATER_ORDER, Series, factorials
from dutylife.models.batch.surface import Surface, from_sums, surface
from dutylife.models.checks import Array

FIRST_STEP = 3e-3  # on the first series, which is good to about 1e-4
SMALL_STEP = 3e-6  # Newton doubles the digits: the step after it is below 1e-10
LARGEST_RESIDUAL = 1e-8
# shapes searched where Newton finds no top; two failures within a hundredth give shapes of 300
SEARCHED = np.linspace(np.log(0.02), np.log(5000.0), 75)
FINE = 1e-10  # slope over the failures, with what the series leaves out, that ends a cell's climb
FLAT = (
    1e-6  # bend of the profile over the failures below which it is level; that of a top is near 2
)
_MOST_SERIES = 12


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
    b, surfaces = np.zeros(n), np.full((6, n), np.nan)
    with np.errstate(all="ignore"):
        if block.has_between:
            q, b = _stood_in(block, q)
        at: NDArray[np.intp] | slice = slice(None)
        piece = block
        for turn in range(_MOST_SERIES):
            series = Series.about(piece, q[at].copy(), LATER_ORDER)
            if block.has_between:
                q[at], b[at], there = newton(piece, q[at], b[at], series)
            else:
                q[at] = _on_series(piece, series, SMALL_STEP if turn else FIRST_STEP)
                if not turn:  # no cell of any size is done
                    continue
            shape = np.exp(q[at])
            now = series.sums(shape)
            sums[:, at] = now
            if block.has_between:
                surfaces[:, at] = [getattr(there, k) for k in Surface.__slots__]
                rate = np.exp(b[at]) * shape / piece.rows_failed
                slope = np.maximum(np.abs(there.q), np.abs(there.b)) / piece.rows_failed
            else:
                rate = shape / now[0]
                inner = piece.log_failed - piece.failures * now[1] / now[0]
                slope = np.abs(1.0 + shape * inner / piece.failures)
            left[at] = series.error(shape, rate)
            more = ~(left[at] + slope <= FINE) & (piece.rows_failed > 0)
            if not more.any():
                break
            if more.sum() < 0.7 * len(more):
                at, piece = np.arange(n)[at][more], piece.of(more)
        if block.has_between:
            top = Surface(*surfaces)
        else:
            b = np.log(block.failures) - np.log(sums[0])
            top = from_sums(block, q, b, np.exp(q), (sums[0], sums[1], sums[2]))
        n_failed = block.rows_failed if block.has_between else block.failures
        residual = np.maximum(np.abs(top.q), np.abs(top.b)) / n_failed + left
        bend = (top.qq - top.qb**2 / top.bb) / n_failed
    fine = np.isfinite(residual) & (residual <= LARGEST_RESIDUAL) & (block.rows_failed > 0)
    fine &= bend < -FLAT  # a slope of nothing on a level that goes on is no top
    return Tops(q, b, top, residual, fine, np.zeros(n, dtype=bool))


def _on_series(block: Block, series: Series, small: float) -> Array:
    """Newton steps of the profile over log shape, the sums taken from a series.

    A cell stops after a step below ``small``, all of them once few are left.
    """
    found, q, d = series.middle.copy(), series.middle, block.failures
    log_failed, moving = block.log_failed, np.arange(len(q))
    for _ in range(8):
        shape = np.exp(q)
        s0, s1, s2 = series.sums(shape)
        ratio = s1 / s0
        inner = shape * (log_failed - d * ratio)
        bend = inner - d * shape * shape * (s2 / s0 - ratio * ratio)
        slope = d + inner
        step = np.where(bend < 0, -slope / bend, 0.5 * np.sign(slope))
        last, q = q, np.clip(series.within(q + step), SEARCHED[0], SEARCHED[-1])
        found[moving] = q
        far = np.flatnonzero(np.abs(q - last) > small)
        if len(far) <= 0.03 * len(found):
            break
        if len(far) < 0.5 * len(q):
            moving, q, series = moving[far], q[far], series.of(far)
            d, log_failed = d[far], log_failed[far]
    return found


def _stood_in(block: Block, q: Array) -> tuple[Array, Array]:
    """First guess: a step from where failures between two ages that came midway would lead."""
    kind = block.between
    low, high, since = kind.log_age
    midway = high + np.log(0.5 + 0.5 * np.exp(low - high))
    share = midway if kind.weight is None else kind.weight * midway
    same = replace(
        block, failures=block.failures + block.looked,
        log_failed=block.log_failed + kind.total(share, block.n_cells),
    )  # fmt: skip
    series = Series.about(block, q, LATER_ORDER)
    more = np.zeros_like(series.terms)
    replace(kind, log_age=midway).add_moments(more, np.exp(q), 1.0)
    replace(kind, log_age=since).add_moments(more, np.exp(q), -1.0)
    more /= factorials(LATER_ORDER)
    more += series.terms
    midways = Series(q, more)
    q = _on_series(same, midways, FIRST_STEP)
    b = np.log(same.failures) - np.log(midways.sums(np.exp(q))[0])
    shape = np.exp(q)
    move_q, move_b = _uphill(from_sums(block, q, b, shape, series.sums(shape)))
    return series.within(q + move_q), b + move_b


def checked(block: Block, q: Array, b: Array) -> tuple[Surface, Array]:
    """Surface at a point of each cell, and its slope over the failures."""
    with np.errstate(all="ignore"):
        at = surface(block, q, b)
        n_failed = np.where(block.has_between, block.rows_failed, block.failures)
        residual = np.maximum(np.abs(at.q), np.abs(at.b)) / n_failed
    return at, residual


def newton(
    block: Block, q: Array, b: Array, series: Series | None = None
) -> tuple[Array, Array, Surface]:
    """Damped Newton steps in (q, b); a step that falls is halved, cell by cell.

    With a series, as far as it is trusted. Also the surface at the end.
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
            # slow cells, mostly small ones, go on with the next series
            slow = 0.0 if series is None else 0.3 * len(q)
            if (moved > SMALL_STEP).sum() <= slow:
                break
    return q, b, here


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
