"""A small invented shop of a few components, cheap to run month after month, for the history."""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from dutylife import history, pipeline
from dutylife.decisions import recommend_intervals
from dutylife.draft import read_or_tell_changes
from dutylife.lives import age_readings, build_lives
from dutylife.models import fit_models
from dutylife.practice import make_practice
from dutylife.schema import empty_table
from dutylife.settings import Settings, read_settings
from dutylife.stock import plan_stock

NOVEMBER, DECEMBER = dt.date(2025, 11, 30), dt.date(2025, 12, 31)
KEPT = ("IC-", "RR-")  # part numbers of two components
NONE = ("forecast_scores", "moved", "record_changes", "visit_plan", "visits_kept")


@dataclass(frozen=True)
class State:
    """Settings, inputs after coding and tables of one run."""

    settings: Settings
    inputs: dict[str, pd.DataFrame]
    tables: dict[str, pd.DataFrame]

    @property
    def here(self) -> history.Here:
        return history.Here(settings=self.settings, tables=self.inputs, scores=None)


def make_shop(folder: Path) -> Settings:
    """Write the export of a small fleet in two duties, jobs that changed two components only."""
    made = make_practice(folder, n_units=24, n_years=3.0, seed=5)
    lines = pd.read_csv(folder / "lines.csv", dtype=str, keep_default_na=False)
    is_part = lines["Part no"] != ""
    own = is_part & lines["Part no"].str.startswith(KEPT)
    foreign = set(lines.loc[is_part & ~own, "Job"])
    jobs = set(lines.loc[own, "Job"]) - foreign
    write_csv(lines[lines["Job"].isin(jobs)], folder / "lines.csv")
    parts = pd.read_csv(folder / "parts.csv", dtype=str, keep_default_na=False)
    write_csv(parts[parts["Part no"].str.startswith(KEPT)], folder / "parts.csv")
    given = read_settings(made["settings"])
    duties = {c: "wet" if d == "harbour" else "dry" for c, d in given.duty.by_customer.items()}
    duty = given.duty.model_copy(update={"by_customer": duties, "severe": ["wet"]})
    return given.model_copy(update={"duty": duty})


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """Write an export."""
    frame.to_csv(path, index=False, lineterminator="\n")


def state(settings: Settings, day: dt.date) -> State:
    """Run the stages that recommendations follow from, as of a day."""
    on = settings.model_copy(update={"fleet": settings.fleet.model_copy(update={"as_of": day})})
    t = pipeline.coded(on)
    none = {name: empty_table(name) for name in NONE}
    inputs = t | {"findings": empty_table("findings"), "forecast_scores": none["forecast_scores"]}
    built = build_lives(
        t["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], on
    )
    laws = fit_models(built["failure_events"], built["unit_spans"], on, with_curves=False)
    built["readings"] = age_readings(t["readings"], built["failure_events"])
    decided = recommend_intervals(
        laws["life_draws"], laws["life_models"], built["failure_events"], t["service_lines"],
        t["maintenance_events"], built["unit_spans"], on, t["shelf"], built["readings"],
        t["catalogue"],
    )  # fmt: skip
    levels = plan_stock(
        built["failure_events"], laws["life_draws"], decided["intervals"], built["units"],
        built["unit_spans"], t["service_lines"], t["maintenance_events"], t["catalogue"],
        t["shelf"], on, contracts=t["contracts"], stated_plan=t["stated_plan"],
        use_seasons=built["use_seasons"],
    )  # fmt: skip
    return State(on, inputs, t | built | laws | decided | levels | none)


def kept(run: State, folder: Path) -> history.Snapshot:
    """Keep a run's month."""
    return history.keep_month(
        folder,
        history.Given(settings=run.settings, inputs=run.inputs, tables=run.tables, digests={},
                      accounts=[], before=""),
    )  # fmt: skip


def since(month: history.Snapshot, now: State) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """What moved since a kept month."""
    return history.since_month(
        month, now.here, now.tables, read=lambda s: read_or_tell_changes(s).tables,
        code=pipeline.coded, tell=lambda _: None,
    )  # fmt: skip
