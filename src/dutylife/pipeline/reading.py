"""Settings, exports and coding: what `run` and `check` share."""

import datetime as dt
from pathlib import Path

import pandas as pd

from dutylife import coding, intake, reports
from dutylife.components import components_of
from dutylife.draft import read_or_tell_changes
from dutylife.pipeline.folders import history_places
from dutylife.pipeline.work import Work
from dutylife.provenance import digest_of
from dutylife.schema import as_table
from dutylife.settings import NO_EFFECT_YET, Settings, read_settings
from dutylife.spread import require_scheduler


def coded(settings: Settings) -> dict[str, pd.DataFrame]:
    """Tables of the exports after coding, nobody told."""
    work = Work(lambda _: None)
    read_given(settings, work)
    return work.tables


def given_settings(settings: str | Path | Settings, as_of: dt.date | None, work: Work) -> Settings:
    """Settings as given, with the day asked for; what they name is there."""
    with work.stage("settings"):
        given = settings if isinstance(settings, Settings) else read_settings(settings)
        if as_of:
            fleet = given.fleet.model_copy(update={"as_of": as_of})
            given = given.model_copy(update={"fleet": fleet})
        components_of(given)  # refuses unknown component names before any file is read
        history_places(given)
        if given.compute.scheduler:
            require_scheduler(given.compute.scheduler)
        work.findings.append(_without_effect(given))
    return given


def read_given(
    given: Settings, work: Work, *, review: bool = False
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
