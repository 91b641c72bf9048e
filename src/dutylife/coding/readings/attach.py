"""Each measured value to its component and quantity: the nearest mention that is measured so."""

from collections.abc import Iterable
from typing import NamedTuple

from dutylife.coding.lexicon import AMBIGUOUS
from dutylife.coding.matching import clause_breaks, folded
from dutylife.coding.readings.context import (
    Segment,
    is_no_reading,
    is_rating,
    moment_of,
    position_of,
    touches,
)
from dutylife.coding.readings.limits import is_rejected, nominal_figures
from dutylife.coding.readings.quantities import Quantity, quantities_of
from dutylife.coding.texts import TextReader
from dutylife.components import Component
from dutylife.intake.measures import Measure, bare_numbers, find_measures, in_unit

_NEAR = 60  # signs between a component and its reading at most, in one clause
_NEAR_EARLIER, _NEAR_LATER = 45, 30  # and over the end of a clause
_NEAR_OPEN = 20
_OTHER_CLAUSE, _LATER_CLAUSE = 100, 200
_TOO_LONG = 20.0  # a length that many times the nominal one is the size of something else


class Value(NamedTuple):
    """A reading in a text.

    ``value`` is the middle of a range and, over range, the instrument's range (None where it is
    not told); ``moment`` is "as found" or "as left"; ``is_over_limit`` speaks of what was found.
    A word that two components share gives a value for each, ambiguous until the job settles it.
    """

    component: str
    quantity: str
    value: float | None
    unit: str
    over_range: bool
    is_over_limit: bool
    position: str = ""
    moment: str = "as found"
    value_lower: float | None = None
    value_upper: float | None = None
    reading_number: int = 1
    is_ambiguous: bool = False


class _Place(NamedTuple):
    start: int
    end: int
    clause: int
    names: tuple[str, ...]
    quantity: Quantity | None = None


class _Hit(NamedTuple):
    cost: float
    place: _Place
    quantity: Quantity
    others: tuple[Quantity, ...] = ()


def text_readings(
    texts: Iterable[str], reader: TextReader, components: dict[str, Component]
) -> dict[str, list[Value]]:
    """Readings of each text, in order of mention.

    A number belongs to the nearest component in its clause that is measured in that kind of unit
    (else in the clause before, else after), or to the component its quantity names by itself
    ("compression 6 bar"). "Was 18k, new 5k" is a reading as found and one as left.
    """
    quantities = quantities_of(components)
    return {t: _readings(t, reader, quantities) for t in texts}


def _readings(
    text: str, reader: TextReader, quantities: dict[str, tuple[Quantity, ...]]
) -> list[Value]:
    low = folded(text)
    every = find_measures(low)
    bare = bare_numbers(low, every)
    measures = [m for m in every if not is_no_reading(low, m)]
    if not measures and not bare:
        return []
    breaks = clause_breaks(low)
    places = _places(text, low, reader, quantities, breaks)
    found: list[Value] = []
    before: tuple[Measure, _Hit, str] | None = None
    for measure in sorted([*measures, *bare]):
        hit = _nearest(low, measure, places, quantities, breaks)
        if hit is None:
            continue
        fitted = _in_its_unit(measure, hit.quantity) if not measure.kind else measure
        if fitted is None or (fitted.is_weak and hit.quantity.names_it is None):
            continue
        if _is_other_thing(low, fitted, hit):
            continue
        last_end = before[0].end if before else 0
        segment = Segment(low, _start_of(hit, measure, last_end, breaks), measure, last_end)
        is_over = _is_over(fitted, _converted(fitted, hit.quantity)[0], hit.quantity)
        spans = [(p.start, p.end) for p in places if p.quantity is None]
        moment = moment_of(segment, spans, is_over)
        if not moment:
            moment = _moment_after(before, hit, measure)
        position = position_of(segment, hit.quantity.positions, measure.order)
        before = (measure, hit, moment)
        moment = moment.removesuffix(", said")
        for quantity in (hit.quantity, *hit.others):
            value, lower, upper = _converted(fitted, quantity)
            is_beyond = _is_over(fitted, value, quantity) and moment == "as found"
            found.append(
                Value(
                    quantity.component, quantity.name, value, quantity.unit, fitted.over_range,
                    is_beyond, position, moment, lower, upper, is_ambiguous=bool(hit.others),
                )
            )  # fmt: skip
    return _numbered(found)


def _moment_after(before: tuple[Measure, _Hit, str] | None, hit: _Hit, measure: Measure) -> str:
    """Moment of a value of which nothing is said: that of its list, or what follows "was 18k"."""
    if before is None or before[1].quantity != hit.quantity:
        return "as found"
    if measure.order > 1:
        return before[2]
    return "as left" if before[2] == "as found, said" else "as found"


def _places(
    text: str, low: str, reader: TextReader, quantities: dict[str, tuple[Quantity, ...]],
    breaks: list[int],
) -> list[_Place]:  # fmt: skip
    """Where components stand, and where a quantity's own words name one."""
    out = []
    for start, end, name in reader.component_places(text):
        names = tuple(name.removeprefix(AMBIGUOUS).split("|"))
        out.append(_Place(start, end, _clause(start, breaks), names))
    for quantity in (q for own in quantities.values() for q in own if q.names_it):
        for match in quantity.names_it.finditer(low):  # type: ignore[union-attr]
            clause = _clause(match.start(), breaks)
            out.append(_Place(match.start(), match.end(), clause, (quantity.component,), quantity))
    return out


def _clause(at: int, breaks: list[int]) -> int:
    return sum(1 for b in breaks if b <= at)


def _nearest(
    low: str, measure: Measure, places: list[_Place],
    quantities: dict[str, tuple[Quantity, ...]], breaks: list[int],
) -> _Hit | None:  # fmt: skip
    clause = _clause(measure.start, breaks)
    hits: list[_Hit] = []
    is_spoken_for = False
    for place in places:
        is_after = place.start >= measure.end
        gap = place.start - measure.end if is_after else measure.start - place.end
        if gap < 0 and not (place.quantity and place.start < measure.end):
            continue
        gap = max(gap, 0)
        fitting = _quantities_at(low, place, measure, quantities, breaks)
        if not fitting:
            named = place.clause == clause and not is_after and place.quantity is None
            is_spoken_for |= named and gap <= _NEAR
            continue
        cost: float = gap
        if is_after:
            cost = -1 if touches(low, measure, place.start) else gap + 3
        if place.clause == clause:
            near = _NEAR
        else:
            near = _NEAR_LATER if is_after else _NEAR_EARLIER
            if measure.value is None:  # "open circuit" may be said of anything
                near = _NEAR_OPEN
            cost += _LATER_CLAUSE if is_after else _OTHER_CLAUSE
        if gap <= near:
            # of a component and its quantity's own words at one place the words decide
            # the longer name wins: "high idle" before "idle"
            cost -= 0.5 + 0.01 * (place.end - place.start) if place.quantity else 0.0
            hits.append(_Hit(cost, place, fitting[0], tuple(fitting[1:])))
    hits = [h for h in hits if h.cost < _OTHER_CLAUSE / 2 or not is_spoken_for]
    return min(hits, key=lambda h: (h.cost, h.quantity.component), default=None)


def _quantities_at(
    low: str, place: _Place, measure: Measure, quantities: dict[str, tuple[Quantity, ...]],
    breaks: list[int],
) -> list[Quantity]:  # fmt: skip
    """What is measured at a place in the measure's kind of unit; one for each component meant."""
    if place.quantity is not None:
        return [place.quantity] if measure.kind in ("", place.quantity.kind) else []
    if not measure.kind:
        return []
    start = max((b for b in breaks if b <= min(place.start, measure.start)), default=0)
    around = low[start : max(measure.end, place.end) + 25]
    out = []
    for name in place.names:
        own = [q for q in quantities.get(name, ()) if q.kind == measure.kind]
        at = measure.start - start
        told = [
            (abs(match.start() - at), place, q)
            for place, q in enumerate(own) if q.words
            for match in q.words.finditer(around)
        ]  # fmt: skip
        out += [min(told)[2]] if told else own[:1]
    return out


def _is_other_thing(low: str, measure: Measure, hit: _Hit) -> bool:
    """Whether the number is the size or marking of a part, not a reading of it."""
    nominal = nominal_figures(hit.quantity.task)
    if measure.value is not None and hit.quantity.kind == "length" and nominal:
        value = in_unit(measure.value, measure.kind, hit.quantity.unit)
        if value > _TOO_LONG * max(nominal):
            return True
    following = hit.place.start if hit.place.start >= measure.end else None
    return is_rating(
        low, measure, following, nominal, hit.quantity.unit,
        names_quantity=hit.place.quantity is not None,
    )  # fmt: skip


def _in_its_unit(measure: Measure, quantity: Quantity) -> Measure | None:
    """A bare number read in the one unit in which it lies near the nominal value; else None."""
    nominal = nominal_figures(quantity.task)
    units = {"length": ("mm", "in", "thou"), "pressure": ("bar", "psi", "kpa")}.get(quantity.kind)
    if not nominal or units is None or measure.value is None:
        return None
    fits = []
    for unit in units:
        single = find_measures(f"{measure.figures} {unit}")
        if len(single) == 1 and single[0].value is not None:
            value = in_unit(single[0].value, quantity.kind, quantity.unit)
            if min(nominal) / 3 <= value <= 2.5 * max(nominal):
                fits.append(single[0])
    if len(fits) != 1:
        return None
    return fits[0]._replace(start=measure.start, end=measure.end, order=measure.order)


def _start_of(hit: _Hit, measure: Measure, last_end: int, breaks: list[int]) -> int:
    """Where what is said of a value begins: its component's clause, or the value before it."""
    first = min(hit.place.start, measure.start)
    clause_start = max((b for b in breaks if b <= first), default=0)
    return max(clause_start, last_end)


def _converted(
    measure: Measure, quantity: Quantity
) -> tuple[float | None, float | None, float | None]:
    out = [
        None if v is None else in_unit(v, measure.kind, quantity.unit)
        for v in (measure.value, measure.lower, measure.upper)
    ]
    return out[0], out[1], out[2]


def _is_over(measure: Measure, value: float | None, quantity: Quantity) -> bool:
    """Whether the value says that the part is beyond its limit."""
    task = quantity.task
    if not measure.over_range:
        return value is not None and is_rejected(value, task)
    if quantity.unit == "MOhm":  # insulation: the more the better
        return False
    if value is None:
        return bool(task.reject_limit) or quantity.kind == "resistance"
    # above the instrument's range tells something only where the range reaches to the limit
    nominal = nominal_figures(task)
    return bool(nominal) and value > max(nominal) and is_rejected(value, task)


def _numbered(found: list[Value]) -> list[Value]:
    """Readings of one quantity at one place and moment counted; the same one twice is one."""
    out: list[Value] = []
    counts: dict[tuple[str, str, str, str], int] = {}
    for value in found:
        if any(v._replace(reading_number=1) == value for v in out):
            continue
        key = (value.component, value.quantity, value.position, value.moment)
        counts[key] = counts.get(key, 0) + 1
        out.append(value._replace(reading_number=counts[key]))
    return out
