"""Random numbers that belong to a part's place, not to the order in which they are drawn.

Two plans, or a fleet before and after a change, meet the same luck: a place on a machine has its
own stream, and its n-th part in simulation s always gets the same number of it.
"""

import numpy as np
import numpy.typing as npt

from dutylife.provenance import numbers_of, scattered

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Keys = npt.NDArray[np.uint64]
_STEP = np.uint64(0x9E3779B97F4A7C15)
_ROUND = np.uint64(1 << 24)  # more simulations than any comparison takes


def keys_of(names: list[str], seed: int, purpose: str) -> Keys:
    """Start of each name's stream, shape (n,): depends on the run's seed, never on row order."""
    return numbers_of(names, salt=f"comparison {seed} {purpose}")


def uniforms(keys: Keys, simulation: Ints, turn: int) -> Array:
    """Numbers in (0, 1), one for each pair of key and simulation, broadcast against each other.

    Parameters
    ----------
    keys : ndarray of uint64
        From `keys_of`.
    simulation : ndarray of int
        Number of the simulation, below 2 ** 24.
    turn : int
        Which part in a row of that place.

    Notes
    -----
    The generator SplitMix64 (Steele, Lea, Flood: Fast splittable pseudorandom number generators,
    OOPSLA 2014) read at any place of its sequence, which numpy's generators can't be for many
    streams at once.
    """
    with np.errstate(over="ignore"):
        place = simulation.astype(np.uint64) + np.uint64(turn) * _ROUND
        state = keys + (place + np.uint64(1)) * _STEP
    whole = scattered(state) >> np.uint64(11)
    return np.asarray((whole.astype(np.float64) + 0.5) * 2.0**-53)


def law_of_each_group(weights: Array, n_groups: int, key: int) -> Ints:
    """Draw of the law that each group of simulations takes, shape (n_groups,).

    Every draw is taken in proportion to its weight as evenly as whole numbers allow; which group
    takes which is shuffled by the cell's own ``key``.
    """
    random = np.random.default_rng(key)
    at = (np.arange(n_groups) + random.random()) / n_groups
    taken = np.searchsorted(np.cumsum(weights) / weights.sum(), at)
    return np.asarray(random.permutation(np.minimum(taken, len(weights) - 1)), dtype=np.int64)
