"""Demand as the stock rules read it: by name, by samples, by chances, over a lead time."""

import math
from typing import Any, Literal, get_args

import numpy as np
import numpy.typing as npt

from dutylife.errors import DecisionError
from dutylife.stock.demand_shapes import (
    Curve,
    DemandLaw,
    continuous,
    gamma,
    lognormal,
    negative_binomial,
    normal,
    poisson,
    uniform,
    whole,
)

Array = npt.NDArray[np.float64]
DemandName = Literal[
    "poisson", "negative binomial", "normal", "gamma", "lognormal", "uniform", "exponential"
]


def demand_law(
    law: DemandName,
    *,
    mean: float | None = None,
    sd: float | None = None,
    variance: float | None = None,
    lower: float | None = None,
    upper: float | None = None,
    median: float | None = None,
    log_sd: float | None = None,
) -> DemandLaw:
    """Law of demand with known parameters.

    Parameters
    ----------
    law : {"poisson", "negative binomial", "normal", "gamma", "lognormal", "uniform", "exponential"}
        Poisson and exponential: ``mean``. Negative binomial, normal, gamma: ``mean`` and ``sd``
        or ``variance`` (the negative binomial's above its mean). Lognormal: ``mean`` and ``sd``,
        or ``median`` and ``log_sd``. Uniform: ``lower`` and ``upper``.
    mean, sd, lower, upper, median : float
        [pieces]
    variance : float
        [pieces ** 2]
    log_sd : float
        Standard deviation of log demand. [1]

    Returns
    -------
    DemandLaw

    Raises
    ------
    DecisionError
        An unknown law, a parameter missing or that can't be.

    Examples
    --------
    >>> demand_law("poisson", mean=4).short(np.array([6.0])).round(4).tolist()
    [0.1954]
    """
    if law not in get_args(DemandName):
        raise DecisionError(
            f"The demand law '{law}' is not known.", "law",
            "one of: " + ", ".join(get_args(DemandName)),
        )  # fmt: skip
    if variance is not None and sd is None and variance > 0:
        sd = math.sqrt(variance)
    if law == "poisson":
        (m,) = _need(law, mean=mean)
        return poisson(m)
    if law == "exponential":
        (m,) = _need(law, mean=mean)
        return gamma(m, m, "exponential")
    if law == "uniform":
        low, high = _need(law, lower=lower, upper=upper)
        return uniform(low, high)
    if law == "lognormal" and median is not None:
        centre, spread = _need(law, median=median, log_sd=log_sd)
        return lognormal(math.log(centre), spread)
    m, s = _need(law, mean=mean, sd=sd)
    if law == "normal":
        return normal(m, s)
    if law == "gamma":
        return gamma(m, s, "gamma")
    if law == "lognormal":
        spread = math.sqrt(math.log1p((s / m) ** 2))
        return lognormal(math.log(m) - spread**2 / 2, spread)
    return negative_binomial(m, s**2)


def lead_time_demand(
    law: DemandName,
    *,
    mean_per_period: float,
    sd_per_period: float | None = None,
    lead_time: float,
    lead_time_sd: float = 0.0,
    review: float = 0.0,
) -> DemandLaw:
    """Demand over lead time plus review, from the demand of one period.

    Parameters
    ----------
    law : str
        As in `demand_law`.
    mean_per_period, sd_per_period : float
        Demand of one period, periods independent; Poisson needs no spread. [pieces]
    lead_time, review : float
        [periods]
    lead_time_sd : float
        Spread of the lead time: mean m L, variance L s ** 2 + m ** 2 lead_time_sd ** 2; a Poisson
        demand with it becomes negative binomial. [periods]

    Returns
    -------
    DemandLaw

    Raises
    ------
    DecisionError
        A figure that can't be.

    Examples
    --------
    >>> two = lead_time_demand("normal", mean_per_period=2500, sd_per_period=500, lead_time=2)
    >>> two.mean, round(two.sd, 1)
    (5000.0, 707.1)
    """
    span = lead_time + review
    if not (0 < span < math.inf and 0 <= lead_time_sd < math.inf and mean_per_period > 0):
        raise DecisionError(
            f"mean_per_period {mean_per_period}, lead_time {lead_time}, review {review}, "
            f"lead_time_sd {lead_time_sd} can't be.", "lead_time_demand", "positive figures",
        )  # fmt: skip
    mean = mean_per_period * span
    per_period = mean_per_period if law == "poisson" else (sd_per_period or 0.0) ** 2
    variance = span * per_period + (mean_per_period * lead_time_sd) ** 2
    if law == "poisson":
        if lead_time_sd == 0:
            return demand_law(law, mean=mean)
        law = "negative binomial"
    return demand_law(law, mean=mean, variance=variance)


def demand_of(demand: Any, *, is_distribution: bool = False) -> DemandLaw:
    """Read samples, chances by piece, a frozen scipy law or a `DemandLaw` as a `DemandLaw`."""
    if isinstance(demand, DemandLaw):
        return demand
    if hasattr(demand, "sf") and hasattr(demand, "ppf"):
        return _frozen(demand)
    given = np.asarray(list(demand) if isinstance(demand, range) else demand, dtype=float)
    if is_distribution:
        if given.ndim != 1 or np.any(given < 0) or abs(given.sum() - 1) > 1e-6:
            raise DecisionError(
                "Probabilities must be a list that sums to 1.", "demand",
                "the chance of 0, 1, 2, ... pieces",
            )  # fmt: skip
        return from_chances(given / given.sum(), "stated")
    if given.ndim != 1 or given.size == 0 or not np.all(given >= 0):
        raise DecisionError(
            "Demand must be a list of pieces, none negative.", "demand",
            "give samples, is_distribution=True with chances, or demand_law(...)",
        )  # fmt: skip
    return _samples(np.sort(given))


def from_chances(chance: Array, name: str) -> DemandLaw:
    """Law of demand from the chance of 0, 1, 2, ... pieces."""
    pieces = np.arange(len(chance))
    mean = float(chance @ pieces)
    above = np.append(np.cumsum(chance[::-1])[::-1][1:], 0.0)
    below = np.cumsum(chance)

    def quantile(p: float) -> float:
        return float(min(int(np.searchsorted(below, p - 1e-12)), len(chance) - 1))

    def over(times: float) -> DemandLaw:
        if times != int(times) or times < 1:
            raise DecisionError(f"{times} periods can't be.", "lead_time", "whole periods")
        total = np.array([1.0])
        for _ in range(int(times)):
            total = np.convolve(total, chance)
        return from_chances(total / total.sum(), name)

    sd = math.sqrt(max(float(chance @ pieces**2) - mean**2, 0.0))
    return whole(name, mean, sd, lambda k: above[np.clip(k, 0, len(above) - 1).astype(int)],
                  quantile, over)  # fmt: skip


def _need(law: str, **given: float | None) -> list[float]:
    bad = [
        f"{k} = {v}" for k, v in given.items()
        if v is None or not math.isfinite(v) or (v <= 0 and k != "lower")
    ]  # fmt: skip
    if bad:
        raise DecisionError(
            f"{law.capitalize()} demand can't have {', '.join(bad)}.", "demand_law",
            "state " + ", ".join(given) + ", each positive",
        )  # fmt: skip
    return [float(v) for v in given.values() if v is not None]


def _frozen(law: Any) -> DemandLaw:
    """Law of demand from a frozen scipy law; the shortage in closed form where one is known."""
    name = getattr(getattr(law, "dist", None), "name", "stated")
    mean, sd, low = float(law.mean()), float(law.std()), float(law.support()[0])
    if hasattr(getattr(law, "dist", None), "pmf"):
        return whole(name, mean, sd, law.sf, lambda p: float(law.ppf(p)), None)
    if name == "norm":
        return normal(mean, sd)
    if name in ("gamma", "expon") and low == 0:
        return gamma(mean, sd, "gamma" if name == "gamma" else "exponential")
    if name == "uniform" and low >= 0:
        return uniform(low, float(law.support()[1]))
    return continuous(law, name, _short_by_sums(law), None)


def _short_by_sums(law: Any) -> Curve:
    """Expected shortage by Gauss sums of the chance of more, from a net of levels up."""
    from scipy.interpolate import CubicHermiteSpline

    mean = float(law.mean())
    low, high = float(law.ppf(1e-14)), float(law.ppf(1 - 1e-14))
    net = np.unique(np.concatenate(
        [law.ppf(np.linspace(1e-14, 1 - 1e-6, 1500)), np.linspace(low, high, 1500)]
    ))  # fmt: skip
    nodes, weights = np.polynomial.legendre.leggauss(8)
    half = np.diff(net) / 2
    points = (net[:-1] + half)[:, None] + half[:, None] * nodes
    panels = (np.asarray(law.sf(points), dtype=float) @ weights) * half
    beyond = np.append(np.cumsum(panels[::-1])[::-1], 0.0)
    curve = CubicHermiteSpline(net, beyond, -np.asarray(law.sf(net), dtype=float))

    def short(x: Array) -> Array:
        inside = curve(np.clip(x, low, high))
        return np.asarray(np.where(x < low, mean - x, np.where(x > high, 0.0, inside)), dtype=float)

    return short


def _samples(demand: Array) -> DemandLaw:
    n, total = len(demand), np.append(np.cumsum(demand[::-1])[::-1], 0.0)

    def above(level: Array) -> Array:
        return np.asarray(1 - np.searchsorted(demand, level, side="right") / n, dtype=float)

    def short(level: Array) -> Array:
        at = np.searchsorted(demand, level, side="right")
        return np.asarray((total[at] - np.asarray(level) * (n - at)) / n, dtype=float)

    return DemandLaw(
        name="samples", mean=float(demand.mean()), sd=float(demand.std()),
        is_whole=bool(np.all(demand == np.floor(demand))), above=above, short=short,
        at_most=lambda x: 1 - above(x),
        quantile=lambda p: float(np.quantile(demand, p, method="inverted_cdf")),
    )  # fmt: skip
