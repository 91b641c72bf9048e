"""Cells of a CSV file that a spreadsheet would run: an apostrophe in front stops them."""

import re

import pandas as pd

# a sign a formula starts with, wide forms too, behind blanks and apostrophes
# the same blanks for both engines, whose own differ
RUNS = (
    r"'*[\x01-\x20\x{a0}\x{2000}-\x{200b}\x{202f}\x{3000}]*"
    r"[=+\-@\t\r\x{ff1d}\x{ff0b}\x{ff0d}\x{ff20}]"
)
_RUNS = re.compile(
    r"'*[\x01-\x20\xa0\u2000-\u200b\u202f\u3000]*[=+\-@\t\r\uff1d\uff0b\uff0d\uff20]"
)
_PLAIN = re.compile(r"-(?:\d+(?:\.\d+)?)?")  # a number, or a dash alone


def guarded(text: str) -> str:
    """Cell as it is written.

    Examples
    --------
    >>> guarded("=1+1"), guarded("plug"), guarded("-5"), guarded("'=1")
    ("'=1+1", 'plug', '-5', "''=1")
    """
    return f"'{text}" if _RUNS.match(text) and not _PLAIN.fullmatch(text) else text


def as_was(text: str) -> str:
    """Undo `guarded`.

    Examples
    --------
    >>> as_was("'=1+1"), as_was("'tis"), as_was("''=1")
    ('=1+1', "'tis", "'=1")
    """
    return text[1:] if text.startswith("'") and guarded(text[1:]) == text else text


def guarded_column(values: pd.Series) -> pd.Series | None:
    """Column of texts as it is written; None where that is as it stands."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        used = values.cat.codes.unique()
        words = values.cat.categories.take(used[used >= 0])
        changes = {w: g for w in words if isinstance(w, str) and (g := guarded(w)) != w}
        return values.cat.rename_categories(changes) if changes else None
    told = values.astype("object")
    unlike = pd.Series(told.dropna().unique(), dtype="object")
    changed = {t: g for t in unlike if isinstance(t, str) and (g := guarded(t)) != t}
    if not changed:
        return None
    replaced: pd.Series = told.map(lambda t: changed.get(t, t), na_action="ignore")
    return replaced
