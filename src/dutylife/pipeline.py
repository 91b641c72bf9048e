"""The one module that knows every stage: exports in, a finished run folder out."""

import datetime as dt
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife import coding, decisions, history, intake, lives, models, reports, stock
from dutylife.components import components_of
from dutylife.draft import read_or_tell_changes
from dutylife.earlier_runs import earlier_runs
from dutylife.errors import SettingsError
from dutylife.lives.watch import last_day
from dutylife.provenance import code_digest, digest_of, file_digest, versions
from dutylife.run_folder import swapped_in, write_info, write_tables
from dutylife.schema import as_table, empty_table
from dutylife.sensitivity import sensitivity
from dutylife.settings import NO_EFFECT_YET, Settings, read_settings

Progress = Callable[[str], None]
AfterStage = Callable[[str, dict[str, pd.DataFrame]], dict[str, pd.DataFrame]]


@dataclass(frozen=True, slots=True)
class RunResult:
    """A finished run: where it is, its tables, and whether a person is needed."""

    folder: Path
    tables: dict[str, pd.DataFrame]
    info: dict[str, Any]

    @property
    def exit_code(self) -> int:
        """0 done; 1 done, but a row can't be read or a finding asks."""
        return 1 if self.info["person_needed"] else 0

    @property
    def text(self) -> str:
        """What a person at a terminal wants to know first."""
        i = self.info
        lines = [
            f"{i['fleet']['name']}, as of {i['as_of']}",
            f"  rows in {i['rows_in']} = used {i['rows_used']} + set aside {i['rows_set_aside']}",
        ]
        if i["person_needed"]:
            lines += [f"  a person is needed: {why}" for why in i["person_needed"]]
        return "\n".join([*lines, *(f"  {line}" for line in i["answers"]), f"  in {self.folder}"])


@dataclass(slots=True)
class _Work:
    """Tables made so far, seconds each stage took, and whom to tell."""

    progress: Progress
    tables: dict[str, pd.DataFrame] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    findings: list[pd.DataFrame] = field(default_factory=list)
    after: AfterStage | None = None

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        self.progress(name)
        start = time.perf_counter()
        yield
        if self.after is not None:
            self.tables |= self.after(name, self.tables)
        self.seconds[name] = round(time.perf_counter() - start, 3)

    def take(self, made: dict[str, pd.DataFrame]) -> None:
        found = made.pop("findings", None)
        if found is not None:
            self.findings.append(found)
        self.tables |= made


def run(
    settings: str | Path | Settings,
    *,
    as_of: dt.date | None = None,
    out: str | Path | None = None,
    progress: Progress | None = None,
) -> RunResult:
    """Run the whole job: exports to intervals, orders, pages.

    Parameters
    ----------
    settings : path or Settings
        The run's settings file.
    as_of : date, optional
        Last day the run may know of; overrides ``[fleet] as_of``.
    out : path, optional
        The run's DIR; ``reports/FLEET/AS-OF`` when not given. An earlier run there is replaced
        only when this one is complete.
    progress : callable, optional
        Called with the name of each step as it starts; in a live notebook a line shows it when
        none is given.

    Raises
    ------
    DutylifeError
        The input or settings can't be used; nothing is left in DIR.
    """
    work = _Work(progress or _live_progress())
    given = _given(settings, as_of, work)
    t = work.tables
    months = history.months_of(given, _folder_of(given, out), given.fleet.as_of)
    if months.taken_up:
        with work.stage("kept month"):
            settings, accounts = months.taken_up.settings(given), months.taken_up.about["accounts"]
            t |= months.taken_up.inputs()
            work.findings = [t.pop("findings")]
    else:
        settings, read = _read_given(given, work)
        accounts = _accounts(read)
        months = history.months_of(settings, _folder_of(settings, out), settings.fleet.as_of)
    folder = _folder_of(settings, out)
    scores = _scored(months, settings, work)
    inputs = t | {
        "findings": _all_findings(work.findings),
        "forecast_scores": empty_table("forecast_scores") if scores is None else scores,
    }
    _all_stages(settings, work, scores)
    with work.stage("assumptions switched"):
        as_read = {name: inputs[name] for name in ("units", "unit_spans")}
        t["sensitivity"] = sensitivity(t | as_read, settings)
    with work.stage("plan kept"):
        earlier = _kept_of_plan(months, settings, work)
        work.findings.append(reports.without_machines(t["machine_tasks"], settings))
    _held_against(months, settings, inputs, scores, work)
    t["findings"] = _all_findings(work.findings)
    info = _info(settings, accounts, t) | earlier
    info["history"] = months.about()
    info["answers"] = [*reports.answers(t, settings), *reports.moved_answers(t, months.about())]
    with swapped_in(folder) as new:
        with work.stage("tables"):
            write_tables(t, new / "tables")
        digests = {p.stem: file_digest(p) for p in sorted((new / "tables").glob("*.csv"))}
        info["answers"] += months.as_given(digests)
        info["stages_seconds"] = work.seconds
        write_info(info, new)
        with work.stage("order list and calendar"):
            reports.write_order_list(new)
            reports.write_calendar(new, [*_history(settings), folder])
        with work.stage("pages"):
            reports.write_pages(new, progress=work.progress)
            reports.write_wall_cards(new)
            reports.write_lives_page(new)
            reports.write_data_slip(new)
        with work.stage("customer packs"):
            reports.write_customer_packs(new, [*_history(settings), folder])
        write_info(info, new)
    months.keep(
        history.Given(
            settings=settings, inputs=inputs, tables=t, digests=digests, accounts=accounts,
            before=months.before[-1].digest if months.before else "",
        )
    )  # fmt: skip
    return RunResult(folder, t, info)


def _scored(months: history.Months, settings: Settings, work: _Work) -> pd.DataFrame | None:
    """Scores of past forecasts, into the tables; those for the stock."""
    with work.stage("past forecasts"):
        own = months.scored(work.tables, settings.fleet.as_of)
        work.tables["forecast_scores"] = own
        given = None if months.taken_up else _past_scores(settings)
        return months.scores(own, given)


def _kept_of_plan(months: history.Months, settings: Settings, work: _Work) -> dict[str, Any]:
    """Table "visits_kept", and which earlier run planned those visits, for run.json."""
    t = work.tables
    if months.taken_up:  # by the runs that were there then
        t["visits_kept"] = months.taken_up.table("given", "visits_kept")
        return {}
    as_of = last_day(settings).date()
    month = months.before[-1] if months.before else None
    runs = earlier_runs(_history(settings), settings.fleet.name, as_of, with_table="visit_plan")
    run = runs[-1] if runs else None
    if month and (run is None or month.as_of >= run.as_of):
        plan, planned_on = month.table("given", "visit_plan"), month.as_of
        about = {
            "earlier_run": {
                "folder": month.path.stem, "as_of": month.as_of.isoformat(),
                "visit_plan_digest": month.about["given"]["visit_plan"],
            }
        }  # fmt: skip
    elif run:
        plan, planned_on = run.run.table("visit_plan"), run.as_of
        about = {
            "earlier_run": {
                "folder": run.run.folder.name, "as_of": run.as_of.isoformat(),
                "visit_plan_digest": run.digest("visit_plan"),
            }
        }  # fmt: skip
    else:
        plan, planned_on, about = None, None, {}
    t["visits_kept"] = decisions.visits_kept(
        plan, planned_on, t["maintenance_events"], t["units"], as_of
    )
    return about


def _held_against(
    months: history.Months, settings: Settings, inputs: dict[str, pd.DataFrame],
    scores: pd.DataFrame | None, work: _Work,
) -> None:  # fmt: skip
    """Tables "moved" and "record_changes": against the month before."""
    with work.stage("what moved"):
        tables, found = months.held_against(
            history.Here(settings=settings, tables=inputs, scores=scores), work.tables,
            read=lambda s: read_or_tell_changes(s).tables, code=_coded,
            tell=lambda cause: work.progress(f"what moved: {cause}"),
        )  # fmt: skip
        work.tables |= tables
        work.findings.append(found)


def _coded(settings: Settings) -> dict[str, pd.DataFrame]:
    work = _Work(lambda _: None)
    _read_given(settings, work)
    return work.tables


def run_stages(
    settings: str | Path | Settings,
    *,
    as_of: dt.date | None = None,
    progress: Progress | None = None,
    after: AfterStage | None = None,
    laws_only: bool = False,
) -> tuple[Settings, dict[str, pd.DataFrame]]:
    """Run exports to order quantities without writing anything.

    Parameters
    ----------
    settings, as_of, progress
        As in `run`.
    after : callable, optional
        Called with a stage's name and all tables so far; tables it returns take their place.
        ``prove`` plants faults with it.
    laws_only : bool
        Stop as soon as the life models are fitted.

    Returns
    -------
    tuple
        The settings with ``fleet.as_of`` filled, and every table of the run.
    """
    work = _Work(progress or (lambda _: None), after=after)
    filled, _ = _read_given(_given(settings, as_of, work), work)
    _all_stages(filled, work, _past_scores(filled), laws_only=laws_only)
    work.tables["findings"] = _all_findings(work.findings)
    return filled, work.tables


def _all_stages(
    settings: Settings, work: _Work, scores: pd.DataFrame | None, *, laws_only: bool = False
) -> None:
    """Every stage behind coding, into ``work.tables``."""
    t = work.tables
    with work.stage("lives"):
        work.take(
            lives.build_lives(
                t["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], settings
            )
        )
        t["readings"] = lives.age_readings(t["readings"], t["failure_events"])
    with work.stage("life models"):
        work.take(models.fit_models(t["failure_events"], t["unit_spans"], settings))
        if laws_only:
            return
        work.take(models.recurrence_of(t["failure_events"], t["units"], settings))
        work.findings.append(models.alike_duties(t["failure_events"], settings))
        t["law_checks"] = models.check_laws(t["failure_events"], settings)
        t["comebacks"] = models.comebacks_of(
            t["maintenance_events"], t["service_lines"], t["catalogue"], settings
        )
        t["part_makers"] = models.compare_part_makers(t["failure_events"], t["catalogue"], settings)
    with work.stage("intervals and visits"):
        work.take(
            decisions.recommend_intervals(
                t["life_draws"], t["life_models"], t["failure_events"], t["service_lines"],
                t["maintenance_events"], t["unit_spans"], settings, t["shelf"], t["readings"],
                t["catalogue"],
            )
        )  # fmt: skip
        work.take(
            decisions.visit_tables(
                t["intervals"], t["costs"], t["failure_events"], t["maintenance_events"],
                t["units"], t["unit_spans"], settings, t["life_draws"],
            )
        )  # fmt: skip
    with work.stage("coming year"):
        work.take(decisions.coming_year(t, settings))
    with work.stage("demand and stock"):
        work.take(
            stock.plan_stock(
                t["failure_events"], t["life_draws"], t["intervals"], t["units"],
                t["unit_spans"], t["service_lines"], t["maintenance_events"], t["catalogue"],
                t["shelf"], settings, contracts=t["contracts"],
                forecast_scores=scores, stated_plan=t["stated_plan"],
                use_seasons=t["use_seasons"],
            )
        )  # fmt: skip
    with work.stage("the bench"):
        load = stock.bench_load(t, settings)
        work.take({"bench_forecast": load.table, "findings": load.findings})


def _past_scores(settings: Settings) -> pd.DataFrame | None:
    """Table "forecast_scores" of the folder ``[report] history`` names; None without one.

    Scores of months after the as-of date are left out.
    """
    if not settings.report.history or settings.fleet.as_of is None:
        return None
    path = settings.folder / settings.report.history / "tables" / "forecast_scores.csv"
    if not path.is_file():
        place = path.parent.parent  # months are kept in any folder, be it empty yet
        if place.is_dir() or _bears_history(place):
            return None
        raise SettingsError(
            "There are no past forecasts in the folder of the history.",
            f"{settings.source}: report.history ({path.parent.parent.name})",
            "give the folder `dutylife backtest` wrote to, or leave the key out",
        )
    read = pd.read_csv(path, dtype={"part_number": str}, parse_dates=["as_of", "from_date"])
    scores = as_table("forecast_scores", read)
    last = pd.Timestamp(settings.fleet.as_of)
    ended = [
        a + pd.DateOffset(months=int(m)) <= last
        for a, m in zip(scores["as_of"], scores["months"], strict=True)
    ]
    return scores[pd.Series(ended, index=scores.index, dtype=bool)]


def _bears_history(place: Path) -> bool:
    """Whether the place of the history holds earlier runs or a calendar, if no past forecasts."""
    if place.is_file():
        return place.suffix == ".ics"
    return any(any(place.glob(f"{depth}run.json")) for depth in ("", "*/", "*/*/"))


def check(
    settings: str | Path | Settings,
    *,
    out: str | Path | None = None,
    progress: Progress | None = None,
) -> RunResult:
    """Read and code only: what was read, set aside, not understood.

    Tables are written only when ``out`` is given. Parameters and errors as in `run`.
    """
    work = _Work(progress or _live_progress())
    settings, read = _read_given(_given(settings, None, work), work, review=out is not None)
    t = work.tables
    t["findings"] = _all_findings(work.findings)
    info = _info(settings, _accounts(read), t)
    lines = t["service_lines"]
    info["answers"] = [
        f"{len(lines)} lines, {lines['unit_id'].nunique()} machines, "
        f"{len(t['maintenance_events'])} maintenance events on "
        f"{t['maintenance_events']['component'].nunique()} components",
        f"{len(t['not_understood'])} texts not understood "
        f"({int(t['not_understood']['n_lines'].sum())} lines)",
    ] + [f"{f.kind}: {f.message}" for f in t["findings"].itertuples() if f.kind != "note"]
    info["stages_seconds"] = work.seconds
    if not out:
        return RunResult(Path("(nothing written)"), t, info)
    with swapped_in(Path(out).absolute()) as new:
        write_tables(t, new / "tables")
        (new / "to_review.csv").write_text(coding.review_csv(t["to_review"]), encoding="utf-8-sig")
        write_info(info, new)
    return RunResult(Path(out), t, info)


def _live_progress() -> Progress:
    """Show each step in one changing line of a live notebook; elsewhere stay silent."""
    shell = sys.modules["IPython"].get_ipython() if "IPython" in sys.modules else None
    if shell is None or not hasattr(shell, "kernel"):
        return lambda _: None
    from IPython.display import display

    handle: Any = display({"text/plain": "dutylife"}, raw=True, display_id=True)  # type: ignore[no-untyped-call]
    return lambda step: handle.update({"text/plain": f"dutylife: {step}"}, raw=True)


def _given(settings: str | Path | Settings, as_of: dt.date | None, work: _Work) -> Settings:
    """Settings as given, with the day asked for; what they name is there."""
    with work.stage("settings"):
        given = settings if isinstance(settings, Settings) else read_settings(settings)
        if as_of:
            fleet = given.fleet.model_copy(update={"as_of": as_of})
            given = given.model_copy(update={"fleet": fleet})
        components_of(given)  # refuses unknown component names before any file is read
        _history(given)
        work.findings.append(_without_effect(given))
    return given


def _read_given(
    given: Settings, work: _Work, *, review: bool = False
) -> tuple[Settings, intake.Intake]:
    """Intake and coding: what `run` and `check` share."""
    with work.stage("reading exports"):
        read = read_or_tell_changes(given)
        intake.account(read)
        work.take(dict(read.tables))
        fleet = given.fleet.model_copy(update={"as_of": read.as_of})
        given = given.model_copy(update={"fleet": fleet})
        reports.check_chosen(given, work.tables["unit_spans"])
        duties = set(work.tables["unit_spans"]["duty"].astype(object).dropna())
        work.tables["stated_plan"] = intake.stated_plan(given, duties)
    with work.stage("coding events"):
        t = work.tables
        kept = t.pop("readings", None)  # of a file of readings; those of texts are added to them
        work.take(
            coding.code_lines(t["service_lines"], t["units"], t["shelf"], given, review=review)
        )
        if kept is not None:
            both = [f.astype("object") for f in (kept, t["readings"]) if len(f)]
            t["readings"] = as_table("readings", pd.concat(both) if both else kept)
    return given, read


def _without_effect(settings: Settings) -> pd.DataFrame:
    """A note for each settings key that is read, but that no stage acts on yet."""
    data = settings.model_dump(exclude_unset=True, by_alias=True)
    rows = []
    for path in NO_EFFECT_YET:
        first, *rest = path.split(".")
        level = [(first, data.get(first))]
        for part in rest:
            level = [
                (f"{key}.{k}", v)
                for key, d in level
                if isinstance(d, dict)
                for k, v in d.items()
                if part in ("*", k)
            ]
        rows += [
            {
                "finding_id": digest_of("settings", key), "stage": "settings", "kind": "note",
                "table": "settings", "key": key, "source_row": 0,
                "message": f"settings key '{key}' is read, but has no effect yet",
                "mend": "nothing to do; it is here so that a later version can use it",
            }
            for key, value in level
            if value is not None
        ]  # fmt: skip
    return as_table("findings", pd.DataFrame(rows))


def _all_findings(found: list[pd.DataFrame]) -> pd.DataFrame:
    rows = [f.astype("object") for f in found if len(f)]
    return as_table("findings", pd.concat(rows) if rows else pd.DataFrame())


def _accounts(read: intake.Intake) -> list[dict[str, Any]]:
    """Files of a run: digest, rows, rows used and set aside."""
    accounts = intake.account(read).rename(columns={"file": "name"})
    accounts["digest"] = [f.digest for f in read.files]
    return [{str(k): v for k, v in row.items()} for row in accounts.to_dict("records")]


def _info(
    settings: Settings, accounts: list[dict[str, Any]], t: dict[str, pd.DataFrame]
) -> dict[str, Any]:
    """Content of run.json, but for timings."""
    unreadable = int(t["set_aside"]["needs_person"].sum())
    asks = t["findings"].loc[t["findings"]["kind"] == "ask", "message"]
    why = [f"{unreadable} rows can't be read (table set_aside)"] if unreadable else []
    return {
        "fleet": settings.fleet.model_dump(include={"name", "currency", "meter_unit"}),
        "as_of": f"{settings.fleet.as_of:%Y-%m-%d}",
        "confidence_level": settings.report.confidence_level,
        "horizon_months": settings.report.horizon_months,
        "plan_in_force": settings.plan.in_force,
        "seed": settings.report.seed,
        "comeback_days": settings.coding.comeback_days,
        "inputs": accounts,
        "rows_in": sum(a["n_rows"] for a in accounts),
        "rows_used": sum(a["n_used"] for a in accounts),
        "rows_set_aside": sum(a["n_set_aside"] for a in accounts),
        "person_needed": why + [str(a) for a in asks],
        "settings_digest": digest_of(settings.model_dump_json(), length=64),
        "settings": settings.model_dump(mode="json", exclude_unset=True, by_alias=True),
        "versions": versions(),
        "code_digest": code_digest(),
        "n_rows": {name: len(frame) for name, frame in sorted(t.items())},
    }


def _history(settings: Settings) -> list[Path]:
    """Where the calendars of earlier runs are, by ``[report] history``."""
    if not settings.report.history:
        return []
    place = settings.folder / settings.report.history
    if not place.exists():
        raise SettingsError(
            f"There is nothing at '{settings.report.history}'.",
            f"{settings.source}: report.history",
            "make the folder if the months are to be kept there from now on, name the one of "
            "earlier runs or a maintenance-calendar.ics, or take the key out",
        )
    return [place]


def _folder_of(settings: Settings, out: str | Path | None) -> Path:
    """The run's DIR."""
    if out:
        return Path(out).absolute()
    # the day is blank before the exports are read
    day = "" if settings.fleet.as_of is None else f"{settings.fleet.as_of:%Y-%m-%d}"
    return (fleet_folder(settings) / (day or "day")).absolute()


def fleet_folder(settings: Settings) -> Path:
    """Return where the runs of a fleet lie when no other place is given."""
    return Path("reports") / history.slug_of(settings.fleet.name)
