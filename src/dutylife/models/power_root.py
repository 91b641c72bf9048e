"""Where the likelihood of a power-law process is highest in its power, spans and starts unlike."""

import math

import numpy as np
from numpy.typing import NDArray

from dutylife.errors import FitError
from dutylife.models.repairs import Repaired

_WIDEST = 12.0  # of log power: far beyond anything that failures can tell


def root_of(seen: Repaired, rates: str) -> float:
    """Power at which the likelihood's slope is 0.

    Raises
    ------
    FitError
        The likelihood has no top: failures early in spans that begin late, or all at the very end.
    """
    from scipy.optimize import brentq

    logs, counts = _sums(seen)
    ends = _slope(seen, rates, -_WIDEST, logs, counts), _slope(seen, rates, _WIDEST, logs, counts)
    if not ends[0] > 0 > ends[1]:
        side = "early" if ends[0] <= 0 else "late"
        raise FitError(
            f"Failures come so {side} in their units' spans that the likelihood of the power has "
            "no top above 0.", "power_law(age, start=)",
            "watch longer: spans that begin late and end soon after tell little of a power",
        )  # fmt: skip
    found = brentq(
        lambda q: _slope(seen, rates, q, logs, counts), -_WIDEST, _WIDEST, xtol=1e-14, rtol=1e-14
    )
    return math.exp(float(found))


def log_power_error(seen: Repaired, rates: str, power: float) -> float:
    """Standard error of the log power by the likelihood's curvature there [1]."""
    step, at = 1e-5, math.log(power)
    # the slope is by power; by log power it is power times that, whose own slope is at its root
    up, down = (_slope(seen, rates, at + d, *_sums(seen)) for d in (step, -step))
    curvature = -(up - down) / (2.0 * step) * power
    return 1.0 / math.sqrt(curvature) if curvature > 0 else math.nan


def _sums(seen: Repaired) -> tuple[float, NDArray[np.float64]]:
    """Sum of log ages as shares of the longest span, and events of each unit: one pass for all."""
    top = float(seen.ends.max())
    logs = float(sum(np.log(a / top).sum() for a in seen.ages))
    return logs, np.array([len(a) for a in seen.ages], dtype=float)


def _slope(
    seen: Repaired, rates: str, log_power: float, logs: float, counts: NDArray[np.float64]
) -> float:
    """Slope of the log-likelihood by the power, the rates at their best for it."""
    power, top = math.exp(log_power), float(seen.ends.max())
    n = seen.n_events
    end, start = seen.ends / top, seen.starts / top
    with np.errstate(divide="ignore", invalid="ignore", under="ignore"):
        if rates == "common":
            first, last = start**power, end**power
            pulled = last * np.log(end) - np.where(start > 0, first * np.log(start), 0.0)
            return float(n / power + logs - n * pulled.sum() / (last - first).sum())
        ratio = np.where(start > 0, (start / end) ** power, 0.0)
        slow = np.where(start > 0, np.log(start), 0.0) * ratio
        pulled = (np.log(end) - slow) / -np.expm1(power * np.log(start / end))
        pulled = np.where(start > 0, pulled, np.log(end))
    return float(n / power + logs - counts @ pulled)
