"""Where the columns of a fixed-width text begin and end, by evidence of all its lines."""

import re
from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# columns as a print ruled them: groups of dashes with blanks between
_RULER = re.compile(r"\s*[-=_~]+(?:\s+[-=_~]+)+\s*")
_TOKEN = re.compile(r"\S+")
# words one blank apart are one label, two blanks part labels
_LABEL = re.compile(r"\S+(?: \S+)*")
_VALUE = re.compile(r"[-+(]?[\d][\d.,:/'-]*\)?-?%?|\d{1,2}[-.][A-Za-z]{3,9}\.?[-.]\d{2,4}")
_DATE = re.compile(
    r"\d{1,4}[-/. ](?:\d{1,2}|[A-Za-z]{3,9}\.?)[-/., ]\s?\d{2,4}|[A-Za-z]{3,9}\.? \d{1,2},? \d{4}"
)
# a place where so many lines have a figure or date end or begin is a column of them
_ANCHOR_SHARE = 0.25
# of many lines so few may break a gap: they are shown and set aside, not the gap
_BROKEN_SHARE = 0.01
_LEAST_LINES = 3
_WIDEST = 4000

Span = tuple[int, int]
Flags = NDArray[np.bool_]


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
    data, fits : ndarray of bool, shape (lines,)
        Lines with figures or dates where the columns have them; lines that cross no gap.
    question : str
        Two cuts that explain the file equally; blank where there are none.
    other : tuple of (int, int)
        The columns by the other of the two cuts.
    touching : tuple of str
        Two labels that stand above one column: no gap parts them.
    """

    spans: tuple[Span, ...]
    labels: tuple[str, ...]
    header: range
    data: Flags
    fits: Flags
    question: str = ""
    other: tuple[Span, ...] = ()
    touching: tuple[str, ...] = ()


def filled_places(lines: list[str], width: int) -> Flags:
    """Whether each character of each line is no blank, shape (lines, width)."""
    joined = "".join(line[:width].ljust(width) for line in lines).encode("utf-32-le", "replace")
    signs = np.frombuffer(joined, dtype="<u4").reshape(len(lines), width)
    return (signs > 32) & (signs != 0xA0)


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
    data = _data_lines(lines, ruled)
    if data.sum() < (1 if ruled.any() else _LEAST_LINES):
        return None
    filled = filled_places(lines, width)
    whole = ~data & np.array([bool(_LABEL.fullmatch(line.strip())) for line in lines])
    rulers = [i for i in np.flatnonzero(ruled) if i <= int(np.flatnonzero(data)[-1])]
    spans = _by_ruler(lines, rulers, filled[data])
    if spans:
        labels, header, touching = _under_labels(lines, data, ruled, spans)
        fits = _fitting(filled, spans) & ~(whole & _over_two(lines, spans))
        return FixedColumns(tuple(spans), labels, header, data, fits, touching=touching)
    spans = _by_gaps(filled[data])
    if len(spans) < 2:
        return None
    spans = _with_blank_columns(lines, data, ruled, spans)
    merged, question = _merged(lines, data, ruled, spans, filled)
    if len(merged) < 2:
        return None
    labels, header, touching = _under_labels(lines, data, ruled, merged)
    # words one blank apart over two columns are one text: a title, a footer
    fits = _fitting(filled, merged) & ~(whole & _over_two(lines, merged))
    return FixedColumns(
        tuple(merged), labels, header, data, fits, question,
        tuple(spans) if question else (), touching,
    )  # fmt: skip


def stated_columns(lines: list[str], starts: list[int]) -> FixedColumns:
    """Columns that begin where the settings say, counted from 1; gaps need not be blank.

    Where most lines have a blank before each column, a line that has none crosses the columns.
    """
    width = max(max(map(len, lines)), starts[-1])
    ends = [*(s - 1 for s in starts[1:]), width]
    spans = tuple((s - 1, e) for s, e in zip(starts, ends, strict=True))
    filled = filled_places(lines, width)
    used = filled.any(axis=1)
    fits = np.ones(len(lines), dtype=bool)
    for start, _ in spans[1:]:
        crossed = filled[:, start - 1] & filled[:, start]
        if crossed.sum() < 0.5 * used.sum():
            fits &= ~crossed
    ruled = np.array([bool(_RULER.fullmatch(line)) for line in lines])
    return FixedColumns(spans, (), range(0), _data_lines(lines, ruled), fits)


def _data_lines(lines: list[str], ruled: Flags) -> Flags:
    """Lines with a figure or date at the places where most lines with figures have one."""
    places: list[set[tuple[str, int]]] = []
    counts: Counter[tuple[str, int]] = Counter()
    for line, is_ruler in zip(lines, ruled, strict=True):
        mine: set[tuple[str, int]] = set()
        if not is_ruler:
            for found in _TOKEN.finditer(line):
                if _VALUE.fullmatch(found[0]):
                    mine |= {("ends", found.end()), ("starts", found.start())}
        places.append(mine)
        counts.update(mine)
    n_valued = sum(bool(p) for p in places)
    anchors = {p for p, n in counts.items() if n >= max(2, _ANCHOR_SHARE * n_valued)}
    if not anchors:
        # a list of words only: every line with two blanks inside may be of it
        apart = [bool(re.search(r"\S {2,}\S", line)) for line in lines]
        return np.array(apart) & ~ruled
    least = 2 if len(anchors) >= 4 else 1
    return np.array([len(p & anchors) >= least for p in places])


def _by_ruler(lines: list[str], rulers: list[int], filled: Flags) -> list[Span]:
    """Columns of the ruler with most groups, where nearly all data lines keep its gaps."""
    best: list[Span] = []
    for i in rulers[:60]:
        groups = [m.span() for m in _TOKEN.finditer(lines[i])]
        if len(groups) > len(best):
            best = groups
    if len(best) < 2:
        return []
    # the last column may run on, text stands left of a gap and figures right of it
    spans = [*best[:-1], (best[-1][0], max(best[-1][1], filled.shape[1]))]
    return spans if _fitting(filled, spans).mean() > 0.9 else []


def _fitting(filled: Flags, spans: list[Span]) -> Flags:
    """Lines with a blank in every gap, and nothing left of the first column."""
    fits = ~filled[:, : spans[0][0]].any(axis=1)
    for (_, end), (start, _) in zip(spans, spans[1:], strict=False):
        fits &= ~filled[:, end:start].all(axis=1)
    return fits


def _over_two(lines: list[str], spans: list[Span]) -> Flags:
    edges = [(len(line) - len(line.lstrip()), len(line)) for line in lines]
    return np.array([len(_overlapped(edge, spans)) > 1 for edge in edges])


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


def _header_lines(lines: list[str], data: Flags, ruled: Flags, spans: list[Span]) -> range:
    """The last words above the first data line, and words right above that fit the columns."""
    at = int(np.flatnonzero(data)[0]) - 1
    while at >= 0 and (not lines[at].strip() or ruled[at] or _is_rule(lines[at])):
        at -= 1
    if at < 0 or not _words(lines[at]):
        return range(0)
    first = at
    while first > 0 and _words(lines[first - 1]) and at - first < 2:
        labels = list(_LABEL.finditer(lines[first - 1]))
        alone = all(len(_overlapped(m.span(), spans)) <= 1 for m in labels)
        if len(labels) < 2 or not alone:
            break
        first -= 1
    return range(first, at + 1)


def _is_rule(line: str) -> bool:
    return bool(re.fullmatch(r"[-=_~*+\s]{3,}", line))


def _words(line: str) -> bool:
    labels = [m[0] for m in _LABEL.finditer(line)]
    values = sum(bool(_VALUE.fullmatch(v)) for label in labels for v in label.split())
    return len(labels) >= 2 and values == 0 and not _is_rule(line)


def _overlapped(label: Span, spans: list[Span]) -> list[int]:
    return [i for i, (s, e) in enumerate(spans) if label[0] < e and label[1] > s]


def _under_labels(
    lines: list[str], data: Flags, ruled: Flags, spans: list[Span]
) -> tuple[tuple[str, ...], range, tuple[str, ...]]:
    """Label of each column, the header's lines, and two labels above one column."""
    header = _header_lines(lines, data, ruled, spans)
    out = [""] * len(spans)
    touching: tuple[str, ...] = ()
    for at in header:
        taken: dict[int, str] = {}
        for found in _LABEL.finditer(lines[at]):
            for place, text in _placed(found, spans):
                if place in taken and not touching:
                    touching = (taken[place], text)
                taken[place] = text
        for place, text in taken.items():
            out[place] = f"{out[place]} {text}".strip()
    return tuple(out) if len(header) else (), header, touching


def _placed(found: re.Match[str], spans: list[Span]) -> list[tuple[int, str]]:
    """Columns a label stands above; its words one by one where each has a column of its own."""
    over = _overlapped(found.span(), spans)
    if len(over) > 1:
        base = found.start()
        words: dict[int, list[str]] = {}
        for word in _TOKEN.finditer(found[0]):
            at = _overlapped((base + word.start(), base + word.end()), spans)
            words.setdefault(at[0] if len(at) == 1 else -1, []).append(word[0])
        if set(words) == set(over):
            return [(i, " ".join(w)) for i, w in words.items()]
    start, end = found.span()
    # the column it covers most; beside every column the nearest one
    def shared(i: int) -> tuple[int, int]:
        s, e = spans[i]
        return min(end, e) - max(start, s), -i

    return [(max(range(len(spans)), key=shared), found[0])]


def _merged(
    lines: list[str], data: Flags, ruled: Flags, spans: list[Span], filled: Flags
) -> tuple[list[Span], str]:
    """Columns with the gaps that lie inside one of them closed, and what can't be decided."""
    header = _header_lines(lines, data, ruled, spans)
    if not len(header):
        return _dates_whole(lines, data, spans, filled), ""
    labels = [m.span() for m in _LABEL.finditer(lines[header[-1]])]
    rows = np.flatnonzero(data)
    out, question = [spans[0]], ""
    for span in spans[1:]:
        left = out[-1]
        narrow = span[0] - left[1] == 1 and not _is_padded(filled[rows], left, span)
        spanning = any(s < left[1] and e > span[0] for s, e in labels)
        own = any(s >= left[1] and s < span[1] for s, e in labels)
        if not narrow:
            # an unlabelled piece behind a gap of one blank is the end of a text that chance cut
            gap = span[0] - left[1] == 1 and not own and not spanning
            out[-1:] = [(left[0], span[1])] if gap else [left, span]
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


def _with_blank_columns(
    lines: list[str], data: Flags, ruled: Flags, spans: list[Span]
) -> list[Span]:
    """Columns with those that are blank in all data lines and stand in the header only."""
    header = _header_lines(lines, data, ruled, spans)
    labels = [m.span() for at in header[-1:] for m in _LABEL.finditer(lines[at])]
    return sorted([*spans, *(label for label in labels if not _overlapped(label, spans))])


def _is_padded(filled: Flags, left: Span, right: Span) -> bool:
    """In some row a cell beside the gap ends before it or begins after it."""
    a, b = filled[:, left[1] - 1], filled[:, right[0]]
    both = filled[:, left[0] : left[1]].any(axis=1) & filled[:, right[0] : right[1]].any(axis=1)
    one = filled[:, left[0] : left[1]].any(axis=1) ^ filled[:, right[0] : right[1]].any(axis=1)
    return bool((both & ~(a & b)).any() or one.any())


def _each_has_a_word(line: str, left: Span, right: Span) -> bool:
    words = [m.span() for m in _TOKEN.finditer(line)]
    crossing = any(s < left[1] and e > right[0] for s, e in words)
    over = [any(s < e2 and e > s2 for s, e in words) for s2, e2 in (left, right)]
    return all(over) and not crossing


def _all_dates(cells: list[str]) -> bool:
    said = [c for c in cells if c]
    return bool(said) and all(_DATE.fullmatch(c) for c in said)


def _dates_whole(lines: list[str], data: Flags, spans: list[Span], filled: Flags) -> list[Span]:
    """Without a header only pieces that together always read as a date are put together."""
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
