"""How well the name of a column fits one of ours, by general words of five languages."""

import re
import tomllib
import unicodedata
from functools import cache, lru_cache
from importlib import resources
from typing import Any

_NUMBER_WORDS = frozenset(
    [
        "no",
        "nr",
        "num",
        "number",
        "nummer",
        "numero",
        "num.",
        "n°",
        "nbr",
        "numer",
        "nos",
        "nummern",
    ]
)
_FILLERS = frozenset(
    [
        "the",
        "of",
        "de",
        "del",
        "der",
        "des",
        "du",
        "la",
        "le",
        "les",
        "el",
        "den",
        "het",
        "van",
        "di",
        "a",
        "l",
        "d",
        "for",
        "by",
        "s",
    ]
)
# compounds of German and Dutch are taken apart at these heads
_HEADS = re.compile(
    r"(?<=[a-z]{3})(nummer|nr|datum|preis|prijs|bezeichnung|beschreibung|omschrijving|menge|text"
    r"|stand|name|naam|code|typ|type|art|soort)$"
)
_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
# W/O, P/N, S.N.: letters of one abbreviation
_INITIALS = re.compile(r"(?<=\b[A-Za-z])[/.](?=[A-Za-z]\b)")
_MAY = 0.6
_TYPO = 0.85


@cache
def words() -> dict[str, Any]:
    """The data file of words."""
    text = resources.files("dutylife.draft").joinpath("words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@lru_cache(maxsize=100000)
def folded(text: str) -> str:
    """Text in small letters without accents; umlauts lose their dots, ß is ss."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in plain if not unicodedata.combining(c))


@lru_cache(maxsize=20000)
def tokens(name: str) -> tuple[str, ...]:
    """Words of a column's name; "no" for every word for number.

    Examples
    --------
    >>> tokens("Maschinennummer"), tokens("unitPrice"), tokens("Art.-Nr."), tokens("N° de série")
    (('maschinen', 'no'), ('unit', 'price'), ('art', 'no'), ('no', 'serie'))
    >>> tokens("W/O No."), tokens("S/N")
    (('wo', 'no'), ('sn',))
    """
    plain = name.replace("°", "o ").replace("º", "o ").replace("№", " no ").replace("#", " no ")
    plain = folded(_CAMEL.sub(" ", _INITIALS.sub("", plain)))
    found: list[str] = []
    for token in re.split(r"[^a-z0-9]+", plain):
        parts = [p for p in _HEADS.split(token) if p] if len(token) > 4 else [token]
        found += ["no" if p in _NUMBER_WORDS else p for p in parts if p]
    kept = [t for t in found if t not in _FILLERS]
    return tuple(kept or found)


@cache
def _phrases(ours: str) -> list[tuple[tuple[str, ...], float]]:
    given = words()["columns"].get(ours, {"sure": [], "may": []})
    own = (tokens(ours.replace("_", " ")), 1.0)
    sure = [(tokens(p), 1.0) for p in given["sure"]]
    return [own, *sure, *[(tokens(p), _MAY) for p in given["may"]]]


@lru_cache(maxsize=200000)
def name_score(header: str, ours: str) -> float:
    """Fit of a header to a column of ours, 0 to 1.

    1 is a name of the list word by word, 0.6 one that several columns share; a list name inside a
    longer header counts less the more words stand around it, and one slip of a letter is forgiven.
    """
    # joined columns are called table.column
    name = tokens(header)
    short = tokens(header.rpartition(".")[2]) if "." in header.strip(".") else name
    return max(_score(name, ours), 0.95 * _score(short, ours) if short else 0.0)


def _score(name: tuple[str, ...], ours: str) -> float:
    best = 0.0
    for phrase, weight in _phrases(ours):
        if phrase == name:
            best = max(best, weight)
            continue
        if weight * 0.97 <= best:
            continue
        n_met = sum(any(_same(p, t) for t in name) for p in phrase)
        if n_met == len(phrase):
            share = len(phrase) / max(len(name), len(phrase))
            # one word that is a mere "no" or "date" inside a longer name says little
            least = 0.45 if weight == 1.0 else 0.3
            best = max(best, weight * (least + 0.5 * share))
        elif _nearly("".join(phrase), "".join(name)):
            best = max(best, weight * _TYPO)
    return best


def _same(one: str, two: str) -> bool:
    if one == two:
        return True
    short, long = sorted((one, two), key=len)
    return len(short) >= 4 and long.startswith(short) and len(long) - len(short) <= 2


def _nearly(one: str, two: str) -> bool:
    if min(len(one), len(two)) < 5:
        return False
    if one == two:
        return True
    from rapidfuzz import fuzz

    return fuzz.ratio(one, two) >= 88


@lru_cache(maxsize=20000)
def is_not_ours(header: str) -> bool:
    """Names of totals, taxes, addresses, row numbers: none of our columns."""
    name = tokens(header)
    short = tokens(header.rpartition(".")[2]) if "." in header.strip(".") else name
    return any(tokens(p) in (name, short) for p in words()["not_ours"]["names"])


def kind_words(name: str) -> dict[str, float]:
    """How much the name of a file, sheet or table speaks for each kind."""
    have = set(tokens(re.sub(r"\.[A-Za-z0-9]{1,8}$", "", name)))
    out = {}
    for kind, given in words()["kinds"].items():
        met = [w for w in given if set(tokens(w)) <= have]
        out[kind] = 1.0 if met else 0.0
    return out
