"""Failure-event rows of machines whose failures renew, or come ever faster with their age."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from dutylife.schema import as_table

NEW_ON = pd.Timestamp("2020-01-01")
Ages = Callable[[np.random.Generator, float], np.ndarray]


def renewing(shape: float, mean_days: float) -> Ages:
    """Ages of failures of a machine whose parts each start again (Weibull)."""

    def ages(rng: np.random.Generator, end: float) -> np.ndarray:
        from math import gamma

        lives = mean_days / gamma(1 + 1 / shape) * rng.weibull(shape, 400)
        at = np.cumsum(lives)
        return at[at < end]

    return ages


def trending(power: float, mean_count: float, whole: float = 1000.0) -> Ages:
    """Ages of failures by a power-law process, ``mean_count`` of them by ``whole`` days."""

    def ages(rng: np.random.Generator, end: float) -> np.ndarray:
        n = rng.poisson(mean_count * (end / whole) ** power)
        return np.sort(end * rng.random(n) ** (1 / power))

    return ages


def machines(
    ages: Ages, n: int, rng: np.random.Generator, component: str = "drive belt", duty: str = "d"
) -> pd.DataFrame:
    """Failure-event rows of ``n`` machines, new within the record, watched 500 to 1500 days."""
    rows = []
    for unit in range(n):
        end = float(rng.integers(500, 1500))
        at = np.unique(np.ceil(ages(rng, end)))
        at = at[at < end]
        begin = 0.0
        for number, day in enumerate([*at, end], 1):
            rows.append(
                {
                    "unit_id": f"{duty} u{unit}", "component": component, "duty": duty,
                    "position": "",
                    "life_number": number, "spell": 1, "equipment_class": "plate",
                    "installed_on": NEW_ON + pd.Timedelta(days=begin),
                    "ended_on": NEW_ON + pd.Timedelta(days=day), "entry_days": 0.0,
                    "exit_days": day - begin, "entry_hours": 0.0, "exit_hours": day - begin,
                    "age_se_hours": 0.0, "event": "running" if number > len(at) else "failed",
                    "weight": 1.0, "is_comeback": False, "clock_source": "meter",
                    "prob_in_service": 1.0,
                }
            )  # fmt: skip
            begin = day
    return pd.DataFrame(rows)


def as_events(*parts: pd.DataFrame) -> pd.DataFrame:
    """Rows as table "failure_events"."""
    return as_table("failure_events", pd.concat(parts, ignore_index=True))


def units_of(events: pd.DataFrame) -> pd.DataFrame:
    """Table "units" of the machines, all in service from the first day."""
    names = sorted(events["unit_id"].astype(str).unique())
    return as_table("units", pd.DataFrame({"unit_id": names, "in_service_on": NEW_ON}))


def in_a_row(
    ages: Ages, n: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray, dict[int, float]]:
    """Unit, age and gap of each failure of ``n`` machines, and the end of watching of each."""
    ends = {unit: float(rng.integers(500, 1500)) for unit in range(n)}
    at = [ages(rng, ends[unit]) for unit in range(n)]
    gaps = [np.diff(np.concatenate([[0.0], a])) for a in at]
    unit = np.repeat(np.arange(n), [len(a) for a in at])
    return unit, np.concatenate(at), np.concatenate(gaps), ends
