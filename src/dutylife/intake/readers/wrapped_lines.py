"""Texts too long for their column, printed on over the next lines, in one cell again."""

import re
from collections import Counter

import numpy as np
from numpy.typing import NDArray

# a column holds text when so many of its cells are more than a word
_TEXT_SHARE = 0.2
_FIGURES = re.compile(r"[^A-Za-zÀ-ÿ]*")
# a cell is cut within a word when so many of its like fill their column to the last place
_LEAST_FULL = 5
_HYPHEN = re.compile(r"[^\W_]-$")
# after "Ein-" goes on another word of two that share their end
_AND = re.compile(r"(?:and|or|und|oder|et|ou|y|o|en|of)\b", re.IGNORECASE)
_PAGE = re.compile(r"(?:page|seite|página|pagina|blatt|feuille|blad)\s*:?\s*\d+.*", re.IGNORECASE)


def unwrapped(
    rows: list[list[str]], body: NDArray[np.bool_], data: NDArray[np.bool_]
) -> tuple[list[list[str]], NDArray[np.int64], int, str]:
    """Put lines that fill nothing but columns of text to the row above.

    Such a line belongs to the row above when that has text in the same columns.

    Parameters
    ----------
    rows : list of list of str
        Cells of each line, blanks as in the file.
    body : ndarray of bool, shape (rows,)
        Lines below the header that keep to the columns.
    data : ndarray of bool, shape (rows,)
        Lines with figures or dates where the columns have them. Other lines that stand in the
        file twice are of the page: a text goes on below them.

    Returns
    -------
    tuple
        The rows; the line each of them was; how many lines were put to one above; and what can't
        be told of them, blank where nothing is open.
    """
    mine = [rows[i] for i in np.flatnonzero(body)]
    n_columns = max(map(len, mine), default=0)
    widths = [
        max((len(r[c].rstrip()) for r in mine if c < len(r)), default=0) for c in range(n_columns)
    ]
    texts = _text_columns(mine, n_columns)
    plain = [plain_line(" ".join(cells)) for cells in rows]
    n_of = Counter(p for p, is_data in zip(plain, data, strict=True) if not is_data)
    parts: dict[int, list[int]] = {}
    last = -1
    for at, cells in enumerate(rows):
        if not body[at] or not any(c.strip() for c in cells):
            continue
        filled = [i for i, c in enumerate(cells) if c.strip()]
        if (
            last >= 0
            and all(i in texts and rows[last][i].strip() for i in filled)
            and not any(_PAGE.fullmatch(cells[i].strip()) for i in filled)
        ):
            parts.setdefault(last, []).append(at)
        elif data[at] or n_of[plain[at]] == 1:
            last = at
    within, question = _cut_within_words(rows, parts, widths)
    gone: set[int] = set()
    for head, more in parts.items():
        for column in texts:
            pieces = [rows[i][column] for i in (head, *more) if rows[i][column].strip()]
            if len(pieces) > 1 and column in within:
                rows[head][column] = "".join(p.rstrip().ljust(widths[column]) for p in pieces)
            elif len(pieces) > 1:
                rows[head][column] = joined_words([p.strip() for p in pieces])
        gone |= set(more)
    kept = np.array([i for i in range(len(rows)) if i not in gone], dtype="int64")
    return [rows[i] for i in kept], kept, len(gone), question


def plain_line(line: str) -> str:
    """A line with single blanks and every figure 9: page 2 is the same line as page 1."""
    return re.sub(r"\d+", "9", " ".join(line.split()))


def joined_words(pieces: list[str]) -> str:
    """Pieces of a text cut between words, or after the hyphen of a word.

    Examples
    --------
    >>> joined_words(["49 cc two-", "stroke, new", "plug"]), joined_words(["Ein-", "und Ausbau"])
    ('49 cc two-stroke, new plug', 'Ein- und Ausbau')
    """
    out = pieces[0]
    for piece in pieces[1:]:
        within = _HYPHEN.search(out) and piece[:1].isalnum() and not _AND.match(piece)
        out = f"{out}{piece}" if within else f"{out} {piece}"
    return out


def _text_columns(rows: list[list[str]], n_columns: int) -> set[int]:
    out = set()
    for column in range(n_columns):
        said = [r[column].strip() for r in rows if column < len(r) and r[column].strip()]
        words = sum(" " in c and not _FIGURES.fullmatch(c) for c in said)
        if said and words >= _TEXT_SHARE * len(said):
            out.add(column)
    return out


def _cut_within_words(
    rows: list[list[str]], parts: dict[int, list[int]], widths: list[int]
) -> tuple[set[int], str]:
    """Columns whose texts were cut at the column's edge, whether or not a word ended there.

    Cut between words, most pieces end before the edge.
    """
    full: dict[int, list[bool]] = {}
    for head, more in parts.items():
        chain = [head, *more]
        for above, below in zip(chain, chain[1:], strict=False):
            for column, cell in enumerate(rows[below]):
                if cell.strip():
                    # the edge itself may be the blank before the next word
                    room = widths[column] - len(rows[above][column].rstrip())
                    full.setdefault(column, []).append(room <= 1)
    within = {c for c, f in full.items() if len(f) >= _LEAST_FULL and all(f)}
    unsure = [c for c, f in full.items() if all(f) and c not in within]
    if not unsure:
        return within, ""
    return within, (
        f"{sum(len(full[c]) for c in unsure)} texts that go on over the next line fill their "
        "column to its edge; they were put together with a blank, which may part a word."
    )
