"""Likelihood-ratio limits in every cell: the values the lives do not contradict.

A limit of a figure is where the greatest log-likelihood under that figure has fallen by half a
chi-square quantile: two equations, that fall and a flat slope along the other parameter, solved by
Newton steps in all cells at once. Each root is looked at again; what fails goes to `outermost`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.batch.blocks import Block
from dutylife.models.batch.outermost import outermost
from dutylife.models.batch.series import LATER_ORDER, ORDER, Series
from dutylife.models.batch.surface import Surface, from_sums, surface
from dutylife.models.checks import Array

if TYPE_CHECKING:
    from dutylife.models.batch.fit import CellFits

LARGEST_MISS = 1e-8  # of the fall in log-likelihood, and of the slope over the failures
WORDS = {"shape": None, "scale": 0.0}
_MOST_SERIES, _STEPS_A_SERIES = 10, 5


@dataclass(frozen=True, slots=True, eq=False)
class Figure:
    """A figure x as a line in b for a given shape k: b = offset - k x ("age"), x - k log age
    ("hazard", x the log cumulative hazard at an age), or the log shape itself ("shape").
    """  # noqa: D205

    kind: str
    offset: Array

    def b(self, q: Array, x: Array) -> tuple[Array, Array, Array, Array, Array]:
        """Return b and its derivatives by q, x, q twice, and q and x."""
        k = np.exp(q)
        if self.kind == "age":
            return self.offset - k * x, -k * x, -k, -k * x, -k
        by_q = -k * self.offset
        return x + by_q, by_q, np.ones_like(k), by_q, np.zeros_like(k)

    def x(self, q: Array, b: Array) -> Array:
        """Return the figure at a point."""
        if self.kind == "shape":
            return q
        k = np.exp(q)
        return (self.offset - b) / k if self.kind == "age" else b + k * self.offset

    def of(self, chosen: NDArray[np.bool_] | slice) -> "Figure":
        """Return the figure for some cells."""
        return Figure(self.kind, self.offset[chosen])


def limits(fits: "CellFits", what: str, level: float, age: ArrayLike | None) -> pd.DataFrame:
    """Likelihood-ratio limits of a figure in every cell.

    Parameters
    ----------
    fits : CellFits
    what : str
        ``shape``, ``scale``, ``b`` and a percentage ("b10": age by which 10 % have failed; "b0.5"),
        or ``survival`` with ``age``.
    level : float
        Confidence level of the two-sided range. [1]
    age : array_like, optional
        Age of the survival, one for all cells or one for each. [age]

    Returns
    -------
    DataFrame
        Indexed by the cells: ``value``, ``lower``, ``upper``, ``verdict``. A side where no value is
        contradicted is 0 or infinite (for survival 0 or 1) and the verdict then "unbounded"; a cell
        without a law has its own verdict and no figures.

    Raises
    ------
    FitError
        The figure or the level is not known.
    """
    from scipy.special import chdtri

    kind, offset = _figure(fits, what, level, age)
    allowed = float(chdtri(1, 1.0 - level)) / 2.0
    found = {side: np.full(len(fits.cells), np.nan) for side in (-1, 1)}
    value = np.full(len(fits.cells), np.nan)
    from dutylife.models.batch.fit import parts_of

    fitted = fits.fitted
    numbers = np.flatnonzero(fitted)
    block = fits.block if fitted.all() else fits.block.of(fitted)
    for where, part in parts_of(block):
        q, b = fits.log_shape[numbers[where]], fits.b[numbers[where]]
        figure = Figure(kind, offset[numbers[where]])
        value[numbers[where]] = figure.x(q, b)
        for side in (-1, 1):
            found[side][numbers[where]] = _one_side(part, q, b, figure, allowed, side)
    back: Callable[[Array], Array] = np.exp
    ends = found[-1], found[1]
    verdict = fits.verdict.copy()
    verdict[fitted & (np.isinf(ends[0]) | np.isinf(ends[1]))] = "unbounded"
    if kind == "hazard":
        back, ends = (lambda x: np.exp(-np.exp(x))), (ends[1], ends[0])
    elif kind == "age":
        value, ends = value + fits.centre, (ends[0] + fits.centre, ends[1] + fits.centre)
    with np.errstate(over="ignore"):
        return pd.DataFrame(
            {"value": back(value), "lower": back(ends[0]), "upper": back(ends[1]),
             "verdict": verdict}, index=fits.cells,
        )  # fmt: skip


def _figure(fits: "CellFits", what: str, level: float, age: ArrayLike | None) -> tuple[str, Array]:
    n = len(fits.cells)
    wrong = FitError(
        f"No likelihood-ratio limits of '{what}' at level {level}.",
        "CellFits.limits(what, level, age=)",
        "what: shape, scale, b10 and the like, or survival with an age above 0; 0 < level < 1",
    )
    if not 0 < level < 1:
        raise wrong
    if what == "shape":
        return "shape", np.zeros(n)
    if what == "survival" and age is not None:
        ages = np.broadcast_to(np.asarray(age, dtype=float), (n,))
        if (ages > 0).all():
            return "hazard", np.log(ages) - fits.centre
        raise wrong
    if what == "scale":
        return "age", np.zeros(n)
    try:
        share = float(what.removeprefix("b")) / 100.0 if what.startswith("b") else -1.0
    except ValueError:
        raise wrong from None
    if not 0 < share < 1:
        raise wrong
    return "age", np.full(n, np.log(-np.log1p(-share)))


def _one_side(
    block: Block, q_top: Array, b_top: Array, figure: Figure, allowed: float, side: int
) -> Array:
    """Limits on one side, of the figure's own scale; infinite where there is none."""
    with np.errstate(all="ignore"):
        top = surface(block, q_top, b_top)
        least = top.value - allowed
        x, missed = _roots(block, q_top, b_top, top, figure, allowed, side)
        again = ~(missed <= LARGEST_MISS)
        if again.any():
            x[again] = outermost(
                block.of(again), q_top[again], least[again], figure.of(again), side
            )
    return x


def _bent(
    at: Surface, lines: tuple[Array, Array, Array, Array, Array]
) -> tuple[Array, Array, Array, Array]:
    """Slopes by (q, x) and second derivatives by (q, q) and (q, x), b a function of both."""
    _, b_q, b_x, b_qq, b_qx = lines
    qq = at.qq + 2.0 * at.qb * b_q + at.bb * b_q**2 + at.b * b_qq
    qx = at.qb * b_x + at.bb * b_q * b_x + at.b * b_qx
    return at.q + at.b * b_q, at.b * b_x, qq, qx


def _roots(
    block: Block, q_top: Array, b_top: Array, top: Surface, figure: Figure, allowed: float,
    side: int,
) -> tuple[Array, Array]:  # fmt: skip
    """Newton steps from where a parabola would put the limit; what is left of both equations.

    The square root of the fall is nearly a straight line in the figure, so the steps solve
    sqrt(2 fall) = sqrt(2 allowed).
    """
    reach = np.sqrt(2.0 * allowed)
    x_top = figure.x(q_top, b_top)
    free = figure.kind == "shape"  # the other parameter is then b, else q
    if free:
        nn, nx, xx = top.bb, top.qb, top.qq
    else:
        _, _, nn, nx = _bent(top, figure.b(q_top, x_top))
        b_x = figure.b(q_top, x_top)[2]
        xx = top.bb * b_x**2
    bend = xx - nx * nx / nn
    width = np.minimum(reach / np.sqrt(-bend), 3.0)
    x = x_top + side * width
    other = (b_top if free else q_top) - nx / nn * side * width
    missed = np.full(len(x), np.inf)
    todo = np.arange(len(x))
    for turn in range(_MOST_SERIES):
        middle = x[todo] if free else other[todo]
        series = Series.about(block, middle, LATER_ORDER if turn else ORDER)
        other[todo], x[todo], missed[todo] = _on_series(
            block, series, figure, (other[todo], x[todo]), (x_top[todo], top.value[todo]),
            allowed, side,
        )  # fmt: skip
        more = ~(missed[todo] <= 1e-9)
        if not more.any():
            break
        if more.sum() < 0.7 * len(todo):
            todo, block, figure = todo[more], block.of(more), figure.of(more)
    return x, missed


def _on_series(
    block: Block, series: Series, figure: Figure, at: tuple[Array, Array],
    top: tuple[Array, Array], allowed: float, side: int,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """Newton steps as far as a series is trusted; the point reached and what is left there."""
    (other, x), (x_top, height), free = at, top, figure.kind == "shape"
    reach, n_failed = np.sqrt(2.0 * allowed), np.maximum(block.rows_failed, 1.0)
    for step_number in range(_STEPS_A_SERIES + 1):
        q = x if free else other
        shape = np.exp(q)
        sums = series.sums(shape)
        if free:
            here = from_sums(block, x, other, shape, sums)
            by_n, by_x, nn, nx = here.b, here.q, here.bb, here.qb
        else:
            lines = figure.b(other, x)
            here = from_sums(block, other, lines[0], shape, sums)
            by_n, by_x, nn, nx = _bent(here, lines)
        fall = height - here.value
        missed = np.maximum(np.abs(fall - allowed), np.abs(by_n) / n_failed)
        missed = np.where((x - x_top) * side > 0, missed, np.inf)
        if step_number == _STEPS_A_SERIES or (missed > 1e-10).sum() <= 0.02 * len(x):
            break
        root = np.sqrt(np.maximum(2.0 * fall, 1e-12))
        a, c = -by_n / root, -by_x / root
        determinant = a * nx - c * nn
        left, right = reach - root, -by_n
        step_n = (left * nx - c * right) / determinant
        step_x = (a * right - nn * left) / determinant
        far = np.maximum(np.maximum(np.abs(step_n), np.abs(step_x)) / 1.5, 1.0)
        moving = missed > 1e-11
        other = np.where(moving, other + np.nan_to_num(step_n / far), other)
        x = np.where(moving, x + np.nan_to_num(step_x / far), x)
        if free:
            x = series.within(x)
        else:
            other = series.within(other)
    # what the series leaves out of the slope, and of the height by the way gone
    rate = np.exp(other if free else lines[0])
    error = series.error(shape, rate * shape / n_failed)
    error *= 1.0 + n_failed * np.abs(q - series.middle)
    return other, x, missed + error
