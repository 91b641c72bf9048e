"""Which sign is the decimal mark and which parts thousands: by all number columns of a file."""

import re
from dataclasses import dataclass

import pandas as pd

from dutylife.intake.values.cells import filled_unlike
from dutylife.intake.values.numbers import cleaned, figure_of

# a few slips of the pen don't overrule hundreds of figures
_SLIPS = 0.02
# figures of one form prove the same signs: 1 to 8 are as good as 9, a leading 0 is not
_NINES = str.maketrans("12345678", "99999999")
_GROUPED = {sign: re.compile(rf"[1-9]\d{{0,2}}(?:{re.escape(sign)}\d{{3}})+") for sign in ".,'"}


@dataclass(frozen=True, slots=True)
class NumberEvidence:
    """What the number columns of a file say of their signs.

    Parameters
    ----------
    decimal : str
        ``.`` or ``,``; blank where the cells can't decide.
    thousands : str
        Sign between groups of three; blank where none is there.
    n_deciding, n_against : int
        Unlike figures that decide, and that contradict.
    example : str
        A figure that decides; where none does, one that may be read in two ways.
    """

    decimal: str
    thousands: str = ""
    n_deciding: int = 0
    n_against: int = 0
    example: str = ""
    reason: str = ""


def number_evidence(columns: list[pd.Series], *, is_typed: bool = False) -> NumberEvidence:
    """Decide decimal mark and thousands sign of a file from all of its number columns.

    Parameters
    ----------
    columns : list of Series of str
        Cells that are no figures are passed over.
    is_typed : bool
        The file tells numbers from text: they have a point, whatever texts beside them have.

    Notes
    -----
    1.234,50 and 1,234.50 decide both; 12,5 and 0,125 decide the decimal mark; 1.234.567 decides
    the thousands sign. 1.234 alone may be read in two ways and decides nothing.
    """
    unlike = filled_unlike(columns).tolist()
    forms = [cell.translate(_NINES) for cell in unlike]
    figure_in = {form: _figure(form) for form in dict.fromkeys(forms)}
    figures = [f for f in figure_in.values() if f]
    signs_in = {form: _signs(f) for form, f in figure_in.items() if f}
    votes: dict[str, list[str]] = {".": [], ",": []}
    either: list[str] = []
    for cell, form in zip(unlike, forms, strict=True):
        mark, _, is_open = signs_in.get(form, ("", "", False))
        if mark:
            votes[mark].append(cell)
        elif is_open:
            either.append(cell)
    n_point, n_comma = len(votes["."]), len(votes[","])
    if is_typed and n_point >= n_comma:
        return NumberEvidence(".", reason="the file itself tells numbers from text")
    if not n_point and not n_comma:
        if either:
            return NumberEvidence(
                "", example=_figure(either[0]),
                reason=f"no figure in it tells; {_figure(either[0])} may be thousands or three "
                "decimals",
            )  # fmt: skip
        apart = "'" if any("'" in f for f in figures) else ""
        return NumberEvidence(".", apart, reason="no figure has a decimal mark")
    decimal = "." if n_point >= n_comma else ","
    other = "," if decimal == "." else "."
    n_for, n_against = len(votes[decimal]), len(votes[other])
    if n_against > _SLIPS * n_for:
        shown = f"{_figure(votes['.'][0])} and {_figure(votes[','][0])}"
        return NumberEvidence(
            "", n_against=n_against, example=shown, reason=f"both are there: {shown}"
        )
    grouped = any(_GROUPED[other].fullmatch(f.partition(decimal)[0]) for f in figures)
    apart = "'" if any("'" in f for f in figures) else ""
    example = _figure(votes[decimal][0])
    return NumberEvidence(
        decimal, other if grouped else apart, n_for, n_against, example,
        f"{n_for} unlike figures such as {example} can be read in this way only",
    )  # fmt: skip


def _figure(cell: str) -> str:
    """Digits and marks of a cell that is a number, with a unit word of any length or without."""
    return figure_of(re.sub(r"(?<=\d)\s*[^\W\d_]{1,10}\.?$", "", cleaned(cell)))


def _signs(figure: str) -> tuple[str, str, bool]:
    """Decimal mark and group sign that a figure proves; whether it may be read in two ways."""
    plain = figure.replace(" ", "")
    group = "'" if "'" in plain else ""
    plain = plain.replace("'", "")
    marks = [c for c in plain if c in ".,"]
    if not marks:
        return "", group, False
    if len(set(marks)) == 2:
        last = marks[-1]
        return (last, marks[0], False) if marks.count(last) == 1 else ("", "", False)
    sign = marks[0]
    other = "," if sign == "." else "."
    if len(marks) > 1:  # 1.234.567: that sign parts thousands, so the other is the decimal mark
        return (other, sign, False) if _GROUPED[sign].fullmatch(plain) else ("", group, False)
    whole, _, rest = plain.partition(sign)
    if group or " " in figure:
        return sign, group, False
    if len(rest) == 3 and re.fullmatch(r"[1-9]\d{0,2}", whole):
        return "", "", True
    return (sign, group, False) if rest else ("", group, False)
