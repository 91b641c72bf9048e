"""The plain way to clean a meter, one machine and one pair of readings at a time: a reference."""

import numpy as np

Array = np.ndarray


def longest_path(day: Array, reading: Array, fastest: float, reset_cost: float = np.inf) -> Array:
    """Which readings of one machine stand on the longest path, by looking at every pair."""
    n = len(day)
    pairs = [(i, j) for j in range(n) for i in range(j)]
    fits = {
        (i, j): reading[j] >= reading[i]
        and reading[j] - reading[i] <= fastest * (day[j] - day[i] + 1.0)
        for i, j in pairs
    }
    slope = {(i, j): (reading[j] - reading[i]) / max(day[j] - day[i], 1.0) for i, j in pairs}
    near = [(i, j) for i, j in pairs if j - i <= 3 and fits[i, j] and day[j] > day[i]]
    known = [slope[p] for p in near]
    usual = float(np.median(known)) if known else 0.0

    def gain(i: int, j: int) -> float:
        if fits[i, j]:
            if np.isfinite(reset_cost) and 0 < 5.0 * usual < slope[i, j]:
                return 0.25
            unlike = abs(slope[i, j] - usual) / max(abs(slope[i, j]) + usual, 1e-9)
            return 1.0 - unlike / (n + 1.0)
        wait = day[j] - day[i]
        anew = reading[j] < reading[i] and wait > 0 and reading[j] <= fastest * (wait + 1.0)
        return 1.0 - reset_cost if np.isfinite(reset_cost) and anew else -np.inf

    score, previous = [1.0] * n, [-1] * n
    for j in range(1, n):
        ways = [score[i] + gain(i, j) for i in range(j)]
        if max(ways) > 1.0:
            score[j], previous[j] = max(ways), int(np.argmax(ways))
    kept = np.zeros(n, dtype=bool)
    at = max(range(n), key=lambda j: (score[j], j)) if n else -1
    while at >= 0:
        kept[at] = True
        at = previous[at]
    return kept
