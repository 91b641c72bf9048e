"""How close joint intervals can come: the lower bound of any policy, and the worst cases."""

import math

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def lower_bound(own: Array, rise: Array, shared: float) -> float:
    """Least cost of any policy: items ordered most often carry the shared cost together.

    Parameters
    ----------
    own, rise : ndarray, shape (n,)
        Cost own / T + rise x T of each item at its interval T.
    shared : float
    """
    order = np.argsort(own / rise)
    a, b = own[order], rise[order]
    cost, slope = shared, 0.0
    for i in range(len(a)):
        # an item whose own best interval is shorter than the joint one is held to it
        if slope > 0 and a[i] / b[i] >= cost / slope:
            return 2 * math.sqrt(cost * slope) + float(np.sum(2 * np.sqrt(a[i:] * b[i:])))
        cost, slope = cost + float(a[i]), slope + float(b[i])
    return 2 * math.sqrt(cost * slope)


def power_of_two_bound(*, free_base: bool) -> float:
    """Worst cost of power-of-two intervals over the lower bound.

    Parameters
    ----------
    free_base : bool
        The base interval may be chosen as well: 1 / (sqrt(2) ln 2); else held: (sqrt(2) +
        1 / sqrt(2)) / 2.

    References
    ----------
    Roundy (1985): 6 % and 2 %.

    Examples
    --------
    >>> round(power_of_two_bound(free_base=False), 4), round(power_of_two_bound(free_base=True), 4)
    (1.0607, 1.0201)
    """
    if free_base:
        return 1 / (math.sqrt(2) * math.log(2))
    return (math.sqrt(2) + 1 / math.sqrt(2)) / 2
