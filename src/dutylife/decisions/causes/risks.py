"""How fast each part of one machine fails now, by its own age and its law."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.age_weibull import weibull_mean
from dutylife.decisions.cells import law_draws
from dutylife.decisions.usage import DAYS_PER_WEEK

Array = npt.NDArray[np.float64]
_WINDOW_DAYS = 14.0  # over which the risk at an age is taken: new parts may start at any risk


@dataclass(frozen=True, slots=True, eq=False)
class Law:
    """Weibull draws of one cell: shape (n_draws,) each, weights that sum to 1.

    ``usual`` is the rate of a part of unknown age, per unit of the clock.
    """

    on_meter: bool
    shape: Array
    scale: Array
    weight: Array
    usual: float


def laws_of(life_draws: pd.DataFrame) -> dict[tuple[str, str], Law]:
    """Return the laws of table "life_draws" by component and duty."""
    out = {}
    for key, law in law_draws(life_draws).items():
        k, eta = law["shape"].to_numpy(float), law["scale"].to_numpy(float)
        weight = law["weight"].to_numpy(float) / law["weight"].sum()
        on_meter = str(law["clock"].astype(object).iloc[0]) == "hours"
        out[key] = Law(on_meter, k, eta, weight, float(weight @ (1 / weibull_mean(k, eta))))
    return out


def part_risks(
    standing: pd.DataFrame,
    duty: str,
    laws: Mapping[tuple[str, str], Law],
    early: Mapping[str, float],
    comeback_days: int,
) -> pd.DataFrame:
    """Return the risk of each component of one machine.

    Parameters
    ----------
    standing : DataFrame
        Its lives in service: component, age_hours, age_days (missing where not known), use
        [fleet meter unit per week].
    duty : str
    laws : mapping
        By component and duty.
    early : mapping of str to float
        Share of works on a component that come back at once. [1]
    comeback_days : int
        Within so many. [d]

    Returns
    -------
    DataFrame, index component
        ``per_day``: failures a day now [1/d], summed over positions; ``steady``: of a part of
        usual age [1/d]; ``cv``: how far the draws differ [1]; ``age_hours``, ``age_days`` of the
        oldest position. Components without a law are left out.
    """
    rows = []
    for component, mine in standing.groupby(standing["component"].astype(object), sort=True):
        law = laws.get((str(component), duty))
        if law is None:
            continue
        now, steady, spread = 0.0, 0.0, 0.0
        for use, hours, days in zip(mine["use"], mine["age_hours"], mine["age_days"], strict=True):
            one, usual, cv = _risk(law, float(hours), float(days), float(use))
            if days < comeback_days:
                one += early.get(str(component), 0.0) / comeback_days
            now, steady, spread = now + one, steady + usual, max(spread, cv)
        rows.append(
            {
                "component": str(component), "per_day": now, "steady": steady, "cv": spread,
                "age_hours": mine["age_hours"].max(), "age_days": mine["age_days"].max(),
            }
        )  # fmt: skip
    names = ["component", "per_day", "steady", "cv", "age_hours", "age_days"]
    out = pd.DataFrame(rows, columns=names).set_index("component")
    known = np.isfinite(out["per_day"].to_numpy(float)) & (out["steady"].to_numpy(float) > 0)
    found: pd.DataFrame = out.loc[known]
    return found


def _risk(law: Law, hours: float, days: float, use: float) -> tuple[float, float, float]:
    """Risk now and of a part of usual age [1/d], and the spread of the former over the draws."""
    per_day = use / DAYS_PER_WEEK if law.on_meter else 1.0
    usual = law.usual * per_day
    age = hours if law.on_meter else days
    if not np.isfinite(age):
        return usual, usual, 0.0
    window = _WINDOW_DAYS * per_day
    first = max(age - window / 2, 0.0)
    last = first + max(window, 1e-9)
    begun = (first / law.scale) ** law.shape
    each = ((last / law.scale) ** law.shape - begun) / _WINDOW_DAYS
    # the part has lived so long: draws that make this likely count for more
    alive: Array = law.weight * np.exp(-begun)
    alive = alive / alive.sum() if alive.sum() > 0 else law.weight
    mean = float(alive @ each)
    spread = float(np.sqrt(max(alive @ (each - mean) ** 2, 0.0)))
    return mean, usual, spread / mean if mean > 0 else 0.0
