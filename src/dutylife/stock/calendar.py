"""Days to come as days of mean use, where a duty runs by the season."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.lives.clocks.season import Season

Array = npt.NDArray[np.float64]
_EPOCH = pd.Timestamp("1970-01-01")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UseClock:
    """Use from the start of day ``first`` on, in days of a duty's mean use."""

    first: pd.Timestamp
    season: Season

    def has(self, duty: str) -> bool:
        """Whether the duty runs by the season."""
        return duty in set(self.season.duties)

    def passed(self, duty: str, days: npt.ArrayLike) -> Array:
        """Days of mean use passed after so many calendar days; shape as ``days``."""
        start = float((self.first - _EPOCH).days)
        at = start + np.concatenate([[0.0], np.atleast_1d(np.asarray(days, dtype=float))])
        rows = self.season.of(pd.Series([duty] * len(at), dtype=object))
        use = self.season.days_of_use(rows, at)
        return np.asarray(use[1:] - use[0])
