"""The practice fleet's whole scenario: read, merged and checked; all of it invented."""

import difflib
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, ValidationError, model_validator

from dutylife.components import shipped_components
from dutylife.errors import SettingsError
from dutylife.practice.sections import (
    Announced,
    Arrivals,
    Buyer,
    DutyPlace,
    EarlyBatch,
    Engine,
    Law,
    MachineClass,
    MeterFaults,
    OtherPart,
    Plan,
    Record,
    ScheduledAge,
    SecondMode,
    Section,
    Share,
    Shelf,
    Shop,
    Shotgun,
    Spread,
    Stated,
    Visits,
)


class Scenario(Section):
    """The whole scenario; every name used is declared."""

    record: Record
    visits: Visits
    shop: Shop
    service: dict[str, Share]
    opportunistic: dict[str, dict[str, Share]]
    duties: dict[str, DutyPlace]
    customers: dict[str, Buyer]
    classes: dict[str, MachineClass]
    engines: dict[str, Engine]
    components: dict[str, Law]
    other_parts: dict[str, OtherPart] = {}
    shelf: Shelf = Shelf()
    laws: Literal["stated", "drawn"] = "stated"
    difficulties: dict[str, Share] = Field(default_factory=dict)
    meter_faults: MeterFaults
    shotgun: Shotgun
    second_mode: SecondMode
    early_batch: EarlyBatch
    spread: Spread
    announced: Announced
    arrivals: Arrivals = Arrivals()
    plan: Plan
    schedule: dict[str, ScheduledAge] = {}
    stated: Stated

    @model_validator(mode="after")
    def _names_are_declared(self) -> "Scenario":
        faults = [*self._wrong_names(), *self._missing_numbers()]
        if faults:
            raise ValueError("; ".join(faults))
        return self

    def _wrong_names(self) -> list[str]:
        uses: list[tuple[str, str, Any]] = [
            *((f'customers."{n}".duty', c.duty, self.duties) for n, c in self.customers.items()),
            *((f'classes."{n}".engine', c.engine, self.engines) for n, c in self.classes.items()),
            *((f'components."{n}"', n, shipped_components()) for n in self.components),
            *((f'service."{n}"', n, self.components) for n in self.service),
        ]
        for name, machine in self.classes.items():
            uses += [(f'classes."{name}".driven', n, self.components) for n in machine.driven]
        for name, place in self.duties.items():
            uses += [(f'duties."{name}".classes', n, self.classes) for n in place.classes]
        for name, law in self.components.items():
            uses += [(f'components."{name}".factor', n, self.duties) for n in law.factor]
        for name, others in self.opportunistic.items():
            key = f'opportunistic."{name}"'
            uses += [(key, n, self.components) for n in (name, *others)]
        uses += [
            ("early_batch.components", n, self.components) for n in self.early_batch.components
        ]
        uses += [(f'plan.ages."{n}"', n, self.components) for n in self.plan.ages]
        uses += [(f'schedule."{n}"', n, self.components) for n in self.schedule]
        for group in self.shotgun.groups:
            uses += [("shotgun.groups", n, self.components) for n in group]
        for name, engine in self.engines.items():
            if engine.oil_part:
                uses.append((f'engines."{name}".oil_part', engine.oil_part, self.other_parts))
        faults = [
            f"{key} names '{given}', which is not declared{_nearest(given, known)}"
            for key, given, known in uses
            if given not in known
        ]
        unused = [d for d in self.duties if d not in {c.duty for c in self.customers.values()}]
        return faults + [f'duties."{d}" has no customer' for d in unused]

    def _missing_numbers(self) -> list[str]:
        wants: dict[str, set[str]] = {name: set() for name in self.components}
        for name, machine in self.classes.items():
            for component in self.components_of(name):
                own = self.components.get(component)
                if own is not None:
                    wants[component].add(machine.engine if own.on_engine else name)
        return [
            f"components.\"{component}\".part_numbers lacks '{key}'"
            for component, keys in wants.items()
            for key in sorted(keys - self.components[component].part_numbers.keys())
        ]

    def components_of(self, equipment_class: str) -> list[str]:
        """Return the components of a machine: the engine's, then the driven end's."""
        engine = [name for name, law in self.components.items() if law.on_engine]
        return engine + self.classes[equipment_class].driven

    def part_number(self, component: str, equipment_class: str) -> str:
        """Part number of a component on a class of machine."""
        law = self.components[component]
        key = self.classes[equipment_class].engine if law.on_engine else equipment_class
        return law.part_numbers[key]

    def clock(self, component: str) -> str:
        """Clock the component wears on, as components.toml has it: hours or days."""
        return "hours" if shipped_components()[component].clock == "hours" else "days"


def read_scenario(settings_file: Path | None = None) -> Scenario:
    """Read the shipped scenario, with the keys of a file of the same form put over it.

    Parameters
    ----------
    settings_file : Path, optional
        TOML with any of the keys of scenario.toml; tables are merged, other values replaced.

    Raises
    ------
    SettingsError
        The file is missing, is no TOML, or breaks a rule; every fault in one message.
    """
    text = resources.files("dutylife.practice").joinpath("scenario.toml").read_text("utf-8")
    data: dict[str, Any] = tomllib.loads(text)
    where = "practice/scenario.toml"
    if settings_file is not None:
        where = settings_file.name
        if not settings_file.is_file():
            raise SettingsError(
                "The practice settings file does not exist.", str(settings_file), "check the path"
            )
        try:
            own = tomllib.loads(settings_file.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise SettingsError(
                f"The practice settings file is not readable TOML: {error}.",
                str(settings_file),
                "correct that line",
            ) from error
        data = _merged(data, own)
    try:
        return Scenario(**data)
    except ValidationError as error:
        faults = [_fault(e) for e in error.errors()]
        what = f"{len(faults)} fault{'s' if len(faults) > 1 else ''} in the practice settings."
        raise SettingsError(
            what, f"{where}: " + "; ".join(faults), "correct these keys; see practice/scenario.toml"
        ) from error


def _merged(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    out = dict(base)
    for key, value in over.items():
        both = isinstance(value, dict) and isinstance(out.get(key), dict)
        out[key] = _merged(out[key], value) if both else value
    return out


def _fault(error: Any) -> str:
    key = ".".join(str(part) for part in error["loc"])
    if error["type"] == "extra_forbidden":
        return f"{key}: unknown key"
    message: str = error["msg"].removeprefix("Value error, ")
    given = error.get("input")
    shown = "" if isinstance(given, (dict, list)) else f" (given: {given!r})"
    return (f"{key}: " if key else "") + message[0].lower() + message[1:] + shown


def _nearest(word: str, among: Any) -> str:
    near = difflib.get_close_matches(word, list(among), n=1, cutoff=0.5)
    return f"; did you mean '{near[0]}'?" if near else "; declared: " + ", ".join(list(among)[:12])
