"""Forecasts of demand that comes now and then, period by period."""

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.errors import DecisionError
from dutylife.stock.demand_class import DemandClass, class_of
from dutylife.stock.demand_law import demand_law
from dutylife.stock.demand_shapes import DemandLaw
from dutylife.stock.smoothing import averaged, croston, dispersion_of, smoothed, tsb
from dutylife.wording import number

Array = npt.NDArray[np.float64]
Method = Literal[
    "croston", "sba", "sbj", "tsb", "exponential smoothing", "moving average", "mean", "naive",
    "seasonal naive", "poisson", "negative binomial",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class IntermittentForecast:
    """Forecast of demand by period.

    Parameters
    ----------
    method : str
    forecast : float
        Mean demand of each period to come (of the next one: seasonal naive); 0 where there was
        no demand at all. [pieces per period]
    size, interval, probability : float
        Smoothed size of a demand [pieces], periods between demands [periods], chance of a demand
        in a period [1]; missing where the method has none.
    dispersion : float
        Size parameter of a negative binomial law, variance = mean + mean ** 2 / it; ``inf`` where
        demand varies no more than Poisson, missing with other methods. [1]
    mean, variance : float
        Of the record. [pieces, pieces ** 2]
    demand, one_step : tuple of float
        The record, and the forecast of each of its periods from those before; missing where there
        was none yet. [pieces]
    ahead : tuple of float
        Forecast of each period of the horizon. [pieces]
    demand_class : DemandClass
    """

    method: str
    forecast: float
    size: float
    interval: float
    probability: float
    dispersion: float
    mean: float
    variance: float
    demand: tuple[float, ...]
    one_step: tuple[float, ...]
    ahead: tuple[float, ...]
    demand_class: DemandClass

    @property
    def table(self) -> pd.DataFrame:
        """Columns period, demand, forecast: the record, then the horizon without demand."""
        n, more = len(self.demand), len(self.ahead)
        return pd.DataFrame(
            {"period": np.arange(1, n + more + 1), "demand": [*self.demand, *[math.nan] * more],
             "forecast": [*self.one_step, *self.ahead]}
        )  # fmt: skip

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"Expect {number(self.forecast)} pieces a period ({self.method}): the record is "
            f"{self.demand_class.name}, a demand every "
            f"{number(self.demand_class.periods_per_demand)} periods."
        )

    def law(self, periods: float = 1.0) -> DemandLaw:
        """Law of the demand over some periods: Poisson, or negative binomial where it varies more.

        Mean: the forecast. Its variance over mean is that of the record, or that of the fitted
        dispersion.

        Raises
        ------
        DecisionError
            The forecast is 0, or the periods are not positive.
        """
        if not (periods > 0 and self.forecast > 0):
            raise DecisionError(
                f"A forecast of {self.forecast} over {periods} periods has no law.",
                "IntermittentForecast.law(periods)", "positive periods, and some demand",
            )  # fmt: skip
        ratio = self.variance / self.mean if self.mean > 0 else 1.0
        if not math.isnan(self.dispersion):
            ratio = 1 + self.forecast / self.dispersion
        mean = self.forecast * periods
        if ratio <= 1 + 1e-9:
            return demand_law("poisson", mean=mean)
        return demand_law("negative binomial", mean=mean, variance=mean * ratio)


def intermittent_forecast(
    demand: npt.ArrayLike,
    method: Method = "sba",
    *,
    alpha: float = 0.1,
    beta: float | None = None,
    first_interval: Literal["counted", "dropped"] = "counted",
    starting_size: float | None = None,
    starting_interval: float | None = None,
    starting_probability: float | None = None,
    starting_level: float | None = None,
    window: int = 12,
    season: int = 12,
    fit: Literal["likelihood", "moments"] = "likelihood",
    horizon: int = 1,
) -> IntermittentForecast:
    """Forecast demand that comes now and then.

    Parameters
    ----------
    demand : array_like, shape (n,)
        Demand of each period, the oldest first; 0 where there was none. [pieces]
    method : str
        "croston": smoothed size / smoothed interval, both updated at demands only. "sba":
        Croston x (1 - beta / 2), nearly without its bias; "sbj": Croston x (1 - beta /
        (2 - beta)). "tsb": smoothed chance x smoothed size, the chance updated each period, so
        that old parts fade. "exponential smoothing", "moving average", "mean", "naive" (the last
        period), "seasonal naive" (the same period a season ago). "poisson", "negative binomial":
        the mean, with a law.
    alpha : float
        Smoothing of sizes (and of the level). [1]
    beta : float, optional
        Smoothing of intervals or chances; alpha by default. [1]
    first_interval : {"counted", "dropped"}
        Croston and SBA: intervals start with the periods up to the first demand, counted from
        period 1, or with the gap from the first to the second demand. Sources differ.
    starting_size, starting_interval, starting_probability : float, optional
        State before the first period; by default the first size and interval (its inverse).
        Give the size with the interval (Croston, SBA) or with the chance (TSB).
    starting_level : float, optional
        Exponential smoothing: level before the first period; by default the first demand.
    window : int
        Periods of the moving average. [periods]
    season : int
        Periods of a season of the seasonal naive forecast. [periods]
    fit : {"likelihood", "moments"}
        How the negative binomial's dispersion is found.
    horizon : int
        Periods ahead in the table. [periods]

    Returns
    -------
    IntermittentForecast

    Raises
    ------
    DecisionError
        No demand given, one below 0, a smoothing outside (0, 1], or half a starting state.

    References
    ----------
    Croston (1972); Syntetos & Boylan (2005); Shale, Boylan & Johnston (2006), from memory;
    Teunter, Syntetos & Babai (2011).

    Examples
    --------
    >>> intermittent_forecast([0, 0, 3, 0, 0, 0, 2], "croston").forecast.__round__(4)
    0.9355
    """
    y = _record(demand)
    _check(method, alpha, beta, window, season, horizon, fit)
    b = alpha if beta is None else beta
    size = interval = chance = dispersion = math.nan
    if method in ("croston", "sba", "sbj"):
        start = _pair("starting_interval", starting_size, starting_interval)
        steps, size, interval = croston(y, alpha, b, first_interval, start)
        if method == "sba":
            steps = steps * (1 - b / 2)
        elif method == "sbj":
            steps = steps * (1 - b / (2 - b))
    elif method == "tsb":
        start = _pair("starting_probability", starting_size, starting_probability)
        steps, size, chance = tsb(y, alpha, b, start)
    elif method == "exponential smoothing":
        steps = smoothed(y, alpha, starting_level)
    elif method == "moving average":
        steps = averaged(y, window)
    elif method == "naive":
        steps = np.concatenate([[math.nan], y])
    elif method == "seasonal naive":
        steps = np.concatenate([np.full(season, math.nan), y])[: len(y) + 1]
    else:
        steps = averaged(y, len(y))
        dispersion = math.inf if method == "poisson" else math.nan
        if method == "negative binomial":
            dispersion = dispersion_of(y, fit)
    after = float(steps[-1])
    ahead = np.full(horizon, after)
    if method == "seasonal naive":
        last = y[-season:] if len(y) >= season else np.full(season, math.nan)
        ahead = last[np.arange(horizon) % season]
    return IntermittentForecast(
        method=method,
        forecast=after,
        size=size,
        interval=interval,
        probability=chance,
        dispersion=dispersion,
        mean=float(y.mean()),
        variance=float(y.var(ddof=1)) if len(y) > 1 else 0.0,
        demand=tuple(y.tolist()),
        one_step=tuple(steps[:-1].tolist()),
        ahead=tuple(ahead.tolist()),
        demand_class=class_of(y),
    )


def _record(demand: npt.ArrayLike) -> Array:
    y = np.asarray(demand, dtype=float)
    if y.ndim != 1 or y.size == 0 or not np.all((y >= 0) & np.isfinite(y)):
        raise DecisionError(
            "Demand must be a list of pieces by period, none negative or missing.", "demand",
            "0 for a period without demand",
        )  # fmt: skip
    return y


def _pair(named: str, size: float | None, other: float | None) -> tuple[float, float] | None:
    if size is None and other is None:
        return None
    if size is None or other is None or not (size > 0 and other > 0):
        raise DecisionError(
            f"A starting state needs starting_size and {named}, both positive.",
            f"starting_size, {named}", "give both or neither",
        )  # fmt: skip
    return float(size), float(other)


def _check(
    method: str, alpha: float, beta: float | None, window: int, season: int, horizon: int, fit: str
) -> None:
    if method not in get_args(Method):
        raise DecisionError(
            f"The method '{method}' is not known.", "method", ", ".join(get_args(Method))
        )
    if fit not in ("likelihood", "moments"):
        raise DecisionError(f"'{fit}' is not known.", "fit", "likelihood or moments")
    for name, value in (("alpha", alpha), ("beta", alpha if beta is None else beta)):
        if not 0 < value <= 1:
            raise DecisionError(f"{name} must lie in (0, 1], it is {value}.", name, "0.1, say")
    for name, value in (("window", window), ("season", season), ("horizon", horizon)):
        if value < 1 or value != int(value):
            raise DecisionError(f"{name} must be a whole number from 1 on, it is {value}.", name)
