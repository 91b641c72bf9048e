"""The cells of a component: their tops, their grids, and what they say together."""

import math

import numpy as np

from dutylife.models.batch import fit_cells
from dutylife.models.cells import CellLives
from dutylife.models.pooling.grids import Top, cell_grid, scale_range
from dutylife.models.pooling.hierarchy import Pooled, one_thread, pooled


def pool_cells(cells: list[CellLives], scale_start: float) -> Pooled:
    """Pool the lives of a component in its duties, all on one clock.

    Parameters
    ----------
    cells : list of CellLives
        One for each duty, without rows where a duty has no lives on the clock.
    scale_start : float
        Log scale around which the prior of the component's mean stands. [log age]
    """
    filled = [c for c in cells if len(c.exit)]
    everywhere = _together(filled)
    scales = scale_range(everywhere, scale_start)
    tops = _tops(cells)
    known = [t for t, c in zip(tops, cells, strict=True) if t is not None and c.failures >= 3]
    if known:
        scales = (
            min(scales[0], *(t.s - 2.0 for t in known)),
            max(scales[1], *(t.s + 2.0 for t in known)),
        )
    grids = [cell_grid(c, t, scales) for c, t in zip(cells, tops, strict=True)]
    with one_thread():
        return pooled(grids, scale_start)


def _together(cells: list[CellLives]) -> CellLives:
    if not cells:
        empty = np.empty(0)
        return CellLives(empty, empty.astype(bool), empty, empty, 0, 0)
    return CellLives(
        exit=np.concatenate([c.exit for c in cells]),
        event=np.concatenate([c.event for c in cells]),
        entry=np.concatenate([c.entry for c in cells]),
        weight=np.concatenate([c.weight for c in cells]),
        n_lives=sum(c.n_lives for c in cells),
        n_failed=sum(c.n_failed for c in cells),
    )


def _tops(cells: list[CellLives]) -> list[Top | None]:
    """Where the likelihood of each cell is highest, customers alike; None where it has no top."""
    sizes = [len(c.exit) for c in cells]
    if not sum(sizes):
        return [None] * len(cells)
    rows = _together([c for c in cells if len(c.exit)])
    found = np.concatenate([c.found for c in cells])
    lower = np.concatenate(
        [np.full(len(c.exit), np.nan) if c.lower is None else c.lower for c in cells]
    )
    fits = fit_cells(
        np.repeat(np.arange(len(cells)), sizes), rows.exit, rows.event, entry=rows.entry,
        lower=np.where(found, lower, np.nan), upper=np.where(found, rows.exit, np.nan),
        weights=rows.weight,
    )  # fmt: skip
    tops: list[Top | None] = [None] * len(cells)
    qq, qs, ss = fits.information
    for i, number in enumerate(fits.cells):
        determinant = qq[i] * ss[i] - qs[i] ** 2
        if fits.fitted[i] and determinant > 0:
            tops[int(number)] = Top(
                float(fits.log_shape[i]), float(fits.log_scale[i]),
                math.sqrt(ss[i] / determinant), math.sqrt(qq[i] / determinant),
            )  # fmt: skip
    return tops
