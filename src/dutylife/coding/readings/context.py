"""The words around a measured value: before or after work, which place, no reading at all."""

import re
from typing import NamedTuple

from dutylife.intake.measures import Measure, in_unit

_FOUND = (
    r"old|before|found|from|as found|previously|previous|originally|original|had|alt|alte[rs]?"
    r"|vorher|avant|ancien(?:ne)?|antes|viej[oa]|oude?|voor"
)
_FOUND_WEAK = r"was|were|war|\u00e9tait|era"
_LEFT = (
    r"new|now|afterwards"
    r"|after(?=(?: (?:clean|set|adj|repair|service|work|charg|renew)\w*)?(?: it)?(?: was| is"
    r"| reads?| at)?\s?[:=]?\s?$)|set(?: to| at)?|reset|adj(?:usted|d)?|gapped|regapped|re-gapped"
    r"|tightened|retightened|tensioned|retensioned|shimmed|opened up to|closed up to|trimmed"
    r"|as left|left at|brought (?:back )?to|back to|corrected to|recharged|neu|neue[rs]?|jetzt"
    r"|nachher|nouveau|nouvelle|neuf|apr\u00e8s|maintenant|nuev[oa]|despu\u00e9s|ahora|nieuwe?"
    r"|nu|na|->|=>|\u2192"
)
_RENEWED = (
    r"renewed|replaced|repl|changed|fitted|swapped|installed|exchanged|erneuert|ersetzt"
    r"|remplac\u00e9e?|reemplazad[oa]|vervangen"
)
_SAID = re.compile(
    rf"(?<!\w)(?:(?P<found>{_FOUND})|(?P<weak>{_FOUND_WEAK})|(?P<left>{_LEFT})"
    rf"|(?P<done>{_RENEWED}))(?!\w)"
)
_SAID_AFTER = re.compile(
    r"\s?\(?(?:(?P<left>new|now|after(?= (?:clean|set|adj|repair|service|work|charg|renew))"
    r"|after(?=\s?(?:$|[,;.)/+]))"
    r"|when new|as left|fitted|neu)|(?P<found>old|before|as found|originally|alt))(?![\w-])"
    r"(?!\s(?:\w+\s)?(?:plug|cap|one|set|belt|brush|coil|battery|part|fit|filter))"
)
_POSITIONS: tuple[tuple[str, str], ...] = (
    (r"inlet|intake|int|in\.?", "intake"),
    (r"exhaust|exh|ex\.?", "exhaust"),
    (r"unloads?|unloaded|unloading|cuts? out|cut-out|cutting out", "unload"),
    (r"loads?|reloads?|cuts? in|cut-in|cutting in", "load"),
    (r"left|lh|lhs|l/h", "left"), (r"right|rh|rhs|r/h", "right"),
    (r"front", "front"), (r"rear", "rear"), (r"upper|top", "upper"),
    (r"lower|bottom", "lower"), (r"inner", "inner"), (r"outer", "outer"),
    (r"(?:no\.?|nr\.?|#|cyl(?:inder)?\.?)\s?(?P<n>[1-9])", ""),
)  # fmt: skip
_POSITION = [(re.compile(rf"(?<!\w)(?:{words})(?!\w)"), name) for words, name in _POSITIONS]
_NUMBER_NEXT = re.compile(r"\s?(?:at|was|is|=|:)?\s?[.,]?\d")
# a word of the pair counts only for a quantity that has such places
_OF_PAIR = ("intake", "exhaust", "unload", "load")
_MEASURING = (
    r"reads?|reading|measures?|measured|meas|tests?|tested|ohms? out|shows?|showing|checked|is|was"
    r"|at|found|only|now|=|:|got|gives?|giving|after"
)
_SPEC_BEFORE = re.compile(
    r"(?:\b(?:spec|specs|specification|should (?:be|read)|supposed to be|limits?|max(?:imum)?"
    r"|min(?:imum)?|nominal|rated|rating|marked|stamped|target|tolerance|allowed|allowable|must be"
    r"|needs? to be|book|maker|makers|manual|soll|sollwert|instead of|not)\b)(?P<between>[^\d;"
    r"|]{0,20})$"
)
_MEASURED = re.compile(
    r"(?<!\w)(?:reads?|reading|measures?|measured|meas|tests?|tested|shows?|showing|found|only"
    r"|now|got)(?!\w)"
)
_SPEC_AFTER = re.compile(
    r"\s?\(?(?:spec|nominal|rated|max|maximum|min|minimum|limit|type|rating|tolerance|model|each"
    r"|instead|required|needed|wanted|\d+\s?ah)(?!\w)"
)
_THINGS = (
    r"bolts?|screws?|nuts?|spanners?|sockets?|wrench|keys?|studs?|pins?|washers?|shims?|drills?"
    r"|hoses?|pipes?|tubes?|tubing|wire|cables?|holes?|threads?|packers?|spacers?|allen|hex|dia"
    r"|diameter|wide|sheet|plate|nozzles?|jets?|o-?rings?|circlips?|clips?|fuses?|bulbs?|lamps?"
    r"|supply|adapters?|generators?|gensets?|outlets?|machines?|motors?|tools?|starters?|systems?"
)
_THING_AFTER = re.compile(
    rf"[\s-]?(?:(?:new|steel|fuel|copper|brass|socket|suction|rubber)\s)?(?:{_THINGS})(?!\w)"
)
_THING_BEFORE = re.compile(rf"\b(?:{_THINGS})\s(?:x\s?)?$")
_TOUCHING = re.compile(
    r"\s?(?:on|across|over|through|for|of|between|at|am|an|sur|en|op|with)\s(?:the\s|its\s|new\s"
    r"|old\s)*"
)
_MARKS_V = (
    1.5,
    3.0,
    5.0,
    6.0,
    9.0,
    12.0,
    18.0,
    24.0,
    36.0,
    48.0,
    110.0,
    115.0,
    120.0,
    220.0,
    230.0,
    240.0,
    400.0,
)


class Segment(NamedTuple):
    """What is said before a value, from ``start``; ``last_end`` ends the value before it."""

    low: str
    start: int
    measure: Measure
    last_end: int


def is_no_reading(low: str, measure: Measure) -> bool:
    """Whether the words around say a limit, a marking or the size of a thing."""
    if measure.over_range and measure.value is None:
        return bool(re.search(r"\b(?:not|no longer|isnt|wasnt)\s$", low[: measure.start]))
    before = _clause_before(low, measure.start)
    spec = _SPEC_BEFORE.search(before)
    if spec and not _MEASURED.search(spec["between"]):
        return True
    if _SPEC_AFTER.match(low, measure.end):
        return True
    after = low[measure.end : measure.end + 30]
    return bool(_THING_AFTER.match(after) or _THING_BEFORE.search(before))


def is_rating(
    low: str, measure: Measure, following: int | None, nominal: list[float], unit: str,
    *, names_quantity: bool,
) -> bool:  # fmt: skip
    """Whether a number just before the component is its marking: "new 5k cap", "12v battery"."""
    if measure.value is None or measure.over_range:
        return False
    before = _clause_before(low, measure.start)
    is_told = re.search(rf"(?<!\w)(?:{_MEASURING})\s?$", before) is not None
    if is_told:
        return False
    # "battery 12v fitted" is its marking, "battery 12.4 v" a reading
    if measure.kind == "voltage" and not names_quantity and measure.value in _MARKS_V:
        return True
    if following is None:
        return False
    between = low[measure.end : following]
    if between.strip(" -") and not re.fullmatch(r"\s?(?:resistor|type|ignition|ht)?\s?", between):
        return False
    value = in_unit(measure.value, measure.kind, unit)
    return measure.kind != "resistance" or any(abs(value - m) < 1e-9 for m in nominal)


def touches(low: str, measure: Measure, start: int) -> bool:
    """Whether the component follows at once: "9.9k on cap", "6 mm of brush"."""
    return bool(_TOUCHING.fullmatch(low, measure.end, start))


def moment_of(segment: Segment, spans: list[tuple[int, int]], is_over_limit: bool) -> str:
    """Return "as found, said", "as found", "as left" or, where nothing tells, blank.

    The nearest word before the value decides; "renewed" alone makes a value within limits one of
    the new part, and one beyond them the old part's.
    """
    after = _SAID_AFTER.match(segment.low, segment.measure.end)
    if after:
        return "as left" if after["left"] else "as found, said"
    text = list(segment.low[segment.start : segment.measure.start])
    for start, end in spans:  # "brush set" sets nothing
        for at in range(max(start, segment.start), min(end, segment.measure.start)):
            text[at - segment.start] = "_"
    said = list(_SAID.finditer("".join(text)))
    strong = [m for m in said if m["found"] or m["left"]]
    weak = [m for m in said if m["weak"]]
    if strong:
        return "as left" if strong[-1]["left"] else "as found, said"
    if weak:
        return "as found, said"
    if any(m["done"] for m in said):
        return "as found, said" if is_over_limit else "as left"
    return ""


def position_of(segment: Segment, pair: tuple[str, ...], order: int) -> str:
    """Which of several places: the word nearest before or just after, else the turn in a list."""
    start = max(segment.last_end, _clause_start(segment.low, segment.measure.start))
    before = segment.low[start : segment.measure.start]
    found: list[tuple[int, str]] = []
    behind = ""
    for pattern, name in _POSITION:
        if name in _OF_PAIR and name not in pair:
            continue
        for match in pattern.finditer(before):
            found.append((match.end(), name or match["n"]))
        # "0.10 in / 0.15 ex"
        is_apart = segment.low[segment.measure.end : segment.measure.end + 1] == " "
        after = pattern.match(segment.low, segment.measure.end + is_apart) if name in pair else None
        if after and not _NUMBER_NEXT.match(segment.low, after.end()):
            behind = name
    if found:
        return max(found)[1]
    if behind:
        return behind
    if order:
        return pair[order - 1] if order <= len(pair) else str(order)
    return ""


def _clause_start(low: str, at: int) -> int:
    return max((m.end() for m in re.finditer(r"[;|:()]|,\s|\.\s", low[:at])), default=0)


def _clause_before(low: str, at: int) -> str:
    return low[_clause_start(low, at) : at]
