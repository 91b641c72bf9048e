"""What is asked at the counter: a machine and components the run knows, or the nearest of them."""

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence

from dutylife.components import Component, short_name
from dutylife.errors import DecisionError

_N_NEAR = 3


def the_machine(unit_id: str, known: Iterable[str]) -> str:
    """Return the machine's name as the run has it; case and outer blanks do not count.

    Raises
    ------
    DecisionError
        The run has no such machine; the nearest are named.
    """
    names = [str(k) for k in known]
    by_fold: dict[str, list[str]] = {}
    for name in names:
        by_fold.setdefault(name.casefold(), []).append(name)
    if unit_id in names:
        return unit_id
    same = by_fold.get(unit_id.strip().casefold(), [])
    if len(same) == 1:
        return same[0]
    alike = [fold for fold in by_fold if _bare(fold) == _bare(unit_id.casefold())]
    near = list(dict.fromkeys([*alike, *_near(unit_id.strip().casefold(), by_fold)]))[:_N_NEAR]
    raise DecisionError(
        f"There is no machine '{_short(unit_id)}' in this run.", "--unit",
        "the nearest: " + ", ".join(by_fold[n][0] for n in near)
        if near
        else f"the run has {len(names)} machines, for example {', '.join(sorted(names)[:_N_NEAR])}",
    )  # fmt: skip


def the_components(
    given: Sequence[str], known: Mapping[str, Component], here: Iterable[str]
) -> tuple[str, ...]:
    """Return short names of components given by name or alias, without blanks and doubles.

    Parameters
    ----------
    given : sequence of str
        Each a name, or several with commas between them; a name that holds a comma is found.
    known : mapping
        Components by short name.
    here : iterable of str
        Components of the machine and the record, named first where one is not known.

    Raises
    ------
    DecisionError
        Every name that is no component, with the nearest ones.
    """
    called = {c.casefold(): c for c in here} | {
        alias.casefold(): name for name, c in known.items() for alias in (*c.aliases, name)
    }

    def named(word: str) -> str | None:
        return short_name(word, dict(known)) or called.get(word.casefold())

    out: list[str] = []
    faults = []
    for words in (text.split(",") for text in given):
        at = 0
        while at < len(words):
            ends = range(len(words), at, -1)
            tried = ((end, ",".join(words[at:end]).strip()) for end in ends)
            end, found = next(((e, n) for e, w in tried if (n := named(w))), (at + 1, None))
            word, at = words[at].strip(), end
            if found is not None:
                out += [found] if found not in out else []
            elif word:
                near = list(dict.fromkeys(called[n] for n in _near(word.casefold(), called)))
                told = f" (the nearest: {', '.join(near)})" if near else ""
                faults.append(f"'{_short(word)}' is not a component this run knows{told}")
    if faults:
        raise DecisionError(
            "; ".join(faults) + ".", "--already",
            "give components by the names in the page's tables, with commas between them",
        )  # fmt: skip
    return tuple(out)


def _near(word: str, among: Iterable[str]) -> list[str]:
    return difflib.get_close_matches(word[:200], list(among), n=_N_NEAR, cutoff=0.5)


def _bare(name: str) -> str:
    """Name without signs between its letters and without zeros before its numbers."""
    return re.sub(r"0*(\d+)", r"\1", re.sub(r"[\W_]+", "", name))


def _short(text: str, most: int = 80) -> str:
    return text if len(text) <= most else text[:most] + "..."
