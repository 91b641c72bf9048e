"""The nearest known key to one that is not known."""

import difflib
from typing import Any


def nearest(word: str, among: Any) -> str:
    """Name the nearest of the known words, or some of them."""
    near = difflib.get_close_matches(word, list(among), n=1, cutoff=0.5)
    return f"; did you mean '{near[0]}'?" if near else "; known: " + ", ".join(list(among)[:12])
