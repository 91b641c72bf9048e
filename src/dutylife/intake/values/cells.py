"""Cells of text: words for "nothing there" made blank, totals told."""

import re

import pandas as pd

from dutylife.intake.values.coded import retold, unlike_of

# words a shop or its program types for "nothing there"
_MISSING = frozenset((
    "nil", "n/a", "n.a.", "#n/a", "#value!", "#ref!", "#null!", "null", "none", "nan", "nat",
    "unknown", "not known", "n/k", "(blank)", "tbd", "tba", "unbekannt",
    "keine angabe", "keine angaben",
    "ka", "k.a", "ka.", "k.a.", "k a", "k. a", "k a.", "k. a.",
    "inconnu", "inconnue", "non renseigné", "s/o", "desconocido", "desconocida", "sin dato", "s/d",
    "onbekend", "nvt", "n.vt", "nv.t", "n.v.t", "nvt.", "n.vt.", "nv.t.", "n.v.t.",
))  # fmt: skip
# a run of dashes or question marks means the same, and so does a date of noughts
_MISSING_SIGNS = re.compile(
    r"|-+|\?+|\.{3,}|\u2013+|\u2014+|0{1,4}[-/.]0{1,2}[-/.]0{1,4}(?:[t ][0:.]+)?", re.IGNORECASE
)
_SIGNS = frozenset("-?.0\u2013\u2014")
_LONGEST = max(map(len, _MISSING))
_TOTALS = ("total", "totals", "total:", "subtotal", "grand total", "sum")


def blanked(cells: pd.Series) -> pd.Series:
    """Cells with the words for "nothing there" made blank; coded ones stay coded."""
    return retold(cells, _blanked)


def _blanked(texts: list[str]) -> list[str]:
    return [
        ""
        if (len(text) <= _LONGEST and text.casefold() in _MISSING)
        or (text[:1] in _SIGNS and _MISSING_SIGNS.fullmatch(text))
        else text
        for text in texts
    ]


def filled_unlike(columns: list[pd.Series]) -> pd.Series:
    """Unlike cells of several columns in order of appearance; blanks and their words left out."""
    every = [pd.Series(unlike_of(c)[1], dtype="object") for c in columns]
    cells = pd.concat(every, ignore_index=True) if every else pd.Series(dtype="object")
    cells = blanked(cells.drop_duplicates())
    return cells[cells != ""].reset_index(drop=True)


def is_total_row(cells: pd.DataFrame) -> pd.Series:
    """Rows in which a cell is the word for a total."""
    found: pd.Series = cells.apply(lambda c: c.str.casefold().isin(_TOTALS)).any(axis=1)
    return found
