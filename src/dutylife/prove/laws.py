"""Life models against the true laws: bias, coverage of the 90 % bounds, and ranks of the truth."""

import math
from typing import Any

import numpy as np
import pandas as pd

from dutylife.prove.careful import ReadLives, careful_law
from dutylife.prove.scores import CAREFUL, OURS, Scores
from dutylife.prove.truth import TrueCell

MANY = 10
ALL_CELLS, MANY_FAILURES = "all", "10 or more failures"
LEVEL = 0.90


def score_laws(
    cells: dict[tuple[str, str], TrueCell],
    life_models: pd.DataFrame,
    read: dict[tuple[str, str], ReadLives],
    scores: Scores,
) -> None:
    """Log ratio to the truth, and whether the 90 % bounds hold it, of shape, scale, half life.

    Parameters
    ----------
    cells : dict of (component, duty) to TrueCell
    life_models : DataFrame, table "life_models"
    read : dict of (component, duty) to ReadLives
        For the careful analyst beside.
    scores : Scores
        "NAME log ratio" and "NAME covered" over the cells, also of those with at least 10
        failures. A truth that is no Weibull law has no shape
        and scale to compare, only a half life.
    """
    words = dict.fromkeys(["component", "duty", "clock"], "object")
    for row in life_models.astype(words).to_dict("records"):
        cell = cells.get((str(row["component"]), str(row["duty"])))
        if cell is None:
            continue
        found = {
            what: tuple(row[f"{name}{end}"] for end in ("_lower", "", "_upper"))
            for what, name in (
                ("shape", "shape"),
                ("scale", f"scale_{cell.clock}"),
                ("half life", f"b50_{cell.clock}"),
            )
        }
        _one(cell, found, int(row["n_failed"]), OURS, scores)
    for key, lives in read.items():
        law = careful_law(lives)
        if law is None:
            continue
        figures = {"shape": law.shape, "scale": law.scale}
        figures["half life"] = float(law.quantile(0.5))
        names = {"shape": "shape", "scale": "scale", "half life": "b50"}
        found = {
            what: (law.bounds(names[what])[0], value, law.bounds(names[what])[1])
            for what, value in figures.items()
        }
        _one(cells[key], found, lives.n_failed, CAREFUL, scores)


def _one(cell: TrueCell, found: dict[str, Any], n_failed: int, method: str, scores: Scores) -> None:
    truth = {"half life": cell.median}
    if cell.is_weibull:
        truth |= {"shape": cell.shape, "scale": cell.scale}
    for what, true in truth.items():
        low, value, high = (float(v) for v in found[what])
        if not math.isfinite(value):
            continue  # carried to a clock whose rate is not known: nothing was said
        for among in (ALL_CELLS, *([MANY_FAILURES] if n_failed >= MANY else [])):
            scores.add(f"{what} log ratio", method, math.log(value / true), 1, among=among)
            scores.add(f"{what} covered", method, low <= true <= high, 1, among=among)


def true_ranks(
    cells: dict[tuple[str, str], TrueCell], life_draws: pd.DataFrame
) -> list[dict[str, object]]:
    """How many of a cell's draws lie under the truth, for shape and scale.

    Returns
    -------
    list of dict
        component, duty, basis, what, rank (0 to n_draws), n_draws. Cells whose draws count
        another clock than the law are left out: there is no truth on that clock.
    """
    words = dict.fromkeys(["component", "duty", "clock", "basis"], "object")
    rows: list[dict[str, object]] = []
    for (component, duty), draws in life_draws.astype(words).groupby(["component", "duty"]):
        cell = cells.get((str(component), str(duty)))
        same = cell is not None and cell.clock == draws["clock"].iloc[0]
        if cell is None or not same or not cell.is_weibull:
            continue
        for what, true in (("shape", cell.shape), ("scale", cell.scale)):
            rows.append(
                {
                    "component": component, "duty": duty, "basis": draws["basis"].iloc[0],
                    "what": what, "rank": int(np.sum(draws[what] < true)), "n_draws": len(draws),
                }
            )  # fmt: skip
    return rows
