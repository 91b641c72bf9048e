"""Where the columns of a fixed-width text begin and end, by evidence of all its lines."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.intake.readers.fixed_labels import (
    LABEL,
    TOKEN,
    VALUE,
    Flags,
    Span,
    header_lines,
    overlapped,
    under_labels,
    with_labels,
)

# columns as a print ruled them: groups of dashes with blanks between
_RULER = re.compile(r"\s*[-=_~]+(?:\s+[-=_~]+)+\s*")
_DATE = re.compile(
    r"\d{1,4}[-/. ](?:\d{1,2}|[A-Za-z]{3,9}\.?)[-/., ]\s?\d{2,4}|[A-Za-z]{3,9}\.? \d{1,2},? \d{4}"
)
# figures or dates begin or end at the places of their columns: against the fullest place so often
_ANCHOR_SHARE = 0.4
# of many lines so few may break a gap: they are shown and set aside, not the gap
_BROKEN_SHARE = 0.01
_LEAST_LINES = 3
# above so many lines a blank at one place of all texts is no chance
_FEW_LINES = 20
_WIDEST = 4000


@dataclass(frozen=True, slots=True)
class FixedColumns:
    """Columns of a fixed-width text.

    Parameters
    ----------
    spans : tuple of (int, int)
        First and one past the last character of each column, counted from 0.
    labels : tuple of str
        What the header says above each; empty where no line is the header.
    header : range
        Lines of the header, counted from 0.
    data, bare, fits : ndarray of bool, shape (lines,)
        Lines with figures or dates where the columns have them; lines without one of them; lines
        that cross no gap.
    question : str
        Two cuts that explain the file equally; blank where there are none.
    touching : tuple of str
        Two labels that stand above one column: no gap parts them.
    """

    spans: tuple[Span, ...]
    labels: tuple[str, ...]
    header: range
    data: Flags
    bare: Flags
    fits: Flags
    question: str = ""
    touching: tuple[str, ...] = ()


def filled_places(lines: list[str], width: int) -> Flags:
    """Whether each character of each line is no blank, shape (lines, width)."""
    joined = "".join(line[:width].ljust(width) for line in lines).encode("utf-32-le", "replace")
    signs = np.frombuffer(joined, dtype="<u4").reshape(len(lines), width)
    return np.asarray((signs > 32) & (signs != 0xA0))


def fixed_columns(lines: list[str]) -> FixedColumns | None:
    """Find the columns of a text; None where it has none.

    Data lines are those with dates or figures at the places where most such lines have them.
    A ruler of dashes cuts where it has blanks; else each place is a gap that is blank in all data
    lines. A gap one blank wide under a label that spans it is inside a column ("05 Jan 24" under
    "Date").

    Parameters
    ----------
    lines : list of str
        Without line ends and form feeds.
    """
    width = max(map(len, lines), default=0)
    if not 3 <= width <= _WIDEST:
        return None
    ruled = np.array([bool(_RULER.fullmatch(line)) for line in lines])
    data, bare = _data_lines(lines, ruled)
    if data.sum() < (1 if ruled.any() else _LEAST_LINES):
        return None
    filled = filled_places(lines, width)
    whole = ~data & np.array([bool(LABEL.fullmatch(line.strip())) for line in lines])
    rulers = [int(i) for i in np.flatnonzero(ruled) if i <= int(np.flatnonzero(data)[-1])]
    spans = _by_ruler(lines, rulers, filled[data])
    if spans:
        # a ruler says where a column is: its labels stand inside it
        labels, header, touching, _ = under_labels(lines, data, ruled, spans)
        fits = _fitting(filled, spans, bare) & ~(whole & _over_two(lines, spans))
        return FixedColumns(tuple(spans), labels, header, data, bare, fits, touching=touching)
    spans = _by_gaps(filled[data])
    if len(spans) < 2:
        return None
    spans = with_labels(lines, data, ruled, spans)
    merged, question = _merged(lines, data, ruled, spans, filled)
    if len(merged) < 2:
        return None
    labels, header, touching, loose = under_labels(lines, data, ruled, merged)
    if loose and not question:
        question = f"no figure or text stands below '{loose}', which may be a column of its own"
    # words one blank apart over two columns are one text: a title, a footer
    fits = _fitting(filled, merged, bare) & ~(whole & _over_two(lines, merged))
    return FixedColumns(tuple(merged), labels, header, data, bare, fits, question, touching)


def stated_columns(lines: list[str], starts: list[int]) -> FixedColumns:
    """Columns that begin where the settings say, counted from 1; gaps need not be blank.

    Where most lines have a blank before each column, a line that has none crosses the columns.
    """
    width = max(max(map(len, lines)), starts[-1])
    ends = [*(s - 1 for s in starts[1:]), width]
    spans = tuple((s - 1, e) for s, e in zip(starts, ends, strict=True))
    filled = filled_places(lines, width)
    used = filled.any(axis=1)
    fits = ~filled[:, : spans[0][0]].any(axis=1)  # nothing is cut away unsaid
    for start, _ in spans[1:]:
        crossed = filled[:, start - 1] & filled[:, start]
        if crossed.sum() < 0.5 * used.sum():
            fits &= ~crossed
    ruled = np.array([bool(_RULER.fullmatch(line)) for line in lines])
    return FixedColumns(spans, (), range(0), *_data_lines(lines, ruled), np.asarray(fits))


def _data_lines(lines: list[str], ruled: Flags) -> tuple[Flags, Flags]:
    """Lines with figures or dates at the places of most lines, and lines without one of them."""
    places: list[list[Span]] = []
    ends: Counter[int] = Counter()
    begins: Counter[int] = Counter()
    for line, is_ruler in zip(lines, ruled, strict=True):
        found = [] if is_ruler else list(TOKEN.finditer(line))
        places.append([m.span() for m in found if VALUE.fullmatch(m[0])])
        begins.update(s for s, _ in places[-1])
        ends.update(e for _, e in places[-1])
    least = max(2.0, _ANCHOR_SHARE * max([0, *begins.values(), *ends.values()]))
    at_begin = {p for p, n in begins.items() if n >= least}
    at_end = {p for p, n in ends.items() if n >= least}
    if not at_begin and not at_end:
        # a list of words only: every line with two blanks inside may be of it
        apart = [bool(re.search(r"\S {2,}\S", line)) for line in lines]
        return np.array(apart) & ~ruled, ~np.array(apart)
    hits = [sum(s in at_begin or e in at_end for s, e in mine) for mine in places]
    usual = sorted(h for h in hits if h)[sum(h > 0 for h in hits) // 2]
    return np.array([h >= max(1, (usual + 1) // 2) for h in hits]), np.array(hits) == 0


def _by_ruler(lines: list[str], rulers: Sequence[int], filled: Flags) -> list[Span]:
    """Columns of the ruler with most groups, where nearly all data lines keep its gaps."""
    best: list[Span] = []
    for i in rulers[:60]:
        groups = [m.span() for m in TOKEN.finditer(lines[i])]
        if len(groups) > len(best):
            best = groups
    if len(best) < 2:
        return []
    # the last column may run on, text stands left of a gap and figures right of it
    spans = [*best[:-1], (best[-1][0], max(best[-1][1], filled.shape[1]))]
    return spans if _fitting(filled, spans).mean() > 0.9 else []


def _fitting(filled: Flags, spans: list[Span], bare: Flags | None = None) -> Flags:
    """Lines that keep the gaps, with nothing left of the first column.

    A text may reach into the gap right of its column and a figure into the one left of it. Of
    lines without a figure in its place, a text of several words may.
    """
    fits = ~filled[:, : spans[0][0]].any(axis=1)
    loose = np.zeros(len(filled), dtype=bool) if bare is None else bare
    for (_, end), (start, _) in zip(spans, spans[1:], strict=False):
        if end >= start:  # columns that touch are not told apart by gaps
            return np.zeros(len(filled), dtype=bool)
        gap = filled[:, end:start]
        rising = (np.diff(gap.astype("int8"), axis=1) > 0).sum(axis=1)
        once = (rising == 0) | ((rising == 1) & gap[:, -1])
        fits &= ~gap.all(axis=1) & (once | (loose & ~gap[:, -1]))
    return np.asarray(fits)


def _over_two(lines: list[str], spans: list[Span]) -> Flags:
    edges = [(len(line) - len(line.lstrip()), len(line)) for line in lines]
    return np.array([len(overlapped(edge, spans)) > 1 for edge in edges])


def _by_gaps(filled: Flags) -> list[Span]:
    blank = 1.0 - filled.mean(axis=0)
    n = len(filled)
    nearly = blank >= 1.0 - (_BROKEN_SHARE if n >= 100 else 0.0)
    gap = blank == 1.0
    # a gap that a few lines break: of a run of nearly blank places the blankest ones
    for start, end in _runs(nearly):
        if not gap[start:end].any() and start > 0 and end < len(gap):
            gap[start:end] = blank[start:end] == blank[start:end].max()
    return _runs(~gap)


def _runs(flags: Flags) -> list[Span]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype("int8"), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _merged(
    lines: list[str], data: Flags, ruled: Flags, spans: list[Span], filled: Flags
) -> tuple[list[Span], str]:
    """Columns with the gaps that lie inside one of them closed, and what can't be decided."""
    header = header_lines(lines, data, ruled, spans)
    spans = _dates_whole(lines, data, spans)
    if not len(header):
        return spans, ""
    labels = [m.span() for m in LABEL.finditer(lines[header[-1]])]
    rows = np.flatnonzero(data)
    out, question = [spans[0]], ""
    for span in spans[1:]:
        left = out[-1]
        narrow = span[0] - left[1] == 1 and not _is_padded(filled[rows], left, span)
        spanning = any(s < left[1] and e > span[0] for s, e in labels)
        own = any(s >= left[1] and s < span[1] for s, e in labels)
        n_filled = int(filled[rows, span[0] : span[1]].any(axis=1).sum())
        if not own and not spanning and n_filled < _BROKEN_SHARE * len(rows):
            continue  # a few texts too long for their column, no column
        if not narrow:
            # of few lines chance leaves a blank at one place of all texts, where no label stands
            by_chance = not own and not spanning and len(rows) < _FEW_LINES
            if by_chance:
                out[-1] = (left[0], span[1])
                question = question or (
                    f"no label stands above {_first(lines, rows, span)!r}, which may be a column "
                    "or the end of the one before"
                )
            else:
                out.append(span)
            continue
        if own:
            out.append(span)
            continue
        words = _each_has_a_word(lines[header[-1]], left, span)
        joined = [" ".join(lines[i][left[0] : span[1]].split()) for i in rows]
        sides = [[lines[i][s:e].strip() for i in rows] for s, e in (left, span)]
        if words and not _all_dates(joined) and any(_all_dates(s) for s in sides):
            out.append(span)
            continue
        out[-1] = (left[0], span[1])
        if words and not _all_dates(joined) and not question:
            label = lines[header[-1]][left[0] : span[1]].strip()
            question = (
                f"'{label}' stands above one column or two: its cells ({joined[0]!r}) have one "
                "blank at the same place in all rows"
            )
    return out, question


def _first(lines: list[str], rows: NDArray[np.int64], span: Span) -> str:
    said = [lines[i][span[0] : span[1]].strip() for i in rows]
    return next((c for c in said if c), "")


def _is_padded(filled: Flags, left: Span, right: Span) -> bool:
    """In some row a cell beside the gap ends before it or begins after it."""
    a, b = filled[:, left[1] - 1], filled[:, right[0]]
    both = filled[:, left[0] : left[1]].any(axis=1) & filled[:, right[0] : right[1]].any(axis=1)
    one = filled[:, left[0] : left[1]].any(axis=1) ^ filled[:, right[0] : right[1]].any(axis=1)
    return bool((both & ~(a & b)).any() or one.any())


def _each_has_a_word(line: str, left: Span, right: Span) -> bool:
    words = [m.span() for m in TOKEN.finditer(line)]
    crossing = any(s < left[1] and e > right[0] for s, e in words)
    over = [any(s < e2 and e > s2 for s, e in words) for s2, e2 in (left, right)]
    return all(over) and not crossing


def _all_dates(cells: list[str]) -> bool:
    said = [c for c in cells if c]
    return bool(said) and all(_DATE.fullmatch(c) for c in said)


def _dates_whole(lines: list[str], data: Flags, spans: list[Span]) -> list[Span]:
    """Three pieces that together always read as a date are one column."""
    rows = np.flatnonzero(data)
    out: list[Span] = []
    at = 0
    while at < len(spans):
        take = 1
        if at + 2 < len(spans):
            start, end = spans[at][0], spans[at + 2][1]
            joined = [" ".join(lines[i][start:end].split()) for i in rows]
            take = 3 if end - start <= 14 and _all_dates(joined) else 1
        out.append((spans[at][0], spans[at + take - 1][1]))
        at += take
    return out
