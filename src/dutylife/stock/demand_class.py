"""How demand comes: smooth, erratic, intermittent or lumpy."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
ADI_CUT, CV2_CUT = 1.32, 0.49  # Syntetos, Boylan & Croston (2005), from memory


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandClass:
    """How demand comes.

    Parameters
    ----------
    periods_per_demand : float
        Periods over periods with demand. [periods]
    mean_gap : float
        Mean of the gaps from one demand to the next; missing below 2 demands. [periods]
    cv2_population, cv2_sample : float
        Squared coefficient of variation of the sizes, variance by n and by n - 1. [1]
    name : str
        smooth, erratic, intermittent or lumpy: periods_per_demand at 1.32, cv2_population at 0.49.
    """

    periods_per_demand: float
    mean_gap: float
    cv2_population: float
    cv2_sample: float
    name: str


def class_of(y: Array) -> DemandClass:
    """Class of a record of demand by period."""
    at = np.flatnonzero(y > 0)
    sizes = y[at]
    if len(at) == 0:
        return DemandClass(
            periods_per_demand=math.inf, mean_gap=math.nan, cv2_population=math.nan,
            cv2_sample=math.nan, name="without demand",
        )  # fmt: skip
    every = len(y) / len(at)
    spread = float(sizes.var() / sizes.mean() ** 2)
    name = {
        (False, False): "smooth", (False, True): "erratic",
        (True, False): "intermittent", (True, True): "lumpy",
    }[every >= ADI_CUT, spread >= CV2_CUT]  # fmt: skip
    return DemandClass(
        periods_per_demand=every,
        mean_gap=float(np.diff(at).mean()) if len(at) > 1 else math.nan,
        cv2_population=spread,
        cv2_sample=spread * len(at) / (len(at) - 1) if len(at) > 1 else math.nan,
        name=name,
    )
