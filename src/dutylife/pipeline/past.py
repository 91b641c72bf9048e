"""What the past brings into a run: kept months, past forecasts, the plan before."""

from pathlib import Path
from typing import Any

import pandas as pd

from dutylife import decisions, history
from dutylife.disk import as_was
from dutylife.draft import read_or_tell_changes
from dutylife.earlier_runs import earlier_runs
from dutylife.errors import SettingsError
from dutylife.lives.watch import last_day
from dutylife.pipeline.folders import history_places
from dutylife.pipeline.reading import coded
from dutylife.pipeline.work import Work
from dutylife.schema import as_table
from dutylife.settings import Settings


def scored(months: history.Months, settings: Settings, work: Work) -> pd.DataFrame | None:
    """Scores of past forecasts, into the tables; those for the stock."""
    with work.stage("past forecasts"):
        own = months.scored(work.tables, settings.fleet.as_of)
        work.tables["forecast_scores"] = own
        given = None if months.taken_up else past_scores(settings)
        return months.scores(own, given)


def kept_of_plan(months: history.Months, settings: Settings, work: Work) -> dict[str, Any]:
    """Table "visits_kept", and which earlier run planned those visits, for run.json."""
    t = work.tables
    if months.taken_up:  # by the runs that were there then
        t["visits_kept"] = months.taken_up.table("given", "visits_kept")
        return {}
    as_of = last_day(settings).date()
    month = months.before[-1] if months.before else None
    runs = earlier_runs(
        history_places(settings), settings.fleet.name, as_of, with_table="visit_plan"
    )
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


def held_against(
    months: history.Months, settings: Settings, inputs: dict[str, pd.DataFrame],
    scores: pd.DataFrame | None, work: Work,
) -> None:  # fmt: skip
    """Tables "moved" and "record_changes": against the month before."""
    with work.stage("what moved"):
        tables, found = months.held_against(
            history.Here(settings=settings, tables=inputs, scores=scores), work.tables,
            read=lambda s: read_or_tell_changes(s).tables, code=coded,
            tell=lambda cause: work.progress(f"what moved: {cause}"),
        )  # fmt: skip
        work.tables |= tables
        work.findings.append(found)


def past_scores(settings: Settings) -> pd.DataFrame | None:
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
    read["part_number"] = read["part_number"].map(as_was, na_action="ignore")
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
