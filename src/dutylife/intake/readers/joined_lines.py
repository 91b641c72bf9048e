"""Rows that a line break inside an unquoted cell tore apart are put together again."""

import re
from collections import Counter

Numbered = tuple[int, list[str]]
# where more rows than this share are short, the export leaves out blank cells at the end of a row
_FEW = 0.2


def joined_lines(rows: list[Numbered]) -> tuple[list[Numbered], int]:
    """Join a short row with the short rows after it that make it exactly whole.

    Parameters
    ----------
    rows : list of (int, list of str)
        Number and cells of each row as the file has them.

    Returns
    -------
    tuple
        The rows, and how many were put together.
    """
    filled = [len(cells) for _, cells in rows if any(c.strip() for c in cells)]
    if not filled:
        return rows, 0
    width, n_usual = Counter(filled).most_common(1)[0]
    n_short = sum(1 < n < width for n in filled)
    if width < 3 or n_short == 0 or n_usual < 2 or n_short > _FEW * len(filled):
        return rows, 0
    forms = Counter(_form(cells[0]) for _, cells in rows if len(cells) == width)
    # the header's own form, and one of a single row, tell nothing
    starts = {form for form, n in forms.items() if n > max(1, 0.01 * n_usual)}
    out: list[Numbered] = []
    n_joined = 0
    at = 0
    while at < len(rows):
        whole, end = _whole_from(rows, at, width, starts)
        if end > at + 1:
            n_joined += 1
        out.append(whole)
        at = end
    return out, n_joined


def _whole_from(
    rows: list[Numbered], at: int, width: int, starts: set[str]
) -> tuple[Numbered, int]:
    number, cells = rows[at]
    if not 1 <= len(cells) < width or not cells[0].strip() or _form(cells[0]) not in starts:
        return rows[at], at + 1
    joined = list(cells)
    for end in range(at + 1, min(at + 20, len(rows))):
        more = rows[end][1] or [""]
        if len(more) >= width or _form(more[0]) in starts and more[0].strip():
            break
        joined = [*joined[:-1], f"{joined[-1]} {more[0]}".strip(), *more[1:]]
        if len(joined) == width:
            # lines that still belong to the last cell have no delimiter at all
            return (number, joined), end + 1
        if len(joined) > width:
            break
    return rows[at], at + 1


def _form(cell: str) -> str:
    """Digits as 9, letters as a: J-1042 and J-77 have one form."""
    return re.sub(r"[^\W\d_]+", "a", re.sub(r"\d+", "9", cell.strip()))
