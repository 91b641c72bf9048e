"""Meters that count something else than hours: minutes, tenths, miles in an hours column."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.lives.clocks.standing import Array, Flags, Rows

Codes = NDArray[np.int64]
# our proposal: a machine runs 24 h a day at most, and hardly ten times as much as its like
MOST_STEPS = 0.5  # of a machine's rises outrun the clock
FEWEST_STEPS = 3
TIMES_ITS_LIKE = 10.0
FEWEST_LIKE = 5  # machines of a class, to say what is usual


@dataclass(frozen=True, slots=True)
class OddMeter:
    """A machine whose meter can't be one of hours.

    ``per_day`` is its rise a day, ``usual`` that of machines of its class (``nan`` where it is
    against the clock that it fails); ``rows`` names a few rows of the export.
    """

    unit_id: str
    per_day: float
    usual: float
    n_readings: int
    rows: str


def outruns_the_clock(rows: Rows, fastest: float) -> tuple[Flags, Array]:
    """Machines most of whose rises are faster than time allows, and each machine's rise a day.

    Parameters
    ----------
    rows : Rows
        All readings, slips too.
    fastest : float
        Largest rise a day; a day is granted for the unknown time of day of both readings.

    Returns
    -------
    flags, per_day : ndarray, shape (machines,)
    """
    n_machines = len(rows.start) - 1
    fast = np.flatnonzero(rows.same & (rows.rise > fastest * (rows.wait + 1.0)))
    n_fast = np.bincount(rows.machine[fast], minlength=n_machines)
    flags, per_day = np.zeros(n_machines, dtype=bool), np.zeros(n_machines)
    if n_fast.max(initial=0) <= MOST_STEPS * FEWEST_STEPS:
        return flags, per_day
    up = np.flatnonzero(rows.same & (rows.rise > 0) & (rows.wait > 0))
    up = up[n_fast[rows.machine[up]] > 0]
    of = rows.machine[up]
    n_up = np.bincount(of, minlength=n_machines)
    ran = np.bincount(of, rows.rise[up], minlength=n_machines)
    lived = np.bincount(of, rows.wait[up], minlength=n_machines)
    flags = (n_up >= FEWEST_STEPS) & (n_fast > MOST_STEPS * n_up)
    return flags, ran / np.maximum(lived, 1.0)


def unlike_its_class(rate: Array, equipment_class: Codes) -> tuple[Flags, Array]:
    """Machines that run ten times as much as the median of their class, or more.

    Parameters
    ----------
    rate : ndarray, shape (machines,)
        Own usual rate, 0 where not known. [meter unit per day]
    equipment_class : ndarray of int, shape (machines,)
        -1 for none.

    Returns
    -------
    flags, usual : ndarray, shape (machines,)
    """
    known = (rate > 0) & (equipment_class >= 0)
    usual = np.full(len(rate), np.nan)
    for number in np.unique(equipment_class[known]):  # classes, not machines
        like = known & (equipment_class == number)
        if like.sum() >= FEWEST_LIKE:
            usual[like] = np.median(rate[like])
    return known & (rate >= TIMES_ITS_LIKE * usual), usual
