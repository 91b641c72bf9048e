"""Numbers with a unit in typed text: resistances, gaps, pressures, ...; over range included."""

import re
from typing import NamedTuple

# kind of quantity -> unit it is kept in
BASE = {
    "resistance": "kOhm", "length": "mm", "pressure": "kPa", "voltage": "V", "temperature": "C",
    "speed": "rpm", "time": "s", "drip rate": "drops/min", "share": "%",
}  # fmt: skip
_ATMOSPHERE_KPA = 101.325
_WATER_INCH_KPA = 0.249089  # conventional inch of water at 4 C
# unit as typed (folded) -> kind, factor to the kind's unit, what to add after
_UNITS: dict[str, tuple[str, float, float]] = {}


def _say(kind: str, factor: float, words: str, add: float = 0.0) -> None:
    _UNITS.update(dict.fromkeys(words.split("|"), (kind, factor, add)))


_say("resistance", 1.0, "k|kohm|kohms|k ohm|k ohms|k-ohm|k\u03c9|k \u03c9|kilohm|kilohms|kilo ohms")
_say("resistance", 1e-3, "ohm|ohms|\u03c9|r")
_say("resistance", 1e3, "mohm|mohms|m ohm|m ohms|m\u03c9|megohm|megohms|meg|meg ohm|megs|mega ohm")
_say("length", 1.0, "mm|millimeter|millimeters|millimetre|millimetres")
_say("length", 10.0, "cm")
_say("length", 1e-3, "um|\u03bcm|micron|microns")
_say("length", 25.4, 'in|ins|inch|inches|in.|"|\u201d|\u2033|zoll|pulgadas|pouces|duim')
_say("length", 0.0254, "thou|thous|mil|mils|thousandths")
_say("pressure", 1.0, "kpa|kpag|kpa gauge|kpa g|kpa(g)")
_say("pressure", 1e3, "mpa")
_say("pressure", 100.0, "bar|bars|barg|bar g|bar(g)|bar gauge|kg/cm2|kgf/cm2")
_say("pressure", 0.1, "mbar|hpa")
_say(
    "pressure",
    6.894757,
    "psi|psig|psi g|psi gauge|psi(g)|lbs/in2|lb/in2|lbs per sq in|p.s.i.|lbf/in2",
)
_say("pressure", 100.0, "bara|bar a|bar abs|bar(a)|bar absolute", -_ATMOSPHERE_KPA)
_say("pressure", 6.894757, "psia|psi abs|psi absolute", -_ATMOSPHERE_KPA)
_say("pressure", 1.0, "kpaa|kpa abs|kpa absolute", -_ATMOSPHERE_KPA)
_say(
    "pressure", _WATER_INCH_KPA, 'in h2o|inh2o|inches h2o|inch h2o|in wg|"wg|" wg|" h2o|in of water'
)
_say("pressure", _WATER_INCH_KPA, "inches of water|inch of water|in. h2o|in water|inwc|in wc")
_say("pressure", _WATER_INCH_KPA / 25.4, "mm h2o|mmh2o|mm wg|mmwg")
_say("pressure", 3.386389, 'in hg|inhg|inches hg|" hg')
_say("voltage", 1.0, "v|volt|volts|vdc|vac|v dc|v ac|vd.c.|va.c.|voltios")
_say("voltage", 1e-3, "mv|millivolts")
_say("temperature", 1.0, "c|deg c|degc|\u00b0c|\u00b0 c|degrees c|celsius|deg. c|centigrade|grad")
_say("temperature", 5 / 9, "f|deg f|degf|\u00b0f|\u00b0 f|degrees f|fahrenheit|deg. f", -160 / 9)
_say("speed", 1.0, "rpm|r.p.m.|r/min|rev/min|revs|u/min|tr/min|/min|1/min|omw/min|revs/min")
_say("time", 1.0, "s|sec|secs|second|seconds|sek|segundos|secondes")
_say("drip rate", 1.0, "drops/min|drops per min|drops per minute|drops a minute|drips/min")
_say("drip rate", 1.0, "drips per minute|drips a minute|drops/minute")
_say("share", 1.0, "%|percent|per cent")

_UNIT = "(?:" + "|".join(sorted(map(re.escape, _UNITS), key=lambda u: (-len(u), u))) + ")"
_END = r"(?![a-z0-9\u03c9])"
_NUMBER = (
    r"(?:\d{1,3}(?:[ ,.]\d{3})+(?!\d)|\d+ \d{1,2}/\d{1,2}|\d{1,2}/(?:2|4|8|16|32|64)(?!\d|/)"
    r"|\d+(?:[.,]\d+)?|[.,]\d+)"
)
_JOIN = (
    r"(?:\s?(?:-|\u2013|/|&|\+)\s?|\s(?:to|and|or|bis|und|et|a|\u00e0|y|en|tot)\s"
    r"|\s?,?\s?(?:ex|exh|exhaust|rh|rhs|right|rear|lower)\.?\s)"
)
_CHAIN = re.compile(
    rf"(?<![\w.,/])(?<!\d-)(?P<sign>[<>]=?|over |above |more than |greater than |exceeds )?\s?"
    rf"(?P<chain>{_NUMBER}(?:[ -]?{_UNIT}{_END})?"
    rf"(?:{_JOIN}{_NUMBER}(?:[ -]?{_UNIT}{_END})?){{0,3}})"
)
_ITEM = re.compile(rf"(?P<number>{_NUMBER})(?:[ -]?(?P<unit>{_UNIT}){_END})?(?P<join>{_JOIN})?")
_CODED = re.compile(r"(?<![\w.,])(\d+)([kmr])(\d{1,2})(?![\w])")  # 9k9, 0r5
_UNIT_FIRST = re.compile(
    r"\b(?P<unit>volts?|voltage|rpm|psi|bar|kpa|kohms?|ohms?)\s?(?:=|:|at|is|was|only|now)?\s?"
    rf"(?P<number>{_NUMBER})(?![\w\u03c9%]|\s?{_UNIT}{_END}|[/-]\d|[.,]\d)"
)
_RANGE_OF = (
    rf"(?:\s(?:on|at|in|even on|auf|sur|en|op)\s(?:the\s|its\s"
    rf"|highest\s)?(?P<number>{_NUMBER})\s?-?"
    rf"(?P<unit>{_UNIT}){_END}(?:\s(?:range|scale|setting))?)"
)
_OVER = re.compile(
    r"(?<![\w/])(?:o\.\s?l\.?|o/l|ol|over\s?load(?:ed)?|over[\s-]?range[d]?|off (?:the )?scale"
    rf"|beyond (?:the )?range|1 ?___|infinity|infinite)(?![\w/]){_RANGE_OF}?"
)
_OPEN = re.compile(
    r"(?<![\w/])(?:(?:gone |went |is |was )?open(?:[\s-]?circuit(?:ed)?| circ| winding)"
    r"|o/c(?!\w)|(?:reads?|reading|measures?|measured|shows?|tests?|tested) (?:as )?open"
    r"|(?:no|without) continuity|no reading(?! (?:taken|possible|made))|\u221e"
    r"|unendlich|infinie?|oneindig|infinit[oa]|unterbrochen)(?!\w)"
)
# what makes a number with a unit something else than a reading
_MONEY_BEFORE = re.compile(r"(?:[$\u00a3\u20ac]|\b(?:usd|eur|gbp|chf|cost|price|priced at))\s?$")
_NOT_AFTER = re.compile(
    r"\s?-?\s?(?:h|hrs?|hours?|std|stunden|heures|uur|horas|km|kms|miles?|mi|service|usd|eur|euros?"
    r"|gbp|chf|lb|lbs|lbf|ft|nm|n\.?m|kg|oz|[$\u00a3\u20ac])(?![a-z])|\s?x\s?\d|-[a-z]*\d"
)
_NUMBERED = re.compile(
    r"(?:\b(?:no|nr|pn|p/n|ref|type|part|model|size|torqued?(?: to)?)[.:]?|#)\s?$|\dx?\s?x\s?$"
)


_SHORT_WORDS = ("cap", "gap", "was", "now", "new", "old", "ht", "avr", "in", "ex", "lh", "rh")


class Measure(NamedTuple):
    """A measured value as a text has it.

    ``value`` is in the unit `BASE` names for the kind: of a range the middle, over range the
    range of the instrument (None where it is not told); ``lower`` and ``upper`` are its ends.
    ``order`` counts the values of a list ("7 and 8 mm") from 1, 0 where it stands alone;
    ``is_weak`` marks units that are also words ("2 in").
    """

    start: int
    end: int
    kind: str
    value: float | None
    lower: float | None = None
    upper: float | None = None
    over_range: bool = False
    order: int = 0
    is_weak: bool = False
    figures: str = ""
    unit: str = ""


def find_measures(low: str) -> list[Measure]:
    """Measured values of a folded text (case and apostrophes removed), in order.

    Prices, hours, torques, sizes ("13 x 1050 mm"), part numbers and dates are none.

    Examples
    --------
    >>> [(m.kind, m.value, m.over_range) for m in find_measures("cap 9k9, ol on 20k, gap .012 in")]
    [('resistance', 9.9, False), ('resistance', 20.0, True), ('length', 0.3048, False)]
    """
    taken = [False] * len(low)
    found: list[Measure] = []

    def keep(start: int, end: int, measures: list[Measure]) -> None:
        if measures and not any(taken[start:end]):
            taken[start:end] = [True] * (end - start)
            found.extend(measures)

    for match in _OVER.finditer(low):
        keep(*match.span(), [_over(match)])
    for match in _OPEN.finditer(low):
        open_ = Measure(*match.span(), "resistance", None, over_range=True)
        keep(*match.span(), [open_])
    for match in _CODED.finditer(low):
        if _is_reading(low, *match.span()):
            factor = {"k": 1.0, "r": 1e-3, "m": 1e3}[match[2]]
            value = float(f"{match[1]}.{match[3]}") * factor
            keep(*match.span(), [Measure(*match.span(), "resistance", round(value, 9))])
    for match in _CHAIN.finditer(low):
        measures = _chain(low, match)
        if measures:
            keep(match.start(), measures[-1].end, measures)
    for match in _UNIT_FIRST.finditer(low):
        unit = {"voltage": "v"}.get(match["unit"], match["unit"])
        if _is_reading(low, *match.span()):
            kind, value = _in_base(match["number"], unit)
            keep(*match.span(), [Measure(*match.span(), kind, value)])
    return sorted(found)


_BARE = re.compile(
    r"(?<![\w-])(?:gaps?|gapped|clearances?|lash|tappets?|deflection|deflects|compression|comp)"
    r"(?:\s(?:was|is|of|at|to|set|found|only|now|down|reads?|test|checked|measured|both|ok)"
    r"|\s?[=:])*\s?"
    rf"(?P<first>{_NUMBER})(?:\s?/\s?(?P<second>{_NUMBER}))?"
    rf"(?:[,;]?\s(?:re)?(?:set|adjusted|adj|now|gapped|closed)(?: to| at)?\s(?P<then>{_NUMBER}))?"
    r"(?![\w\u03c9%]|\s?[-x/]\s?\d|[.,]\d)"
)


_SAME_UNIT = re.compile(
    r"(?<!\w)(?:reads?|reading|measured|measures?|shows?|actual|now|was|new(?: one)?|after"
    r"|before|got|found)\s"
    rf"(?P<first>{_NUMBER})(?![\w\u03c9%\"]|\s?[-x/]\s?\d|[.,]\d|\s(?:off|x|of|pcs|min|mins|days"
    rf"|weeks)\b)"
)
_SAME_UNIT_WITHIN = 45  # signs behind a value of which a number without unit may take its unit


def bare_numbers(low: str, measures: list[Measure]) -> list[Measure]:
    """Numbers without unit just behind a quantity's name ("gap 0.7"); their kind is blank."""
    out = []
    for match in _BARE.finditer(low):
        if any(m.start < match.end() and match.start("first") < m.end for m in measures):
            continue
        if not _is_reading(low, match.start("first"), match.end()):
            continue
        groups = [g for g in ("first", "second", "then") if match[g]]
        for place, group in enumerate(groups, 1):
            value = (
                float(match[group].replace(",", ".").replace(" ", ""))
                if "/" not in match[group]
                else None
            )
            if value is not None:
                order = place if match["second"] and group != "then" else 0
                out.append(
                    Measure(*match.span(group), "", value, order=order, figures=match[group])
                )
    for match in _SAME_UNIT.finditer(low):
        start, end = match.span("first")
        near = [m for m in measures if m.unit and 0 <= start - m.end <= _SAME_UNIT_WITHIN]
        crossed = any(m.start < end and start < m.end for m in [*measures, *out])
        if near and not crossed and _is_reading(low, start, end):
            kind, value = _in_base(match["first"], near[-1].unit)
            out.append(Measure(start, end, kind, value, figures=match["first"], unit=near[-1].unit))
    return out


def read_cell(text: str, unit: str) -> Measure | None:
    """A cell of a readings column: a number in the column's unit unless it names its own.

    Parameters
    ----------
    text : str
        For example "9.9", "9k9", "OL", "> 20", "9880 ohm".
    unit : str
        Unit of the column, as a person types it.

    Returns
    -------
    Measure or None
        None when the cell holds no reading, or `unit` is no unit.

    Examples
    --------
    >>> read_cell("9,9", "kOhm").value, read_cell("OL", "kOhm").over_range
    (9.9, True)
    """
    low = " ".join(text.casefold().split())
    named = unit.casefold().strip()
    if named not in _UNITS:
        return None
    found = find_measures(low)
    if not found and low:
        found = find_measures(f"{low} {named}")
    kind = _UNITS[named][0]
    same = [m for m in found if m.kind == kind]
    if len(found) != 1 or not same:
        return None
    return same[0]


def kind_of(unit: str) -> str | None:
    """Kind of quantity a stored unit measures; None where it is no unit of a reading."""
    low = unit.casefold().removesuffix(" of rated")
    return _UNITS[low][0] if low in _UNITS else None


def in_unit(value: float, kind: str, unit: str) -> float:
    """Bring a value from the kind's own unit to another unit of that kind."""
    given, factor, add = _UNITS[unit.casefold().removesuffix(" of rated")]
    if given != kind:
        raise ValueError(f"{unit} is no unit of {kind}")
    return float(f"{(value - add) / factor:.9g}")


def _over(match: re.Match[str]) -> Measure:
    if not match["number"]:
        return Measure(*match.span(), "resistance", None, over_range=True)
    kind, value = _in_base(match["number"], match["unit"])
    return Measure(*match.span(), kind, value, value, over_range=True)


def _chain(low: str, match: re.Match[str]) -> list[Measure]:
    """Values of "9.9k", "8-10k", "7 and 8 mm", ">20k"; none where it is no reading."""
    start = match.start("chain")
    items = [
        (m["number"], m["unit"], m["join"] or "", start + m.start(), start + m.end())
        for m in _ITEM.finditer(match["chain"])
    ]
    while items and not items[-1][1]:
        items.pop()
        if items and items[-1][2].strip() == "-" and " " not in items[-1][2]:
            return []  # 7k-22 is a part number
    if not items:
        return []
    ends = [at - len(join) if join else at for _, _, join, _, at in items]
    if not _is_reading(low, match.start(), ends[-1]):
        return []
    units: list[str] = [""] * len(items)
    following = ""
    for place in range(len(items) - 1, -1, -1):
        following = items[place][1] or following
        units[place] = following
    if units[-1] == "s" and len(items[-1][0]) == 4:
        return []  # the 1960s
    read = [_in_base(n, u) for (n, *_), u in zip(items, units, strict=True)]
    weak = [
        u in ("in", "ins", '"', "\u201d") and re.fullmatch(r"\d+", n) is not None
        for (n, *_), u in zip(items, units, strict=True)
    ]
    if match["sign"] and not match["sign"].startswith("<"):
        kind, value = read[0]
        over = Measure(match.start(), ends[0], kind, value, value, over_range=True)
        return [over] if len(items) == 1 else []
    joins = [i[2].strip(" ,.") for i in items[:-1]]
    if len(items) == 2 and joins[0] in ("-", "\u2013", "to", "bis", "a", "\u00e0", "tot"):
        before = low[: match.start()]
        if joins[0] == "to" and re.search(r"\b(?:from|von|de|van)\s$", before):
            return _listed(items, read, weak, ends, numbered=False)
        (kind, one), (_, two) = read
        if one < two:
            middle = float(f"{(one + two) / 2:.9g}")
            return [Measure(match.start(), ends[1], kind, middle, one, two, is_weak=all(weak))]
    return _listed(items, read, weak, ends, numbered=len(items) > 1)


def _listed(
    items: list[tuple[str, str, str, int, int]], read: list[tuple[str, float]], weak: list[bool],
    ends: list[int], *, numbered: bool,
) -> list[Measure]:  # fmt: skip
    return [
        Measure(item[3], end, kind, value, order=place if numbered else 0, is_weak=is_weak,
                figures=item[0], unit=item[1] or items[-1][1])
        for place, (item, (kind, value), is_weak, end) in enumerate(
            zip(items, read, weak, ends, strict=True), 1)
    ]  # fmt: skip


def _is_reading(low: str, start: int, end: int) -> bool:
    before, after = low[max(start - 24, 0) : start], low[end : end + 14]
    part = re.search(r"(?<![\w])([a-z]{0,3}\d*)-$", before)
    if part and part[1] and part[1] not in _SHORT_WORDS:
        return False  # IC-10K is a part number
    return not (_MONEY_BEFORE.search(before) or _NUMBERED.search(before) or _NOT_AFTER.match(after))


def _in_base(number: str, unit: str) -> tuple[str, float]:
    kind, factor, add = _UNITS[unit]
    return kind, float(f"{_plain(number, unit, kind) * factor + add:.9g}")


def _plain(number: str, unit: str, kind: str) -> float:
    """A number as typed; a mark before three figures parts thousands where such are usual."""
    if "/" in number:
        whole, _, part = number.rpartition(" ")
        top, _, bottom = part.partition("/")
        return float(whole or 0) + float(top) / float(bottom)
    groups = re.fullmatch(r"(\d{1,3})((?:[ ,.]\d{3})+)", number)
    large = kind == "speed" or unit in ("ohm", "ohms", "\u03c9", "psi", "psig", "kpa")
    if groups and groups[1] != "0" and (large or " " in number or len(groups[2]) > 4):
        return float(re.sub(r"[ ,.]", "", number))
    return float(number.replace(",", "."))
