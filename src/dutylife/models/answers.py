"""What is said of a component in a duty: the law's figures with bounds, its draws, a sentence."""

from dataclasses import dataclass

import numpy as np

from dutylife.components import Component
from dutylife.models import verdict
from dutylife.models.cells import CellLives
from dutylife.models.draws import Draws
from dutylife.models.laws import WHAT
from dutylife.models.pooling import CellPosterior, Pooled, alone
from dutylife.models.pooling.grids import cell_grid
from dutylife.models.starting import starting_life, starting_prior
from dutylife.settings import Settings

# two duties are compared in words where both have so many failures
COMPARED_FAILURES = 5


@dataclass(frozen=True, slots=True)
class Cell:
    """A component in a duty: its clock, its lives there and in all duties."""

    component: str
    duty: str
    clock: str
    own: CellLives
    everywhere: CellLives
    hours_per_week: float
    longest: dict[str, float]


@dataclass(frozen=True, slots=True)
class Answer:
    """What is said of a cell: (lower, value, upper) of each figure, and the draws."""

    basis: str
    figures: dict[str, tuple[float, float, float]]
    draws: Draws
    own_data_share: float
    text: str
    component_wears: float = float("nan")


def answer_of(
    cells: list[Cell],
    number: int,
    pool: Pooled | None,
    about: Component,
    settings: Settings,
    compared: bool,
) -> Answer:
    """Answer for a cell; ``pool`` is that of its clock, None where nothing failed on it.

    ``compared``: say how long lives are beside those of another duty, which takes time.
    """
    cell = cells[number]
    level = settings.report.confidence_level
    if pool is None:
        return _starting(cell, about, settings)
    known = pool.cells[number]
    figures = {w: known.range_of(w, level) for w in WHAT}
    only = cell.own.n_lives == cell.everywhere.n_lives
    share = pool.own_share(number) if cell.own.n_lives else 0.0
    low, _, high = known.range_of("shape", 0.80)
    shape_range, range_80 = (figures["shape"][0], figures["shape"][2]), (low, high)
    seen = verdict.seen(cell.own.n_failed, cell.own.n_lives)
    told = _shape_and_life(cell, figures, range_80, settings)
    beside = _compared(cells, number, pool, settings) if compared else ""
    notes = beside + _one_customer(cell, only)
    if only or cell.own.failures >= verdict.OWN_FAILURES:
        word = verdict.strength(cell.own.failures, shape_range, range_80)
        text = f"{word}: {seen}; {told}.{notes}"
        return Answer("own data", figures, known.draws(), share, text, pool.probability_wears)
    word = verdict.strength(cell.everywhere.failures, shape_range, range_80)
    every = verdict.seen(cell.everywhere.n_failed, cell.everywhere.n_lives)
    lent = f", moved by its own ({100 * share:.0f} % of the answer)" if cell.own.n_lives else ""
    text = (
        f"Pooled. {seen} in this duty: too few for a law of its own, so the lives of other duties "
        f"stand in, as far as duties prove alike{lent} ({every} in all). {word}: {told}.{notes}"
    )
    return Answer("pooled", figures, known.draws(), share, text, pool.probability_wears)


def _starting(cell: Cell, about: Component, settings: Settings) -> Answer:
    life = starting_life(about, cell.duty, cell.clock, cell.hours_per_week, settings)
    prior = starting_prior(life)
    middle = float(np.log(life.b10)) - float(np.log(-np.log(0.9))) / float(np.exp(prior.mean[0]))
    known: CellPosterior = alone(cell_grid(cell.own, None, (middle - 6.0, middle + 8.0)), prior)
    level = settings.report.confidence_level
    figures = {w: known.range_of(w, level) for w in WHAT}
    text = verdict.starting_text(life, cell.own.n_failed, cell.own.n_lives, cell.clock, settings)
    return Answer("starting value", figures, known.draws(), 0.0, text)


def _compared(cells: list[Cell], number: int, pool: Pooled, settings: Settings) -> str:
    """How long lives are beside those of the duty with the most failures, in words."""
    cell = cells[number]
    same = [i for i, c in enumerate(cells) if c.clock == cell.clock]
    other = max(same, key=lambda i: (cells[i].own.failures, -i))
    least = min(cell.own.failures, cells[other].own.failures)
    if other == number or least < COMPARED_FAILURES:
        return ""
    level = settings.report.confidence_level
    low, middle, high = pool.factor(number, other, level)
    if low <= 1.0 <= high:
        return ""
    faster = middle < 1.0
    if faster:
        low, middle, high = 1.0 / high, 1.0 / middle, 1.0 / low
    return (
        f" This duty goes with lives {middle:.1f} times as {'short' if faster else 'long'} as in "
        f"'{cells[other].duty}' ({low:.1f} to {high:.1f})."
    )


def _one_customer(cell: Cell, only: bool) -> str:
    owners = set(cell.own.customers.tolist())
    if only or cell.own.n_lives < 2 or len(owners) != 1 or -1 in owners:
        return ""
    return " All its lives are one customer's: duty and customer can't be told apart."


def _shape_and_life(
    cell: Cell,
    figures: dict[str, tuple[float, float, float]],
    range_80: tuple[float, float],
    settings: Settings,
) -> str:
    shape, half = figures["shape"], figures["b50"]
    level = settings.report.confidence_level
    risk = verdict.wear(shape[1], (shape[0], shape[2]), range_80, level)
    longest = cell.longest[cell.clock]
    told = verdict.half_life(half[1], (half[0], half[2]), longest, cell.clock, settings)
    return f"{risk}; {told}"
