"""Labels above the columns of a fixed-width text: which line is the header, whose each label is."""

import re

import numpy as np
from numpy.typing import NDArray

TOKEN = re.compile(r"\S+")
# words one blank apart are one label, two blanks part labels
LABEL = re.compile(r"\S+(?: \S+)*")
VALUE = re.compile(r"[-+(]?[\d][\d.,:/'-]*\)?-?%?|\d{1,2}[-.][A-Za-z]{3,9}\.?[-.]\d{2,4}")
Span = tuple[int, int]
Flags = NDArray[np.bool_]


def header_lines(lines: list[str], data: Flags, ruled: Flags, spans: list[Span]) -> range:
    """The last words above the first data line, and words right above that fit the columns."""
    at = int(np.flatnonzero(data)[0]) - 1
    while at >= 0 and (not lines[at].strip() or ruled[at] or is_rule(lines[at])):
        at -= 1
    if at < 0 or not _words(lines[at], max(2, len(spans) // 2)):
        return range(0)
    first = at
    while first > 0 and _words(lines[first - 1]) and at - first < 2:
        labels = list(LABEL.finditer(lines[first - 1]))
        alone = all(len(overlapped(m.span(), spans)) <= 1 for m in labels)
        if len(labels) < 2 or not alone:
            break
        first -= 1
    return range(first, at + 1)


def is_rule(line: str) -> bool:
    """Whether a line is drawn, of dashes and the like."""
    return bool(re.fullmatch(r"[-=_~*+\s]{3,}", line))


def _words(line: str, least: int = 1000) -> bool:
    """A line of two labels or more, or of so many words, none a figure."""
    n_labels, words = len(LABEL.findall(line)), line.split()
    values = sum(bool(VALUE.fullmatch(w)) for w in words)
    return (n_labels >= 2 or len(words) >= least) and values == 0 and not is_rule(line)


def overlapped(label: Span, spans: list[Span]) -> list[int]:
    """Places of the columns that a label stands above."""
    return [i for i, (s, e) in enumerate(spans) if label[0] < e and label[1] > s]


def under_labels(
    lines: list[str], data: Flags, ruled: Flags, spans: list[Span]
) -> tuple[tuple[str, ...], range, tuple[str, ...], str]:
    """Label of each column, the header's lines, two labels above one column, a word of none."""
    header = header_lines(lines, data, ruled, spans)
    out = [""] * len(spans)
    touching: tuple[str, ...] = ()
    loose = ""
    for at in header:
        taken: dict[int, str] = {}
        for found in LABEL.finditer(lines[at]):
            words, stray = _placed(found, spans)
            loose = loose or stray
            for place, text in words.items():
                if place in taken and not touching:
                    touching = (taken[place], text)
                taken[place] = text
        for place, text in taken.items():
            out[place] = f"{out[place]} {text}".strip()
    return tuple(out) if len(header) else (), header, touching, loose


def _placed(found: re.Match[str], spans: list[Span]) -> tuple[dict[int, str], str]:
    """Columns a label stands above, and a word of it that may be of another column.

    Where it stands above several columns each word goes to its own; one above none stays with
    the word before it.
    """
    start, end = found.span()

    def shared(i: int) -> tuple[int, int]:
        s, e = spans[i]
        return min(end, e) - max(start, s), -i

    over = overlapped(found.span(), spans)
    if len(over) < 2:
        # beside every column the nearest one
        return {max(range(len(spans)), key=shared): found[0]}, ""
    words: dict[int, list[str]] = {}
    stray, place = "", over[0]
    for word in TOKEN.finditer(found[0]):
        at = overlapped((start + word.start(), start + word.end()), spans)
        if not at:
            stray = stray or word[0]
        place = at[0] if at else place
        words.setdefault(place, []).append(word[0])
    if len(words) == 1:
        return {max(range(len(spans)), key=shared): found[0]}, ""
    return {i: " ".join(w) for i, w in words.items()}, stray


def with_labels(lines: list[str], data: Flags, ruled: Flags, spans: list[Span]) -> list[Span]:
    """Columns reaching to labels that stand beside their figures, and blank ones of the header."""
    header = header_lines(lines, data, ruled, spans)
    labels = [m.span() for at in header[-1:] for m in LABEL.finditer(lines[at])]
    out = list(spans)
    bare = [i for i, s in enumerate(out) if not any(overlapped(lb, [s]) for lb in labels)]
    more: list[Span] = []
    for label in labels:
        if overlapped(label, spans):
            continue
        right = next((i for i in bare if _are_beside(label, out[i], spans, labels)), None)
        if right is None:
            # blank in every line: a column nobody fills
            more.append(label)
        else:
            bare.remove(right)
            out[right] = (min(label[0], out[right][0]), max(label[1], out[right][1]))
    return sorted([*out, *more])


def _are_beside(label: Span, span: Span, spans: list[Span], labels: list[Span]) -> bool:
    """Nothing else stands between a label and a column."""
    start, end = min(label[1], span[1]), max(label[0], span[0])
    others = [o for o in (*spans, *labels) if o not in (label, span)]
    return not any(o[0] < end and o[1] > start for o in others)
