"""Proposed meanings of category cells: what a line bills, what kind of job it was."""

import pandas as pd

from dutylife.draft.fits import known_values
from dutylife.intake.line_kinds import known_kinds
from dutylife.intake.values import read_numbers
from dutylife.settings import Export
from dutylife.vocabulary import WORDS

_FEW = 3


def line_kind_words(lines: pd.DataFrame, export: Export) -> tuple[dict[str, str], list[str]]:
    """Meaning of each unlike cell of the line_kind column that intake does not know by itself.

    Parameters
    ----------
    lines : DataFrame
        Cells under our names: line_kind, and part_number, quantity, unit_price where mapped.
    export : Export
        Its signs are used.

    Returns
    -------
    tuple
        Their word -> ours, and the words that could not be told.
    """
    cells = lines["line_kind"]
    found: dict[str, str] = {}
    unknown: list[str] = []
    for word in cells[cells != ""].drop_duplicates():
        one = pd.Series([word])
        ours = known_values(one, "line_kind").iloc[0] or _by_contents(lines[cells == word], export)
        if known_kinds(one).iloc[0]:
            continue
        if ours in WORDS["line_kind"]:
            found[str(word)] = ours
        else:
            unknown.append(str(word))
    return found, unknown


def _by_contents(rows: pd.DataFrame, export: Export) -> str:
    """A code's meaning by the lines that carry it; blank where they do not agree."""
    if len(rows) < _FEW or not {"quantity", "unit_price"} & set(rows.columns):
        return ""

    def share(column: str) -> float:
        return float((rows[column] != "").mean()) if column in rows else 0.0

    def numbers(column: str) -> pd.Series:
        if column not in rows:
            return pd.Series(float("nan"), index=rows.index)
        return read_numbers(rows[column], export)

    quantity, price = numbers("quantity"), numbers("unit_price")
    minus = ((quantity < 0) | (price < 0)).mean()
    if minus > 0.9:
        return "credit"
    if share("part_number") > 0.9 and price.notna().mean() > 0.5:
        return "part"
    if (
        price.notna().mean() < 0.05
        and quantity.notna().mean() < 0.05
        and share("part_number") < 0.05
    ):
        return "note"
    broken = (quantity.dropna() % 1 != 0).mean() if quantity.notna().any() else 0.0
    if share("part_number") < 0.1 and broken > 0.3 and price.nunique() <= max(3, 0.05 * len(rows)):
        return "labour"
    return ""


def ticket_kind_words(cells: pd.Series) -> dict[str, str]:
    """Words of the kinds of jobs in other languages, to words the coding knows."""
    unlike = cells[cells != ""].drop_duplicates().head(60)
    told = known_values(unlike, "ticket_kind")
    plain = {"repair", "service", "warranty"}
    return {
        str(w): str(k)
        for w, k in zip(unlike, told, strict=True)
        if k and not plain & set(str(w).casefold().split())
    }
