"""Stock page: terms of buying that nobody stated, and what was taken in their place."""

from typing import Any

import pandas as pd

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.facts import plain, table_or_empty
from dutylife.stock.terms import PROPOSED

_OF_A_PART = ("lead_time_days", "order_cost")
_OF_THE_SHOP = ("review_days", "service_level", "holding_rate")


def what_is_assumed(run: Run) -> str:
    """Say which terms the settings and the parts file leave open; blank where none is.

    Parameters
    ----------
    run : Run

    Returns
    -------
    str
        Each figure, how many parts it is taken for, and where to state it.
    """
    parts = plain(run.table("stock_plan"))
    if parts.empty:
        return ""
    stated: dict[str, dict[str, Any]] = dict(run.info["settings"].get("stock", {}))
    shelf = plain(table_or_empty(run, "shelf")).drop_duplicates("part_number")
    open_ = {
        term: int((~_is_stated(term, parts["part_number"], stated, shelf)).sum())
        for term in (*_OF_A_PART, *_OF_THE_SHOP)
    }
    unsaid = int((parts["on_hand"].notna() & parts["on_order"].isna()).sum())
    words = {
        "lead_time_days": f"a part comes {PROPOSED.lead_time_days:.0f} days after its order",
        "review_days": f"orders are looked at every {PROPOSED.review_days:.0f} days",
        "service_level": f"{wording.percent(PROPOSED.service_level or 0)} of pieces are to be "
        "given at once",
        "holding_rate": f"a year on the shelf costs {wording.percent(PROPOSED.holding_rate or 0)} "
        "of a piece's price",
        "order_cost": "an order costs nothing by itself, so none is bought ahead",
    }
    taken = [
        words[term] + ("" if n == len(parts) else f" ({wording.count(n, 'part')})")
        for term, n in open_.items()
        if n
    ]
    if unsaid:
        all_ = "" if unsaid == len(parts) else f" ({wording.count(unsaid, 'part')})"
        taken.append(f"nothing is on its way{all_}")
    if not taken:
        return ""
    return (
        f"Assumed, since no file or setting says: {'; '.join(taken)}. State what you know in "
        "the parts file or the settings."
    )


def _is_stated(
    term: str, numbers: pd.Series, stated: dict[str, dict[str, Any]], shelf: pd.DataFrame
) -> pd.Series:
    """Whether a part's term is stated for all parts, for it alone, or by the parts file."""
    if term in stated.get("default", {}):
        return pd.Series(data=True, index=numbers.index)
    own = {number for number, terms in stated.items() if term in terms}
    if term in shelf:
        own |= set(shelf.loc[shelf[term].notna(), "part_number"])
    return numbers.isin(own)
