"""Chances of 0, 1, 2, ... renewals by an age, from the same equation as the renewal function."""

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from dutylife.decisions.life import life_of, panel_means
from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]


def renewal_counts(life: Any, age: float, *, n_steps: int = 2048) -> Array:
    """Chance of 0, 1, 2, ... renewals by an age: spares one position takes in that time.

    Parameters
    ----------
    life : Life, fitted law, frozen scipy law or callable
    age : float
        [age]
    n_steps : int
        Steps of the net; the error falls with their square.

    Returns
    -------
    ndarray, shape (n,)
        Sums to 1; further counts have a chance below 1e-12. [1]

    Raises
    ------
    DecisionError
        A life that can't be read or an age that is not positive.

    Examples
    --------
    >>> from scipy.stats import expon
    >>> renewal_counts(expon(scale=10), 30)[:3].round(4).tolist()
    [0.0498, 0.1494, 0.224]
    """
    from scipy.signal import fftconvolve

    law = life_of(life)
    if not 0 < age < math.inf:
        raise DecisionError(f"The age must be positive, it is {age}.", "age")

    def at_least(n: int) -> list[float]:
        edges = np.linspace(0.0, age, n + 1)
        means = panel_means(law.failed, edges, panels=2) * n / age
        reached, out = law.failed(edges), [1.0]
        once = reached
        while reached[-1] > 1e-13 and len(out) < 100_000:
            out.append(float(reached[-1]))
            spread = fftconvolve(np.diff(reached), means)[:n]
            reached = np.concatenate([[0.0], spread]) + reached[0] * once
        return [*out, 0.0]

    coarse, fine = at_least(n_steps // 2), at_least(n_steps)
    n = min(len(coarse), len(fine))
    reach = [f + (f - c) / 3 for f, c in zip(fine[:n], coarse[:n], strict=True)]
    chance = np.clip(-np.diff(np.array([*reach, 0.0])), 0.0, None)
    return np.asarray(chance / chance.sum(), dtype=float)
