"""The failure-event table against the true lives: found, ended rightly, aged rightly, no bias."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pandas as pd

from dutylife import reports
from dutylife.coding import code_lines
from dutylife.errors import DutylifeError
from dutylife.intake import read_exports
from dutylife.lives import build_lives
from dutylife.practice import DIFFICULTIES, make_practice, simulate_fleet, without_difficulties
from dutylife.prove.jobs import NO_DIFFICULTY, fleet_seed
from dutylife.prove.lives_alone.scores import (
    OURS,
    TRUE,
    SeenFleet,
    found_table,
    law_table,
    presence_table,
)
from dutylife.prove.run import source_digest
from dutylife.prove.workers import Workers, worked
from dutylife.run_folder import write_tables
from dutylife.schema import as_table
from dutylife.settings import read_settings

ALL_ON = "all on"
SCENARIO = "the scenario's own"
# these change the laws, or what comes after the record, not what the record shows of lives
NOT_OF_LIVES = (
    "lognormal_lives", "mixed_modes", "early_failure_batch", "machine_spread", "customer_spread",
    "announced_contract", "plan_from_cutoff", "wrong_duty_labels", "wrong_failure_cost",
)  # fmt: skip
TO_EXPORT, TO_VISIT, FROM_START = (
    "counted to the export date", "ended at last visit", "first lives from the record's start",
)  # fmt: skip
_DAY_ZERO = pd.Timestamp("1970-01-01")
N_UNITS, N_YEARS = 120, 4.0


@dataclass(frozen=True, slots=True)
class LivesJob:
    """One fleet of a case."""

    case: str
    strengths: tuple[tuple[str, float], ...] | None
    seed: int
    n_units: int
    n_years: float


@dataclass(frozen=True, slots=True)
class LivesProof:
    """Tables of the comparison, by name, and what made them."""

    tables: dict[str, pd.DataFrame]
    info: dict[str, Any]

    @property
    def text(self) -> str:
        """What a person at a terminal wants to know first."""
        laws = self.tables["prove_lives_laws"]
        lines = []
        for case, rows in laws[laws["clock"] == "both"].groupby("case", sort=False):
            lines.append(f"{case} ({rows['n_fleets'].iloc[0]} fleets):")
            lines += [
                f"  {r.method}: scale {r.scale_ratio:.3f} (se {r.scale_ratio_se:.3f}), "
                f"shape {r.shape_ratio:.3f} (se {r.shape_ratio_se:.3f}) of the truth, "
                f"{r.n_failed} failures, {r.n_laws} laws"
                for r in rows.itertuples()
            ]
        found = self.tables["prove_lives_found"]
        lines += [
            f"{case}: too few failures for any law"
            for case in dict.fromkeys(found["case"]) if case not in set(laws["case"])
        ]  # fmt: skip
        for row in found[found["clock_source"] == "any"].to_dict("records"):
            lines.append(
                f"{row['case']}: {100 * row['share_found']:.1f} % of {row['n_lives']} true lives "
                f"found, {100 * row['share_right_end']:.1f} % of these with the right end"
            )
        return "\n".join(lines)

    def written(self, folder: Path) -> "LivesProof":
        """Write the tables as CSV and Parquet into a folder, and lives.html beside them."""
        tables = {n: as_table(n, t) for n, t in self.tables.items()}
        write_tables(tables, folder)
        reports.write_prove_lives_page(folder, tables, self.info)
        return self


def cases(wanted: tuple[str, ...] = ()) -> dict[str, Mapping[str, float] | None]:
    """Strengths by case: none, the scenario's own (None), all on, each difficulty alone.

    Raises
    ------
    DutylifeError
        A wanted case is not known.
    """
    none = without_difficulties()
    every = {name: float(name not in NOT_OF_LIVES) for name in DIFFICULTIES}
    known: dict[str, Mapping[str, float] | None] = {
        NO_DIFFICULTY: none, SCENARIO: None, ALL_ON: every,
    }  # fmt: skip
    known |= {n: none | {n: 1.0} for n in DIFFICULTIES if n not in NOT_OF_LIVES}
    strange = [name for name in wanted if name not in known]
    if strange:
        raise DutylifeError(
            f"No such case: {', '.join(strange)}.", "case", "one of: " + ", ".join(known)
        )
    return {name: known[name] for name in wanted} if wanted else known


def prove_lives(
    *,
    wanted: tuple[str, ...] = (),
    n_fleets: int = 5,
    n_units: int = N_UNITS,
    n_years: float = N_YEARS,
    seed: int = 20260101,
    workers: Workers = 1,
    plant: Callable[[pd.DataFrame], pd.DataFrame] | None = None,
) -> LivesProof:
    """Compare the failure-event table of practice fleets with their true lives.

    Parameters
    ----------
    wanted : tuple of str
        Cases, all of `cases` where none is named.
    n_fleets : int
        Fleets a case; the laws are the same in all, and one law a cell is fitted to the lives of
        all fleets of a case together.
    n_units, n_years
        Machines and length of record of each. [1, years]
    seed : int
        Same seed, same tables, whatever the number of workers.
    plant : callable, optional
        A fault put into the table before it is compared (tests only; with one worker).

    Returns
    -------
    LivesProof
        prove_lives_found, prove_lives_laws, prove_lives_presence.
    """
    jobs = [
        LivesJob(case, None if given is None else tuple(sorted(given.items())),
                 fleet_seed(seed, number), n_units, n_years)
        for case, given in cases(wanted).items()
        for number in range(n_fleets)
    ]  # fmt: skip
    # a fault planted by a test need not be one that another process can be sent
    seen = list(worked(partial(_fleet, plant=plant), jobs, 1 if plant else workers))
    by_case: dict[str, list[SeenFleet]] = {}
    for job, one in zip(jobs, seen, strict=True):
        by_case.setdefault(job.case, []).append(one)
    tables: dict[str, list[pd.DataFrame]] = {}
    for case, fleets in by_case.items():
        for name, make in (
            ("prove_lives_found", found_table), ("prove_lives_laws", law_table),
            ("prove_lives_presence", presence_table),
        ):  # fmt: skip
            rows = make(fleets).assign(case=case, n_fleets=len(fleets))
            tables.setdefault(name, []).append(rows)
    info = {
        "seed": seed, "n_units": n_units, "n_years": n_years,
        "source_digest": source_digest(),
    }  # fmt: skip
    return LivesProof({n: pd.concat(t, ignore_index=True) for n, t in tables.items()}, info)


def _fleet(job: LivesJob, plant: Callable[[pd.DataFrame], pd.DataFrame] | None = None) -> SeenFleet:
    """True lives, the table by each rule, and who was believed there, of one fleet."""
    strengths = None if job.strengths is None else dict(job.strengths)
    size = {"n_units": job.n_units, "n_years": job.n_years, "seed": job.seed}
    fleet = simulate_fleet(difficulties=strengths, **size)  # type: ignore[arg-type]
    with TemporaryDirectory() as folder:
        made = make_practice(Path(folder), difficulties=strengths, **size)  # type: ignore[arg-type]
        settings = read_settings(made["settings"])
        read = read_exports(settings)
    settings = settings.model_copy(
        update={"fleet": settings.fleet.model_copy(update={"as_of": read.as_of})}
    )
    t = read.tables
    coded = code_lines(t["service_lines"], t["units"], t["shelf"], settings)

    def lives(rule: str) -> dict[str, pd.DataFrame]:
        chosen = settings.lives.model_copy(update={"still_there": rule})
        return build_lives(
            coded["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"],
            settings.model_copy(update={"lives": chosen}),
        )  # fmt: skip

    ours = lives("by gaps")
    table = ours["failure_events"] if plant is None else plant(ours["failure_events"])
    start = _DAY_ZERO + pd.Timedelta(fleet.span.start, "D")
    leaves = {m.unit_id: m.leaves for m in fleet.machines}
    return SeenFleet(
        lives={
            OURS: table,
            TRUE: fleet.lives,
            TO_EXPORT: lives("always")["failure_events"],
            TO_VISIT: lives("last visit")["failure_events"],
            FROM_START: _from_start(ours["failure_events"], start),
        },
        units=ours["units"].assign(truly_there=_there(ours["units"], leaves, fleet.span.end)),
        laws=fleet.laws,
        start=start,
        comeback_days=settings.coding.comeback_days,
    )


def _there(units: pd.DataFrame, leaves: Mapping[str, float], end: float) -> list[bool]:
    return [leaves.get(unit, np.inf) > end for unit in units["unit_id"].astype(str)]


def _from_start(table: pd.DataFrame, start: pd.Timestamp) -> pd.DataFrame:
    """First lives of unknown age, dated from the record's first day; in days, and by mean use."""
    first = (table["life_number"] == 1) & table["exit_days"].isna()
    age = (table["ended_on"] - start).dt.days.clip(lower=0).astype(float)
    use = (table["exit_hours"] / table["exit_days"]).groupby(
        table["unit_id"].astype("object")).transform("median")  # fmt: skip
    source = table["clock_source"].astype("object").mask(first, "estimated")
    return table.assign(
        exit_days=table["exit_days"].mask(first, age),
        entry_days=table["entry_days"].mask(first, 0.0),
        exit_hours=table["exit_hours"].mask(first, age * use),
        entry_hours=table["entry_hours"].mask(first, 0.0),
        age_se_hours=table["age_se_hours"].mask(first, 0.0),
        clock_source=source,
    )
