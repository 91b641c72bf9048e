"""Result of age replacement, and the flat stretch around a best age."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.wording import age_replacement_text

Array = npt.NDArray[np.float64]
FLAT = 0.02  # ages whose cost lies within this share of the best are one flat stretch


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeReplacement:
    """Best replacement age and the cost curve behind it.

    Parameters
    ----------
    interval, interval_lower, interval_upper : float
        Best age, and the stretch of ages within 2 % of its cost, in the clock of the survival
        function; all ``inf`` where waiting for failure is cheapest or the best age lies beyond
        ``longest_age``.
    cost_rate : float
        Long-run cost per unit of age at ``interval``. [currency per unit of age]
    cost_rate_run_to_failure : float
        The same when every part is left to fail.
    best_age : float
        Cheapest age up to ``longest_age``, whether or not it pays.
    beyond_seen : bool
        The cost still falls at ``longest_age``.
    ages, cost_rates : tuple of float
        The curve.
    """

    interval: float
    interval_lower: float
    interval_upper: float
    cost_rate: float
    cost_rate_run_to_failure: float
    best_age: float
    beyond_seen: bool
    ages: tuple[float, ...]
    cost_rates: tuple[float, ...]

    @property
    def table(self) -> pd.DataFrame:
        """The curve: age, cost_rate."""
        return pd.DataFrame({"age": self.ages, "cost_rate": self.cost_rates})

    @property
    def text(self) -> str:
        """One sentence."""
        return age_replacement_text(
            self.interval,
            self.interval_lower,
            self.interval_upper,
            self.cost_rate,
            self.cost_rate_run_to_failure,
            beyond_seen=self.beyond_seen,
        )


def flat_stretch(ages: Array, rates: Array) -> tuple[float, float]:
    """First and last age, next to the best, whose cost lies within 2 % of the best."""
    at = int(np.argmin(rates))
    dear = rates > (1 + FLAT) * rates[at]
    below = np.flatnonzero(dear[:at])
    above = np.flatnonzero(dear[at:])
    first = int(below[-1]) + 1 if below.size else 0
    last = at + int(above[0]) - 1 if above.size else len(ages) - 1
    return float(ages[first]), float(ages[last])
