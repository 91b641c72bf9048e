"""Rows of table "bench_forecast": quantiles of machines, hours and loaners by week and class."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.stock.bench.arrivals import ALL, Arrivals
from dutylife.stock.bench.law import count_quantile
from dutylife.stock.bench.work import hours_quantiles, machines_there

Array = npt.NDArray[np.float64]


def rows_of(
    seen: Arrivals, mondays: pd.DatetimeIndex, mean: Array, spread: Array,
    planned: list[list[Array]], done: float, hours: list[Array], stays: list[Array],
) -> list[dict[str, Any]]:  # fmt: skip
    """Rows by week and class, all machines together last in each week.

    Parameters
    ----------
    seen : Arrivals
    mondays : DatetimeIndex, n_weeks
    mean, spread : ndarray, shape (n_classes + 1, n_weeks)
        Of the machines that no plan brings; all together last.
    planned : list of list of ndarray
        Hours of each planned visit by class and week, each done with a chance of ``done``.
    hours, stays : list of ndarray
        Hours and days of past visits of each class; [] where the record has none.
    """
    n_classes, n_weeks = len(seen.classes), len(mondays)
    every = [np.concatenate([p[w] for p in planned]) for w in range(n_weeks)]
    plans = [*planned, every]
    n_planned = done * np.array([[len(v) for v in of] for of in plans], dtype=float)
    there = np.zeros_like(mean)
    if stays:
        for i in range(n_classes):
            there[i] = machines_there(mean[i] + n_planned[i], stays[i])
        there[-1] = there[:-1].sum(axis=0)
    loaners = count_quantile(0.9, there, spread)
    rows = []
    for w in range(n_weeks):
        for i, name in enumerate([*seen.classes, ALL]):
            m, v = float(mean[i, w]), float(spread[i, w])
            one = np.ones(len(plans[i][w]))
            # one machine is one step of the same sum that hours are
            low, middle, high = hours_quantiles(
                (0.1, 0.5, 0.9), m, v, np.ones(1), np.ones(1), one, done
            )
            row = {
                "from_date": mondays[w], "equipment_class": name,
                "machines_mean": m + float(n_planned[i, w]),
                "machines_planned": float(n_planned[i, w]), "machines_p10": low,
                "machines_p50": middle, "machines_p90": high,
                "labour_hours_p50": np.nan, "labour_hours_p90": np.nan,
                "loaners_p90": float(loaners[i, w]) if stays else np.nan,
            }  # fmt: skip
            if hours:
                own, weight = _mixture(hours, mean[:-1, w], i)
                row["labour_hours_p50"], row["labour_hours_p90"] = hours_quantiles(
                    (0.5, 0.9), m, v, own, weight, plans[i][w], done
                )
            rows.append(row)
    return rows


def _mixture(hours: list[Array], mean: Array, row: int) -> tuple[Array, Array]:
    """Hours of past visits and their shares: of a class, or of all by how many of each come."""
    if row < len(hours):
        return hours[row], np.full(len(hours[row]), 1.0 / len(hours[row]))
    share = mean / max(float(mean.sum()), 1e-12)
    weight = [np.full(len(h), s / len(h)) for h, s in zip(hours, share, strict=True)]
    return np.concatenate(hours), np.concatenate(weight)
