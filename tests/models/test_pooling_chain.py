"""One component's hierarchy against a chain that walks the same posterior, nothing summed out."""

import numpy as np
import pytest

from dutylife.models.cells import CellLives
from dutylife.models.pooling import pool_cells

START = 5.5
SHAPE_MEAN, SHAPE_SD, SCALE_SD = np.log(1.5), np.log(3.2 / 0.7) / (2 * 1.959964), 1.5
SHAPE_BETWEEN = np.array([0.05, 0.10, 0.17, 0.27, 0.42])
SHAPE_CHANCE = np.array([0.30, 0.30, 0.20, 0.13, 0.07])
SCALE_BETWEEN = np.array([0.10, 0.20, 0.35, 0.55, 0.85, 1.30])
SCALE_CHANCE = np.array([0.10, 0.18, 0.26, 0.24, 0.15, 0.07])
VARIANCES = np.array([0.0, 0.10, 0.25, 0.60])
VARIANCE_CHANCE = np.array([0.40, 0.25, 0.22, 0.13])
N_CUSTOMERS = 3


def component(rng: np.random.Generator) -> list[CellLives]:
    """Four duties of 4 to 24 lives, a third entered late, three customers each who differ."""
    cells = []
    for n, scale in ((4, 150.0), (8, 200.0), (14, 320.0), (24, 260.0)):
        owner = np.arange(n) % N_CUSTOMERS
        factor = rng.gamma(4.0, 0.25, N_CUSTOMERS)[owner]
        entry = np.where(rng.random(n) < 0.33, rng.uniform(0, 0.6 * scale, n), 0.0)
        age = scale * ((entry / scale) ** 2 + rng.exponential(size=n) / factor) ** 0.5
        stop = entry + scale * rng.uniform(0.4, 1.5, n)
        event = age <= stop
        cells.append(
            CellLives(np.minimum(age, stop), event, entry, np.ones(n), n, int(event.sum()), None,
                      owner.astype(object))
        )  # fmt: skip
    return cells


class Walkers:
    """Many chains side by side, each step moving one duty, the means, or a spread.

    The customers' factors stay in as the gamma integral by customer, written out here row by row.
    """

    def __init__(self, cells: list[CellLives], n: int, seed: int) -> None:
        self.cells, self.n, self.rng = cells, n, np.random.default_rng(seed)
        k = len(cells)
        self.q = self.rng.normal(SHAPE_MEAN, 0.3, (n, k))
        self.s = self.rng.normal(START, 0.5, (n, k))
        self.mean_q, self.mean_s = self.q.mean(axis=1), self.s.mean(axis=1)
        self.shape_between = self.rng.choice(SHAPE_BETWEEN, n)
        self.scale_between = self.rng.choice(SCALE_BETWEEN, n)
        self.variance = self.rng.choice(VARIANCES, n)
        self.by_cell = np.stack([self.loglik(i, self.q[:, i], self.s[:, i], self.variance)
                                 for i in range(k)], axis=1)  # fmt: skip

    def loglik(self, number: int, q: np.ndarray, s: np.ndarray, variance: np.ndarray) -> np.ndarray:
        lives, shape = self.cells[number], np.exp(q)
        owner = np.asarray(lives.customer, dtype=int)
        hazard, failed = np.zeros((self.n, N_CUSTOMERS)), np.zeros(N_CUSTOMERS)
        out = np.zeros(self.n)
        for age, event, since, who in zip(lives.exit, lives.event, lives.entry, owner, strict=True):
            z = shape * (np.log(age) - s)
            hazard[:, who] += np.exp(z)
            if since > 0:
                hazard[:, who] -= np.exp(shape * (np.log(since) - s))
            if event:
                out += q + z
                failed[who] += 1
        for who in range(N_CUSTOMERS):
            # z of mean 1 and variance v out of z^d exp(-z H): product over j < d of (1 + j v),
            # over (1 + v H)^(1/v + d)
            with np.errstate(divide="ignore", invalid="ignore"):
                shared = -(1 / variance + failed[who]) * np.log1p(variance * hazard[:, who])
            out += np.where(variance > 0, shared, -hazard[:, who])
            for j in range(int(failed[who])):
                out += np.log1p(j * variance)
        return out

    def step(self) -> None:
        rng, n = self.rng, self.n
        for i in range(len(self.cells)):
            # a jump in log shape drags log scale along or not; sizes from small to large
            size = np.exp(rng.uniform(np.log(0.05), np.log(1.2), n))
            q = self.q[:, i] + size * rng.normal(0, 0.6, n)
            s = self.s[:, i] + size * rng.normal(0, 0.7, n)
            value = self.loglik(i, q, s, self.variance)
            gain = value - self.by_cell[:, i]
            gain -= (
                0.5
                * ((q - self.mean_q) ** 2 - (self.q[:, i] - self.mean_q) ** 2)
                / (self.shape_between**2)
            )
            gain -= (
                0.5
                * ((s - self.mean_s) ** 2 - (self.s[:, i] - self.mean_s) ** 2)
                / (self.scale_between**2)
            )
            taken = np.log(rng.random(n)) < gain
            self.q[taken, i], self.s[taken, i] = q[taken], s[taken]
            self.by_cell[taken, i] = value[taken]
        self._together()
        # the means given the duties are normal, spreads and variance one of few: drawn outright
        self.mean_q = self._mean(self.q, self.shape_between, SHAPE_MEAN, SHAPE_SD)
        self.mean_s = self._mean(self.s, self.scale_between, START, SCALE_SD)
        self.shape_between = self._spread(self.q, self.mean_q, SHAPE_BETWEEN, SHAPE_CHANCE)
        self.scale_between = self._spread(self.s, self.mean_s, SCALE_BETWEEN, SCALE_CHANCE)
        logs = []
        for v in VARIANCES:
            every = np.full(n, v)
            logs.append(
                [self.loglik(i, self.q[:, i], self.s[:, i], every) for i in range(len(self.cells))]
            )
        found = np.array(logs)
        total = found.sum(axis=1) + np.log(VARIANCE_CHANCE)[:, None]
        picked = self._picked(total)
        self.variance = VARIANCES[picked]
        self.by_cell = found[picked, :, np.arange(n)]

    def _together(self) -> None:
        """All duties and their mean by the same: where spreads are small they move no other way."""
        rng, n, k = self.rng, self.n, len(self.cells)
        size = np.exp(rng.uniform(np.log(0.05), np.log(1.0), n))
        by_q, by_s = size * rng.normal(0, 0.5, n), size * rng.normal(0, 0.5, n)
        q, s = self.q + by_q[:, None], self.s + by_s[:, None]
        value = np.stack(
            [self.loglik(i, q[:, i], s[:, i], self.variance) for i in range(k)], axis=1
        )
        mean_q, mean_s = self.mean_q + by_q, self.mean_s + by_s
        gain = (value - self.by_cell).sum(axis=1)
        gain -= 0.5 * (
            (mean_q - SHAPE_MEAN) ** 2 - (self.mean_q - SHAPE_MEAN) ** 2
        ) / SHAPE_SD**2  # fmt: skip
        gain -= 0.5 * ((mean_s - START) ** 2 - (self.mean_s - START) ** 2) / SCALE_SD**2
        taken = np.log(rng.random(n)) < gain
        self.q[taken], self.s[taken], self.by_cell[taken] = q[taken], s[taken], value[taken]
        self.mean_q[taken], self.mean_s[taken] = mean_q[taken], mean_s[taken]

    def _mean(self, values: np.ndarray, between: np.ndarray, prior: float, sd: float) -> np.ndarray:
        precision = values.shape[1] / between**2 + 1 / sd**2
        mean = (values.sum(axis=1) / between**2 + prior / sd**2) / precision
        return self.rng.normal(mean, 1 / np.sqrt(precision))

    def _spread(
        self, values: np.ndarray, mean: np.ndarray, choices: np.ndarray, chance: np.ndarray
    ) -> np.ndarray:
        squares = ((values - mean[:, None]) ** 2).sum(axis=1)
        logs = np.log(chance)[:, None] - values.shape[1] * np.log(choices)[:, None]
        return choices[self._picked(logs - 0.5 * squares[None, :] / choices[:, None] ** 2)]

    def _picked(self, logs: np.ndarray) -> np.ndarray:
        # the greatest of log chance + Gumbel noise falls on each choice by its chance
        return np.argmax(logs + self.rng.gumbel(size=logs.shape), axis=0)


@pytest.mark.slow
def test_a_component_is_what_a_long_chain_of_its_posterior_says() -> None:
    """1000 chains of 1500 steps after 500: means and spreads of every figure, and a factor."""
    cells = component(np.random.default_rng(21))
    pool = pool_cells(cells, START)
    walk = Walkers(cells, 1000, seed=22)
    for _ in range(500):
        walk.step()
    kept: dict[str, list[np.ndarray]] = {n: [] for n in ("q", "s", "mean_q", "mean_s", "v")}
    for _ in range(1500):
        walk.step()
        for name, value in (("q", walk.q), ("s", walk.s), ("mean_q", walk.mean_q),
                            ("mean_s", walk.mean_s), ("v", walk.variance)):  # fmt: skip
            kept[name].append(value.copy())
    found = {name: np.array(values) for name, values in kept.items()}

    def drawn(name: str) -> tuple[np.ndarray, np.ndarray]:
        values = found[name].reshape(-1, *found[name].shape[2:])
        return values.mean(axis=0), values.std(axis=0)

    off, wide = [], []
    for i, which in enumerate(("q", "s")):
        mean, sd = drawn(which)
        ours = [c.moments() for c in pool.cells]
        off += [(m[i] - a) / b for (m, _), a, b in zip(ours, mean, sd, strict=True)]
        wide += [np.sqrt(c[i, i]) / b for (_, c), b in zip(ours, sd, strict=True)]
    by_mean_q, by_mean_s = pool.weight.sum(axis=(0, 2, 3, 4)), pool.weight.sum(axis=(0, 1, 2, 4))
    for name, at, chance in (
        ("mean_q", pool.shape_mean, by_mean_q), ("mean_s", pool.scale_mean, by_mean_s),
    ):  # fmt: skip
        mean, sd = drawn(name)
        off.append((at @ chance - mean) / sd)
        wide.append(np.sqrt(chance @ at**2 - (chance @ at) ** 2) / sd)
    mean, sd = drawn("v")
    off.append((pool.customer_variance - mean) / sd)
    print(f"off by {np.round(off, 3)} sd, spreads {np.round(wide, 3)} of the chain's")
    assert np.sqrt(np.mean(np.square(off))) < 0.05
    np.testing.assert_allclose(wide, 1.0, atol=0.05)
    # the halves of the chain agree, else it proves nothing
    halves = [found["s"][:750].mean(axis=(0, 1)), found["s"][750:].mean(axis=(0, 1))]
    assert np.abs(halves[0] - halves[1]).max() < 0.03 * drawn("s")[1].max()
    ratio = (found["s"][..., 0] - found["s"][..., 3]).ravel()
    ends = np.quantile(ratio, [0.05, 0.5, 0.95])
    ours = np.log(pool.factor(0, 3, 0.90))
    print(f"factor {np.round(ours, 3)}, by the chain {np.round(ends, 3)}")
    np.testing.assert_allclose(ours, ends, atol=0.05 * np.std(ratio))
