"""What can be measured on each component: from the tasks of the components and quantities.toml."""

import re
import tomllib
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any

from dutylife.coding.matching import folded
from dutylife.components import Component, Task
from dutylife.intake.measures import kind_of

_SPELLED = {"ohm": "Ohm", "kohm": "kOhm", "mohm": "MOhm"}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A quantity measured on a component: its kind, the unit it is kept in, its words.

    ``task`` is the components' own task where there is one: it holds nominal value and limit.
    """

    component: str
    name: str
    kind: str
    unit: str
    task: Task
    words: re.Pattern[str] | None = None
    names_it: re.Pattern[str] | None = None
    positions: tuple[str, ...] = ()


@cache
def _listed() -> tuple[dict[str, Any], ...]:
    text = (
        resources.files("dutylife.coding.readings").joinpath("quantities.toml").read_text("utf-8")
    )
    return tuple(tomllib.loads(text)["quantity"])


def quantities_of(components: dict[str, Component]) -> dict[str, tuple[Quantity, ...]]:
    """Quantities of each component; of two with one name in components.toml the first stands."""
    out: dict[str, dict[str, Quantity]] = {}
    for component in components.values():
        for task in component.tasks:
            unit = _SPELLED.get(task.unit.lower(), task.unit)
            kind = "pressure" if unit == "in H2O" else kind_of(unit) if unit else None
            if kind is not None:
                own = out.setdefault(component.name, {})
                own.setdefault(
                    task.measurement, Quantity(component.name, task.measurement, kind, unit, task)
                )
    for entry in _listed():
        name, measurement = entry["component"], entry["measurement"]
        if name not in components:
            continue
        kind = kind_of(entry["unit"])
        if kind is None:
            raise ValueError(f"quantities.toml: {entry['unit']} is no unit of a reading")
        task = Task(task="measure", action="", measurement=measurement, unit=entry["unit"])
        own = out.setdefault(name, {})
        base = own.get(measurement, Quantity(name, measurement, kind, entry["unit"], task))
        own[measurement] = replace(
            base,
            words=_any_of(entry["words"]),
            names_it=_any_of(entry["names_it"]),
            positions=tuple(entry.get("positions", ())),
        )
    return {name: tuple(own.values()) for name, own in out.items()}


def _any_of(words: list[str]) -> re.Pattern[str] | None:
    if not words:
        return None
    longest_first = sorted(map(folded, words), key=lambda w: (-len(w), w))
    return re.compile(r"(?<![\w-])(?:" + "|".join(map(re.escape, longest_first)) + r")(?![\w])")
