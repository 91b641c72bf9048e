"""Money: true long-run cost of each decision to replace or to wait, beside the best possible."""

import math
from typing import Any

import pandas as pd

from dutylife.components import shipped_components
from dutylife.decisions.age import age_replacement
from dutylife.decisions.starting import replacement_of
from dutylife.practice import PracticeFleet
from dutylife.prove.careful import ReadLives, careful_law, naive_age
from dutylife.prove.scores import CAREFUL, FIXED, NAIVE, NEVER, ORACLE, OURS, Scores
from dutylife.prove.truth import DAYS_PER_WEEK, TrueCell

_FAR = 6.0  # scales: beyond it hardly any part still works


def score_money(
    fleet: PracticeFleet,
    cells: dict[tuple[str, str], TrueCell],
    intervals: pd.DataFrame,
    stated: dict[str, tuple[float, float]],
    read: dict[tuple[str, str], ReadLives],
    scores: Scores,
) -> None:
    """Money lost against perfect knowledge, weighted by what each cell's machines run.

    Parameters
    ----------
    fleet : PracticeFleet
    cells : dict of (component, duty) to TrueCell
    intervals : DataFrame, table "intervals"
        Rows that replace or run to failure; a cell without one is left to fail.
    stated : dict of str to (planned, failure)
        Costs the careful analyst is told, which may be wrong. [currency]
    read : dict of (component, duty) to ReadLives
    scores : Scores
        "money lost": currency a year above the best, over currency a year at the best. A second
        score "money lost beyond careful" is the difference to the careful analyst.
    """
    ages = {
        OURS: chosen_ages(cells, intervals),
        ORACLE: {key: cell.best_age() for key, cell in cells.items()},
        CAREFUL: {k: careful_age(read[k], stated[k[0]]) for k in cells},
        NAIVE: {key: naive_age(read[key]) for key in cells},
        FIXED: {key: fixed_age(cell, fleet) for key, cell in cells.items()},
        NEVER: dict.fromkeys(cells, math.inf),
    }
    best = {key: cell.best_rate() * cell.per_year for key, cell in cells.items()}
    total = sum(best.values())
    lost: dict[str, float] = {}
    for method, chosen in ages.items():
        rates = {key: cells[key].cost_rate(age) * cells[key].per_year
                 for key, age in chosen.items()}  # fmt: skip
        lost[method] = sum(max(rates[key] - best[key], 0.0) for key in cells)
        scores.add("money lost", method, lost[method], total)
    scores.add("money lost beyond careful", OURS, lost[OURS] - lost[CAREFUL], total)


def chosen_ages(
    cells: dict[tuple[str, str], TrueCell], intervals: pd.DataFrame
) -> dict[tuple[str, str], float]:
    """Age at which the chain replaces, on the law's clock; infinite where it waits for failure.

    A recommendation on the other clock is carried over by the duty's true use; of one stated on
    both clocks, whichever comes first.
    """
    words = dict.fromkeys(["component", "duty", "task", "clock"], "object")
    rows = intervals.astype(words)
    rows = rows[rows["task"] == "replace"]
    found = {(str(r["component"]), str(r["duty"])): r for r in rows.to_dict("records")}
    return {key: _age(cell, found.get(key)) for key, cell in cells.items()}


def _age(cell: TrueCell, row: dict[Any, Any] | None) -> float:
    if row is None:
        return math.inf
    hours, days = float(row["interval_hours"]), float(row["interval_days"])
    if row["clock"] == "hours":
        days = math.nan
    elif row["clock"] in ("days", "idle_days"):
        hours = math.nan
    return _first(cell, hours, days)


def _first(cell: TrueCell, hours: float, days: float) -> float:
    """Whichever of two ages comes first, on the cell's clock; NaN says nothing."""
    a_day = cell.hours_per_week / DAYS_PER_WEEK
    on = (hours, days * a_day) if cell.clock == "hours" else (hours / a_day, days)
    told = [age for age in on if math.isfinite(age) and age > 0]
    return min(told) if told else math.inf


def careful_age(lives: ReadLives, stated: tuple[float, float]) -> float:
    """Cheapest age by the careful analyst's law; infinite where waiting is cheapest or no law."""
    law = careful_law(lives)
    if law is None or stated[1] <= stated[0]:
        return math.inf
    best = age_replacement(
        law.survival, planned_cost=stated[0], failure_cost=stated[1], longest_age=_FAR * law.scale
    )
    return best.interval if best.interval < _FAR * law.scale else math.inf


def fixed_age(cell: TrueCell, fleet: PracticeFleet) -> float:
    """Return the starting interval, shorter in severe duty; infinite where none is known."""
    severe = fleet.scenario.duties[cell.duty].severe
    start = replacement_of(shipped_components()[cell.component], severe=severe)
    if start is None:
        return math.inf
    hours = math.nan if start.hours is None else start.hours
    days = math.nan if start.days is None else start.days
    return _first(cell, hours, days)
