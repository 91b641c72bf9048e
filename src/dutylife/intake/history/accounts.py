"""Lines taken out of use, each with its reason, and a visit that must not lose its words."""

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

SOLD_AND_RETURNED = "part sold and returned"
CREDIT_NETTED = "credit of a part returned"
CORE_NETTED = "core charge and its credit"
NETTED = (SOLD_AND_RETURNED, CREDIT_NETTED, CORE_NETTED)


@dataclass(slots=True)
class Account:
    """What the rules of this package found and took out.

    Parameters
    ----------
    findings : list of dict
        Rows of the findings table.
    taken : dict
        Reason by row of the line taken out.
    """

    findings: list[dict[str, Any]] = field(default_factory=list)
    taken: dict[int, str] = field(default_factory=dict)

    def say(self, *found: dict[str, Any]) -> None:
        """Add findings."""
        self.findings.extend(found)

    def take(self, row: int, reason: str) -> None:
        """Take a line out of use, unless it is already."""
        self.taken.setdefault(row, reason)


def visit_keys(lines: pd.DataFrame) -> pd.Series:
    """One key for each visit: the machine's ticket, or without a number its day."""
    day = lines["service_date"].dt.strftime("%Y-%m-%d")
    number = lines["ticket"].where(lines["ticket"] != "", "on " + day)
    keys: pd.Series = lines["unit_id"] + "\x1f" + number
    return keys


def without_taken(lines: pd.DataFrame, account: Account) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Lines left in use, and those taken out with their ``reason``.

    A line sold and returned that alone carries the words or the meter of its visit stays, as a
    note without part, quantity or price: the machine was in the shop all the same.
    """
    if not account.taken:
        return lines, lines.iloc[:0].assign(reason="")
    reason = pd.Series(account.taken, dtype="object").reindex(lines.index)
    out = reason.notna()
    visit = visit_keys(lines)
    has_words = (lines["complaint"] != "") | (lines["work_done"] != "")
    has_words |= lines["meter_hours"].notna()
    alone = (reason == SOLD_AND_RETURNED) & ~visit.isin(visit[~out]) & has_words
    alone &= lines["unit_id"] != ""
    ordered = lines.loc[alone].sort_values("line_id")
    kept = ordered.index[~visit[ordered.index].duplicated()]
    left = lines[~out | lines.index.isin(kept)].copy()
    for column in ("part_number", "description"):
        left.loc[kept, column] = ""
    for column in ("quantity", "unit_price"):
        left.loc[kept, column] = float("nan")
    left.loc[kept, "line_kind"] = "note"
    gone = out & ~lines.index.isin(kept)
    return left, lines[gone].assign(reason=reason[gone])
