"""The posterior of one cell by brute force: every row, every point of a fine grid.

The stated prior of a component in a single duty: log shape and log scale independent, each a
mixture of normal laws, of the component's mean and of how far duties differ added up.
"""

import numpy as np

SHAPE_MEAN, SHAPE_SD = np.log(1.5), np.log(3.2 / 0.7) / (2 * 1.959964)
SCALE_SD = 1.5
BETWEEN = {
    "shape": ([0.05, 0.10, 0.17, 0.27, 0.42], [0.30, 0.30, 0.20, 0.13, 0.07]),
    "scale": ([0.10, 0.20, 0.35, 0.55, 0.85, 1.30], [0.10, 0.18, 0.26, 0.24, 0.15, 0.07]),
}


def prior_density(at: np.ndarray, mean: float, sd: float, what: str) -> np.ndarray:
    """Mixture of normal densities."""
    out = np.zeros_like(at)
    for between, chance in zip(*BETWEEN[what], strict=True):
        total = np.hypot(sd, between)
        out += chance * np.exp(-0.5 * ((at - mean) / total) ** 2) / total
    return out


def brute_posterior(
    exit_: np.ndarray, event: np.ndarray, entry: np.ndarray, weight: np.ndarray, start: float,
    n: int = 1201,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Mean and standard deviation of (log shape, log scale)."""
    q = np.linspace(np.log(0.15), np.log(14.0), n)
    s = np.linspace(start - 9.0, start + 9.0, n)
    for _ in range(2):  # a second, finer grid over the stretch that carries the chances
        value = np.zeros((len(q), len(s)))
        with np.errstate(over="ignore", divide="ignore"):
            for age, failed, since, share in zip(exit_, event, entry, weight, strict=True):
                z = np.exp(q)[:, None] * (np.log(age) - s[None, :])
                value += share * (failed * (q[:, None] + z) - np.exp(z))
                if since > 0:
                    value += share * np.exp(np.exp(q)[:, None] * (np.log(since) - s[None, :]))
            value += np.log(prior_density(q, SHAPE_MEAN, SHAPE_SD, "shape"))[:, None]
            value += np.log(prior_density(s, start, SCALE_SD, "scale"))[None, :]
        chance = np.exp(value - value.max())
        chance /= chance.sum()
        by_q, by_s = chance.sum(axis=1), chance.sum(axis=0)
        mean = np.array([by_q @ q, by_s @ s])
        sd = np.sqrt([by_q @ (q - mean[0]) ** 2, by_s @ (s - mean[1]) ** 2])
        held_q, held_s = q[by_q > 1e-12 * by_q.max()], s[by_s > 1e-12 * by_s.max()]
        q = np.linspace(held_q[0], held_q[-1], n)
        s = np.linspace(held_s[0], held_s[-1], n)
    return mean, sd
