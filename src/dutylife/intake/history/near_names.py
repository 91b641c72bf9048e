"""Names in the lines that are near a known machine's: proposed with the reason, never merged."""

import re
from collections.abc import Callable

import pandas as pd
from rapidfuzz import fuzz
from rapidfuzz.distance import DamerauLevenshtein

from dutylife.intake.history.names_in_text import NameFinder, loose_key

_ALIKE_SIGNS = str.maketrans("oilsbz", "011582")
_NEAR = 80.0  # likeness of the letters of two names with the same figures; our proposal
_NEAR_WORDS = 88.0  # of two names without figures
_LONG = 6  # figures of a serial in which two may be swapped
_FEW = 3  # lines of a name that is taken for a slip where no list says which machines there are


def near_names(lines: pd.DataFrame, machines: pd.DataFrame) -> pd.DataFrame:
    """Pairs of a strange name and the one machine it is near to.

    Strange is a name of the lines that no machines file or roster has; without such a file, one
    on at most three lines beside one on more. Two names that differ in a figure are two machines,
    save two figures swapped in a long serial of one customer.

    Returns
    -------
    DataFrame
        alias, unit_id, confirmed (blank), n_lines, detail (the reason), source_file (blank),
        source_row (0).
    """
    named = lines[lines["unit_id"] != ""]
    counts = named["unit_id"].value_counts().sort_index()
    listed = set(machines["unit_id"])
    if listed:
        strange = [n for n in counts.index if n not in listed]
        known = sorted(listed)
    else:
        strange = [n for n in counts.index if counts[n] <= _FEW]
        known = [n for n in counts.index if counts[n] > _FEW]
    customers = _customers(named, machines)
    rows = []
    if strange and known:
        by_loose, by_signs = _by(known, loose_key), _by(known, _signs)
        by_figures, by_sorted = _by(known, _figures), _by(known, _sorted_signs)
        finder = NameFinder(known, {})
        of_customer = _by_customer(known, customers)
        for name in strange:
            tries = (
                (by_loose.get(loose_key(name), set()), "same letters and figures"),
                (by_signs.get(_signs(name), set()), "signs that look alike"),
                (set(finder.machines(name)), "holds the machine's name"),
                (_alike(name, by_figures), "near spelling"),
                (_swapped(name, by_sorted, customers), "two figures swapped"),
                (_only_one(name, customers, of_customer), "the only machine of its customer"),
            )
            found, why = next(((f, w) for f, w in tries if f), (set(), ""))
            if len(found) == 1:
                rows.append((name, min(found), "", int(counts[name]), why))
    columns = ["alias", "unit_id", "confirmed", "n_lines", "detail"]
    return pd.DataFrame(rows, columns=columns).assign(source_file="", source_row=0)


def _by(names: list[str], key_of: Callable[[str], str]) -> dict[str, set[str]]:
    out: dict[str, set[str]] = {}
    for name in names:
        out.setdefault(key_of(name), set()).add(name)
    return out


def _signs(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum()).translate(_ALIKE_SIGNS)


def _sorted_signs(name: str) -> str:
    """What two names have in common of which one has two signs swapped."""
    return "".join(sorted(_signs(name)))


def _figures(name: str) -> str:
    return "|".join(r.lstrip("0") or "0" for r in re.findall(r"\d+", name))


def _letters(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalpha())


def _alike(name: str, by_figures: dict[str, set[str]]) -> set[str]:
    figures, own = _figures(name), _letters(name)
    least = _NEAR if figures else _NEAR_WORDS
    if len(own) < 4:
        return set()
    return {
        other
        for other in by_figures.get(figures, set())
        if fuzz.ratio(own, _letters(other)) >= least or _is_swap(own, _letters(other))
    }


def _swapped(name: str, by_sorted: dict[str, set[str]], customers: dict[str, set[str]]) -> set[str]:
    own = _signs(name)
    if sum(c.isdigit() for c in name) < _LONG:
        return set()
    return {
        other
        for other in by_sorted.get(_sorted_signs(name), set())
        if customers.get(name, set()) & customers.get(other, set()) and _is_swap(own, _signs(other))
    }


def _is_swap(one: str, other: str) -> bool:
    return sorted(one) == sorted(other) and DamerauLevenshtein.distance(one, other) == 1


def _only_one(
    name: str, customers: dict[str, set[str]], of_customer: dict[str, set[str]]
) -> set[str]:
    """The one machine of the customer of a name without figures: a nickname."""
    mine = customers.get(name, set())
    if _figures(name) or len(mine) != 1:
        return set()
    return of_customer.get(min(mine), set())


def _by_customer(known: list[str], customers: dict[str, set[str]]) -> dict[str, set[str]]:
    out: dict[str, set[str]] = {}
    for name in known:
        for customer in customers.get(name, set()):
            out.setdefault(customer, set()).add(name)
    return out


def _customers(named: pd.DataFrame, machines: pd.DataFrame) -> dict[str, set[str]]:
    both = pd.concat([named[["unit_id", "customer"]], machines[["unit_id", "customer"]]])
    both = both[both["customer"] != ""].drop_duplicates()
    out: dict[str, set[str]] = {}
    for name, customer in zip(both["unit_id"], both["customer"], strict=True):
        out.setdefault(name, set()).add(customer)
    return out
