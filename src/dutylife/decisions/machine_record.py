"""What the record holds of each machine: billed cost, failures, lost days, and how they went on."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.decisions.comparison.standing import Standing
from dutylife.decisions.comparison.terms import Terms
from dutylife.decisions.expected_failures import expected_failures

Array = npt.NDArray[np.float64]
_BILLED = ("part", "labour", "fee", "credit")
FEWEST = 5  # failures from which a machine's trend is asked for


def machine_record(
    standing: Standing, terms: Terms, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    """Read the record of each machine in service.

    Parameters
    ----------
    standing : Standing
    terms : Terms
    tables : mapping of str to DataFrame
        "failure_events", "life_draws", "units", "unit_spans"; where there, "service_lines".

    Returns
    -------
    DataFrame, index unit_id
        ``watched_days``, ``watched_hours``; ``billed`` [currency]; ``n_failed``; ``lost_days``;
        ``expected``: failures its parts would have had by the laws of their duties; ``first`` and
        ``second``: failures in the earlier and the later half of its record; ``p_trend``: chance
        of halves that unlike at a steady rate, exact binomial. Missing where not known.
    """
    units = list(standing.unit_id)
    lives = tables["failure_events"].astype(
        dict.fromkeys(["unit_id", "component", "duty", "event"], "object")
    )
    lives = lives[lives["unit_id"].isin(units)]
    fleet = tables["units"].astype({"unit_id": "object"}).set_index("unit_id")
    first = fleet["first_seen"].reindex(units)
    days = (standing.as_of - first).dt.days.astype(float)
    failed = lives[lives["event"] == "failed"]
    middle = first + (standing.as_of - first) / 2
    is_late = failed["ended_on"] > failed["unit_id"].map(middle)
    out = pd.DataFrame(
        {
            "watched_days": days,
            "watched_hours": days / 7 * standing.use_per_week,
            "billed": _billed(tables.get("service_lines"), units),
            "n_failed": failed.groupby("unit_id")["weight"].sum().reindex(units).fillna(0.0),
            "lost_days": _lost_days(failed, terms).reindex(units).fillna(0.0),
            "expected": _expected(lives, tables["life_draws"]).reindex(units).fillna(0.0),
            "first": failed[~is_late].groupby("unit_id").size().reindex(units).fillna(0.0),
            "second": failed[is_late].groupby("unit_id").size().reindex(units).fillna(0.0),
        },
        index=pd.Index(units, name="unit_id"),
    )
    if terms.no_lost_days:
        out["lost_days"] = np.nan
    return out.assign(p_trend=_p_trend(out["first"].to_numpy(), out["second"].to_numpy()))


def own_factor(
    record: pd.DataFrame, n_draws: int, random: np.random.Generator
) -> tuple[Array, float]:  # fmt: skip
    """How a machine's failures stand to its duties' laws: draws, and how far machines differ.

    Parameters
    ----------
    record : DataFrame
        From `machine_record`.
    n_draws : int
    random : Generator

    Returns
    -------
    tuple
        Draws, shape (n_machines, n_draws), mean about 1; and the variance between machines.

    Notes
    -----
    Failures of a machine are Poisson around its factor times what the laws expect; factors are
    gamma around 1, their variance by moments over the fleet (gamma-Poisson shrinkage). A machine
    of short record stays near 1.
    """
    n, expected = record["n_failed"].to_numpy(), record["expected"].to_numpy()
    scale = expected.sum() / max(n.sum(), 1e-9)  # the fleet as a whole is what the laws say
    expected = expected / scale if scale > 0 else expected
    over = float(((n - expected) ** 2 - n).sum()) / max(float((expected**2).sum()), 1e-9)
    variance = float(np.clip(over, 0.01, 4.0))
    shape = 1 / variance
    draws = random.gamma((shape + n)[:, None], 1.0, size=(len(n), n_draws))
    return draws / (shape + expected)[:, None], variance


def _billed(lines: pd.DataFrame | None, units: list[str]) -> pd.Series:
    """Sum of what was billed, missing where no line of the fleet has a price."""
    if lines is None or not lines["unit_price"].notna().any():
        return pd.Series(np.nan, index=units)
    kept = lines[lines["line_kind"].astype(object).isin(_BILLED)]
    amount = kept["quantity"].fillna(1.0) * kept["unit_price"]
    return amount.groupby(kept["unit_id"].astype(object)).sum().reindex(units).fillna(0.0)


def _lost_days(failed: pd.DataFrame, terms: Terms) -> pd.Series:
    each = {key: t.lost_days for key, t in terms.cells.items()}
    of_component = {key[0]: days for key, days in each.items()}
    days = [
        each.get((c, d), of_component.get(c, 0.0))
        for c, d in zip(failed["component"], failed["duty"], strict=True)
    ]
    lost = pd.Series(days, index=failed.index, dtype=float) * failed["weight"]
    return lost.groupby(failed["unit_id"]).sum()


def _expected(lives: pd.DataFrame, life_draws: pd.DataFrame) -> pd.Series:
    """Failures expected by the laws over the ages each machine's parts went through."""
    each = expected_failures(lives, life_draws)
    total: pd.Series = each.groupby(lives["unit_id"].reindex(each.index)).sum()
    return total


def _p_trend(first: Array, second: Array) -> Array:
    """Two-sided exact binomial chance of the halves at a steady rate, missing below 5 failures."""
    from scipy.stats import binom

    n = first + second
    least = np.minimum(first, second)
    p = np.minimum(2 * binom.cdf(least, n, 0.5), 1.0)
    return np.asarray(np.where(n >= FEWEST, p, np.nan), dtype=np.float64)
