"""Hours run in all from the readings that stand: through new meters, roll-overs and stands."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.lives.clocks.standing import Array, Flags, Rows

SHORTEST_SPAN_DAYS = 28.0  # below it a unit's own rate is a guess
STOPPED_DAYS = 21.0  # readings that stay the same this long: the meter stood, not the machine
STOPPED_RISE = 0.5  # [meter unit]
# a fall is a roll-over where the figures' room above the last reading gives a rate in this range
# of the machine's own
ROLLED_RATE = (1.0 / 3.0, 3.0)
ROLLED_FROM = 0.8  # of that room
# a stretch beside a stand that ran below this share of the usual: the stand reaches into it
BESIDE_SHARE = 0.8
# a stretch alone: below this share, and so many spreads of the fleet's stretches below their middle
LONE_SHARE, LONE_SPREADS = 0.5, 4.0
FAST_SHARE = 1.5
MISSED_PER_STOOD = 2.0
FEWEST_STRETCHES = 30  # to know the spread by; all of these are our proposal
RATE_CV = 0.2  # of a machine's own rate from one span to the next; our proposal


@dataclass(frozen=True, slots=True)
class Running:
    """Hours run in all at each kept reading, in the rows' order, and what was met, by machine.

    ``guessed`` is the variance and ``bridged`` the hours that guessed stretches have added up to
    by each reading; ``ahead`` the hours run in all less what the meter shows, at the machine's
    last reading.
    """

    hours: Array
    guessed: Array
    bridged: Array
    ahead: Array
    n_restarts: NDArray[np.int64]
    n_stood: NDArray[np.int64]


def run_in_all(rows: Rows, fastest: float, use: Array | None = None) -> Running:
    """Hours run in all at each reading.

    Parameters
    ----------
    rows : Rows
        Readings that are kept; a fall among them is a meter that started again.
    fastest : float
        Largest rise a day.
    use : ndarray, shape (n,), optional
        Days of use by each reading (see `season.Season`); the calendar's without.

    Notes
    -----
    The own rate is that of all other stretches. A fall from near the top of the meter's figures
    (9 8xx to 0 1xx) whose rest gives about that rate is a roll-over, and known. At any other fall
    the meter was replaced, and where a meter of hours reads the same for 21 days it stood: there
    the machine ran at its own rate, though at least as far as the new meter shows, give or take
    a fifth. The stretches beside a stand hold its begin and its end: where slow, they are taken
    for part of it.
    """
    n_machines = len(rows.start) - 1
    machine = rows.machine
    wait, rise = np.diff(rows.day), np.diff(rows.reading)
    same = machine[1:] == machine[:-1]
    fell = same & (rise < 0)
    # a vehicle whose odometer stays the same stood itself (public logs of city buses)
    still = _standing(wait, rise, machine) if np.isfinite(fastest) else np.zeros_like(fell)
    used = wait if use is None else np.diff(use)
    good = same & ~fell & ~still
    usual = _own_rates(used, rise, good, machine, n_machines)[machine[1:]]
    slow = _slow(used, wait, rise, good, usual, still, machine)
    usual = _own_rates(used, rise, good & ~slow, machine, n_machines)[machine[1:]]
    at = np.flatnonzero(fell | still | slow)  # few: only there the meter isn't taken at its word
    extra, error, bridged = (np.zeros(len(rows.day)) for _ in range(3))
    steps, guess = _guessed(rows, at, fell[at], usual[at] * used[at], fastest)
    extra[at + 1] = steps - rise[at]
    error[at + 1] = np.where(guess, RATE_CV * usual[at] * used[at], 0.0)
    bridged[at + 1] = np.where(guess, steps, 0.0)
    hours = rows.reading + _since_first(extra, rows)
    last = np.maximum(rows.start[1:] - 1, 0)
    return Running(
        hours=hours,
        guessed=_since_first(error**2, rows),
        bridged=_since_first(bridged, rows),
        ahead=(hours - rows.reading)[last],
        n_restarts=np.bincount(machine[1:][fell], minlength=n_machines),
        n_stood=np.bincount(machine[at + 1][guess & ~fell[at]], minlength=n_machines),
    )


def usual_rates(rows: Rows) -> Array:
    """Use of each machine over the stretches in which its meter rises, 0 below 28 days.

    Returns
    -------
    ndarray, shape (machines,)
        [meter unit per day]
    """
    machine = rows.machine
    wait, rise = np.diff(rows.day), np.diff(rows.reading)
    good = (machine[1:] == machine[:-1]) & (rise > STOPPED_RISE)
    return _own_rates(wait, rise, good, machine, len(rows.start) - 1)


def _own_rates(
    wait: Array, rise: Array, good: Flags, machine: NDArray[np.int64], n_machines: int
) -> Array:
    """Rate of each machine over its good stretches, 0 where they last less than 28 days."""
    lived = _sums(wait, good, machine, n_machines)
    ran = _sums(rise, good, machine, n_machines)
    return np.where(lived >= SHORTEST_SPAN_DAYS, ran / np.maximum(lived, 1.0), 0.0)


def _slow(
    used: Array,
    wait: Array,
    rise: Array,
    good: Flags,
    usual: Array,
    still: Flags,
    machine: NDArray[np.int64],
) -> Flags:
    """Stretches in which the meter stood for a part of the time.

    Beside a stand: the meter stopped, or began again, within them. Alone: far slower than
    stretches of this fleet ever are, while what such stretches miss adds up to at most twice the
    days of the stands that were seen; a fleet whose machines rest (winter, no work) has many such,
    and its meters are right.
    """
    nothing = np.zeros_like(still)
    if not still.any():
        return nothing
    next_to = np.append(still[1:], False) | np.append(False, still[:-1])
    same = machine[1:] == machine[:-1]
    next_to &= same
    share = rise / np.maximum(usual * used, 1e-9)
    low = good & (usual > 0) & (share < 1.0)
    beside = low & next_to & (share < BESIDE_SHARE)
    told = good & (usual > 0) & (wait >= STOPPED_DAYS) & (rise > 0)
    if told.sum() < FEWEST_STRETCHES:
        return beside
    middle, high = np.quantile(np.log(share[told]), [0.5, 0.84])
    least = min(LONE_SHARE, float(np.exp(middle - LONE_SPREADS * (high - middle))))
    missed = (1.0 - share) * wait
    alone = low & ~beside & (share < least) & (missed >= STOPPED_DAYS)
    # beside a fast stretch the reading between the two is the odd one, not the meter
    fast = same & (share > FAST_SHARE)
    alone &= ~(np.append(fast[1:], False) | np.append(False, fast[:-1]))
    if missed[alone].sum() > MISSED_PER_STOOD * wait[still].sum():
        return beside
    return beside | alone


def _guessed(
    rows: Rows, at: NDArray[np.int64], fell: Flags, expected: Array, fastest: float
) -> tuple[Array, Flags]:
    """Hours run in the stretches that begin at rows ``at``, and which of them are guessed.

    ``expected`` are those at the usual rate, 0 where it is not known.
    """
    before, after = rows.reading[at], rows.reading[at + 1]
    wait = rows.day[at + 1] - rows.day[at]
    room = 10.0 ** np.ceil(np.log10(np.maximum(before, 1.0) + 1.0))
    over = room - before + after
    low, high = ROLLED_RATE
    rolled = fell & (before >= ROLLED_FROM * room)
    rolled &= (over >= low * expected) & (over <= high * expected)
    guess = (fell & ~rolled) | (~fell & (expected > 0))
    ran = np.minimum(np.maximum(expected, np.where(fell, after, 0.0)), fastest * wait)
    return np.select([rolled, guess], [over, ran], after - before), guess


def _standing(wait: Array, rise: Array, machine: NDArray[np.int64]) -> Flags:
    """Stretches in a row, 21 days or more together, in which the readings stay the same."""
    flat: Flags = (np.abs(rise) <= STOPPED_RISE) & (machine[1:] == machine[:-1])
    at = np.flatnonzero(flat)
    if not len(at):
        return flat
    begins = np.concatenate([[True], (np.diff(at) > 1) | (np.diff(machine[at]) > 0)])
    run = np.cumsum(begins) - 1
    together = np.bincount(run, weights=wait[at])
    flat[at] = together[run] >= STOPPED_DAYS
    return flat


def _sums(values: Array, kept: Flags, machine: NDArray[np.int64], n_machines: int) -> Array:
    weights = np.where(kept, values, 0.0)
    return np.bincount(machine[1:], weights=weights, minlength=n_machines).astype(np.float64)


def _since_first(steps: Array, rows: Rows) -> Array:
    """Steps added up along each machine; its first row has none."""
    if not steps.any():
        return steps
    total = np.cumsum(steps)
    first = np.minimum(rows.start[:-1], len(total) - 1)
    return total - np.repeat(total[first], np.diff(rows.start))
