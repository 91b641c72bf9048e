"""Made-up lives of known Weibull laws: a component in several duties, watched late and cut off."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dutylife.models.cells import CellLives
from dutylife.models.checks import Array
from dutylife.models.pooling import priors

N_DUTIES = 8
START = 6.0  # log scale the prior stands at; its unit of age is nothing to the models
SHARE_LATE = 1 / 3
LIVES_A_CUSTOMER = 4


class Law(NamedTuple):
    """True law of a component in a duty, for the customer who is like the mean of all."""

    log_shape: float
    log_scale: float

    def figure(self, what: str) -> float:
        """Shape, scale, b10 or b50."""
        if what in ("shape", "scale"):
            return float(np.exp(self.log_shape if what == "shape" else self.log_scale))
        share = {"b10": -np.log(0.9), "b50": np.log(2.0)}[what]
        return float(np.exp(self.log_scale + np.log(share) / np.exp(self.log_shape)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Laws:
    """Where the laws of a component are drawn from; what is None is drawn from the stated prior.

    ``shape_mean``, ``shape_mean_sd`` of the component's log shape; ``shape_between``,
    ``scale_between`` standard deviations over its duties; ``customer_variance`` of the factor on
    a customer's failure rate; ``off_start`` how far the mean log scale of all components lies
    from where the prior stands; ``first_longer`` on the log scale of the first duty alone.
    """

    shape_mean: float | None = None
    shape_mean_sd: float | None = None
    shape_between: float | None = None
    scale_between: float | None = None
    customer_variance: float | None = None
    off_start: float = 0.0
    first_longer: float = 0.0

    def drawn(self, rng: np.random.Generator, n_duties: int) -> tuple[list[Law], float]:
        """Laws of a component in its duties, and the variance between customers."""
        mean = priors.LOG_SHAPE_MEAN if self.shape_mean is None else self.shape_mean
        sd = priors.LOG_SHAPE_SD if self.shape_mean_sd is None else self.shape_mean_sd
        middle = rng.normal(mean, sd)
        between = _drawn(rng, self.shape_between, priors.SHAPE_BETWEEN, priors.SHAPE_BETWEEN_CHANCE)
        log_scale = rng.normal(START + self.off_start, priors.LOG_SCALE_SD)
        apart = _drawn(rng, self.scale_between, priors.SCALE_BETWEEN, priors.SCALE_BETWEEN_CHANCE)
        variance = _drawn(
            rng, self.customer_variance, priors.CUSTOMER_VARIANCE, priors.CUSTOMER_VARIANCE_CHANCE
        )
        q, s = rng.normal(middle, between, n_duties), rng.normal(log_scale, apart, n_duties)
        s[0] += self.first_longer
        return [Law(float(a), float(b)) for a, b in zip(q, s, strict=True)], variance


def _drawn(rng: np.random.Generator, stated: float | None, values: Array, chance: Array) -> float:
    picked = float(rng.choice(values, p=chance))
    return picked if stated is None else stated


def lives_half_cut(
    rng: np.random.Generator, law: Law, n: int, *, variance: float = 0.0,
    n_customers: int | None = None,
) -> CellLives:  # fmt: skip
    """Lives of which a half fails in the watch, whatever the law: the watch knows the law.

    A third are watched from an age of 0 to 0.8 scales on. Each is watched until a chance of 0.2
    to 0.8 of failing, even over that stretch, has gone by, so that n lives give n / 2 failures
    on average.
    """
    scale = np.exp(law.log_scale)
    entry = np.where(rng.random(n) < SHARE_LATE, rng.uniform(0.0, 0.8 * scale, n), 0.0)
    stop = _later(law, entry, -np.log1p(-rng.uniform(0.2, 0.8, n)))
    return _watched(rng, law, entry, stop, variance, n_customers)


def lives_blindly_cut(
    rng: np.random.Generator, law: Law, n: int, *, variance: float = 0.0,
    n_customers: int | None = None,
) -> CellLives:  # fmt: skip
    """Lives whose watch knows nothing of the law, only of the middle of the prior.

    Only then must bounds that stand on a prior cover as often as they say: a watch that is as
    long as lives are tells their length, which the likelihood does not look at. Over the prior
    about half the lives fail; in a single duty anything from none to all may.
    """
    start = np.exp(START)
    entry = np.where(rng.random(n) < SHARE_LATE, rng.uniform(0.0, 0.2 * start, n), 0.0)
    stop = entry + start * np.exp(rng.normal(BLIND_WATCH, 0.4, n))
    return _watched(rng, law, entry, stop, variance, n_customers)


# log of the middle watch over exp(START): over the prior half of such lives fail
BLIND_WATCH = -0.28


def _later(law: Law, age: Array, hazard: Array) -> Array:
    """Age at which so much cumulative hazard has been added."""
    shape, scale = np.exp(law.log_shape), np.exp(law.log_scale)
    later: Array = scale * ((age / scale) ** shape + hazard) ** (1.0 / shape)
    return np.asarray(np.maximum(later, age * (1.0 + 1e-9) + 1e-12 * scale))


def _watched(
    rng: np.random.Generator, law: Law, entry: Array, stop: Array, variance: float,
    n_customers: int | None,
) -> CellLives:  # fmt: skip
    n = len(entry)
    owners = n // LIVES_A_CUSTOMER + 1 if n_customers is None else n_customers
    customer: NDArray[np.intp] = rng.integers(0, owners, n)
    factor = rng.gamma(1.0 / variance, variance, owners) if variance > 0 else np.ones(owners)
    # a customer who hardly ever breaks anything: no life of theirs ends in this watch
    factor = np.maximum(factor, 1e-12)
    age = _later(law, entry, rng.exponential(size=n) / factor[customer])
    event = age <= stop
    return CellLives(
        np.minimum(age, stop), event, entry, np.ones(n), n, int(event.sum()), None,
        customer.astype(object),
    )  # fmt: skip


def together(cells: Sequence[CellLives]) -> dict[str, NDArray[np.generic]]:
    """Rows of cells as `fit_cells` takes them."""
    return {
        "cell": np.repeat(np.arange(len(cells)), [len(c.exit) for c in cells]),
        "exit": np.concatenate([c.exit for c in cells]),
        "event": np.concatenate([c.event for c in cells]),
        "entry": np.concatenate([c.entry for c in cells]),
    }
