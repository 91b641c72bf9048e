"""Measured values in work texts: a number with a unit beside a component that is measured in it."""

import re
from collections.abc import Iterable
from typing import Any, NamedTuple

from dutylife.coding.matching import folded
from dutylife.coding.texts import TextReader
from dutylife.components import Component, Task

_NUMBER = r"(?P<value>\d+(?:[.,]\d+)?)"
# unit as typed -> unit as stored and the factor to it
_UNITS: dict[str, tuple[str, float]] = {
    "kohm": ("kOhm", 1.0), "kohms": ("kOhm", 1.0), "k ohm": ("kOhm", 1.0), "k ohms": ("kOhm", 1.0),
    "k": ("kOhm", 1.0), "k\u03c9": ("kOhm", 1.0), "ohm": ("Ohm", 1.0), "ohms": ("Ohm", 1.0),
    "\u03c9": ("Ohm", 1.0), "mohm": ("MOhm", 1.0), "megohm": ("MOhm", 1.0), "meg": ("MOhm", 1.0),
    "megohms": ("MOhm", 1.0), "mm": ("mm", 1.0), "v": ("V", 1.0), "volt": ("V", 1.0),
    "volts": ("V", 1.0), "kpa": ("kPa", 1.0), "bar": ("kPa", 100.0), "psi": ("kPa", 6.894757),
    "in h2o": ("in H2O", 1.0), "inh2o": ("in H2O", 1.0), "rpm": ("rpm", 1.0), "c": ("C", 1.0),
}  # fmt: skip
_TO = {("Ohm", "kOhm"): 1e-3, ("kOhm", "Ohm"): 1e3, ("MOhm", "kOhm"): 1e3, ("kOhm", "MOhm"): 1e-3}
_SPELLED = {"ohm": "Ohm", "kohm": "kOhm", "mohm": "MOhm"}
_LONGEST_FIRST = "|".join(sorted(map(re.escape, _UNITS), key=lambda u: (-len(u), u)))
_MEASURE = re.compile(rf"(?<![\w.,]){_NUMBER}\s?-?(?P<unit>{_LONGEST_FIRST})(?![a-z0-9])")
_OVER = re.compile(
    r"\b(?:open circuit|open circ|reads open|o\.l\.?|over range|infinite|infinity)(?![a-z])"
)
_NEAR = 60  # signs between a component and its reading at most


class Value(NamedTuple):
    """A reading in a text."""

    component: str
    quantity: str
    value: float | None
    unit: str
    over_range: bool
    is_over_limit: bool


def text_readings(
    texts: Iterable[str], reader: TextReader, components: dict[str, Component]
) -> dict[str, list[Value]]:
    """Readings of each text; the first of a quantity of a component stands.

    A number belongs to the nearest component before it (else after it) that has a task measured
    in that kind of unit; "open" and "O.L." are readings over range of what is measured in ohms.
    """
    return {t: _readings(t, reader, components) for t in texts}


def _readings(text: str, reader: TextReader, components: dict[str, Component]) -> list[Value]:
    low = folded(text)
    measures = [m for m in _MEASURE.finditer(low)]
    overs = list(_OVER.finditer(low))
    if not measures and not overs:
        return []
    places = reader.component_places(text)
    found: dict[tuple[str, str], Value] = {}
    for match in measures:
        unit, factor = _UNITS[match["unit"]]
        value = float(match["value"].replace(",", ".")) * factor
        hit = _nearest(places, match.start(), match.end(), unit, components)
        if hit:
            component, task, to_unit = hit
            value = round(value * to_unit, 6)
            stored = _SPELLED.get(task.unit.lower(), task.unit)
            found.setdefault(
                (component, task.measurement),
                Value(component, task.measurement, value, stored, False, is_rejected(value, task)),
            )
    for match in overs:
        hit = _nearest(places, match.start(), match.end(), "kOhm", components)
        if hit:
            component, task, _ = hit
            stored = _SPELLED.get(task.unit.lower(), task.unit)
            found.setdefault(
                (component, task.measurement),
                Value(component, task.measurement, None, stored, True, True),
            )
    return list(found.values())


def _nearest(
    places: list[tuple[int, int, str]], start: int, end: int, unit: str,
    components: dict[str, Component],
) -> tuple[str, Task, float] | None:  # fmt: skip
    fits: list[tuple[int, int, str, Task, float]] = []
    for first, last, name in places:
        measured = _measured_in(components.get(name), unit)
        if not measured:
            continue
        is_after = first >= end
        gap = first - end if is_after else start - last
        if gap <= _NEAR:
            fits.append((int(is_after), gap, name, *measured))
    if not fits:
        return None
    best = min(fits, key=lambda f: f[:3])
    return best[2], best[3], best[4]


def _measured_in(component: Component | None, unit: str) -> tuple[Task, float] | None:
    for task in component.tasks if component else ():
        theirs = _SPELLED.get(task.unit.lower(), task.unit)
        if theirs == unit:
            return task, 1.0
        if (unit, theirs) in _TO:
            return task, _TO[unit, theirs]
    return None


def is_rejected(value: float, task: Task) -> bool:
    """Whether a reading lies beyond a task's reject limit; False where the limit is no number.

    Understood are ``>15``, ``<=5``, ``outside 0.6-0.9`` and, with a nominal of one or more
    figures, ``+/-25 %``; ranges of two models ("6-15 (model)") are not.
    """
    limit = task.reject_limit
    share = re.search(r"\+/-\s?(\d+)\s?%", limit)
    if share:
        nominal = [float(n) for n in re.findall(r"\d+(?:\.\d+)?", task.nominal)]
        part = float(share[1]) / 100
        return bool(nominal) and not any(n * (1 - part) <= value <= n * (1 + part) for n in nominal)
    outside = re.match(r"outside (\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)", limit)
    if outside:
        return not float(outside[1]) <= value <= float(outside[2])
    for sign, text in re.findall(r"([<>]=?)\s?(\d+(?:\.\d+)?)(?!\S*[\d%])", limit)[:1]:
        edge = float(text)
        return {
            ">": value > edge, ">=": value >= edge, "<": value < edge, "<=": value <= edge
        }[sign]  # fmt: skip
    return False


def reading_rows(
    lines: Iterable[tuple[str, str, Any, str]], values: dict[str, list[Value]]
) -> list[dict[str, Any]]:
    """Rows of the readings table: for each (text, unit_id, date, line_id) what its text holds."""
    return [
        {
            "unit_id": unit_id, "component": v.component, "read_on": date, "quantity": v.quantity,
            "value": v.value, "unit": v.unit, "over_range": v.over_range, "line_id": line_id,
        }
        for text, unit_id, date, line_id in lines for v in values.get(text, [])
    ]  # fmt: skip
