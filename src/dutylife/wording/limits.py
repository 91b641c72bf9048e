"""Figures to measure against, as a mechanic says them: below 8 inches of water, 5 mm or less."""

import re

# units as the list of components writes them -> as they are said; others stand as they are
_SAID = {
    "in H2O": "inches of water", "drops/min": "drops a minute", "h": "hours", "s": "seconds",
    "C": "°C", "pass/fail": "",
}  # fmt: skip
_FIGURE = r"\d[\d.]*(?:(?<=\d) \d{3})*(?:-\d[\d.]*(?:(?<=\d) \d{3})*)?"
_BOUND = re.compile(rf"(?P<sign><=|>=|<|>)\s*(?P<figure>{_FIGURE})(?P<share>\s*%)?")
_PLAIN = re.compile(rf"^(?P<lead>about |outside )?(?P<figure>{_FIGURE})(?P<share>\s*%)?")


def unit_words(unit: str) -> str:
    """A unit as it is said.

    Examples
    --------
    >>> unit_words("in H2O"), unit_words("mm")
    ('inches of water', 'mm')
    """
    return _SAID.get(unit, unit)


def limit_words(text: str, unit: str) -> str:
    """A nominal value or limit in words, its figures with their unit.

    Parameters
    ----------
    text : str
        As the list of components has it: figures with <, <=, >, >= or a dash, or words.
    unit : str
        Unit of its figures; a share of another value stays a share.

    Examples
    --------
    >>> limit_words("<8", "in H2O"), limit_words(">=15 (figure from a larger machine)", "in H2O")
    ('below 8 inches of water', '15 inches of water or more (figure from a larger machine)')
    >>> limit_words("0.7-0.8", "mm"), limit_words("<70 % of maker value", "kPa")
    ('0.7 to 0.8 mm', 'below 70 % of maker value')
    >>> limit_words("open circuit or >15", "kOhm"), limit_words("sound", "mm")
    ('open circuit or above 15 kOhm', 'sound')
    """
    said = unit_words(unit)

    def with_unit(found: re.Match[str]) -> str:
        figure = found["figure"].replace("-", " to ")
        if found["share"]:
            return f"{figure} %"
        return f"{figure} {said}".strip()

    def bound(found: re.Match[str]) -> str:
        sign, figure = found["sign"], with_unit(found)
        if sign in ("<=", ">="):
            return f"{figure} or {'less' if sign == '<=' else 'more'}"
        return f"{'below' if sign == '<' else 'above'} {figure}"

    if _BOUND.search(text):
        return _BOUND.sub(bound, text)
    # two values of one check, such as intake and exhaust
    return " / ".join(
        _PLAIN.sub(lambda found: f"{found['lead'] or ''}{with_unit(found)}", one)
        for one in text.split(" / ")
    )
