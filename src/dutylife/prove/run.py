"""The proof as a whole: fleets run in parallel, kept as they finish, summed up on one page."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife import reports
from dutylife.errors import RunError
from dutylife.practice import simulate_fleet
from dutylife.prove.calibration import calibration_of
from dutylife.prove.figures import ALL_SIZES, figures_of
from dutylife.prove.fleet import run_fleet
from dutylife.prove.instrument import check_instrument
from dutylife.prove.jobs import CALIBRATION, Job, fleet_seed, jobs_of
from dutylife.prove.kept import KeptResults
from dutylife.prove.plants import plant_of
from dutylife.prove.verdicts import NOT_MET, verdicts_of
from dutylife.prove.workers import Workers, compute_of
from dutylife.provenance import digest_of, versions
from dutylife.run_folder import write_tables
from dutylife.schema import as_table
from dutylife.spread import spread_as_done

Progress = Callable[[str], None]
MARKER = "prove.json"
PARTS = "parts"
# where the proofs of one stage alone are put, in the same folder
ALONE = ("lives", "models", "money", "demand")
INSTRUMENT_UNITS = {"smoke": 150, "full": 3000}
INSTRUMENT_YEARS = 4.0


@dataclass(frozen=True, slots=True)
class Proof:
    """A finished proof: where its page is, its tables, and what made it."""

    folder: Path
    tables: dict[str, pd.DataFrame]
    info: dict[str, Any]

    @property
    def not_met(self) -> pd.DataFrame:
        """Rows of "prove_verdicts" over all sizes that are not met."""
        rows = self.tables["prove_verdicts"]
        return rows[(rows["case"] == ALL_SIZES) & (rows["answer"] == NOT_MET)]

    @property
    def text(self) -> str:
        """What a person at a terminal wants to know first."""
        rows = self.tables["prove_verdicts"]
        overall = rows[rows["case"] == ALL_SIZES]
        lines = [f"{len(self.tables['prove_fleets'])} invented fleets, all sizes together:"]
        for row in overall.itertuples():
            lines.append(f"  {row.answer}: {row.aim} ({row.among}); found {row.figure:.4g}")
        return "\n".join([*lines, f"  in {self.folder}"])


def prove(
    out: str | Path,
    *,
    size: str = "smoke",
    n_fleets: int | None = None,
    seed: int = 20260101,
    workers: Workers = 1,
    plant: str = "",
    progress: Progress | None = None,
) -> Proof:
    """Run invented fleets of known laws through the whole chain and score it.

    Parameters
    ----------
    out : path
        Folder of the proof. Finished fleets are kept in its ``parts`` and taken up again when
        the fleet, the settings and the program are the same.
    size : {"smoke", "full"}
        "smoke" takes under 3 minutes on 2 cores, "full" hours.
    n_fleets : int, optional
        Fleets a cell, instead of the size's own number.
    seed : int
        Same seed, same page, whatever the number of workers.
    workers : int or Compute
        Processes, or a scheduler's workers.
    plant : str
        A fault planted on purpose, see `prove.plants`; the page says so.
    progress : callable, optional
        Called with a short text as each fleet is done.

    Raises
    ------
    DutylifeError
        An option is out of range.
    RunError
        The folder holds something that is not a proof.
    """
    folder = Path(out)
    plant_of(plant)
    _require_usable(folder, workers)
    tell = progress or (lambda _: None)
    jobs = jobs_of(size, n_fleets, seed, plant)
    results = _results(jobs, folder / PARTS, workers, tell)
    tell("instrument")
    tables = _tables(results) | {"prove_instrument": _instrument(size, seed)}
    info = {
        "size": size, "seed": seed, "plant": plant, "n_fleets": len(jobs),
        "source_digest": source_digest(),
        "versions": versions(),
    }  # fmt: skip
    write_tables(tables, folder / "tables")
    text = json.dumps(info, indent=1, sort_keys=True, ensure_ascii=False)
    (folder / MARKER).write_text(text + "\n", encoding="utf-8")
    reports.write_prove_page(folder, tables, info)
    return Proof(folder, tables, info)


def _require_usable(folder: Path, workers: Workers) -> None:
    compute_of(workers)
    strange = folder.is_file() or (
        folder.is_dir()
        and any(p.name not in ALONE for p in folder.iterdir())
        and not ((folder / MARKER).is_file() or (folder / PARTS).is_dir())
    )
    if strange:
        raise RunError(
            "The output folder holds something that is not a proof.", str(folder),
            "give another --out, or empty this folder yourself",
        )  # fmt: skip


def source_digest() -> str:
    """Digest of the package's own files: a changed chain is another chain."""
    root = Path(str(resources.files("dutylife")))
    files = sorted(p for p in root.rglob("*") if p.suffix in (".py", ".toml", ".html", ".css"))
    texts = [f"{p.relative_to(root).as_posix()}\n{p.read_text(encoding='utf-8')}" for p in files]
    return digest_of(*texts)


def program_digest() -> str:
    """Digest of the package and of the libraries it stands on."""
    return digest_of(source_digest(), json.dumps(versions(), sort_keys=True))


def _results(jobs: list[Job], kept: Path, workers: Workers, tell: Progress) -> list[dict[str, Any]]:
    """Result of each job, in the order of the jobs; those kept from before are not run again."""
    held = KeptResults(kept, program_digest())
    found: dict[str, Any] = {job.name: held.taken_up(job.name, job.as_dict()) for job in jobs}
    missing = [job for job in jobs if found[job.name] is None]
    done = len(jobs) - len(missing)
    if done:
        tell(f"{done} of {len(jobs)} fleets kept from before")
    # the longest first, so that no process waits long at the end
    missing.sort(key=lambda job: (-job.n_units * job.n_years, job.name))
    for number, result in spread_as_done(_fleet, None, missing, compute_of(workers)):
        job = missing[number]
        held.keep(job.name, job.as_dict(), result)
        found[job.name] = result
        done += 1
        tell(f"fleet {done} of {len(jobs)}: {job.case}")
    out = [found[job.name] for job in jobs]
    return [result for result in out if result is not None]


def _fleet(_: None, job: Job) -> dict[str, Any]:
    return run_fleet(job)


def _as_job(data: dict[str, Any]) -> dict[str, Any]:
    pairs = data["difficulties"]
    return data | {
        "difficulties": None if pairs is None else tuple((str(n), float(s)) for n, s in pairs)
    }


def _tables(results: list[dict[str, Any]]) -> dict[str, pd.DataFrame]:
    fleets, scores, ranks = [], [], []
    for result in results:
        job = Job(**_as_job(result["job"]))
        fleets.append(
            {
                "fleet": job.name, "fleet_kind": job.kind, "case": job.case,
                "n_units": job.n_units, "n_years": job.n_years, "seed": job.seed,
                "went_wrong": result["went_wrong"],
            }
        )  # fmt: skip
        scores += [row | {"fleet": job.name} for row in result["scores"]]
        if job.kind == CALIBRATION:
            ranks += [row | {"case": job.case} for row in result["ranks"]]
    made = as_table("prove_fleets", pd.DataFrame(fleets))
    scored = as_table("prove_scores", pd.DataFrame(scores))
    figures = figures_of(made, scored)
    return {
        "prove_fleets": made,
        "prove_scores": scored,
        "prove_figures": figures,
        "prove_verdicts": verdicts_of(figures),
    } | calibration_of(ranks)


def _instrument(size: str, seed: int) -> pd.DataFrame:
    fleet = simulate_fleet(
        n_units=INSTRUMENT_UNITS[size], n_years=INSTRUMENT_YEARS, seed=fleet_seed(seed, 0)
    )
    return check_instrument([fleet])
