"""Lives of many made-up Weibull cells, for tests and benchmarks of the batch fits."""

from typing import Any

import numpy as np


def made_cells(
    n_cells: int, *, seed: int, late: bool = False, between: bool = False, fewest: int = 5,
    most: int = 500,
) -> dict[str, np.ndarray]:  # fmt: skip
    """Half censored lives; a third entered late, a fifth of the failures between two looks."""
    rng = np.random.default_rng(seed)
    n = np.exp(rng.uniform(np.log(fewest), np.log(most + 1), n_cells)).astype(int)
    cell = np.repeat(np.arange(n_cells), n)
    shape = np.exp(rng.uniform(np.log(0.8), np.log(4.0), n_cells))[cell]
    scale = np.exp(rng.normal(6.0, 1.0, n_cells))[cell]
    entry = np.zeros(len(cell))
    if late:
        entry = np.where(rng.random(len(cell)) < 0.3, scale * rng.uniform(0, 1, len(cell)), 0.0)
    age = scale * ((entry / scale) ** shape + rng.exponential(size=len(cell))) ** (1.0 / shape)
    stop = entry + scale * rng.uniform(0.01, 1.2, len(cell))
    event, exit_ = age <= stop, np.minimum(age, stop)
    out = {"cell": cell, "exit": exit_, "event": event, "entry": entry}
    if between:
        look = scale * 0.2
        found = event & (rng.random(len(cell)) < 0.2)
        lower = np.maximum(np.floor(exit_ / look) * look, entry)
        upper = (np.floor(exit_ / look) + 1.0) * look
        out["lower"] = np.where(found, lower, np.nan)
        out["upper"] = np.where(found, upper, np.nan)
    return out


def rows_of(lives: dict[str, np.ndarray], cell: int) -> dict[str, np.ndarray]:
    """Rows of one cell."""
    own = lives["cell"] == cell
    return {k: v[own] for k, v in lives.items() if k != "cell"}


def one_cell(lives: dict[str, np.ndarray], cell: int) -> dict[str, Any]:
    """Rows of one cell as `fit_law` takes them."""
    own: dict[str, Any] = rows_of(lives, cell)
    if "upper" in own:
        found = np.isfinite(own["upper"])
        own["lower"] = np.where(found, own["lower"], own["exit"])
        own["upper"] = np.where(found, own["upper"], np.where(own["event"], own["exit"], np.inf))
        own["exit"] = own["event"] = None
    return own
