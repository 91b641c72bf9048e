"""Readings that could stand in the path, but only with a burst and a rest that no machine has."""

import numpy as np

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
    if n < 3:
        return slip
    machine = rows.machine
    rate = np.where(np.diff(rows.start) >= FEWEST, usual, 0.0)[machine]
    wait, rise = np.diff(rows.day), np.diff(rows.reading)
    same = machine[1:] == machine[:-1]
    rises = same & (rise >= 0)
    pace = rise / np.maximum(wait, 1.0)
    # at each inner reading: the stretch before it and the one behind it
    first, last = np.maximum(wait[:-1], 1.0), np.maximum(wait[1:], 1.0)
    usual_then = rate[1:-1]
    fast = np.maximum(pace[:-1], pace[1:])
    slow = np.minimum(pace[:-1], pace[1:])
    whole = (rise[:-1] + rise[1:]) / (first + last)
    off = np.abs(pace[:-1] - pace[1:]) * first * last / (first + last)
    least = BENT * usual_then * np.maximum(np.minimum(first, last), SHORT_DAYS)
    bent = rises[:-1] & rises[1:] & (usual_then > 0) & (off > least)
    bent &= (fast >= FAST * usual_then) & (slow <= SLOW * usual_then)
    bent &= (whole >= SLOW * usual_then) & (whole <= usual_then / SLOW)
    # two in a row tell of one slip: the one that lies farther off
    size = np.where(bent, off, 0.0)
    beside = np.maximum(np.append(size[1:], 0.0), np.append(0.0, size[:-1]))
    slip[1:-1] = bent & (size > beside)
    leap = rises & (rate[1:] > 0) & (rise > LEAP_RATE * rate[1:] * np.maximum(wait, SHORT_DAYS))
    ends = np.zeros(n, dtype=bool)
    ends[rows.start[:-1]] = True
    at_end = np.zeros(n, dtype=bool)
    at_end[rows.start[1:] - 1] = True
    slip[:-1] |= leap & ends[:-1]
    slip[1:] |= leap & at_end[1:]
    return slip
