"""The lives behind each component in each duty, on the one clock chosen for that cell."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.components import Component
from dutylife.models.checks import Array

# an age in hours serves a law when its standard error is below a tenth of it, or 2 hours; whether
# a machine has a meter has nothing to do with how its parts fail, so leaving out the others costs
# lives and moves nothing, while ages that err by more flatten the shape. Our proposal: of 0.06,
# 0.1, 0.15, 0.25 and 0.5 it was the best on ten practice fleets of every difficulty and on four
# of faulty meters, and as good as the others on ten of the scenario's own.
LARGEST_ERROR_SHARE = 0.1
SMALL_ERROR = 2.0
_WORDS = ["component", "duty", "event", "customer"]
_NUMBERS = [
    "life_number", "weight", "entry_days", "exit_days", "entry_hours", "exit_hours", "age_se_hours",
    "lower_days", "lower_hours",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class CellLives:
    """Lives on one clock. A failure whose part was the cause with probability w stands twice:
    as w of a failure and 1 - w of a survivor. A failure found at a service happened in
    (``lower``, exit]; elsewhere ``lower`` is missing.

    ``failures`` adds those probabilities; ``n_lives`` and ``n_failed`` count rows; ``customer``
    names who owns the machine, none where that is not known.
    """  # noqa: D205

    exit: Array
    event: NDArray[np.bool_]
    entry: Array
    weight: Array
    n_lives: int
    n_failed: int
    lower: Array | None = None
    customer: NDArray[np.object_] | None = None

    @property
    def found(self) -> NDArray[np.bool_]:
        """Which rows are failures found at a service."""
        if self.lower is None:
            return np.zeros(len(self.exit), dtype=bool)
        return np.isfinite(self.lower) & self.event

    @property
    def customers(self) -> NDArray[np.intp]:
        """Customer of each row as a number, -1 where not known."""
        if self.customer is None:
            return np.full(len(self.exit), -1, dtype=np.intp)
        return pd.factorize(self.customer)[0].astype(np.intp)

    @property
    def failures(self) -> float:
        """Failures, each by the probability that the part was the cause."""
        return float(self.weight[self.event].sum())


def usable_lives(failure_events: pd.DataFrame, comeback_days: int) -> pd.DataFrame:
    """Lives a law may stand on, with ``fits_days`` and ``fits_hours``.

    Known age, not ended by a comeback, watched for some time on that clock.

    Parameters
    ----------
    failure_events : DataFrame, table "failure_events"
    comeback_days : int
        A part put in at a visit that fails within this time counts as a comeback and is left
        out. So nothing that could be seen in that time is used: such lives are watched from its
        end on (else the law would have no early failures, and its shape would be too high).
        A machine's first parts were not put in at a visit.
    """
    usable = (failure_events["clock_source"] != "unknown") & ~failure_events["is_comeback"]
    lives = failure_events.loc[usable, [*_WORDS, *_NUMBERS]].astype(dict.fromkeys(_WORDS, "object"))
    put_in = lives["life_number"] > 1
    share = (comeback_days / lives["exit_days"].where(lives["exit_days"] > 0)).where(put_in, 0.0)
    lives["entry_days"] = np.fmax(lives["entry_days"], share * lives["exit_days"])
    lives["entry_hours"] = np.fmax(lives["entry_hours"], share * lives["exit_hours"])
    lives["fits_days"] = (lives["exit_days"] > lives["entry_days"]) & lives["exit_days"].notna()
    error = lives["age_se_hours"]
    precise = (error <= LARGEST_ERROR_SHARE * lives["exit_hours"]) | (error <= SMALL_ERROR)
    lives["fits_hours"] = precise & (lives["exit_hours"] > lives["entry_hours"])
    return lives


def clock_of(cell: pd.DataFrame, alike: pd.DataFrame, component: Component) -> str:
    """Clock of a cell: hours where the component wears by hours and half its lives tell them.

    Parameters
    ----------
    cell, alike : DataFrame
        Usable lives of the cell, and of the component in all duties for a cell without any.

    Notes
    -----
    Idle days are not counted yet: a component on that clock goes by days.
    """
    if component.clock != "hours":
        return "days"
    for lives in (cell, alike):
        if len(lives):
            return "hours" if lives["fits_hours"].mean() >= 0.5 else "days"
    return "days"


def lives_on(lives: pd.DataFrame, clock: str) -> CellLives:
    """Arrays of the usable lives on a clock."""
    rows = lives[lives[f"fits_{clock}"]]
    exit_ = rows[f"exit_{clock}"].to_numpy(float)
    entry = rows[f"entry_{clock}"].to_numpy(float)
    failed = (rows["event"] == "failed").to_numpy(bool)
    cause = np.clip(rows["weight"].fillna(1.0).to_numpy(float), 0.0, 1.0)
    cause = np.where(failed, cause, 0.0)
    as_failed, as_survivor = cause > 0, cause < 1
    # within the comeback window nothing counts, so no failure is placed there either
    since = np.fmax(rows[f"lower_{clock}"].to_numpy(float), entry)
    since = np.where(np.isfinite(rows[f"lower_{clock}"].to_numpy(float)), since, np.nan)
    customer = rows["customer"].to_numpy(dtype=object)
    return CellLives(
        exit=np.concatenate([exit_[as_failed], exit_[as_survivor]]),
        event=np.repeat([True, False], [as_failed.sum(), as_survivor.sum()]),
        entry=np.concatenate([entry[as_failed], entry[as_survivor]]),
        weight=np.concatenate([cause[as_failed], 1.0 - cause[as_survivor]]),
        n_lives=len(rows),
        n_failed=int(failed.sum()),
        lower=np.concatenate([since[as_failed], np.full(as_survivor.sum(), np.nan)]),
        customer=np.concatenate([customer[as_failed], customer[as_survivor]]),
    )
