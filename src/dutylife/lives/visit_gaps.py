"""Likelihood of a machine's visits where gaps between them are more, or less, even than chance."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
_LEAST_RATE, _MOST_RATE = 1e-6, 5.0  # visits a day, all a machine may have
_TABLE = np.linspace(-40.0, 12.0, 26_001)  # log of the argument of tabled gamma integrals


@dataclass(frozen=True, slots=True, kw_only=True)
class Visits:
    """Visits of machines after watching began, one entry a machine.

    ``n`` visits, ``last_days`` to the last one; of the gaps between two visits ``n_gaps``, their
    sum ``gaps_days`` and the sum of their logarithms ``gaps_log``; ``open_days`` since the last
    visit or, without one, since watching began; ``is_open_from_visit``: that gap began at a visit.
    """

    n: Array
    last_days: Array
    n_gaps: Array
    gaps_days: Array
    gaps_log: Array
    open_days: Array
    is_open_from_visit: Flags

    def of(self, rows: NDArray[np.intp] | Flags | slice) -> "Visits":
        """Some of the machines."""
        return Visits(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})


@dataclass(frozen=True, slots=True, kw_only=True)
class Kernel:
    """Likelihood of the visits at each rate of a grid, for one evenness of gaps.

    ``visits`` shape (n, n_rates), each row scaled by its largest entry, ``log_scale`` (n,) puts
    that back; ``still`` (n, n_rates) is the chance of no visit since; ``spread`` (n,) the shape
    of the open gap's law.
    """

    rates: Array
    visits: Array
    log_scale: Array
    still: Array
    spread: Array
    open_days: Array

    def weight(self, shape: float, rate: float) -> Array:
        """Weights of the grid under a gamma law of rates over machines; they add up to 1."""
        log_density = shape * np.log(self.rates) - rate * self.rates
        weight: Array = np.exp(log_density - log_density.max())
        return np.asarray(weight / weight.sum())

    def there_and_gone(self, shape: float, rate: float, leaving: float) -> tuple[Array, Array]:
        """Likelihood of being there still, and of having left unseen; shape (n,), one scale."""
        weight = self.weight(shape, rate)
        since = np.exp(-leaving * self.open_days)
        there = since * ((self.visits * self.still) @ weight)
        left = self._left(leaving, since)
        return there, np.maximum((self.visits * left) @ weight, 0.0)

    def stayed(self, shape: float, rate: float, leaving: float) -> Array:
        """Likelihood of having left unseen, times the days stayed after the last visit."""
        weight = self.weight(shape, rate)
        gap, k = self.open_days[:, None], self.spread[:, None]
        since = np.exp(-leaving * gap)
        pull = k * self.rates / (k * self.rates + leaving)
        top = (k * self.rates + leaving) * gap
        until = (1 - since) / leaving - gap * since
        over = (
            until * self.still
            + (1 - self.still - pull**k * _lower(self.spread, top)) / leaving
            - k / (k * self.rates + leaving) * pull**k * _lower(self.spread + 1, top)
        )
        return np.maximum((self.visits * over) @ weight, 0.0)

    def _left(self, leaving: float, since: Array) -> Array:
        """Chance of leaving within the open gap and of no visit before that, by rate."""
        out: Array = 1 - since[:, None] * self.still
        # a shape at a time: there are two at most, and the powers are the same for all of one
        for k in np.unique(self.spread):
            rows = self.spread == k
            rate = k * self.rates + leaving
            pull = np.power(k * self.rates / rate, np.full(len(rate), k))
            out[rows] -= pull * _tabled_at(float(k), rate * self.open_days[rows, None])
        return out


def kernel_of(seen: Visits, evenness: float) -> Kernel:
    """Likelihood of visits whose gaps follow a gamma law of this shape.

    Parameters
    ----------
    seen : Visits
    evenness : float
        Shape of the law of gaps: 1 visits at random, above 1 more evenly (a round of services),
        below 1 in bursts. A wait that did not begin at a visit goes by chance alone.

    Notes
    -----
    A machine of rate lam has gaps of gamma shape k and mean 1 / lam. With G the open gap and mu the
    hazard of leaving, it is still there with likelihood e^{-mu G} Q(k, k lam G); it left within
    the gap, no visit before that, with the integral over s of mu e^{-mu s} Q(k, k lam s), which is
    1 - e^{-mu G} Q(k, k lam G) - (k lam / (k lam + mu))^k P(k, (k lam + mu) G) by parts.
    """
    from scipy.special import gammaln

    # a sum over an even grid of log rates is exact for a smooth peak a step and a half wide
    step = min(1.2 / np.sqrt(max(float(seen.n.max(initial=1.0)) * max(evenness, 1.0), 1.0)), 0.2)
    n_rates = int(np.ceil(np.log(_MOST_RATE / _LEAST_RATE) / step)) + 1
    rates = np.exp(np.linspace(np.log(_LEAST_RATE), np.log(_MOST_RATE), n_rates))
    k = np.where(seen.is_open_from_visit, evenness, 1.0)
    log_rate = np.log(rates)
    waits = seen.n - seen.n_gaps
    log = np.outer(waits + evenness * seen.n_gaps, log_rate) - np.outer(
        seen.last_days - seen.gaps_days + evenness * seen.gaps_days, rates
    )
    high = log.max(axis=1)
    same = seen.n_gaps * (evenness * np.log(evenness) - gammaln(evenness))
    return Kernel(
        rates=rates, visits=np.exp(log - high[:, None]),
        log_scale=high + same + (evenness - 1) * seen.gaps_log,
        still=1 - _lower(k, k[:, None] * rates * seen.open_days[:, None]),
        spread=k, open_days=seen.open_days,
    )  # fmt: skip


def _lower(shapes: Array, x: Array) -> Array:
    """Lower gamma integrals P(shape, x), rows by shape, from tables: good to 1e-6."""
    out = np.empty_like(x)
    for shape in np.unique(shapes):
        rows = shapes == shape
        out[rows] = _tabled_at(float(shape), x[rows])
    return out


def _tabled_at(shape: float, x: Array) -> Array:
    with np.errstate(divide="ignore"):
        return np.asarray(np.interp(np.log(x), _TABLE, _tabled(shape)))


@lru_cache(maxsize=64)
def _tabled(shape: float) -> Array:
    from scipy.special import gammainc

    return np.asarray(gammainc(shape, np.exp(_TABLE)))
