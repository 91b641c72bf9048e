"""Texts to tokens and clauses, and the phrases found in them; longest phrase first."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fnmatch import translate
from functools import cache
from typing import Any, NamedTuple


class Meaning(NamedTuple):
    """What a phrase says: its kind, the value, and its rank (higher wins where phrases overlap)."""

    kind: str
    value: str
    rank: int = 0


class Token(NamedTuple):
    """A word of a text: as matched, its clause, and where it stands."""

    word: str
    clause: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Match:
    """A phrase found: its meanings, first and last token (exclusive), and its clause."""

    meanings: tuple[Meaning, ...]
    first: int
    last: int
    clause: int


_APOSTROPHES = re.compile("['\u2019`\u00b4]")
# a full stop ends a clause only after a word of two letters, so that "h.t. cap" stays together
_BREAK = re.compile(r"[;|+:\n()]|(?<!\d),|,(?!\d)|(?<=[a-z0-9]{2})\.(?=\s|$)|\s[-\u2013]+\s")
# accented letter -> bare one, sign by sign, so that places stay; "geprueft" is a phrase of its own
_BARE = str.maketrans("àáâãäåçèéêëìíîïñòóôõöùúûüýÿ", "aaaaaaceeeeiiiinooooouuuuyy")
_WORD = re.compile(r"[a-z0-9*]+|&")
_WORD_OR_BREAK = re.compile(f"{_WORD.pattern}|{_BREAK.pattern}")
BREAK = "|"  # stands between the words of two clauses in a split text


def folded(text: str) -> str:
    """Text without case, apostrophes and accents."""
    low = _APOSTROPHES.sub("", text.casefold())
    return low if low.isascii() else low.translate(_BARE)


@cache
def phrase_tokens(phrase: str) -> tuple[str, ...]:
    """Tokens of a phrase; a star within a word is kept.

    Examples
    --------
    >>> phrase_tokens("H.T. cap"), phrase_tokens("pre-cleaner"), phrase_tokens("won't start")
    (('h', 't', 'cap'), ('pre', 'cleaner'), ('wont', 'start'))
    """
    return tuple("and" if w == "&" else w for w in _WORD.findall(folded(phrase)))


def clause_breaks(low: str) -> list[int]:
    """Where clauses of a folded text begin, but for the first."""
    return [m.end() for m in _BREAK.finditer(low)]


def split_text(text: str) -> list[str]:
    """Words of a text in order, `BREAK` between clauses; the same words as `tokens_of` finds.

    Examples
    --------
    >>> split_text("Plug & cap: ok, 9.9k")
    ['plug', 'and', 'cap', '|', 'ok', '|', '9', '9k']
    """
    out = []
    for found in _WORD_OR_BREAK.findall(folded(text)):
        if found.isalnum():
            out.append(found)
        elif found == "&":
            out.append("and")
        elif "*" in found:
            word = found.replace("*", "")
            if word:
                out.append(word)
        else:
            out.append(BREAK)
    return out


def tokens_of(text: str) -> list[Token]:
    """Tokens of a text with their clause; places refer to the folded text."""
    low = folded(text)
    breaks = clause_breaks(low)
    out: list[Token] = []
    clause = 0
    for found in _WORD.finditer(low):
        while clause < len(breaks) and found.start() >= breaks[clause]:
            clause += 1
        word = found.group().replace("*", "")
        if word:
            out.append(Token("and" if word == "&" else word, clause, found.start(), found.end()))
    return out


class Matcher:
    """Finds phrases in token lists.

    Parameters
    ----------
    phrases : dict
        Meanings by phrase; a token with a star is spread over the tokens of ``vocabulary``.
    vocabulary : iterable of str
        Tokens that occur in the texts.

    Attributes
    ----------
    words : set of str
        Every token that stands in a phrase.
    """

    def __init__(
        self, phrases: dict[tuple[str, ...], tuple[Meaning, ...]], vocabulary: Iterable[str]
    ) -> None:
        there = sorted(set(vocabulary))
        self._root: dict[Any, Any] = {}
        self.words: set[str] = set()
        spread: dict[str, list[str]] = {}
        for phrase, meanings in phrases.items():
            if not any("*" in t for t in phrase):
                self._add([[t] for t in phrase], meanings)
                continue
            for token in phrase:
                if "*" in token and token not in spread:
                    pattern = re.compile(translate(token))
                    spread[token] = [t for t in there if pattern.match(t)]
            self._add([spread.get(t, [t]) for t in phrase], meanings)

    def _add(self, choices: list[list[str]], meanings: tuple[Meaning, ...]) -> None:
        nodes = [self._root]
        for words in choices:
            nodes = [node.setdefault(word, {}) for node in nodes for word in words]
            self.words.update(words)
        for node in nodes:
            node[None] = (*node.get(None, ()), *meanings)

    def starts(self, word: str) -> bool:
        """Whether a phrase begins with this token."""
        return word in self._root

    def find(self, words: list[str], clauses: list[int]) -> list[Match]:
        """Phrases in a token list, in order, none overlapping; none crosses a clause's end."""
        found: list[tuple[int, int, int, Match]] = []
        n = len(words)
        root = self._root
        for first in range(n):
            node = root.get(words[first])
            at = first + 1
            clause = clauses[first]
            best: Match | None = None
            while node is not None:
                meanings = node.get(None)
                if meanings:
                    best = Match(meanings, first, at, clause)
                    rank = max(m.rank for m in meanings)
                    found.append((-rank, first - at, first, best))
                if at >= n or clauses[at] != clause:
                    break
                node = node.get(words[at])
                at += 1
        found.sort(key=lambda f: f[:3])
        taken = [False] * n
        kept: list[Match] = []
        for _, _, _, match in found:
            if not any(taken[match.first : match.last]):
                taken[match.first : match.last] = [True] * (match.last - match.first)
                kept.append(match)
        kept.sort(key=lambda m: m.first)
        return kept
