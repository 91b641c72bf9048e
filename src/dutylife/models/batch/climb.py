"""Where the likelihood of each cell is highest: Newton steps on blocks, a search for the rest."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import Block
from dutylife.models.batch.surface import Surface, from_sums, surface
from dutylife.models.checks import Array

SMALL_STEP = 3e-6  # Newton halves the digits left: the step after it is below 1e-10
LARGEST_RESIDUAL = 1e-8
FEW_FAILED = 5  # with late entries, so few failures can leave a second top
# shapes searched where Newton finds no top; two failures within a hundredth give shapes of 300
SEARCHED = np.linspace(np.log(0.02), np.log(5000.0), 75)
SLOW = 0.03  # share of cells that may be slow before their block goes on without them
_FEW_STEPS, _MOST_STEPS = 6, 15


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


def climbed(block: Block) -> Tops:
    """Tops of a block, as Newton steps from one start find them."""
    if block.has_between:
        q, b = _with_between(block)
        at, residual = _checked(block, q, b)
    else:
        q = _profile(block)
        b, at, residual = _checked_profile(block, q)
    fine = np.isfinite(residual) & (residual <= LARGEST_RESIDUAL) & (block.rows_failed > 0)
    return Tops(q, b, at, residual, fine, np.zeros(block.n_cells, dtype=bool))


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


def _checked_profile(block: Block, q: Array) -> tuple[Array, Surface, Array]:
    """b, surface and residual from one pass over the rows; the slope by b is 0 by its choice."""
    with np.errstate(all="ignore"):
        shape = np.exp(q)
        sums = block.sums(shape)
        b = np.log(block.failures) - np.log(sums[0])
        at = from_sums(block, q, b, shape, sums)
        return b, at, np.maximum(np.abs(at.q), np.abs(at.b)) / block.failures


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


def _profile(block: Block) -> Array:
    q, failed = block.start.copy(), block.rows_failed > 0
    with np.errstate(all="ignore"):
        for step_number in range(_MOST_STEPS):
            _, _, slope, bend = profile(block, q)
            step = np.where(bend < 0, -slope / bend, 0.5 * np.sign(slope))
            step = np.clip(np.nan_to_num(step), -1.0, 1.0)
            q = np.clip(q + step, SEARCHED[0], SEARCHED[-1])
            moving = (np.abs(step) > SMALL_STEP) & failed
            # a few slow cells don't hold up their block: they are searched later
            if moving.sum() <= (0.0 if step_number < _FEW_STEPS else SLOW * len(q)):
                break
    return q


def _with_between(block: Block) -> tuple[Array, Array]:
    q = block.start.copy()
    kind = block.between
    with np.errstate(all="ignore"):
        shape = np.exp(q)
        high = np.exp(kind.spread(shape) * kind.log_age[:, 1])
        weight = 1.0 if kind.weight is None else kind.weight
        lived = block.sums(shape)[0] + kind.total(weight * high, block.n_cells)
        b = np.log(block.rows_failed) - np.log(lived)
        return newton(block, q, b, slow=SLOW)


def newton(
    block: Block, q: Array, b: Array, *, slow: float, active: NDArray[np.bool_] | None = None
) -> tuple[Array, Array]:
    """Damped Newton steps in (q, b); a step that falls is halved, cell by cell.

    A share ``slow`` of the cells may be left on the way: the caller searches those.
    """
    with np.errstate(all="ignore"):
        here = surface(block, q, b)
        move_q, move_b = _uphill(here)
        active = block.rows_failed > 0 if active is None else active
        for step_number in range(60):
            there = surface(block, q + move_q, b + move_b)
            risen = there.value >= here.value - 1e-12 * np.abs(here.value)
            risen &= np.isfinite(there.value)
            q, b = np.where(risen, q + move_q, q), np.where(risen, b + move_b, b)
            here = Surface(*(
                np.where(risen, getattr(there, k), getattr(here, k)) for k in Surface.__slots__
            ))  # fmt: skip
            moved = np.maximum(np.abs(move_q), np.abs(move_b))
            next_q, next_b = _uphill(here)
            move_q, move_b = (
                np.where(risen, next_q, move_q / 2.0), np.where(risen, next_b, move_b / 2.0)
            )  # fmt: skip
            moving = (active & (moved > SMALL_STEP)).sum()
            if moving <= (0.0 if step_number < _FEW_STEPS + 2 else slow * len(q)):
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
            return np.log(block.failures) - np.log(block.sums(np.exp(q))[0])
        kind, shape = block.between, np.exp(q)
        weight = 1.0 if kind.weight is None else kind.weight
        high = kind.total(weight * np.exp(kind.spread(shape) * kind.log_age[:, 1]), block.n_cells)
        b = np.log(block.rows_failed) - np.log(block.sums(shape)[0] + high)
        for _ in range(50):
            at = surface(block, q, b)
            step = np.clip(-at.b / at.bb, -2.0, 2.0)
            b = b + np.nan_to_num(step)
            if not (np.abs(step) > 1e-9).any():
                break
    return b


def searched(block: Block) -> Tops:
    """Look at many shapes, take the highest top, polish it.

    ``found`` is false where the likelihood rises to the end of the shapes, or is higher there than
    at any top; ``second`` where there is more than one top.
    """
    n = block.n_cells
    slopes, values = np.empty((2, len(SEARCHED), n))
    with np.errstate(all="ignore"):
        for i, q_now in enumerate(SEARCHED):
            slopes[i], values[i] = _along(block, np.full(n, q_now))
        top = (slopes[:-1] > 0) & (slopes[1:] <= 0)
        height = np.where(top, np.fmax(values[:-1], values[1:]), -np.inf)
        best = height.argmax(axis=0)
        ends = np.fmax(values[0], values[-1])
        found: NDArray[np.bool_] = np.asarray(top.any(axis=0))
        low, high = SEARCHED[best], SEARCHED[best + 1]
        for _ in range(12):
            middle = 0.5 * (low + high)
            up = _along(block, middle)[0] > 0
            low, high = np.where(up, middle, low), np.where(up, high, middle)
        q = 0.5 * (low + high)
        b = best_b(block, q)
        q, b = newton(block, q, b, slow=0.0, active=found)
        at, residual = _checked(block, q, b)
        found &= np.isfinite(residual) & (residual <= LARGEST_RESIDUAL)
        found &= at.value >= ends - 1e-9 * np.abs(ends)
    return Tops(q, b, at, residual, found, top.sum(axis=0) > 1)


def _along(block: Block, q: Array) -> tuple[Array, Array]:
    """Slope and height of the profile at given log shapes."""
    if not block.has_between:
        _, value, slope, _ = profile(block, q)
        return slope, value
    at = surface(block, q, best_b(block, q))
    return at.q, at.value
