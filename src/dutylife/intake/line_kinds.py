"""What a line bills: from the export's own column, else from number, text and figures."""

import re
import tomllib
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import pandas as pd

from dutylife.intake.values import coded, retold
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


_KINDS = WORDS["line_kind"]
_SAID = ("core", "fee", "labour")


def _said_by(text: str, *, alone: bool) -> str:
    """What a description says a line is; ``alone`` by all of its words, else by some of them."""
    _, phrases = _words()
    folded = text.casefold()
    for name in _SAID:
        pattern = phrases[name]
        if pattern.fullmatch(folded) or (not alone and pattern.search(folded)):
            return name
    return ""


def known_kinds(cells: pd.Series) -> pd.Series:
    """Kinds behind the cells of a line_kind column; blank where the word is not known."""
    words, _ = _words()

    def kind(cell: str) -> str:
        word = cell.casefold().strip(" .:")
        return word if word in WORDS["line_kind"] else words.get(word, "")

    return retold(cells, lambda unlike: [kind(cell) for cell in unlike])


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
    words, _ = _words()
    text = lines["description"]
    pseudo = retold(
        lines["part_number"],
        lambda numbers: [words.get(n.casefold(), "") if len(n) > 1 else "" for n in numbers],
    )
    has_number = lines["part_number"] != ""
    is_minus = (lines["quantity"] < 0) | (lines["unit_price"] < 0)
    by_all = retold(text, lambda texts: [_said_by(t, alone=True) for t in texts])
    by_some = retold(text, lambda texts: [_said_by(t, alone=False) for t in texts])

    def is_told(name: str) -> pd.Series:
        return (by_all == name).where(has_number, by_some == name)

    # the first that holds stands
    choices: list[tuple[pd.Series, pd.Series | str]] = [
        (is_minus & stated.isin(["part", "labour", "note"]), "credit"),
        (stated != "", stated),
        (pseudo != "", pseudo),
        (is_told("core"), "core"),
        (is_minus, "credit"),
        (is_told("fee"), "fee"),
        (has_number, "part"),
        (by_some != "", by_some),
        (lines["quantity"].notna(), "part"),
        (lines["unit_price"].notna(), "labour"),
    ]
    chosen = np.select(
        [holds.to_numpy() for holds, _ in choices],
        [_place(answer) for _, answer in choices],
        _place("note"),
    )
    return pd.Series(np.array(_KINDS, dtype="object")[chosen], index=lines.index)


def _place(kinds: pd.Series | str) -> Any:
    """Place of each kind in the vocabulary: whole columns of them are chosen from quickly."""
    if isinstance(kinds, str):
        return np.int8(_KINDS.index(kinds))
    known = coded(kinds).cat
    places = [_KINDS.index(kind) if kind else -1 for kind in known.categories]
    return np.array(places, dtype="int8").take(known.codes)
