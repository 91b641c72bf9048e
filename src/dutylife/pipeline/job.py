"""The whole job, its stages alone, and reading alone."""

import datetime as dt
from contextlib import ExitStack
from pathlib import Path

import pandas as pd

from dutylife import coding, history, reports
from dutylife.pipeline.folders import folder_of, history_places
from dutylife.pipeline.memory import bounded_memory
from dutylife.pipeline.past import held_against, kept_of_plan, past_scores, scored
from dutylife.pipeline.reading import given_settings, read_given
from dutylife.pipeline.record import accounts_of, info_of
from dutylife.pipeline.shown import Shown, claim
from dutylife.pipeline.stages import all_stages
from dutylife.pipeline.work import (
    AfterStage,
    Progress,
    RunResult,
    Work,
    all_findings,
    live_progress,
)
from dutylife.provenance import file_digest
from dutylife.run_folder import swapped_in, write_info, write_tables
from dutylife.schema import empty_table
from dutylife.sensitivity import sampled_note, sensitivity
from dutylife.settings import Settings


def run(
    settings: str | Path | Settings,
    *,
    as_of: dt.date | None = None,
    out: str | Path | None = None,
    progress: Progress | None = None,
    anonymise: bool = False,
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
    anonymise : bool
        Write the run under pseudonyms (machines, customers, tickets, suppliers, files, free
        text), to be shared. It is held against the months of the plain runs, with the same
        figures, and keeps none; DIR defaults to a folder of its own.

    Raises
    ------
    DutylifeError
        The input or settings can't be used; nothing is left in DIR.
    """
    work = Work(progress or live_progress())
    given = given_settings(settings, as_of, work)
    with bounded_memory(given), ExitStack() as held:
        # the folder is known before reading
        if out is not None or (given.fleet.as_of is not None and not anonymise):
            claim(held, folder_of(given, out), anonymised=anonymise)
        return _run(given, out, work, held, anonymise=anonymise)


def _run(
    given: Settings, out: str | Path | None, work: Work, held: ExitStack, *, anonymise: bool
) -> RunResult:
    """The whole job behind its settings."""
    t = work.tables
    beside = None if anonymise else out  # months never lie beside what is shared
    months = history.months_of(given, folder_of(given, beside), given.fleet.as_of)
    if months.taken_up:
        with work.stage("kept month"):
            settings, accounts = months.taken_up.settings(given), months.taken_up.about["accounts"]
            t |= months.taken_up.inputs()
            work.findings = [t.pop("findings")]
    else:
        settings, read = read_given(given, work)
        accounts = accounts_of(read)
        months = history.months_of(settings, folder_of(settings, beside), settings.fleet.as_of)
    shown = Shown.of(settings, months.folder, work) if anonymise else None
    folder = folder_of(shown.settings if shown else settings, out)
    claim(held, folder, anonymised=anonymise)
    scores = scored(months, settings, work)
    inputs = t | {
        "findings": all_findings(work.findings),
        "forecast_scores": empty_table("forecast_scores") if scores is None else scores,
    }
    all_stages(settings, work, scores)
    with work.stage("assumptions switched"):
        as_read = {name: inputs[name] for name in ("units", "unit_spans")}
        t["sensitivity"] = sensitivity(t | as_read, settings)
        work.findings.append(sampled_note(t["units"]))
    with work.stage("plan kept"):
        earlier = kept_of_plan(months, settings, work)
        work.findings.append(reports.without_machines(t["machine_tasks"], settings))
        work.findings.append(reports.left_out_of_pages(t, settings))
    held_against(months, settings, inputs, scores, work)
    t["findings"] = all_findings(work.findings)
    info = info_of(settings, accounts, t) | earlier | {"history": months.about()}
    places = [*history_places(settings), folder]
    if shown is not None:
        with work.stage("pseudonyms"):
            t, settings, info = shown.told(t, info)
        places = [folder]
    info["answers"] = [*reports.answers(t, settings), *reports.moved_answers(t, info["history"])]
    failed: list[reports.FailedSection] = []
    with swapped_in(folder) as new:
        with work.stage("tables"):
            write_tables(t, new / "tables", settings.compute.memory_limit)
        digests = {p.stem: file_digest(p) for p in sorted((new / "tables").glob("*.csv"))}
        info["answers"] += [] if shown else months.as_given(digests)
        info["stages_seconds"] = work.seconds
        write_info(info, new)
        with work.stage("order list and calendar"):
            reports.write_other_files(new, places, failed)
        with work.stage("pages"):
            reports.write_pages(new, work.progress, failed)
        with work.stage("customer packs"):
            reports.write_customer_packs(new, places, failed)
        info["sections_failed"] = [one.about for one in failed]
        write_info(info, new)
        # before the run is in its place: where the month can't be kept, the run before stays too
        if shown is None:
            months.keep(
                history.Given(
                    settings=settings, inputs=inputs, tables=t, digests=digests,
                    accounts=accounts, before=months.before[-1].digest if months.before else "",
                )
            )  # fmt: skip
    return RunResult(folder, t, info, tuple(failed))


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
    work = Work(progress or (lambda _: None), after=after)
    filled, _ = read_given(given_settings(settings, as_of, work), work)
    all_stages(filled, work, past_scores(filled), laws_only=laws_only)
    work.tables["findings"] = all_findings(work.findings)
    return filled, work.tables


def check(
    settings: str | Path | Settings,
    *,
    out: str | Path | None = None,
    progress: Progress | None = None,
) -> RunResult:
    """Read and code only: what was read, set aside, not understood.

    Tables are written only when ``out`` is given. Parameters and errors as in `run`.
    """
    work = Work(progress or live_progress())
    settings, read = read_given(given_settings(settings, None, work), work, review=out is not None)
    t = work.tables
    t["findings"] = all_findings(work.findings)
    info = info_of(settings, accounts_of(read), t)
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
