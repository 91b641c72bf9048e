"""Rows that can't stand, told quickly where there are none."""

import numpy as np
from numpy.typing import NDArray

from dutylife.models.batch.blocks import ROWS_A_BLOCK
from dutylife.models.checks import Array


def cant_stand(arrays: dict[str, Array]) -> NDArray[np.bool_] | None:
    """Rows that can't stand; None where all can, told by a few quick looks at columns."""
    if _all_can_stand(arrays):
        return None
    exit_, event = arrays["exit"], arrays["event"]
    entry = arrays.get("entry", np.zeros(1))
    with np.errstate(invalid="ignore"):
        bad = ~((exit_ > 0) & np.isfinite(exit_)) | ~((event == 0) | (event == 1))
        bad |= ~((entry >= 0) & (entry < exit_))
        if "upper" in arrays:
            lower, upper = arrays["lower"], arrays["upper"]
            found = ~(np.isnan(lower) & np.isnan(upper))
            good = (lower >= entry) & (lower < upper) & np.isfinite(upper)
            bad = np.where(found, ~good | ~(entry >= 0), bad)
        if "weights" in arrays:
            bad |= ~((arrays["weights"] >= 0) & np.isfinite(arrays["weights"]))
    return np.asarray(bad) if bad.any() else None


def _all_can_stand(arrays: dict[str, Array]) -> bool:
    """Whether plain rows without weights can all stand; false may only mean not told."""
    exit_, event = arrays["exit"], arrays["event"]
    entry = arrays.get("entry", np.zeros(1))
    if "weights" in arrays or not len(exit_):
        return False
    if "upper" in arrays:
        found = arrays["upper"] == arrays["upper"]
        at = np.flatnonzero(found)
        lower, upper = arrays["lower"][at], arrays["upper"][at]
        since = entry[at] if len(entry) == len(exit_) else entry
        if np.count_nonzero(arrays["lower"] == arrays["lower"]) != len(at):
            return False
        if not ((lower >= since).all() and (lower < upper).all() and (upper < np.inf).all()):
            return False
    for first in range(0, len(exit_), ROWS_A_BLOCK):
        some = slice(first, first + ROWS_A_BLOCK)
        since = entry[some] if len(entry) == len(exit_) else entry
        # an exit beyond an entry of 0 or more is above 0
        if not (since.min() >= 0 and exit_[some].max() < np.inf and (since < exit_[some]).all()):
            return False
    return event.dtype == np.bool_ or bool(((event == 0) | (event == 1)).all())
