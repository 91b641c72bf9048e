"""Readings that could stand in the path, but only with a burst and a rest that no machine has."""

import numpy as np
from numpy.typing import NDArray

from dutylife.lives.clocks.standing import LEAP_RATE, Array, Flags, Rows

# all our proposal; a season of the strongest kind (0.4 to 2 times the mean) stays below them
BENT = 1.2  # of the hours usually run in the shorter stretch beside a reading
SHORT_DAYS = 14.0  # in fewer days a machine can run far from its usual rate
FAST, SLOW = 2.5, 0.5  # of the usual rate: the stretches on both sides of a slip
FEWEST = 5  # readings of a machine; with fewer the usual rate is not known


def slips_in_order(rows: Rows, usual: Array) -> Flags:
    """Which readings are slips though no reading falls and none outruns the clock.

    Parameters
    ----------
    rows : Rows
        Readings that stand.
    usual : ndarray, shape (machines,)
        Usual rate of each machine, 0 where not known. [meter unit per day]

    Returns
    -------
    ndarray of bool, shape (n,)
        A reading between two others that lies far beside the line between them, where that line
        has about the usual rate and one side of it is fast, the other slow; and a first or last
        reading reached at more than `LEAP_RATE` times the usual rate.
    """
    n = len(rows.day)
    slip = np.zeros(n, dtype=bool)
    rate = np.where(np.diff(rows.start) >= FEWEST, usual, 0.0)
    # beside a slip one stretch is fast: few are
    steps = np.repeat(FAST * rate, np.diff(rows.start))[:-1] * rows.wait
    fast = np.flatnonzero(rows.same & (rows.rise > steps) & (steps > 0))
    if not len(fast):
        return slip
    rate_then = rate[rows.machine[fast]]
    leap = rows.rise[fast] > LEAP_RATE * rate_then * np.maximum(rows.wait[fast], SHORT_DAYS)
    is_first = np.isin(fast, rows.start[:-1])
    is_last = np.isin(fast + 2, rows.start[1:])
    slip[fast[leap & is_first]] = True
    slip[fast[leap & is_last] + 1] = True
    # the odd reading is the one before the fast stretch, or the one behind it
    inner = np.unique(np.concatenate([fast[~is_first], fast[~is_last] + 1]))
    off = _off_the_line(rows, inner, rate[rows.machine[inner]])
    # two in a row tell of one slip: the one that lies farther off
    size = np.zeros(n + 1)
    size[inner] = off
    slip[inner] |= (off > 0) & (off > size[inner - 1]) & (off > size[inner + 1])
    return slip


def _off_the_line(rows: Rows, inner: NDArray[np.int64], usual: Array) -> Array:
    """How far inner readings lie beside the line between their neighbours; 0 where not too far."""
    first, last = (np.maximum(rows.wait[at], 1.0) for at in (inner - 1, inner))
    up, on = rows.rise[inner - 1], rows.rise[inner]
    fast, slow = np.maximum(up / first, on / last), np.minimum(up / first, on / last)
    whole = (up + on) / (first + last)
    off: Array = np.abs(up / first - on / last) * first * last / (first + last)
    bent = (slow >= 0) & (fast >= FAST * usual) & (slow <= SLOW * usual)
    bent &= (whole >= SLOW * usual) & (whole <= usual / SLOW)
    bent &= off > BENT * usual * np.maximum(np.minimum(first, last), SHORT_DAYS)
    return np.where(bent, off, 0.0)
