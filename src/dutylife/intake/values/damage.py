"""Numbers an earlier export damaged: years with a comma, false totals, lost thousands."""

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dutylife.intake.values.cells import blanked
from dutylife.intake.values.number_evidence import number_evidence
from dutylife.intake.values.numbers import read_numbers
from dutylife.settings import Export

# so much of a total's rows has to agree before the others may be called wrong
_AGREES = 0.3
_WRONG = 0.005
_CENT = 0.011
_MANY = 500
# looked at first; the whole file only where these show damage
_LOOKED_AT = 2000
_YEAR = re.compile(r"[12][.,]\d{1,3}")
_SUM_WORD = re.compile(
    r"total|amount|extended|extension|sum|gesamt|betrag|summe|montant|importe|totaal|bedrag|net"
)


@dataclass(frozen=True, slots=True)
class Damage:
    """One kind of damage in one column: how many rows, which first, and what it looks like."""

    column: str
    n_rows: int
    first_row: int
    message: str


def find_damage(cells: pd.DataFrame, export: Export) -> list[Damage]:
    """Damage in the number columns of a file, whether they are mapped or not.

    Parameters
    ----------
    cells : DataFrame
        Text under the file's own headers, rows that are records only; the index is kept as the
        row that findings name.
    export : Export
        Its signs are used.
    """
    few = cells.iloc[:: max(1, len(cells) // _LOOKED_AT)].astype("object")
    export = _with_own_signs(few, export)
    if len(cells) > _LOOKED_AT:
        seen = _found_in(few, export)
        if not seen:
            return []
    return _found_in(cells.astype("object"), export)


def _with_own_signs(cells: pd.DataFrame, export: Export) -> Export:
    """Signs of all number columns together: where none is mapped the settings can't know them."""
    figures = [
        cells[c] for c in cells if cells[c].str.fullmatch(r"-?[\d.,]*\d[\d.,]*|").mean() > 0.95
    ]
    signs = number_evidence(figures)
    if not signs.n_deciding:
        return export
    return export.model_copy(update={"decimal": signs.decimal, "thousands": signs.thousands})


def _found_in(cells: pd.DataFrame, export: Export) -> list[Damage]:
    found: list[Damage] = []
    numbers: dict[str, pd.Series] = {}
    for column in map(str, cells.columns):
        texts = blanked(cells[column])
        filled = texts[texts != ""]
        if not len(filled):
            continue
        years = filled.str.fullmatch(_YEAR)
        if years.mean() > 0.9 and _are_years(filled[years]):
            unlike = ", ".join(repr(c) for c in filled[years].unique()[:3])
            found.append(
                Damage(
                    column, int(years.sum()), int(filled.index[0]),
                    f"'{column}' holds years that a number format damaged ({unlike}): 2,01 is "
                    "2010 or 2,01x; take the year from a date instead",
                )
            )  # fmt: skip
            continue
        values = read_numbers(texts, export)
        if values.notna().sum() >= 0.9 * len(filled):
            numbers[column] = values
            found += _lost_thousands(column, texts, values, export)
    return found + _wrong_totals(numbers)


def _are_years(cells: pd.Series) -> bool:
    """2,023 and 2,02 and 1,998: what is left of years once a thousands sign was put in."""
    digits = cells.str.replace(r"\D", "", regex=True).drop_duplicates()
    whole = digits.str.pad(4, side="right", fillchar="0").astype("int64")
    return bool(whole.between(1950, 2100).all() and (digits.str.len() == 4).any())


def _lost_thousands(
    column: str, texts: pd.Series, values: pd.Series, export: Export
) -> list[Damage]:
    """A long column of whole numbers under 1000 in which some have three decimals."""
    mark = re.escape(export.decimal or ".")
    known = values.notna()
    if known.sum() < _MANY or not (values[known].abs() < 1000).all():
        return []
    three = texts.str.fullmatch(rf"-?\d{{1,3}}{mark}\d{{2}}[1-9]")
    whole = (values[known] % 1 == 0).mean()
    n_three = int((three & known).sum())
    if whole < 0.9 or n_three < 5 or not (values[known & ~three] > 100).any():
        return []
    first = three.idxmax()
    return [
        Damage(
            column, n_three, int(first),
            f"'{column}' has nothing above 999, nearly all whole, and {n_three} figures with three "
            f"decimals such as {texts[first]}: they look like thousands, divided by 1000 by an "
            "earlier export; sums of this column can't be trusted",
        )
    ]  # fmt: skip


def _wrong_totals(numbers: dict[str, pd.Series]) -> list[Damage]:
    found = []
    for total in numbers:
        if not _SUM_WORD.search(total.casefold()):
            continue
        how = _parts_of(total, numbers)
        if how is None:
            continue
        text, expected = how
        known = numbers[total].notna() & expected.notna()
        wrong = known & ((numbers[total] - expected).abs() > _CENT + 0.005 * expected.abs())
        if wrong.sum() <= _WRONG * known.sum():
            continue
        first = wrong.idxmax()
        found.append(
            Damage(
                total, int(wrong.sum()), int(first),
                f"'{total}' should be {text} and is not in {int(wrong.sum())} of "
                f"{int(known.sum())} rows (first: {numbers[total][first]:g} against "
                f"{expected[first]:g}); these figures were damaged by an earlier export",
            )
        )  # fmt: skip
    return found


def _parts_of(total: str, numbers: dict[str, pd.Series]) -> tuple[str, pd.Series] | None:
    """What a total is made of, by the rows that agree: a product of two, or a sum of its kind."""
    others = {n: v for n, v in numbers.items() if n != total}
    best: tuple[float, str, pd.Series] | None = None
    names = sorted(others)
    tried = [
        (f"'{a}' x '{b}'", others[a] * others[b])
        for i, a in enumerate(names)
        for b in names[i + 1 :]
    ]
    words = set(re.split(r"[\W_]+", total.casefold())) - {""}
    kin = [n for n in names if words & set(re.split(r"[\W_]+", n.casefold())) - {"total", "sum"}]
    if len(kin) > 1:
        sum_of: pd.Series = pd.concat([others[n].fillna(0) for n in kin], axis=1).sum(axis=1)
        tried.append((" + ".join(f"'{n}'" for n in kin), sum_of))
    for text, expected in tried:
        known = numbers[total].notna() & expected.notna()
        telling = known & (expected != 0) & (expected != 1)
        if telling.sum() < 20:
            continue
        near = (numbers[total] - expected).abs() <= _CENT + 0.005 * expected.abs()
        share = float(np.mean(near[telling]))
        if share > _AGREES and (best is None or share > best[0]):
            best = (share, text, expected)
    return None if best is None else (best[1], best[2])
