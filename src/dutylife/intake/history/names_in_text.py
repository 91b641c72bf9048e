"""A machine's name found in a text however it is spaced: WC-07, wc 7, WC07."""

import re
from collections.abc import Iterable

from dutylife.intake.history.words import words

_RUN = re.compile(r"[^\W\d_]+|\d+")
_MOST_RUNS = 6
_BETWEEN = re.compile(r"[\s\-_/.#]{0,2}")
_FEWEST_DIGITS = 5  # of a name that is one number, where no word for a machine stands before it


def loose_key(name: str) -> str:
    """Key of a name: its letters and figures, figures without leading zeros.

    Examples
    --------
    >>> loose_key("WC-007"), loose_key("wc 7"), loose_key("PH12/B")
    ('wc|7', 'wc|7', 'ph|12|b')
    """
    return "|".join(_runs(name))


def _runs(name: str) -> list[str]:
    return [r.lstrip("0") or "0" if r.isdigit() else r for r in _RUN.findall(name.casefold())]


class NameFinder:
    """Finds known names in texts.

    Parameters
    ----------
    names : iterable of str
        Machines' names. One without a figure is not looked for, and one that is a number only
        where it is long or a word for a machine stands before it.
    aliases : dict
        Machine by the other name a person has confirmed; these are looked for as they are.
    """

    def __init__(self, names: Iterable[str], aliases: dict[str, str]) -> None:
        known: dict[str, set[str]] = {}
        for name in names:
            if any(c.isdigit() for c in name):
                known.setdefault(loose_key(name), set()).add(name)
        for alias, name in aliases.items():
            known.setdefault(loose_key(alias), set()).add(name)
        # one way of writing that fits two machines names neither
        self._known = {k: min(n) for k, n in known.items() if len(n) == 1 and k}
        self._first = {k.partition("|")[0] for k in self._known}
        before = "|".join(re.escape(w) for w in words("machine"))
        self._before = re.compile(rf"(?<!\w)(?:{before})[\s.:#]*$")

    def machines(self, text: str) -> tuple[str, ...]:
        """Machines a text names, in alphabetical order."""
        low = text.casefold()
        runs = list(_RUN.finditer(low))
        found: set[str] = set()
        at = 0
        while at < len(runs):
            key = self._longest(low, runs, at)
            if key:
                found.add(self._known[key])
                at += key.count("|") + 1
            else:
                at += 1
        return tuple(sorted(found))

    def _longest(self, low: str, runs: list[re.Match[str]], at: int) -> str:
        own = [_figure(runs[at].group())]
        if own[0] not in self._first or not _is_edge(low, runs[at].start() - 1):
            return ""
        best, key = "", own[0]
        for number in range(at, min(at + _MOST_RUNS, len(runs))):
            if number > at:
                gap = low[runs[number - 1].end() : runs[number].start()]
                if not _BETWEEN.fullmatch(gap):
                    break
                key += "|" + _figure(runs[number].group())
            if key in self._known and _is_edge(low, runs[number].end()):
                lone = key.isdigit()
                if not lone or self._is_named(low, runs[at]):
                    best = key
        return best

    def _is_named(self, low: str, run: re.Match[str]) -> bool:
        long = len(run.group()) >= _FEWEST_DIGITS
        after = low[run.end() : run.end() + 2]
        if re.match(r"[.,]\d", after):
            return False
        return long or self._before.search(low[: run.start()]) is not None


def _figure(run: str) -> str:
    return run.lstrip("0") or "0" if run.isdigit() else run


def _is_edge(text: str, at: int) -> bool:
    return not 0 <= at < len(text) or not (text[at].isalnum() or text[at] == "_")
