"""Product-limit (Kaplan-Meier) curve with late entry, its limits, its median."""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError
from dutylife.models.checks import checked_lives
from dutylife.wording import count, number

Array = NDArray[np.float64]
COLUMNS = ["age", "at_risk", "n_events", "survival", "standard_error", "lower", "upper"]
_HALF_WIDTH = 1e-9  # S within this of a half counts as touching it


@dataclass(frozen=True, slots=True, kw_only=True)
class SurvivalCurve:
    """Share still working by age; one step for each age at which a life ended or was cut off.

    ``steps`` holds the rows of ``table``: (age, at risk, events, survival, standard error,
    lower, upper).
    """

    level: float
    limits: str
    n_lives: int
    n_failed: int
    steps: tuple[tuple[float, ...], ...]

    @property
    def table(self) -> pd.DataFrame:
        """Columns age, at_risk, n_events, survival, standard_error, lower, upper."""
        return pd.DataFrame(list(self.steps), columns=COLUMNS)

    def median(self) -> float:
        """Age by which half have failed; ``nan`` when the curve stays above a half [age].

        Where the curve runs flat at exactly a half: the middle of the flat stretch.
        """
        table = self.table
        return _crossing(table["age"].to_numpy(), table["survival"].to_numpy())

    def median_limits(self) -> tuple[float, float]:
        """Limits of the median: where the lower and the upper limit of the curve cross a half."""
        table = self.table
        age = table["age"].to_numpy()
        low, high = (_crossing(age, table[c].to_numpy()) for c in ("lower", "upper"))
        return low, high

    def survival_at(self, ages: ArrayLike) -> Array:
        """Survival at given ages, shape as ``ages``; the last step's value beyond it [1]."""
        table = self.table
        at = np.searchsorted(table["age"].to_numpy(), np.asarray(ages, dtype=float), side="right")
        held = np.concatenate([[1.0], table["survival"].to_numpy()])
        found: Array = held[at]
        return found

    @property
    def text(self) -> str:
        """One sentence."""
        seen = f"{count(self.n_failed, 'failure')} in {count(self.n_lives, 'life', 'lives')}"
        half = self.median()
        if not np.isfinite(half):
            last = self.steps[-1]
            return f"{seen}; {number(100 * last[3])} % still work at the longest age seen."
        low, high = self.median_limits()
        top = number(high) if np.isfinite(high) else "an age not seen yet"
        span = f"{100 * self.level:.0f} % range {number(low)} to {top}"
        return f"{seen}; half have failed by {number(half)} ({span})."


def kaplan_meier(
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    level: float = 0.95,
    limits: Literal["log-log", "log", "plain"] = "log-log",
) -> SurvivalCurve:
    """Product-limit curve of lives watched over (entry, exit].

    Parameters
    ----------
    exit : array_like, shape (n,)
        Age at the end of each life or of its watching. [one unit for all]
    event : array_like, shape (n,)
        1 where the life ended in failure.
    entry : array_like, shape (n,), optional
        Age at which watching began; 0 by default.
    weights : array_like, shape (n,), optional
        Share of each row; 1 by default.
    level : float
        Confidence level of the limits. [1]
    limits : {"log-log", "log", "plain"}
        Scale on which the limits are taken.

    Returns
    -------
    SurvivalCurve

    Raises
    ------
    FitError
        Ages that can't stand, or a curve that falls to 0 while lives enter later.

    Notes
    -----
    Standard errors after Greenwood. Where the curve is 0 they and the limits are undefined and
    stay missing. The table of events and lives at risk comes from lifelines.
    """
    if limits not in ("log-log", "log", "plain") or not 0 < level < 1:
        raise FitError(
            f"limits '{limits}' at level {level} are not known.",
            "kaplan_meier(limits=, level=)",
            "limits are 'log-log', 'log' or 'plain'; the level lies between 0 and 1",
        )
    ages, failed, starts, shares = checked_lives(exit, event, entry, weights, zero_allowed=True)
    events = _event_table(ages, failed, starts, shares)
    age = events.index.to_numpy(dtype=float)
    at_risk = events["at_risk"].to_numpy(dtype=float)
    died = events["observed"].to_numpy(dtype=float)
    survival = events["survival"].to_numpy(dtype=float)
    error, lower, upper = _limits(survival, died, at_risk, level, limits)
    rows = zip(age, at_risk, died, survival, error, lower, upper, strict=True)
    return SurvivalCurve(
        level=level,
        limits=limits,
        n_lives=len(ages),
        n_failed=int(failed.sum()),
        steps=tuple(tuple(float(v) for v in row) for row in rows),
    )


def _event_table(
    ages: Array, failed: NDArray[np.bool_], starts: Array, shares: Array
) -> pd.DataFrame:
    """By age: observed, at_risk (of those entered before that age), survival."""
    from lifelines.utils import survival_table_from_events

    # the table and not the fitter: the fitter refuses any early gap in the lives at risk, also
    # where nobody failed before it and the curve is well defined
    table: Any = survival_table_from_events(ages, failed, birth_times=starts, weights=shares)
    events: pd.DataFrame = table.astype(float)
    # watching covers (entry, exit]: who enters at an age is not at risk at that age
    entered_now = events["entrance"].where(events.index > 0, 0.0)
    at_risk = (events["at_risk"] - entered_now).clip(lower=0.0)
    factor = (1.0 - events["observed"] / at_risk.where(at_risk > 0)).where(events["observed"] > 0)
    survival = factor.fillna(1.0).clip(lower=0.0).cumprod()
    survival = survival.mask(survival < 1e-12, 0.0)  # weights that sum to 1 with a rounding error
    gone = np.flatnonzero(survival.to_numpy() == 0.0)
    if len(gone) and ages.max() > events.index[gone[0]]:
        raise _falls_early()
    ended = events["removed"] > 0  # ages at which lives only enter are no steps
    return pd.DataFrame({"observed": events["observed"], "at_risk": at_risk, "survival": survival})[
        ended
    ]


def _falls_early() -> FitError:
    return FitError(
        "The curve falls to 0 while lives enter at later ages: all watched so early failed.",
        "kaplan_meier(entry=)",
        "start at an age where several are at risk: entry = max(entry, age), and leave out "
        "lives that ended before that age",
    )


def _limits(
    survival: Array, died: Array, at_risk: Array, level: float, limits: str
) -> tuple[Array, Array, Array]:
    from scipy.special import ndtri

    with np.errstate(divide="ignore", invalid="ignore"):
        steps = np.where(died > 0, died / (at_risk * (at_risk - died)), 0.0)
        of_log = np.sqrt(np.cumsum(steps))
        alive = np.where(survival > 0, survival, np.nan)
        error = alive * of_log
        z = ndtri(0.5 + level / 2.0)
        if limits == "plain":
            lower, upper = alive - z * error, alive + z * error
        elif limits == "log":
            lower, upper = alive * np.exp(-z * of_log), alive * np.exp(z * of_log)
        else:
            width = z * of_log / np.abs(np.log(alive))
            lower, upper = alive ** np.exp(width), alive ** np.exp(-width)
            lower, upper = np.where(alive == 1, 1.0, lower), np.where(alive == 1, 1.0, upper)
    return error, np.clip(lower, 0.0, 1.0), np.clip(upper, 0.0, 1.0)


def _crossing(age: Array, curve: Array) -> float:
    """Age at which a falling step curve passes a half; the middle of a stretch at just a half."""
    known = np.isfinite(curve)  # a limit is missing where the curve is 0: no crossing there
    age, falls = age[known], curve[known]
    below = np.flatnonzero(falls <= 0.5 + _HALF_WIDTH)
    if len(below) == 0:
        return float("nan")
    first = below[0]
    if abs(falls[first] - 0.5) > _HALF_WIDTH:
        return float(age[first])
    after = np.flatnonzero(falls < 0.5 - _HALF_WIDTH)
    return float((age[first] + age[after[0]]) / 2.0) if len(after) else float(age[first])
