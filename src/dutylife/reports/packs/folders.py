"""A folder name for each customer that stays inside its folder and meets no other."""

import unicodedata
from collections.abc import Iterable

from dutylife.provenance import digest_of

MOST_CHARACTERS = 50  # at most 4 bytes each, so under the 255 bytes that file systems take
_PLAIN = " -_&'+,.()"
# names that one widespread system keeps for devices, whatever ending stands behind them
_DEVICES = {"con", "prn", "aux", "nul", "conin$", "conout$", "clock$"} | {
    f"{port}{n}" for port in ("com", "lpt") for n in (*range(10), "¹", "²", "³")
}


def folder_names(customers: Iterable[str]) -> dict[str, str]:
    """Return the folder of each customer's pack.

    Parameters
    ----------
    customers : iterable of str
        True names.

    Returns
    -------
    dict of str to str
        A name that any file system takes, by true name: letters and digits of any script, spaces
        and a few signs are kept, the rest becomes "-". Two names that a file system could take
        for one, device names, names cut short and those with nothing left bear a digest of the
        true name behind "--", which no plain one can hold. A name hangs on no order.

    Examples
    --------
    >>> folder_names(["Kerb Store", "a/b"])
    {'Kerb Store': 'Kerb Store', 'a/b': 'a-b'}
    """
    names = sorted(set(customers))
    plain = {name: _plain(name) for name in names}
    alike: dict[str, int] = {}
    for folder, _ in plain.values():
        alike[_folded(folder)] = alike.get(_folded(folder), 0) + 1
    return {
        name: _marked(folder, name) if is_poor or alike[_folded(folder)] > 1 else folder
        for name, (folder, is_poor) in plain.items()
    }


def _plain(name: str) -> tuple[str, bool]:
    """What is left of a name, and whether that is too little to go by itself."""
    kept = "".join(
        c if c in _PLAIN or unicodedata.category(c)[0] in "LN" or _joins(c) else "-"
        for c in unicodedata.normalize("NFC", name)
    )
    while "--" in kept or "  " in kept or ".." in kept:
        kept = kept.replace("--", "-").replace("  ", " ").replace("..", ".")
    kept = kept.strip(" .-")
    short = kept[:MOST_CHARACTERS].strip(" .-")
    stem = _folded(short.split(".")[0].strip())
    return short, not short or short != kept or stem in _DEVICES


def _joins(character: str) -> bool:
    """Whether it is a mark that belongs to the letter before it."""
    return unicodedata.category(character) in ("Mn", "Mc")


def _folded(folder: str) -> str:
    """Alike for names that some file system takes for one."""
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", folder).casefold())


def _marked(folder: str, name: str) -> str:
    stem = folder if _folded(folder.split(".")[0].strip()) not in _DEVICES else "customer"
    return f"{stem or 'customer'}--{digest_of('customer', name, length=8)}"
