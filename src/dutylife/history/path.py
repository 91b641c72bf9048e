"""The way from last month's inputs to today's, one input after the other, and what each gives.

Each step is a run of the stages it touches, on inputs of which one more is today's. The
differences along the way add up to the whole change, whatever the steps; another order of the
steps would share it otherwise.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import pandas as pd

from dutylife.decisions import recommend_intervals
from dutylife.lives import age_readings, build_lives
from dutylife.lives.watch import last_day
from dutylife.models import fit_models
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.stock import plan_stock

Tables = dict[str, pd.DataFrame]
READ = ("service_lines", "units", "unit_spans", "maintenance_events", "readings")
LISTED = ("shelf", "catalogue")  # of the parts list, and what follows from it
_PLACE = ["source_file", "source_row"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Here:
    """A record with the settings it is looked at, as far as recommendations follow from it.

    Parameters
    ----------
    settings : Settings
        ``fleet.as_of`` filled.
    tables : dict of DataFrame
        service_lines, units, unit_spans, maintenance_events, readings, catalogue, shelf,
        contracts, stated_plan, as they were after coding.
    scores : DataFrame, optional
        Table "forecast_scores" that the stock is given.
    """

    settings: Settings
    tables: Tables
    scores: pd.DataFrame | None

    @property
    def as_of(self) -> pd.Timestamp:
        """Last day of the record."""
        return last_day(self.settings)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """What is recommended once a cause is in: tables "intervals" and "stock_plan"."""

    cause: str
    intervals: pd.DataFrame
    stock_plan: pd.DataFrame


def steps_between(
    then: Here,
    now: Here,
    given: Tables,
    made: Tables,
    *,
    past: Callable[[Settings], Tables],
    is_same_program: bool,
    tell: Callable[[str], None],
) -> list[Step]:
    """Recommendations along the way from last month's inputs to today's.

    Parameters
    ----------
    then, now : Here
        Last month's inputs as they were kept, and today's.
    given, made : dict of DataFrame
        Last month's tables "intervals" and "stock_plan"; today's tables.
    past : callable
        The past as today's exports tell it under some settings: tables of `READ` up to last
        month's as-of date.
    is_same_program : bool
        Whether last month's run was made by this very code.
    tell : callable
        Called with each cause as it is looked at.

    Returns
    -------
    list of Step
        First last month's own, with a blank cause; then one for each cause in the order of the
        vocabulary whose inputs are not the same. The last one holds today's tables.
    """
    way = _Way(then=then, now=now, made=made, tell=tell, steps=[Step(cause="", **_both(given))])
    if not is_same_program:
        way.whole("program", then)
    record = then.tables | past(_read_with(then.settings, now.settings))
    record["readings"] = _same_or(then.tables["readings"], record["readings"])
    here = replace(then, tables=record)
    if not same_tables(then.tables, record, READ):
        way.whole("past rows", here)
    else:
        here = then
    today = _on_day(now.settings, then)
    plan = {"stated_plan": now.tables["stated_plan"]}
    if told_settings(then.settings) != told_settings(now.settings) or not same_tables(
        then.tables, plan, ("stated_plan",)
    ):
        here = replace(here, settings=today, tables=record | past(now.settings) | plan)
        way.whole("settings", here)
    way.from_here_on(replace(here, settings=today))
    return way.steps


def told_settings(settings: Settings) -> dict[str, object]:
    """Settings that results follow from: not the day, nor where files and history are."""
    told = settings.model_dump(mode="json", by_alias=True)
    told["fleet"].pop("as_of")
    told["report"].pop("history")
    for left_out in ("exports", "compute"):
        told.pop(left_out)
    return told


def new_failures(events: pd.DataFrame, since: pd.Timestamp) -> pd.Series:
    """Which events are failures after a day."""
    return (events["event_date"] > since) & (events["reason"] == "failure")


def same_tables(one: Tables, two: Tables, names: tuple[str, ...]) -> bool:
    """Whether tables hold the same rows, wherever in the files those stand."""
    return all(_same(one[name], two[name]) for name in names)


@dataclass(slots=True, kw_only=True, eq=False)
class _Way:
    """The steps so far."""

    then: Here
    now: Here
    made: Tables
    tell: Callable[[str], None]
    steps: list[Step]

    def whole(self, cause: str, here: Here) -> None:
        """Every stage on inputs of last month's day."""
        self.tell(cause)
        laws = _laws(here)
        intervals = _intervals(laws, here)
        self._add(cause, intervals, _stock(laws, laws, intervals, here))

    def from_here_on(self, here: Here) -> None:
        """From last month's day to this run's: laws first, then the shelf."""
        since, now = here.as_of, self.now
        listed = now.tables | {n: here.tables[n] for n in LISTED}
        events = now.tables["maintenance_events"]
        is_new = new_failures(events, since)
        spared = listed | {"maintenance_events": as_table("maintenance_events", events[~is_new])}
        same_day = same_tables(here.tables, now.tables, READ) and since == now.as_of
        own = build_lives(*_record(here), here.settings)  # lives in service last month
        laws = self.made
        intervals = self.steps[-1].intervals
        if not same_day:
            self.tell("new exposure")
            exposed = replace(now, tables=spared)
            fewer = _laws(exposed) if is_new.any() else laws
            intervals = _intervals(fewer, exposed)
            self._add("new exposure", intervals, _stock(own, fewer, intervals, here))
        if is_new.any():
            self.tell("new failures")
            intervals = _intervals(laws, replace(now, tables=listed))
            self._add("new failures", intervals, _stock(own, laws, intervals, here))
        if not _same_or_none(here.scores, now.scores):
            self.tell("past forecasts")
            here = replace(here, scores=now.scores)
            self._add("past forecasts", intervals, _stock(own, laws, intervals, here))
        lines = here.tables["service_lines"]
        moved_on = lines.assign(service_date=lines["service_date"] + (now.as_of - since))
        if not same_day or not _same(here.tables["contracts"], now.tables["contracts"]):
            self.tell("calendar")
            on = replace(now, tables=listed | {"service_lines": moved_on})
            self._add("calendar", intervals, _stock(laws, laws, intervals, on))
        if not same_day:
            self.tell("parts used")
            on = replace(now, tables=listed)
            self._add("parts used", intervals, _stock(laws, laws, intervals, on))
        if not same_tables(here.tables, now.tables, LISTED):
            self._add("shelf", self.made["intervals"], self.made["stock_plan"])
        elif len(self.steps) > 1:  # the last inputs are today's
            self.steps[-1] = Step(cause=self.steps[-1].cause, **_both(self.made))
        else:  # nothing is another: what still differs can only be the program's doing
            self._add("program", self.made["intervals"], self.made["stock_plan"])

    def _add(self, cause: str, intervals: pd.DataFrame, stock_plan: pd.DataFrame) -> None:
        self.steps.append(Step(cause=cause, intervals=intervals, stock_plan=stock_plan))


def _both(tables: Tables) -> Tables:
    return {name: tables[name] for name in ("intervals", "stock_plan")}


def _record(here: Here) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    t = here.tables
    return t["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"]


def _laws(here: Here) -> Tables:
    """Lives and laws of a record."""
    built = build_lives(*_record(here), here.settings)
    laws = fit_models(
        built["failure_events"], built["unit_spans"], here.settings, with_curves=False
    )
    readings = age_readings(here.tables["readings"], built["failure_events"])
    return built | laws | {"readings": readings}


def _intervals(laws: Tables, here: Here) -> pd.DataFrame:
    t = here.tables
    return recommend_intervals(
        laws["life_draws"], laws["life_models"], laws["failure_events"], t["service_lines"],
        t["maintenance_events"], laws["unit_spans"], here.settings, t["shelf"], laws["readings"],
        t["catalogue"],
    )["intervals"]  # fmt: skip


def _stock(lives: Tables, laws: Tables, intervals: pd.DataFrame, here: Here) -> pd.DataFrame:
    """Levels of the lives of one record by the laws of another."""
    t = here.tables
    return plan_stock(
        lives["failure_events"], laws["life_draws"], intervals, lives["units"],
        lives["unit_spans"], t["service_lines"], t["maintenance_events"], t["catalogue"],
        t["shelf"], here.settings, contracts=t["contracts"], forecast_scores=here.scores,
        stated_plan=t["stated_plan"], use_seasons=lives["use_seasons"], levels_only=True,
    )["stock_plan"]  # fmt: skip


def _read_with(then: Settings, now: Settings) -> Settings:
    """Last month's settings, but reading the exports as today's say where and how they are."""
    return _on_day(then, then).model_copy(update={"exports": now.exports})


def _on_day(settings: Settings, then: Here | Settings) -> Settings:
    day = (then if isinstance(then, Settings) else then.settings).fleet.as_of
    return settings.model_copy(update={"fleet": settings.fleet.model_copy(update={"as_of": day})})


def _same_or(one: pd.DataFrame, two: pd.DataFrame) -> pd.DataFrame:
    return one if _same(one, two) else two


def _same_or_none(one: pd.DataFrame | None, two: pd.DataFrame | None) -> bool:
    if one is None or two is None:
        return one is two
    return _same(one, two)


def _same(one: pd.DataFrame, two: pd.DataFrame) -> bool:
    if len(one) != len(two):
        return False
    left, right = (f.drop(columns=_PLACE, errors="ignore").astype("object") for f in (one, two))
    return left.reset_index(drop=True).equals(right.reset_index(drop=True))
