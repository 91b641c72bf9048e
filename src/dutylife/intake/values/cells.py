"""Cells of text: each unlike one looked at once, words for "nothing there" made blank."""

import re
from collections.abc import Callable

import numpy as np
import pandas as pd

# words a shop or its program types for "nothing there"; a run of dashes or question marks means
# the same, and so does a date of noughts
_MISSING = re.compile(
    r"|nil|n/a|n\.a\.|#n/a|#value!|#ref!|#null!|null|none|nan|nat|unknown|\(blank\)|tbd|tba"
    r"|k\.? ?a\.?|unbekannt|keine angaben?|inconnue?|non renseigné|s/o|desconocid[oa]|sin dato"
    r"|s/d|onbekend|n\.?v\.?t\.?|nvt|-+|\?+|\.{3,}|\u2013+|\u2014+"
    r"|0{1,4}[-/.]0{1,2}[-/.]0{1,4}(?:[t ][0:.]+)?",
    re.IGNORECASE,
)
_TOTALS = ("total", "totals", "total:", "subtotal", "grand total", "sum")


def on_unlike(cells: pd.Series, read: Callable[[pd.Series], pd.Series]) -> pd.Series:
    """Apply ``read`` to each unlike cell once and spread the answers over all rows."""
    codes, unlike = pd.factorize(cells, use_na_sentinel=False)
    answers = read(pd.Series(unlike, dtype="object"))
    return answers.take(codes).set_axis(cells.index)


def blanked(cells: pd.Series) -> pd.Series:
    """Cells with the words for "nothing there" made blank."""
    return on_unlike(cells, lambda u: u.map(lambda c: "" if _MISSING.fullmatch(c) else c))


def filled_from(words: pd.Series, other: pd.Series | str) -> pd.Series:
    """Words with the missing ones taken from ``other``; always of type object."""
    given = words.astype("object").to_numpy()
    rest = other if isinstance(other, str) else other.astype("object").to_numpy()
    return pd.Series(np.where(pd.isna(given), rest, given), index=words.index, dtype="object")


def is_total_row(cells: pd.DataFrame) -> pd.Series:
    """Rows in which a cell is the word for a total."""
    found: pd.Series = cells.apply(lambda c: c.str.casefold().isin(_TOTALS)).any(axis=1)
    return found
