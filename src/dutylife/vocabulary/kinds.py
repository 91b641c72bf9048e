"""Kinds of columns, and the words that a column of fixed words may hold.

Kinds: ``word`` (repeating text, a pandas category), ``text`` (free text, blank when missing),
``date``, ``number`` (float, may be missing), ``count`` (whole, never missing), ``flag`` (bool).
"""

from dataclasses import dataclass

WORDS: dict[str, tuple[str, ...]] = {
    "line_kind": ("part", "labour", "fee", "core", "credit", "note"),
    "finding_kind": ("note", "ask", "fault"),
    "activity": ("replace", "repair", "adjust", "clean", "inspect", "test"),
    "reason": ("failure", "preventive", "opportunistic"),
    "moment": ("as found", "as left"),
    "finding": ("ok", "worn", "over limit", "failed", "untested"),
    "event": ("failed", "replaced", "running", "lost"),
    "clock_source": ("meter", "interpolated", "estimated", "unknown"),
    "clock": ("hours", "days", "idle_days"),
    "task": ("replace", "inspect", "clean", "measure", "test", "run to failure"),
    "rcm_answer": ("yes", "no", "not known"),
    "done_by": ("operator", "yard", "qualified person"),
    "basis": ("own data", "pooled", "starting value"),
    "cost_basis": ("settings", "billed lines", "our proposal"),
    "payer": ("contractor", "shop"),
    "distribution": ("weibull", "lognormal", "exponential"),
    "mark": ("seen in a named source", "common practice", "from memory", "our proposal"),
    "meter_unit": ("hours", "miles", "km", "starts"),
    "advice": ("keep", "safety work only", "retire", "can't tell"),
    "recommendation": ("interval", "order-up-to level", "order now"),
    "cause": (
        "program",
        "past rows",
        "settings",
        "new exposure",
        "new failures",
        "past forecasts",
        "calendar",
        "parts used",
        "shelf",
    ),
    "moved_unit": ("meter units", "days", "pieces"),
    "record_change": ("changed", "went", "came late", "coded otherwise"),
    "kept": (
        "done",
        "late",
        "skipped",
        "still open",
        "not written",
        "failed first",
        "machine gone",
    ),
    "counted_in": ("duty", "class", "fleet"),
    "usage_source": ("stated", "meter", "duty and class", "fleet", "unknown"),
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its kind, unit, meaning and the values it may hold."""

    name: str
    kind: str
    meaning: str
    unit: str = ""
    words: tuple[str, ...] = ()
    at_least: float | None = None
    at_most: float | None = None


def words(names: str, meaning: str, known: str = "") -> list[Column]:
    """Columns of repeating text; ``known`` names the words of `WORDS` they may hold."""
    return [Column(n, "word", meaning, words=WORDS.get(known, ())) for n in names.split()]


def texts(names: str, meaning: str) -> list[Column]:
    """Columns of free text."""
    return [Column(n, "text", meaning) for n in names.split()]


def dates(names: str, meaning: str) -> list[Column]:
    """Columns of dates."""
    return [Column(n, "date", meaning) for n in names.split()]


def numbers(
    names: str, unit: str, meaning: str, least: float | None = 0.0, most: float | None = None
) -> list[Column]:
    """Columns of numbers, each with its unit and range."""
    return [Column(n, "number", meaning, unit, (), least, most) for n in names.split()]


def counts(names: str, meaning: str) -> list[Column]:
    """Columns of whole numbers, never missing."""
    return [Column(n, "count", meaning, "1", at_least=0) for n in names.split()]


def flags(names: str, meaning: str) -> list[Column]:
    """Columns of yes or no."""
    return [Column(n, "flag", meaning) for n in names.split()]
