"""Days between events of a component on the same machine: product-limit median, every event."""

import numpy as np
import pandas as pd


def median_days(gap_days: np.ndarray, is_event: np.ndarray) -> float:
    """Product-limit median of gaps, some of which have not ended yet, in days.

    Parameters
    ----------
    gap_days : ndarray, shape (n,)  [d]
    is_event : ndarray of bool, shape (n,)
        The gap ended in an event; otherwise the machine was still waiting.

    Returns
    -------
    float
        First day by which half or more have come again, the middle of the flat stretch where the
        curve stands at exactly a half; nan where it never comes down to a half.

    Examples
    --------
    >>> median_days(np.array([10.0, 20.0, 30.0]), np.array([True, True, False]))
    20.0
    """
    if not len(gap_days):
        return float("nan")
    ends = np.unique(gap_days[is_event])
    came = np.array([np.sum(is_event & (gap_days == e)) for e in ends])
    waiting = np.array([np.sum(gap_days >= e) for e in ends])
    left = np.cumprod(1 - came / waiting)
    half = np.flatnonzero(left <= 0.5 + 1e-9)
    if not len(half):
        return float("nan")
    at = half[0]
    if abs(left[at] - 0.5) <= 1e-9 and at + 1 < len(ends):
        return float((ends[at] + ends[at + 1]) / 2)
    return float(ends[at])


def gap_summary(recurrence_gaps: pd.DataFrame) -> pd.DataFrame:
    """Return events, machines and median gap of each component, the most events first.

    Parameters
    ----------
    recurrence_gaps : DataFrame, table "recurrence_gaps"

    Returns
    -------
    DataFrame
        Columns component, n_units, n_events, median_days.
    """
    rows = [
        {
            "component": component,
            "n_units": of["unit_id"].nunique(),
            "n_events": int(of["is_event"].sum()),
            "median_days": median_days(of["gap_days"].to_numpy(), of["is_event"].to_numpy()),
        }
        for component, of in recurrence_gaps.groupby("component", observed=True)
    ]
    out = pd.DataFrame(rows, columns=["component", "n_units", "n_events", "median_days"])
    return out.sort_values(["n_events", "component"], ascending=[False, True], ignore_index=True)
