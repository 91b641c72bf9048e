"""How long each life would have been watched had it not failed, as a bootstrap has to know."""

import numpy as np
from numpy.typing import ArrayLike

from dutylife.errors import FitError
from dutylife.models.batch.fit import CellFits
from dutylife.models.checks import Array

_CERTAIN = 100.0  # a cumulative hazard no exponential draw gets past


def planned_ends(fits: CellFits, seed: int, stop: ArrayLike | None) -> Array:
    """Planned end of watching of each life; those of lives that failed stated, or drawn once.

    Parameters
    ----------
    fits : CellFits
    seed : int
    stop : array_like, optional
        End of watching of lives that failed, one for all cells or one for each. [age]

    Returns
    -------
    ndarray, shape (n_lives,)
        In the order of ``fits.lives``; infinite where the life was watched without end. [age]

    Raises
    ------
    FitError
        ``stop`` is not above every failure of its cell.
    """
    exit_, failed = fits.lives["exit"], fits.lives["event"] > 0.5
    if stop is not None:
        of_cell = np.broadcast_to(np.asarray(stop, dtype=float), (len(fits.cells),))
        end = np.where(failed, of_cell[fits.codes], exit_)
        late = failed & ~(end >= exit_)
        if late.any():
            raise FitError(
                f"{int(late.sum())} lives failed after the planned end of watching.",
                f"bootstrap(stop), first in cell {fits.cells[fits.codes[late][0]]}",
                "stop is the age at which a life would have left the watch unfailed",
            )
        return np.asarray(end)
    rng = np.random.default_rng(np.random.SeedSequence([seed, 2**31]))
    # by cell and age; of equal ages the failures first, since the others were still there then
    order = np.lexsort((~failed, exit_, fits.codes))
    codes, is_failed = fits.codes[order], failed[order]
    last = np.searchsorted(codes, codes, "right") - 1
    at_risk = last - np.arange(len(order)) + 1
    with np.errstate(divide="ignore"):
        rise = np.where(is_failed, 0.0, -np.log1p(-1.0 / at_risk))
    hazard = np.cumsum(np.minimum(rise, _CERTAIN))
    end = exit_[order].copy()
    at = np.flatnonzero(is_failed)
    drawn = np.searchsorted(hazard, hazard[at] + rng.exponential(size=len(at)))
    within = drawn <= last[at]
    end[at] = np.where(within, exit_[order][np.minimum(drawn, len(order) - 1)], np.inf)
    out = np.empty_like(end)
    out[order] = end
    return out
