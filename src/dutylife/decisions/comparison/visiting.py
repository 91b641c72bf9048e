"""Planned visits of a simulated year: those that begin with planned work, or as the record has."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from dutylife.decisions.comparison.policies import Plan
from dutylife.decisions.visits.jobs import GROUP_DAYS
from dutylife.provenance import seed_of

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
_FINEST = 1024.0  # of a day, in the order of visits
_DAY_BITS = 36


def in_order(at: Ints, day: Array, planned: npt.NDArray[np.bool_]) -> Ints:
    """Machine, simulation, day and whether it was planned, as one whole number each."""
    return np.asarray((at << _DAY_BITS) + (np.round(day * _FINEST).astype(np.int64) << 1) + planned)


def planned_visits(entries: Ints, shape: tuple[int, int]) -> Array:
    """Visits that begin with planned work, by machine and simulation."""
    entries = np.sort(entries)
    out = np.zeros(shape[0] * shape[1])
    if not entries.size:
        return out.reshape(shape)
    group = entries >> _DAY_BITS
    window = np.int64(GROUP_DAYS * _FINEST) << 1
    at = np.flatnonzero(np.concatenate([[True], group[1:] != group[:-1]]))
    end = np.append(at[1:], len(entries))
    while at.size:
        out[group[at]] += entries[at] & 1
        following = np.searchsorted(entries, entries[at] + window, side="right")
        more = following < end
        at, end = following[more], end[more]
    return out.reshape(shape)


class SeenVisits:
    """Planned visits at the record's rate, each machine by its duty, one machine after another."""

    def __init__(
        self, plan: Plan, n_groups: int, per_group: int, seed: int, horizon: float
    ) -> None:
        self._n = n_groups * per_group
        self._duties: dict[str, tuple[np.random.Generator, Array]] = {}
        for duty, (n, days) in (plan.visits_a_day or {}).items():
            if n > 0 and days > 0:
                random = np.random.default_rng(seed_of(seed, "comparison", "visits seen", duty))
                rate = np.repeat(random.gamma(n, 1 / days, size=n_groups), per_group)
                self._duties[duty] = random, rate * horizon

    def next_of(self, duties: Sequence[str]) -> Array:
        """Visits of the next machines, by their duties; (n_machines, n_simulations)."""
        out = np.zeros((len(duties), self._n))
        of = np.array(duties)
        for duty, (random, mean) in self._duties.items():
            mine = np.flatnonzero(of == duty)
            out[mine] = random.poisson(mean, size=(len(mine), self._n))
        return out
