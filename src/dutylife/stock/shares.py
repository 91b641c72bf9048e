"""How far each part goes by its lives and how far by its own series: past forecasts decide."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.stock.part_law import SpanLaw
from dutylife.stock.series import Method, learned_weights, mixed, series_chances, weights_of
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
LIVES, SERIES = "lives", "series"
SCORED_MONTHS = (1.0, 3.0)
POOL_SHARE = 3.0  # past forecasts the loss over all parts counts for; our proposal
MOST_MONTHS = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """Pieces of each part in each month up to the as-of date, and weights of series methods.

    ``pieces`` shape (n_months,) by part number, the oldest first; a month is 30.44 days counted
    back from the as-of date.
    """

    pieces: dict[str, Array]
    weights: dict[Method, float]

    def chances(self, number: str, days: float) -> Array:
        """Chance of 0, 1, 2, ... pieces in so many days."""
        own = self.pieces.get(number)
        if own is None:
            return np.ones(1)
        return series_chances(own, days / DAYS_PER_MONTH, self.weights)


def monthly_series(
    service_lines: pd.DataFrame, current: dict[str, str], as_of: pd.Timestamp
) -> Series:
    """Pieces by part and month of the record, returns taken off, and the weights they teach.

    Parameters
    ----------
    service_lines : DataFrame, table "service_lines"
    current : dict
        Numbers in use now, see `current_numbers`.
    as_of : Timestamp
    """
    lines = service_lines.astype({"part_number": "object", "line_kind": "object"})
    lines = lines[lines["service_date"] <= as_of]
    days = (as_of - lines["service_date"].min()).days if len(lines) else 0
    n = int(min(days / DAYS_PER_MONTH, MOST_MONTHS))
    lines = lines[lines["line_kind"].isin(["part", "credit"]) & lines["part_number"].notna()]
    if n < 2 or lines.empty:
        return Series(pieces={}, weights={})
    number = lines["part_number"].map(lambda p: current.get(p, p)).astype(str)
    back = np.floor((as_of - lines["service_date"]).dt.days / DAYS_PER_MONTH).astype(int)
    table = pd.DataFrame({"number": number, "back": back, "n": lines["quantity"].fillna(1.0)})
    table = table[table["back"] < n]
    wide = table.groupby(["number", "back"])["n"].sum().unstack(fill_value=0)
    wide = wide.reindex(columns=range(n - 1, -1, -1), fill_value=0.0).sort_index()
    values = np.maximum(np.ceil(wide.to_numpy(dtype=float) - 1e-9), 0.0)
    return Series(
        pieces={str(p): row for p, row in zip(wide.index, values, strict=True)},
        weights=learned_weights(values),
    )


def shares_of_lives(
    forecast_scores: pd.DataFrame | None, numbers: list[str]
) -> dict[str, tuple[float, int]]:
    """Weight of the life-based forecast of each part, and the past forecasts it stands on.

    Parameters
    ----------
    forecast_scores : DataFrame, optional
        Table "forecast_scores" of `dutylife backtest`; without it all parts go by their lives.
    numbers : list of str

    Notes
    -----
    The pinball losses of both methods over the part's past forecasts of 1 and 3 months, with those
    over all parts added as if they were `POOL_SHARE` forecasts of this part's mean loss, go into
    `weights_of`. A part never scored takes the weight of all parts.
    """
    if forecast_scores is None or forecast_scores.empty:
        return dict.fromkeys(numbers, (1.0, 0))
    rows = forecast_scores.astype({"part_number": "object", "method": "object"})
    rows = rows[rows["months"].isin(SCORED_MONTHS) & rows["method"].isin([LIVES, SERIES])]
    own = rows.pivot_table(
        index="part_number", columns="method", values="pinball_loss", aggfunc=["sum", "count"]
    )
    if own.empty or {LIVES, SERIES} - set(own["sum"].columns):
        return dict.fromkeys(numbers, (1.0, 0))
    total = own["sum"].sum()
    pool = total / max(float(total.mean()), 1e-12)  # 1 on the mean
    out = {}
    for number in numbers:
        loss, n = {LIVES: 0.0, SERIES: 0.0}, 0
        level = 1.0
        if number in own.index:
            loss = {m: float(own["sum"].loc[number, m]) for m in loss}
            n = int(own["count"].loc[number, LIVES])
            level = sum(loss.values()) / 2 / n if n else 1.0
        joined = {m: v + POOL_SHARE * level * float(pool[m]) for m, v in loss.items()}
        out[number] = (weights_of(joined)[LIVES] if sum(joined.values()) > 0 else 0.5, n)
    return out


def mix(law: SpanLaw, series: Array, share_of_lives: float) -> None:
    """Mix a span's law with that of the part's series; the means of its streams follow."""
    if share_of_lives >= 1:
        return
    law.set_chances(mixed([(share_of_lives, law.chances()), (1 - share_of_lives, series)]))
    law.mean_planned *= share_of_lives
    law.mean_unplanned *= share_of_lives
    of_series = float(series @ np.arange(len(series)))
    law.mean_other = share_of_lives * law.mean_other + (1 - share_of_lives) * of_series
