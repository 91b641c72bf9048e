"""The word lists of words.toml, as lists and as patterns."""

import re
import tomllib
from functools import cache
from importlib import resources


@cache
def words(name: str) -> tuple[str, ...]:
    """Words of one list, the longest first."""
    path = resources.files("dutylife.intake.history").joinpath("words.toml")
    listed = tomllib.loads(path.read_text(encoding="utf-8"))[name]
    return tuple(sorted(listed, key=lambda w: (-len(w), w)))


@cache
def pattern(name: str) -> re.Pattern[str]:
    """Pattern that finds any word of a list, as whole words, in a text in lower case."""
    alternatives = "|".join(re.escape(w) for w in words(name))
    return re.compile(rf"(?<!\w)(?:{alternatives})(?!\w)")
