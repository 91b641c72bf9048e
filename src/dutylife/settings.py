"""The run's settings file (TOML), typed: every fault at once, the nearest key named."""

import datetime as dt
import difflib
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from dutylife.errors import SettingsError
from dutylife.vocabulary import COLUMNS

Money = Annotated[float, Field(ge=0)]
Positive = Annotated[float, Field(gt=0)]
Share = Annotated[float, Field(gt=0, lt=1)]
Number = Annotated[int, Field(ge=1, le=48)]
KINDS = (
    "lines", "machines", "roster", "parts", "stock", "kits", "aliases", "readings", "contracts",
)  # fmt: skip
# keys of the contract that are read and checked, but that no stage acts on yet
NO_EFFECT_YET = (
    "plan.from", "report.customer",
    "compute.workers", "compute.memory_limit", "compute.scheduler", "customers.*.blackout_weeks",
    "stock.*.shelf_life_days",
)  # fmt: skip


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


S = TypeVar("S", bound="_Section")


class Fleet(_Section):
    """``[fleet]``: name, last day of the record, currency, meter unit."""

    name: str = "fleet"
    as_of: dt.date | None = None
    currency: str = ""
    meter_unit: Literal["hours", "miles", "km", "starts"] = "hours"
    hours_per_week: Positive | None = None


class SourceColumn(_Section):
    """A column of the export, with the unit its numbers are in where it is not the fleet's."""

    column: str
    unit: str = ""


class Join(_Section):
    """``[[exports.join]]``: a table whose rows belong to this one's by keys both have.

    ``left`` names the key columns of the export (or of a table joined before), ``right`` those of
    the joined table; without ``path`` it is in the same file.
    """

    path: str = ""
    sheet: str = ""
    member: str = ""
    header_row: Annotated[int, Field(ge=0)] = 0
    fill_down: bool = False
    left: str | list[str]
    right: str | list[str]

    @property
    def keys(self) -> list[tuple[str, str]]:
        """Pairs of key columns, left and right."""
        left = [self.left] if isinstance(self.left, str) else self.left
        right = [self.right] if isinstance(self.right, str) else self.right
        return list(zip(left, right, strict=True))

    @model_validator(mode="after")
    def _as_many_left_as_right(self) -> "Join":
        n_left = 1 if isinstance(self.left, str) else len(self.left)
        n_right = 1 if isinstance(self.right, str) else len(self.right)
        if n_left != n_right or not n_left:
            raise ValueError("left and right must name as many columns each")
        return self


class PartsCell(_Section):
    """``parts_cell``: a column that lists all parts of a visit, and the sign between two parts.

    ``pattern`` is a regular expression over one part with the groups part_number, description,
    quantity, unit_price; without it the usual forms are read.
    """

    column: str
    separator: Annotated[str, Field(min_length=1)] = ";"
    pattern: str = ""


class Export(_Section):
    """``[[exports]]``: one file, what it holds and how its columns map to ours."""

    path: str
    kind: Literal[
        "lines", "machines", "parts", "roster", "kits", "aliases", "stock", "readings", "contracts"
    ] = "lines"
    # a key left out, blank or 0 is settled by evidence of the whole file or column
    sheet: str = ""
    member: str = ""
    header_row: Annotated[int, Field(ge=0)] = 0
    encoding: str = ""
    delimiter: Annotated[str, Field(max_length=1)] = ""
    decimal: Literal["", ".", ","] = ""
    thousands: Literal["", ".", ",", " ", "'"] = ""
    date_order: Literal["", "ymd", "dmy", "mdy"] = ""
    fill_down: bool = False
    join: list[Join] = []
    parts: list[dict[str, str]] = []
    parts_cell: PartsCell | None = None
    columns: dict[str, SourceColumn] = {}
    values: dict[str, dict[str, str]] = {}

    @model_validator(mode="before")
    @classmethod
    def _column_names(cls, data: Any) -> Any:
        """``ours = "theirs"`` is short for ``ours = {column = "theirs"}``."""
        if isinstance(data, dict) and isinstance(data.get("columns"), dict):
            named = {
                ours: {"column": theirs} if isinstance(theirs, str) else theirs
                for ours, theirs in data["columns"].items()
            }
            data = {**data, "columns": named}
        return data

    @model_validator(mode="after")
    def _ours_are_ours(self) -> "Export":
        slots = [ours for slot in self.parts for ours in slot]
        for ours in [*self.columns, *self.values, *slots]:
            if ours not in COLUMNS:
                raise ValueError(f"'{ours}' is not a column of ours{_nearest(ours, COLUMNS)}")
        return self


class CodedComponent(_Section):
    """``[coding.components."NAME"]``: what the shop adds, or a component of its own."""

    words: list[str] = []
    part_numbers: list[str] = []
    clock: Literal["hours", "days", "idle_days"] | None = None
    can_hurt: str | None = None
    maker_limit_hours: Positive | None = None
    maker_limit_days: Positive | None = None


class Coding(_Section):
    """``[coding]``: lexicon and what the text can't say."""

    lexicon: str = ""
    corrections: str = ""
    # a proposal of the text model is used from this confidence on; 1 switches proposals off
    guess_from: Annotated[float, Field(gt=0, le=1)] = 0.8
    default_reason: Literal["failure", "preventive", "opportunistic"] = "opportunistic"
    comeback_days: Annotated[int, Field(ge=0)] = 30
    merge_alternates: bool = False
    components: dict[str, CodedComponent] = {}


class Lives(_Section):
    """``[lives]``: what of the parts' lives the record can't say.

    ``first_part``: how far a first part may be taken for the machine's original one.
    ``still_there``: how long a machine that was not seen for a while counts as watched.
    ``positions``: how many of a component (short name or alias) a machine has, or by equipment
    class.
    """

    first_part: Literal["by age", "original", "unknown"] = "by age"
    still_there: Literal["by gaps", "always", "last visit"] = "by gaps"
    positions: dict[str, Number | dict[str, Number]] = {}


class Duty(_Section):
    """``[duty]``: where a machine's duty comes from; ``severe`` names the hard ones."""

    column: str = ""
    all: str = ""
    by_customer: dict[str, str] = {}
    by_unit: dict[str, str] = {}
    path: str = ""
    severe: list[str] = []


class Customer(_Section):
    """``[customers."NAME"]``."""

    duty: str = ""
    left_on: dt.date | None = None
    blackout_weeks: list[int] = []
    lost_day_cost: Money | None = None


class Workshop(_Section):
    """``[workshop]``."""

    hours_per_week: Positive | None = None
    labour_rate: Money | None = None
    visit_cost: Money | None = None


class PresentSchedule(_Section):
    """``[present_schedule."COMPONENT"]``: the schedule followed today."""

    hours: Positive | None = None
    months: Positive | None = None


class Plan(_Section):
    """``[plan]``: the maintenance the stock forecast assumes."""

    in_force: str = "as seen"
    from_: dt.date | None = Field(default=None, alias="from")


class Cost(_Section):
    """``[costs.default]`` and ``[costs."COMPONENT"]``: all-in cost of one replacement."""

    planned_cost: Money | None = None
    failure_cost: Money | None = None
    labour_hours: Money | None = None
    lost_days_per_failure: Money | None = None
    payer: Literal["contractor", "shop"] | None = None


class Stock(_Section):
    """``[stock.default]`` and ``[stock."PART-NO"]``."""

    lead_time_days: Money | None = None
    review_days: Money | None = None
    service_level: Share | None = None
    service_measure: Literal["fill rate", "ready rate"] | None = None
    unit_cost: Money | None = None
    holding_rate: Money | None = None
    order_cost: Money | None = None
    pack_size: Positive | None = None
    minimum_order: Money | None = None
    shelf_life_days: Positive | None = None
    supplier: str | None = None
    on_hand: Money | None = None
    on_order: Money | None = None


class Report(_Section):
    """``[report]``."""

    horizon_months: Annotated[int, Field(ge=1, le=36)] = 6
    confidence_level: Share = 0.90
    seed: Annotated[int, Field(ge=0)] = 20260101
    history: str = ""
    customer: str = ""


class Compute(_Section):
    """``[compute]``."""

    workers: Annotated[int, Field(ge=1)] = 1
    memory_limit: str = ""
    scheduler: str = ""


class Settings(_Section):
    """All settings of a run; ``folder`` is where relative paths start."""

    fleet: Fleet = Fleet()
    exports: list[Export] = []
    coding: Coding = Coding()
    lives: Lives = Lives()
    duty: Duty = Duty()
    customers: dict[str, Customer] = {}
    workshop: Workshop = Workshop()
    present_schedule: dict[str, PresentSchedule] = {}
    plan: Plan = Plan()
    costs: dict[str, Cost] = {}
    stock: dict[str, Stock] = {}
    report: Report = Report()
    compute: Compute = Compute()
    folder: Path = Field(default=Path(), exclude=True)
    source: str = Field(default="settings", exclude=True)

    def cost_of(self, component: str) -> Cost:
        """Costs of a component, each key from its own table, else from ``[costs.default]``."""
        return _merged(Cost, self.costs.get("default"), self.costs.get(component))

    def stock_of(self, part_number: str) -> Stock:
        """Stock terms of a part, each key from its own table, else from ``[stock.default]``."""
        return _merged(Stock, self.stock.get("default"), self.stock.get(part_number))


def _merged(kind: type[S], general: S | None, own: S | None) -> S:
    known: dict[str, Any] = {}
    for section in (general, own):
        if section is not None:
            known |= section.model_dump(exclude_none=True)
    return kind(**known)


def read_settings(path: str | Path) -> Settings:
    """Read and check a settings file.

    Parameters
    ----------
    path : str or Path
        TOML file; paths inside it are relative to its folder.

    Raises
    ------
    SettingsError
        The file is missing, is no TOML, or breaks a rule; every fault in one message.
    """
    file = Path(path)
    if not file.is_file():
        raise SettingsError("The settings file does not exist.", str(file), "check the path")
    try:
        data = tomllib.loads(file.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(
            f"The settings file is not readable TOML: {error}.", str(file), "correct that line"
        ) from error
    return settings_from(data, folder=file.resolve().parent, source=file.name)


def settings_from(data: dict[str, Any], folder: Path = Path(), source: str = "") -> Settings:
    """Check settings given as a dictionary of the same form as the file.

    Raises
    ------
    SettingsError
        Every fault at once, each with its key.
    """
    reserved = {"folder", "source"} & data.keys()
    try:
        if reserved:
            raise SettingsError(
                f"Unknown settings key '{min(reserved)}'.", source, "remove this key"
            )
        return Settings(**data, folder=folder, source=source or "settings")
    except ValidationError as error:
        faults = [_fault(e) for e in error.errors()]
        what = f"{len(faults)} fault{'s' if len(faults) > 1 else ''} in the settings."
        where = f"{source or 'settings'}: " + "; ".join(f"{key}: {why}" for key, why, _ in faults)
        mends = [mend for _, _, mend in faults if mend]
        raise SettingsError(what, where, "; ".join(dict.fromkeys(mends))) from error


def _fault(error: Any) -> tuple[str, str, str]:
    """Key, what is wrong with it, how to mend it."""
    path = [str(p) for p in error["loc"]]
    key = ".".join(p if p.replace("_", "").isalnum() else f'"{p}"' for p in path)
    if error["type"] == "extra_forbidden":
        near = _nearest(path[-1], _keys_at(path[:-1]))
        return key, "unknown key" + near, f"correct or remove '{key}'"
    given = error.get("input")
    shown = "" if isinstance(given, (dict, list)) else f" (given: {given!r})"
    message = error["msg"].removeprefix("Value error, ")
    message = message[0].lower() + message[1:]
    return key, message + shown, f"correct '{key}'"


def _keys_at(path: list[str]) -> list[str]:
    """Keys allowed where ``path`` leads; follows dictionaries and lists by their value type."""
    model: Any = Settings
    for part in path:
        if part.isdigit():
            continue
        fields = getattr(model, "model_fields", {})
        if part not in fields:
            continue  # a name chosen by the user, below a dictionary of sections
        kinds = [fields[part].annotation]
        while kinds:
            kind = kinds.pop()
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                model = kind
                break
            kinds += list(getattr(kind, "__args__", ()))
    names = [f.alias or n for n, f in model.model_fields.items()]
    return [n for n in names if n not in ("folder", "source")]


def _nearest(word: str, among: Any) -> str:
    near = difflib.get_close_matches(word, list(among), n=1, cutoff=0.5)
    return f"; did you mean '{near[0]}'?" if near else "; known: " + ", ".join(list(among)[:12])
