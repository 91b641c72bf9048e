"""Tickets whose header stands on their first row only: found by evidence, filled down if asked."""

import numpy as np
import pandas as pd

from dutylife.intake.layout.header import _DATE
from dutylife.intake.values import no_text, unlike_of

# a column is of the ticket when so few of the rows below a header fill it
_STRAY_SHARE = 0.002
_LOOKED_AT = 20000


def blank_below(cells: pd.DataFrame, fault: pd.Series) -> tuple[str, ...]:
    """Columns that are filled on the first row of each ticket and blank on the rows below.

    The date has to be among them: a column of dates that most other rows leave blank, and no
    other column of dates that is always filled.

    Parameters
    ----------
    cells : DataFrame
        Trimmed text.
    fault : Series of str
        Rows with a fault are left out.

    Returns
    -------
    tuple of str
        Blank where each row stands alone.
    """
    rows = cells.iloc[np.flatnonzero(no_text(fault))[:_LOOKED_AT]]
    if len(rows) < 2:
        return ()
    filled = {c: ~no_text(rows[c]) for c in rows}
    dated = [c for c in rows if _holds_dates(rows[c])]
    if not dated:
        return ()
    date = max(dated, key=lambda c: int(filled[c].sum()))
    below = ~filled[date]
    # something has to stand on the rows below, and the first row has to be a header
    if below.mean() < 0.02 or below[0]:
        return ()
    # a counter sale without a date of its own would be lost in the ticket above: with a ticket
    # number on most rows below, these are undated rows and not continued ones
    group = [c for c in rows if filled[c][below].mean() <= _STRAY_SHARE and filled[c].any()]
    others = [c for c in rows if c not in group and filled[c][below].mean() > 0]
    usual = [c for c in group if filled[c][~below].mean() > 0.5]
    if len(usual) < 2 or not others:
        return ()
    # a row below is a line with cells of its own; a single cell is a note or a broken row
    own = np.sum([filled[c][below] for c in others], axis=0)
    if np.median(own) < 2:
        return ()
    return tuple(c for c in rows.columns if c in group)


def _holds_dates(cells: pd.Series) -> bool:
    filled = [c for c in unlike_of(cells)[1] if c != ""][:500]
    n_dates = sum(bool(_DATE.fullmatch(c)) for c in filled)
    return len(filled) > 0 and n_dates / len(filled) > 0.8


def filled_down(cells: pd.DataFrame, fault: pd.Series, columns: tuple[str, ...]) -> pd.DataFrame:
    """Cells with each row below a ticket's first taking that row's cells in ``columns``.

    A cell blank on the first row stays blank on all: it is not taken from the ticket before.
    """
    if not columns:
        return cells
    usable = (fault == "").to_numpy()
    starts = (cells[list(columns)] != "").any(axis=1).to_numpy() & usable
    numbers = np.arange(len(cells))
    head = np.maximum.accumulate(np.where(starts, numbers, -1))
    take = usable & ~starts & (head >= 0)
    out = cells.copy()
    for column in columns:
        values = cells[column].to_numpy()
        out[column] = np.where(take, values[np.where(head >= 0, head, 0)], values)
    return out
