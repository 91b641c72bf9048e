"""The practice fleet's scenario, typed: laws, duties, classes, customers, parts; all invented."""

import datetime as dt
import difflib
import tomllib
from importlib import resources
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from dutylife.components import shipped_components
from dutylife.errors import SettingsError

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Record(_Part):
    """``[record]``: the fleet's name, the record's end, presence, use and meters."""

    name: str
    currency: str
    as_of: dt.date
    future_months: Annotated[int, Field(ge=0)]
    history_years: NotNegative
    share_before_record: Share
    leaving_per_year: NotNegative
    share_leaving_known: Share
    share_never_in: Share
    share_in_service_known: Share
    use_spread: NotNegative
    use_wobble: NotNegative
    share_without_meter: Share
    share_meter_missing: Share


class Visits(_Part):
    """``[visits]``: what brings a machine or a customer in, and how it is typed."""

    arrival_days_at_most: Annotated[int, Field(ge=0)]
    comeback_share: Share
    checks_per_year: NotNegative
    other_per_year: NotNegative
    service_days: Positive
    service_attendance: Share
    renew_after_days: NotNegative
    counter_per_week_per_100: NotNegative
    counter_per_week_least: NotNegative
    return_share: Share
    vague_share: Share
    blank_share: Share
    no_number_share: Share
    fee_share: Share


class Shop(_Part):
    """``[shop]``: rates, and the terms of stock."""

    hours_per_week: Positive
    labour_rate: Positive
    visit_cost: NotNegative
    lost_day_cost: NotNegative
    lead_time_days: NotNegative
    review_days: NotNegative
    service_level: Annotated[float, Field(gt=0, lt=1)]
    holding_rate: NotNegative
    order_cost: NotNegative


class DutyPlace(_Part):
    """``[duties."NAME"]``: running hours a week, months' factors, what machines work there."""

    hours_per_week: Positive
    severe: bool = False
    season: Annotated[list[Positive], Field(min_length=12, max_length=12)] = [1.0] * 12
    classes: dict[str, Positive]


class Buyer(_Part):
    """``[customers."NAME"]``."""

    duty: str
    weight: Positive = 1.0
    serviced: bool = False


class MachineClass(_Part):
    """``[classes."NAME"]``: letters of the unit's name, engine, parts of the driven end."""

    prefix: str
    engine: str
    driven: list[str] = []


class Engine(_Part):
    """``[engines."NAME"]``: ``oil_part`` is filled where the engine has an oil of its own."""

    oil_part: str = ""


class Law(_Part):
    """``[components."NAME"]``: true Weibull law by duty, and the part's money and numbers."""

    on_engine: bool = False
    shape: Positive
    scale: Positive
    factor: dict[str, Positive] = {}
    clean_share: Share = 0.0
    price: Positive
    unit_cost: Positive
    labour_hours: Positive
    lost_days: NotNegative
    quantity: Annotated[int, Field(ge=1)] = 1
    supplier: str
    lead_time_days: NotNegative | None = None
    pack_size: Annotated[int, Field(ge=1)] = 1
    part_numbers: dict[str, str]

    def scale_in(self, duty: str) -> float:
        """Characteristic life in a duty, on the component's own clock."""
        return self.scale * self.factor.get(duty, 1.0)


class OtherPart(_Part):
    """``[other_parts."PART-NO"]``: sold beside the components with laws."""

    description: str
    component: str
    price: Positive
    unit_cost: Positive
    supplier: str
    pack_size: Annotated[int, Field(ge=1)] = 1


class Shelf(_Part):
    """``[shelf]``: gaps of the list of parts."""

    not_listed: list[str] = []
    count_unknown: list[str] = []


class Scenario(_Part):
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
