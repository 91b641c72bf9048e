"""Which row is the header: the one with the mapped names, else the first full row of words."""

import re
from collections import Counter

# so many rows are looked at for a header; reports print no longer preamble
_LOOKED_AT = 120
_BODY = 400
_DATE = re.compile(r"\d{1,4}[-/. ]\s?(?:\d{1,2}|[A-Za-z]{3,9}\.?)[-/. ,]\s?\d{2,4}(?:[T ,].*)?")
_FIGURE = re.compile(r"[-+(]?\s*[^\w\s]{0,3}\s*\d[\d.,' \u00a0]*\s*(?:[A-Za-z%€$£]{0,4})\)?-?")


def is_value(cell: str) -> bool:
    """Tell a date or figure from a word.

    Examples
    --------
    >>> is_value("1.234,50 EUR"), is_value("05-Jan-24"), is_value("Qty 1")
    (True, True, False)
    """
    return bool(_DATE.fullmatch(cell) or _FIGURE.fullmatch(cell))


def find_header(rows: list[list[str]], wanted: set[str]) -> int | None:
    """Position of the header row.

    Parameters
    ----------
    rows : list of list of str
        First rows of the sheet (some hundreds), trimmed.
    wanted : set of str
        Names the settings map, in lower case; a row that holds most of them is the header.

    Returns
    -------
    int or None
        None where every row is data.
    """
    head = rows[:_LOOKED_AT]
    if wanted:
        hits = [len(wanted & {c.casefold() for c in row}) for row in head]
        if hits and max(hits) >= max(1, len(wanted) / 2):
            return hits.index(max(hits))
        if all(re.fullmatch(r"column \d+", name) for name in wanted):
            return None
    filled = [sum(c != "" for c in row) for row in rows[:_BODY]]
    many = [n for n in filled if n >= 2]
    if not many:
        return 0 if rows else None
    usual = sorted(many)[len(many) // 2]
    for position, row in enumerate(head):
        if _reads_like_a_header(row, usual):
            return position
    first = next(i for i, n in enumerate(filled) if n >= min(2, usual))
    return None if _is_like_below(rows, first) else first


def _reads_like_a_header(row: list[str], usual: int) -> bool:
    named = [c for c in row if c != ""]
    if len(named) < max(2, 0.75 * usual):
        return False
    words = [c for c in named if not is_value(c) and len(c) <= 60]
    if any(_DATE.fullmatch(c) for c in named):
        return False
    return len(words) >= 0.85 * len(named) and len(set(words)) >= 0.5 * len(words)


def _is_like_below(rows: list[list[str]], first: int) -> bool:
    """The row has figures and dates where the rows below have them: it is one of them."""
    below = [r for r in rows[first + 1 : first + 1 + _BODY] if any(r)]
    n_value_columns = n_alike = 0
    for column, cell in enumerate(rows[first]):
        others = [r[column] for r in below if r[column] != ""]
        if others and sum(is_value(c) for c in others) >= 0.9 * len(others):
            n_value_columns += 1
            n_alike += cell == "" or is_value(cell)
    return n_value_columns > 0 and n_alike == n_value_columns


def unlike_names(cells: list[str]) -> list[str]:
    """Column names of a header row: blank ones numbered, repeated ones numbered.

    Examples
    --------
    >>> unlike_names(["Part", "", "Part"])
    ['Part (1)', 'column 2', 'Part (2)']
    """
    names = [" ".join(c.split()) or f"column {i}" for i, c in enumerate(cells, 1)]
    n_of = Counter(names)
    seen: Counter[str] = Counter()
    out = []
    for name in names:
        seen[name] += 1
        out.append(f"{name} ({seen[name]})" if n_of[name] > 1 else name)
    return out
