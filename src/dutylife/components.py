"""What is known of each component before any data: reads components.toml, adds the shop's own."""

import difflib
import tomllib
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources

from dutylife.errors import SettingsError
from dutylife.settings import CodedComponent, Settings
from dutylife.vocabulary.spans import DAYS_PER_MONTH

# one year in the units of a starting interval; the mean Gregorian month


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A starting task: what, how often, how much sooner in severe duty, how well known."""

    task: str
    action: str
    interval_hours: float | None = None
    interval_months: float | None = None
    severe_factor: float = 1.0
    measurement: str = ""
    unit: str = ""
    nominal: str = ""
    reject_limit: str = ""
    mark: str = "our proposal"
    factor_mark: str = "our proposal"
    source: str = ""

    @property
    def interval_days(self) -> float | None:
        """Starting interval, months as days [d]."""
        return None if self.interval_months is None else self.interval_months * DAYS_PER_MONTH


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """A component: names heard, clock it wears on, what its failure can do, starting tasks.

    ``warning_hours`` or ``warning_days`` is the time from detectable to failed (P-F); where
    neither is stated, half of it is taken to be the first starting interval of looking.
    """

    name: str
    aliases: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    part_numbers: tuple[str, ...] = ()
    system: str = ""
    can_hurt: str = ""
    hidden: str = ""
    clock: str = "hours"
    failure_modes: tuple[str, ...] = ()
    shape_range_from_memory: str = ""
    clean_renews: bool = False
    warning_hours: float | None = None
    warning_days: float | None = None
    warning_mark: str = "our proposal"
    maker_limit_hours: float | None = None
    maker_limit_days: float | None = None
    allowed_unavailability: float | None = None
    look_detection: float = 1.0
    tasks: tuple[Task, ...] = field(default=())

    def first_task(self, *names: str) -> Task | None:
        """Longest-interval starting task among ``names``, None when the list has none.

        The longest, since run-in and daily looks come first in the list and are no schedule.
        """
        found = [
            t for t in self.tasks
            if t.task in names and (t.interval_hours is not None or t.interval_months is not None)
        ]  # fmt: skip
        return max(found, key=lambda t: t.interval_hours or 0.0) if found else None


@cache
def shipped_components() -> dict[str, Component]:
    """Return the components of components.toml by short name."""
    text = resources.files("dutylife").joinpath("components.toml").read_text(encoding="utf-8")
    out: dict[str, Component] = {}
    for item in tomllib.loads(text)["component"]:
        warning = item.pop("warning", {})
        tasks = tuple(Task(**t) for t in item.pop("task", []))
        lists = {k: tuple(item.pop(k)) for k in ("aliases", "words", "failure_modes")}
        out[item["name"]] = Component(
            **(item | lists),
            tasks=tasks,
            warning_hours=warning.get("hours"),
            warning_days=warning.get("days"),
            warning_mark=warning.get("mark", "our proposal"),
        )
    return out


def components_of(settings: Settings) -> dict[str, Component]:
    """Shipped components with the shop's words, parts, clock and limits; and its own components.

    A name in the settings may be a short name or an alias; any other name makes a new component.

    Raises
    ------
    SettingsError
        Costs, a present schedule or a number of positions name a component that neither the list
        nor the settings know, or one component by two names.
    """
    known = dict(shipped_components())
    for given, own in settings.coding.components.items():
        name = short_name(given, known) or given
        known[name] = _with_own(known.get(name, Component(name=name)), own)
    for table, names in (
        ("costs", set(settings.costs) - {"default"}),
        ("present_schedule", settings.present_schedule),
        ("lives.positions", settings.lives.positions),
    ):
        _require_known(table, sorted(names), known, settings.source)
    return known


def _require_known(table: str, names: list[str], known: dict[str, Component], source: str) -> None:
    """Refuse keys of a settings table that name no component, or one that another key names."""
    seen: dict[str, str] = {}
    for given in names:
        where = f'{source}: {table}."{given}"'
        name = short_name(given, known)
        if name is None:
            called = {a: n for n, c in known.items() for a in (*c.aliases, n)}
            near = difflib.get_close_matches(given, called, n=1, cutoff=0.4)
            own = f'[coding.components."{given}"]'
            raise SettingsError(
                f"'{given}' is not a component this run knows.", where,
                f"did you mean '{called[near[0]]}'? A component of your own needs {own}"
                if near
                else f"add {own} with its words",
            )  # fmt: skip
        if name in seen:
            raise SettingsError(
                f"'{seen[name]}' and '{given}' are one component, '{name}'.", where,
                "keep one of the two keys",
            )  # fmt: skip
        seen[name] = given


def short_name(given: str, known: dict[str, Component]) -> str | None:
    """Short name behind a short name or an alias (unless two components share it), else None."""
    if given in known:
        return given
    behind = [n for n, c in known.items() if given.lower() in (a.lower() for a in c.aliases)]
    return behind[0] if len(behind) == 1 else None


def _with_own(component: Component, own: CodedComponent) -> Component:
    return replace(
        component,
        words=(*component.words, *own.words),
        part_numbers=(*component.part_numbers, *own.part_numbers),
        clock=own.clock or component.clock,
        # the settings may add a hazard or name it better; they can't take one away
        can_hurt=own.can_hurt or component.can_hurt,
        maker_limit_hours=own.maker_limit_hours,
        maker_limit_days=own.maker_limit_days,
        allowed_unavailability=own.allowed_unavailability,
        look_detection=own.look_detection or component.look_detection,
    )
