"""Slips of the pen: an unknown token becomes the one known token nearest to it, or stays."""

from collections import Counter
from collections.abc import Mapping

import numpy as np
from rapidfuzz import process
from rapidfuzz.distance import OSA

_LEAST = 5  # shorter tokens have too many neighbours
_LONG = 8  # from this length on two slips are allowed
# a shorter token, or one two slips away, seen this often is a word of its own, not a slip
_OFTEN = 3
_OFTEN_SHARE = 0.02
_BLOCK = 4096  # tokens whose distances are held at once


def corrections(
    counts: Counter[str],
    known: frozenset[str],
    plain: frozenset[str],
    senses: Mapping[str, object],
    foreign: frozenset[str] = frozenset(),
) -> dict[str, str]:
    """Known token for each token that is a slip of exactly one.

    Parameters
    ----------
    counts : Counter
        Tokens of the texts and in how many lines each stands.
    known : frozenset of str
        Tokens of the phrases; never corrected.
    plain : frozenset of str
        Words that mean nothing here; never corrected.
    senses : mapping
        What a token means alone; among several nearest tokens of one sense the first is taken.
    foreign : frozenset of str
        Known tokens of other languages; targets only where no other is as near.

    Notes
    -----
    Distance 1 (insert, delete, change, swap of neighbours), or 2 from eight letters on; the first
    letter, or the first two swapped, must agree. A regular plural of a known token is no slip.
    """
    unknown = sorted(
        t for t in counts
        if len(t) >= _LEAST and t.isalpha() and t not in known and t not in plain
        and not _is_form(t, known) and not _is_form(t, plain)
    )  # fmt: skip
    targets = sorted(t for t in known if len(t) >= _LEAST - 1 and t.isalpha())
    if not unknown or not targets:
        return {}
    out: dict[str, str] = {}
    for at, token in enumerate(unknown):
        if at % _BLOCK == 0:
            distance = process.cdist(
                unknown[at : at + _BLOCK], targets, scorer=OSA.distance, score_cutoff=2,
                dtype=np.uint8, workers=1,
            )  # fmt: skip
        near = distance[at % _BLOCK]
        least = int(near.min())
        if least > (2 if len(token) >= _LONG else 1):
            continue
        hits = [targets[i] for i in np.flatnonzero(near == least)]
        hits = [h for h in hits if h[0] == token[0] or (h[1:2] == token[0] and h[0] == token[1])]
        hits = [h for h in hits if h not in foreign] or hits
        meant = {repr(senses.get(h, h)) for h in hits}
        if len(meant) != 1:
            continue
        often = max(_OFTEN, _OFTEN_SHARE * counts[hits[0]])
        if (len(token) >= _LONG and least == 1) or counts[token] <= often:
            out[token] = hits[0]
    return out


def plurals(counts: Counter[str], known: frozenset[str]) -> dict[str, str]:
    """Singular for each unknown token that is the plural of a known one."""
    out = {}
    for token in counts:
        if token not in known and token.endswith("s") and len(token) > 3 and token[:-1] in known:
            out[token] = token[:-1]
    return out


def _is_form(token: str, words: frozenset[str]) -> bool:
    """Whether the token is a regular form of a word: plural, past, -ing, -er."""
    ends = ("s", "es", "d", "ed", "r", "er", "ing", "ly", "y")
    stems = [token.removesuffix(e) for e in ends if token.endswith(e)]
    return any(s in words or s + "e" in words for s in stems)
