"""What a visit for such a complaint was billed at, weighted by what it is likely to be."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dutylife.decisions.age_weibull import weighted_quantiles

FEWEST_BILLS = 5  # of a cause on the class; below it those of the fleet are taken


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitPrice:
    """Bills of past visits for the likely causes, in the customer's money.

    Parameters
    ----------
    middle, lower, upper : float
        Median and range of a bill; missing without bills. [currency]
    n_bills : int
        Bills it stands on.
    share_priced : float
        Chance of the causes that have bills. [1]
    """

    middle: float
    lower: float
    upper: float
    n_bills: int
    share_priced: float


def visit_price(
    causes: pd.DataFrame, cases: pd.DataFrame, totals: pd.Series, kind: str, level: float
) -> VisitPrice:
    """Quantiles of past bills, each cause as heavy as it is likely.

    Parameters
    ----------
    causes : DataFrame, table "likely_causes"
    cases : DataFrame
        From `past_cases`.
    totals : Series, index ticket
        From `ticket_totals`. [currency]
    kind : str
        Class of the machine.
    level : float
        Of the range. [1]

    Returns
    -------
    VisitPrice
        A bill holds what was done beside the repair, too; lost days are in none.
    """
    billed = cases.assign(total=cases["ticket"].map(totals)).dropna(subset=["total"])
    amounts, weights, priced = [], [], 0.0
    for component, chance in zip(causes["component"], causes["probability"], strict=True):
        mine = billed[billed["component"] == component]
        of_class = mine[mine["equipment_class"] == kind]
        mine = of_class if len(of_class) >= FEWEST_BILLS else mine
        if mine.empty or mine["weight"].sum() <= 0:
            continue
        amounts.append(mine["total"].to_numpy(float))
        weights.append(mine["weight"].to_numpy(float) / mine["weight"].sum() * chance)
        priced += float(chance)
    if not amounts:
        return VisitPrice(middle=np.nan, lower=np.nan, upper=np.nan, n_bills=0, share_priced=0.0)
    amount, weight = np.concatenate(amounts), np.concatenate(weights)
    tail = (1 - level) / 2
    low, middle, high = (
        float(q[0])
        for q in weighted_quantiles(amount[:, None], weight / weight.sum(), (tail, 0.5, 1 - tail))
    )
    return VisitPrice(
        middle=middle, lower=low, upper=high, n_bills=len(amount), share_priced=priced
    )
