"""What a line bills: from the export's own column, else from number, text and figures."""

import re
import tomllib
from collections.abc import Callable
from functools import cache
from importlib import resources

import pandas as pd

from dutylife.intake.values import on_unlike
from dutylife.vocabulary import WORDS


@cache
def _words() -> tuple[dict[str, str], dict[str, re.Pattern[str]]]:
    text = resources.files("dutylife.intake").joinpath("kinds.toml").read_text(encoding="utf-8")
    read = tomllib.loads(text)
    cells = {word: kind for kind, words in read["cells"].items() for word in words}
    phrases = {
        kind: re.compile(rf"\b(?:{'|'.join(map(re.escape, words))})\b")
        for kind, words in read["descriptions"].items()
    }
    return cells, phrases


def _asked(texts: pd.Series, match: Callable[[str], object]) -> pd.Series:
    return on_unlike(texts, lambda u: u.map(lambda t: match(t.casefold()) is not None).astype(bool))


def known_kinds(cells: pd.Series) -> pd.Series:
    """Kinds behind the cells of a line_kind column; blank where the word is not known."""
    words, _ = _words()

    def kind(cell: str) -> str:
        word = cell.casefold().strip(" .:")
        return word if word in WORDS["line_kind"] else words.get(word, "")

    return on_unlike(cells, lambda u: u.map(kind))


def line_kinds(lines: pd.DataFrame, stated: pd.Series) -> pd.Series:
    """Kind of each line.

    A stated kind stands, save that a negative part, labour or note line is a credit. Without one:
    a pseudo part number that is a billing word; a negative price or quantity; a description that
    is a core or fee phrase; a part number; words of fees or labour; neither price nor quantity
    (a note); a quantity (a part); else labour.

    Parameters
    ----------
    lines : DataFrame
        part_number, description (text), quantity, unit_price (numbers).
    stated : Series of str
        Kind from the export's own column, blank where there is none.
    """
    words, phrases = _words()
    text = lines["description"]
    pseudo = on_unlike(
        lines["part_number"],
        lambda u: u.map(lambda c: words.get(c.casefold(), "") if len(c) > 1 else ""),
    )
    has_number = lines["part_number"] != ""
    is_minus = (lines["quantity"] < 0) | (lines["unit_price"] < 0)
    told = pd.Series("", index=lines.index, dtype="object")
    for name in ("core", "fee", "labour"):
        pattern = phrases[name]
        whole = _asked(text, pattern.fullmatch)
        inside = _asked(text, pattern.search) & ~has_number
        told = told.mask((told == "") & (whole | inside), name)
    nothing = lines["quantity"].isna() & lines["unit_price"].isna()
    by_figures = pd.Series("labour", index=lines.index, dtype="object")
    by_figures = by_figures.mask(lines["quantity"].notna(), "part").mask(nothing, "note")
    open_ = stated == ""
    choices: list[tuple[pd.Series, pd.Series | str]] = [
        (is_minus & stated.isin(["part", "labour", "note"]), "credit"),
        (~open_, stated),
        (pseudo != "", pseudo),
        (told == "core", "core"),
        (is_minus, "credit"),
        (told == "fee", "fee"),
        (has_number, "part"),
        (told != "", told),
    ]
    kind: pd.Series = by_figures
    for holds, answer in reversed(choices):  # the first that holds stands
        kind = kind.mask(holds, answer)
    return kind
