"""A past forecast against the pieces that were asked for since."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.stock.series import LEVELS, pinball

Array = npt.NDArray[np.float64]
Said = dict[str, dict[tuple[str, int], tuple[float, ...]]]
SPANS = (1, 3, 6)


def end_of(as_of: pd.Timestamp, months: float) -> pd.Timestamp:
    """Last day of a span of so many months from the day after ``as_of``."""
    return as_of + pd.DateOffset(months=int(months))


def asked_by_day(
    lines: pd.DataFrame, current: dict[str, str], as_of: pd.Timestamp
) -> tuple[dict[str, Array], pd.Timestamp]:
    """Pieces of each part by day from the first line on, returns negative; and that first day.

    Parameters
    ----------
    lines : DataFrame, table "service_lines"
    current : dict
        Numbers in use now, see `parts.current_numbers`.
    as_of : Timestamp
    """
    words = lines.astype({"part_number": "object", "line_kind": "object"})
    first = words["service_date"].min()
    words = words[words["line_kind"].isin(["part", "credit"]) & words["part_number"].notna()]
    number = words["part_number"].map(lambda p: current.get(p, p)).astype(str)
    at = (words["service_date"] - first).dt.days
    n = (as_of - first).days + 1
    out: dict[str, Array] = {}
    for name, rows in words["quantity"].fillna(1.0).groupby(number):
        pieces = np.bincount(at[rows.index], weights=rows, minlength=n)
        out[str(name)] = np.asarray(pieces, dtype=float)
    return out, first


def looked_up(
    table: pd.DataFrame, as_of: pd.Timestamp, columns: tuple[str, str, str] = ("p50", "p80", "p95")
) -> dict[tuple[str, int], tuple[float, ...]]:
    """Quantiles of table "demand_forecast" by part and months, under the plan in force."""
    rows = table.astype({"part_number": "object", "plan": "object"})
    if set(rows["plan"]) != {"recommended"}:  # the plan in force only
        rows = rows[rows["plan"] != "recommended"]
    rows = rows[(rows["from_date"] == as_of + pd.Timedelta(days=1)) & rows["months"].isin(SPANS)]
    return {
        (str(r["part_number"]), int(r["months"])): tuple(float(r[c]) for c in columns)
        for r in rows.to_dict("records")
    }


def score_rows(
    as_of: pd.Timestamp, said: Said, daily: dict[str, Array], first: pd.Timestamp,
    known_to: pd.Timestamp,
) -> list[dict[str, Any]]:  # fmt: skip
    """Rows of "forecast_scores" of what was said on one day; spans not ended are left out.

    Parameters
    ----------
    as_of : Timestamp
        Day the forecasts were made.
    said : dict
        Quantiles at `LEVELS` by method, then by (part, months).
    daily, first
        As `asked_by_day` gives them.
    known_to : Timestamp
        Last day of the record.

    Notes
    -----
    Only parts asked for by then or forecast then: a new part number is in no method's reach.
    """
    numbers = sorted({n for own in said.values() for n, _ in own})
    begin = (as_of - first).days + 1
    rows = []
    for span in SPANS:
        end = end_of(as_of, span)
        if end > known_to:
            continue
        for number in numbers:
            asked = daily.get(number)
            came = 0.0 if asked is None else float(asked[begin : (end - first).days + 1].sum())
            came = max(came, 0.0)
            for method, own in said.items():
                at = own.get((number, span), (0.0, 0.0, 0.0))
                loss = np.mean(
                    [
                        pinball(np.array(q), np.array(came), v)
                        for q, v in zip(at, LEVELS, strict=True)
                    ]
                )
                rows.append(
                    {
                        "as_of": as_of, "part_number": number, "months": float(span),
                        "from_date": as_of + pd.Timedelta(days=1), "method": method,
                        "p50": at[0], "p80": at[1], "p95": at[2], "asked": came,
                        "pinball_loss": float(loss), "under_p80": float(came <= at[1]),
                        "under_p95": float(came <= at[2]),
                    }
                )  # fmt: skip
    return rows
