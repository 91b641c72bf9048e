"""Meter readings typed into texts ("@ 6369 hrs"); never intervals, labour, prices, quantities."""

import re
from functools import cache

_NUMBER = r"(?P<n>\d{1,3}(?:[.,' ]\d{3})+(?:[.,]\d{1,2})?|\d+(?:[.,]\d{1,2})?)"
_UNITS = {
    "hours": r"(?:hours?|hrs?|h|std|stunden|bh|betriebsstunden|heures?|horas?|uren|uur|draaiuren)",
    "miles": r"(?:miles?|mls?|mi)",
    "km": r"(?:kilomet(?:er|re)s?|kil[oó]m[eè]tros?|kms?)",
}
# words that say a meter is read; those of the second list need a figure of three digits or more
_METERS = {
    "hours": (
        r"hour[\s-]?meter|hr[\s-]?meter|h[\s-]meter|clock(?:\s+hours?)?|betriebsstundenz[aä]hler"
        r"|betriebsstunden|bstd|stundenz[aä]hler|compteur(?:\s+horaire)?|hor[oó]metro"
        r"|urenteller|urenstand|draaiuren|smu|hobbs",
        r"hours|hrs|std|stunden|heures|horas|uren|meter|z[aä]hler(?:stand)?",
    ),
    "miles": (r"odometer|odo|mileage", r"miles|meter"),
    "km": (r"odometer|odo|km[\s-]?stand|kilometerstand|kilom[eé]trage|kilometraje", r"km|meter"),
}
_LINK = r"(?:readings?|reads?|at|is|now|was|shows?|showing|says|stand|on|:|=|-|@|\s)*"
# in the same clause some signs before, or right before, the figure is an interval or labour
_NOT_A_READING = re.compile(
    r"\b(?:(?:every|each|good for|lasts?|lasted|next|due|interval|again|prices?|priced|schedule\w*"
    r"|recommend\w*|warranty|guarantee\w*|labou?r|bench|alle|jede\w*|f[aä]llig|n[aä]chste\w*"
    r"|arbeit\w*|lohn|chaque|tous les|toutes les|prochaine?|main d.?\s?(?:oeuvre|œuvre)|cada"
    r"|pr[oó]xim[oa]|mano de obra|elke|iedere|volgende)\b[^.;,\n]{0,20}"
    r"|(?:after|since|within|another|per|until|by|for|ran|run|over|than|nach|bis|apr[eè]s"
    r"|despu[eé]s de|na|overhaul)\b(?:\s*(?:about|approx\.?|some|another|only|ca\.?|env\.?))?\s*)$"
)
_NOT_AFTER = re.compile(
    r"\s*(?:-\s*)?(?:of\s+)?(?:labou?r|bench|work\b|service\b|interval|ago|later|old\b|warranty|life"
    r"|since|between|arbeit|alt\b|wartung|intervall|main d|mano de|garant\w+|onderhoud|per\b|/)"
)
_ON_THE_METER = (
    r"\s*(?:on|auf|au|en|op|sur|per)\s+(?:(?:the|its|der|dem|le|la|el|de|het)\s+)?"
    r"(?:clock|meter|hour[\s-]?meter|odo(?:meter)?|machine|unit|uhr|z[aä]hler|compteur"
    r"|hor[oó]metro|teller|maschine)\b"
)
# what is told to be done at a round figure is an interval; "replaced at" is a reading
_TOLD = re.compile(r"\b(?:replace|change|service|inspect|check|clean|wechseln|tauschen)\b[^.;\n]*$")
_ROUND = 50.0
# a unit that makes the number something else
_OTHER_UNIT = re.compile(
    r"-?[a-zµωΩ]|,\d|\s*[%€$£°\"/*]|\s*-?(?:k|ohms?|kohms?|v|volts?|mv|mm|cm|rpm|psi|k?pa|bar|amps?|a|w"
    r"|kw|hp|nm|ft|kg|lbs?|l|ltrs?|usd|eur|gbp|chf|euros?|dollars?|ea|each|pcs?|x|mins?|minutes?|sec"
    r"|days?|weeks?|months?|miles|km|cc|c|f|hz|h|hrs?|hours?|std|stunden|heures?|horas?|uren)\b",
    re.I,
)
_HIGHEST = 500_000.0


@cache
def _hint(meter_unit: str) -> re.Pattern[str]:
    """What every text with a meter reading has; most texts have none, and are done with it."""
    sure, likely = _METERS[meter_unit]
    return re.compile(rf"@|\d\s*{_UNITS[meter_unit]}|{sure}|{likely}")


@cache
def _patterns(meter_unit: str) -> tuple[re.Pattern[str], ...]:
    unit = _UNITS[meter_unit] + r"\b\.?"
    sure, likely = _METERS[meter_unit]
    at = r"(?:@|\bat|\bbei|\bà|\ba las|\bbij)\s*"
    return (
        re.compile(rf"(?P<at>{at}){_NUMBER}\s*(?P<u>{unit})"),
        re.compile(rf"(?<![\w.,]){_NUMBER}\s*(?P<u>{unit}){_ON_THE_METER}"),
        re.compile(rf"(?<!\w)(?:{sure})\.?{_LINK}{_NUMBER}(?:\s*(?P<u>{unit}))?"),
        re.compile(rf"(?<!\w)(?:{likely})\.?{_LINK}(?P<long>){_NUMBER}(?:\s*(?P<u>{unit}))?"),
        re.compile(rf"(?:^|[;|\n.,]\s*)(?P<alone>){_NUMBER}\s*(?P<u>{unit})\s*(?=$|[;|\n,])"),
        re.compile(rf"(?P<bare>@)\s*{_NUMBER}(?![\d.,])"),
    )


def meter_in_text(text: str, meter_unit: str) -> tuple[float, ...]:
    """Unlike meter readings a text states, in the fleet's meter unit.

    Parameters
    ----------
    text : str
    meter_unit : str
        ``hours``, ``miles`` or ``km``; of starts no text is read.

    Examples
    --------
    >>> meter_in_text("@ 6369 hrs", "hours"), meter_in_text("every 100 h", "hours")
    ((6369.0,), ())
    """
    if meter_unit not in _UNITS:
        return ()
    low = text.casefold()
    if not _hint(meter_unit).search(low):
        return ()
    found: dict[int, float] = {}
    for pattern in _patterns(meter_unit):
        for match in pattern.finditer(low):
            if match.start("n") not in found and _is_reading(low, match):
                found[match.start("n")] = _value(match["n"])
    return tuple(sorted(set(found.values())))


def _is_reading(low: str, match: re.Match[str]) -> bool:
    groups = match.groupdict()
    value = _value(match["n"])
    n_digits = len(str(int(value)))
    rest = low[match.end() :]
    if not 0 < value <= _HIGHEST or _NOT_AFTER.match(rest):
        return False
    clause = low[: match.start()]
    if _NOT_A_READING.search(clause) or _NOT_A_READING.search(low[: match.start("n")]):
        return False
    if value % _ROUND == 0 and "at" in groups and _TOLD.search(clause):
        return False
    if not groups.get("u") and _OTHER_UNIT.match(rest):
        return False
    if "alone" in groups:
        return n_digits >= 4  # fewer may be hours of labour, or a service of so many hours
    if "long" in groups:
        return n_digits >= 3
    if "bare" in groups:  # "2 @ 19.55" and "3 @ 120" are prices
        priced = re.search(r"[\d)]\s*(?:[a-z]{1,5}\.?\s*)?$", clause)
        return n_digits >= 3 and value == int(value) and not priced
    return True


def _value(text: str) -> float:
    groups = re.fullmatch(r"(\d{1,3}(?:[.,' ]\d{3})+)(?:[.,](\d{1,2}))?", text)
    if groups:
        whole = re.sub(r"\D", "", groups[1])
        return float(f"{whole}.{groups[2] or 0}")
    return float(text.replace(",", "."))
