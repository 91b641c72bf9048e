"""The sign between two cells, by evidence of the whole file."""

import csv
import re
from statistics import mode

SIGNS = (";", "\t", "|", ",")
# a big file is looked at in so many pieces, spread from its first to its last line
_PIECES = 32
_PIECE_CHARACTERS = 1 << 14
# a whole cell in quotes, over several lines or not; an inch mark stands after a figure
_QUOTED = re.compile(r'(?:^|(?<=[;\t|,]))"(?:[^"]|"")*"(?=[;\t|,]|$)', re.MULTILINE)
_SIGNS_INSIDE = re.compile(r'[;\t|,"\s]+')
_FIGURE = re.compile(r"[\d\s.,:;/+()€$£%-]*")


def delimiter_of(text: str) -> str:
    r"""Return the sign that cuts most lines into equally many cells; "," where none does.

    A header helps: a line of as many cells that hold words, not figures. Without that, a decimal
    comma in each line would look like a delimiter.

    Examples
    --------
    >>> delimiter_of("Datum;Preis;Zahl\n1.2.2024;9,50;1,0\n2.2.2024;8,25;2,0\n")
    ';'
    >>> delimiter_of("a,b\n1,x;y\n2,z;q\n")
    ','
    """
    return _best(text_sample(text))[1]


def cuts_the_text(lines: list[str]) -> bool:
    """Whether a sign surely cuts lines into cells, rather than standing in their words and figures.

    A header has the sign too, or nearly all lines have as many of it. Commas inside figures and
    commas before a blank, as in sentences, count only where nearly all lines have as many.
    """
    (_, share, _, _), sign = _best(lines)
    bare = [_OF_TEXT.sub(" ", line) for line in lines]
    if _best(bare)[0][0]:
        return True
    if share < 0.9:
        return False
    inside = sum(len(_IN_FIGURE.findall(line)) for line in lines)
    return sign != "," or inside < 0.9 * sum(line.count(",") for line in lines)


_IN_FIGURE = re.compile(r"(?<=\d),(?=\d)")
_OF_TEXT = re.compile(r"(?<=\d),(?=\d)|,(?=\s)")


def _best(lines: list[str]) -> tuple[tuple[bool, float, int, int], str]:
    """Score of the likeliest sign, and the sign: headed, share of lines, cells, place in SIGNS."""
    plain = _QUOTED.sub(lambda m: _SIGNS_INSIDE.sub(" ", m[0]).strip() or "q", "\n".join(lines))
    bare = [line for line in plain.split("\n") if line.strip()]
    best: tuple[bool, float, int, int] = (False, 0.0, 0, 0)
    chosen = ","
    for rank, sign in enumerate(SIGNS):
        counts = [line.count(sign) for line in bare]
        filled = [n for n in counts if n]
        if not filled:
            continue
        usual = mode(filled)
        share = sum(n == usual for n in counts) / len(counts)
        headed = any(
            n == usual and _is_header(line, sign)
            for n, line in zip(counts[:60], bare[:60], strict=True)
        )
        near = sum(abs(n - usual) <= max(1, usual // 4) for n in counts if n) / len(counts)
        score = (headed and near > 0.5, round(max(share, near * 0.9), 1), usual, -rank)
        if score > best:
            best, chosen = score, sign
    return best, chosen


def _is_header(line: str, sign: str) -> bool:
    cells = [c.strip() for c in next(csv.reader([line], delimiter=sign))]
    words = [c for c in cells if c and not _FIGURE.fullmatch(c)]
    return len(words) >= max(2, 0.7 * len(cells)) and len(set(words)) > 0.7 * len(words)


def text_sample(text: str) -> list[str]:
    """Lines of a text, of a big one from pieces spread over it."""
    if len(text) <= _PIECES * _PIECE_CHARACTERS:
        return text.split("\n")
    step = len(text) // _PIECES
    lines: list[str] = []
    for start in range(0, len(text), step):
        # the first and last line of a piece are cut; the file's own first line is whole
        piece = text[start : start + _PIECE_CHARACTERS].split("\n")
        lines += piece[1 if start else 0 : -1]
    return lines
