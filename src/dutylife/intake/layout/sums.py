"""Totals told by their figures: a row of few cells that holds the sum, or the count, of others."""

import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.intake.values import read_numbers
from dutylife.settings import Export

_HAS_LETTER = re.compile(r"[^\W\d_]")
_HAS_DIGIT = re.compile(r"\d")
_FIGURE = re.compile(
    r"[^\w.,()-]*\(?-?[\d.,' \u00a0\u202f]*\d[\d.,' \u00a0\u202f]*-?\)?\W*[^\W\d_]{0,4}\.?"
)
# a sum of fewer rows may be a coincidence
_FEWEST = 3
# amid records a figure without cents below this is too often the sum of a few quantities
_SMALL = 100.0
_CENT = 0.006


def find_sums(
    cells: pd.DataFrame,
    few: NDArray[np.intp],
    is_record: NDArray[np.bool_],
    told: NDArray[np.bool_],
) -> NDArray[np.intp]:
    """Rows that are no records but sum up those above, whatever word stands beside the figure.

    A row is one when it holds a word at most and figures, and one of these is the sum of its
    column, since the top or since the total before it; where no record follows, it may be their
    number as well.

    Parameters
    ----------
    cells : DataFrame
        Trimmed text under the header.
    few : ndarray of int
        Rows of few cells, in order.
    is_record : ndarray of bool, shape (n_rows,)
        Rows that nothing else tells from records.
    told : ndarray of bool, shape (n_rows,)
        Rows known as totals by their words: sums start anew below them.

    Returns
    -------
    ndarray of int
        Positions of the rows, in order.
    """
    rows = _candidates(cells, few)
    if not rows:
        return np.zeros(0, dtype=np.intp)
    last = _last_record(is_record, set(rows))
    if last < 0:  # a table of few columns: each of its rows may be a record
        return np.zeros(0, dtype=np.intp)
    found: list[int] = []
    for decimal, thousands in ((".", ","), (",", ".")):
        form = Export(path="-", decimal=decimal, thousands=thousands)
        found = max(found, _of_form(cells, rows, form, is_record, told, last), key=len)
    return np.asarray(found, dtype=np.intp)


def _candidates(cells: pd.DataFrame, few: NDArray[np.intp]) -> dict[int, list[int]]:
    """Row -> columns of its figures, for rows of one word at most and at least one figure."""
    out: dict[int, list[int]] = {}
    values = cells.iloc[few].astype("object").to_numpy()
    for row, record in zip(few.tolist(), values, strict=True):
        filled = [(at, c) for at, c in enumerate(record) if c != ""]
        figures = [at for at, c in filled if _FIGURE.fullmatch(c)]
        rest = [c for at, c in filled if at not in figures]
        if figures and len(rest) <= 1 and all(_is_word(c) for c in rest):
            out[row] = figures
    return out


def _is_word(cell: str) -> bool:
    """Words of a total, not the number of a part, machine or job."""
    mixed = any(_HAS_LETTER.search(w) and _HAS_DIGIT.search(w) for w in cell.split())
    return bool(_HAS_LETTER.search(cell)) and not mixed


def _last_record(is_record: NDArray[np.bool_], candidates: set[int]) -> int:
    """The last row that is a record beyond doubt; -1 without one."""
    sure = np.flatnonzero(is_record)
    return next((int(row) for row in sure[::-1] if int(row) not in candidates), -1)


def _of_form(
    cells: pd.DataFrame, rows: dict[int, list[int]], form: Export, is_record: NDArray[np.bool_],
    told: NDArray[np.bool_], last: int,
) -> list[int]:  # fmt: skip
    """Rows that are sums where figures are written in this form."""
    columns = sorted({at for figures in rows.values() for at in figures})
    read = {at: read_numbers(cells.iloc[:, at], form).to_numpy() for at in columns}
    counted = {at: is_record & ~np.isnan(v) & (v != 0) for at, v in read.items()}
    sums = {at: np.cumsum(np.where(counted[at], v, 0.0)) for at, v in read.items()}
    numbers = {at: np.cumsum(n) for at, n in counted.items()}
    records = np.cumsum(is_record)
    totals = np.flatnonzero(told)
    found: list[int] = []
    above = -1  # the total before
    for row, figures in rows.items():
        below = totals[totals < row]
        above = max(above, int(below[-1])) if len(below) else above
        for at in figures:
            value = read[at][row]
            if np.isnan(value) or value == 0:
                continue
            # totals found so far are no records; neither is the row itself
            gone = [r for r in found if counted[at][r]]
            mine = (value, 1) if counted[at][row] else (0.0, 0)
            for start in {-1, above}:
                out = [r for r in gone if r > start]
                total = sums[at][row] - mine[0] - sum(read[at][r] for r in out)
                number = numbers[at][row] - mine[1] - len(out)
                if start >= 0:
                    total, number = total - sums[at][start], number - numbers[at][start]
                if abs(total - value) < _CENT and _is_enough(value, int(number), row > last):
                    found.append(row)
                    break
            else:
                n_records = int(records[row]) - int(is_record[row]) - len(found)
                if row > last and value == n_records >= _FEWEST:
                    found.append(row)
            if found and found[-1] == row:
                above = row
                break
    return found


def _is_enough(value: float, n_rows: int, is_at_the_end: bool) -> bool:
    if is_at_the_end:
        return n_rows >= _FEWEST - 1
    return n_rows >= _FEWEST and (value != round(value) or abs(value) >= _SMALL)
