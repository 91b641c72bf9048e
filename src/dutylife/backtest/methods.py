"""Laws of demand by other methods, each from the months a part had by then."""

import numpy as np
import numpy.typing as npt

from dutylife.stock import demand_law, intermittent_forecast
from dutylife.stock.intermittent import Method

Array = npt.NDArray[np.float64]
LAST_YEAR = "last year's usage"
SMOOTHING: tuple[Method, ...] = (
    "croston", "sba", "tsb", "moving average", "seasonal naive", "poisson", "negative binomial",
)  # fmt: skip
OTHERS = (*SMOOTHING, LAST_YEAR)


def chances_by(method: str, record: Array, months: float) -> Array:
    """Chance of 0, 1, 2, ... pieces in the months to come by one of `OTHERS`.

    Parameters
    ----------
    method : str
    record : ndarray, shape (n_months,)
        Pieces of each month, the oldest first.
    months : float

    Notes
    -----
    Smoothing methods give a mean; the law around it is Poisson, or negative binomial where the
    record varies more (`IntermittentForecast.law`). "last year's usage" is a Poisson law of the
    last 12 months' mean.
    """
    if method == LAST_YEAR:
        mean = float(record[-12:].mean()) * months if len(record) else 0.0
        return demand_law("poisson", mean=mean).chances() if mean > 0 else np.ones(1)
    if not len(record) or not record.any():
        return np.ones(1)
    found = intermittent_forecast(record, _named(method))
    return found.law(months).chances() if found.forecast > 0 else np.ones(1)


def _named(method: str) -> Method:
    return next(m for m in SMOOTHING if m == method)
