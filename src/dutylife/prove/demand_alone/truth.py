"""The demand forecast against the year that truly comes, beside an oracle and series methods."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife import reports
from dutylife.errors import DutylifeError
from dutylife.prove.demand_alone.fleet import DemandJob, demand_rows
from dutylife.prove.demand_alone.verdicts import figures_of, verdicts_of
from dutylife.prove.demand_alone.worlds import N_UNITS, WORLDS
from dutylife.prove.jobs import fleet_seed
from dutylife.prove.kept import KeptResults
from dutylife.prove.run import program_digest, source_digest
from dutylife.prove.workers import Workers, compute_of, worked
from dutylife.run_folder import write_tables
from dutylife.schema import as_table
from dutylife.spread import Compute

DEFAULT_FLEETS = 20


@dataclass(frozen=True, slots=True)
class DemandProof:
    """Tables of the proof and what made it."""

    tables: dict[str, pd.DataFrame]
    info: dict[str, Any]

    @property
    def text(self) -> str:
        """What a person at a terminal wants to know first."""
        lines = [f"{self.info['n_fleets']} fleets of {self.info['n_units']} machines in each world"]
        for row in self.tables["prove_demand_verdicts"].astype(object).to_dict("records"):
            told = f"  {row['answer']}: {row['case']}, {row['among']}: {row['aim']}"
            told += f"; found {row['figure']:.3g}"
            error = row["standard_error"]
            lines.append(told + (f" (se {error:.2g})" if error == error else ""))
        return "\n".join(lines)

    def written(self, folder: Path) -> "DemandProof":
        """Write the tables as CSV and Parquet into a folder, and demand.html beside them."""
        write_tables(self.tables, folder)
        reports.write_prove_demand_page(folder, self.tables, self.info)
        return self


def prove_demand(
    *,
    n_fleets: int = DEFAULT_FLEETS,
    n_units: int = N_UNITS,
    seed: int = 20260101,
    workers: Workers = 1,
    progress: Callable[[str], None] | None = None,
    kept: Path | None = None,
) -> DemandProof:
    """Hold the demand forecast against the true future in worlds that change and that do not.

    Parameters
    ----------
    n_fleets : int
        Fleets of each world.
    n_units : int
        Machines of a fleet.
    seed : int
        Same seed, same tables, whatever the number of workers.
    workers : int or Compute
        Processes.
    progress : callable, optional
        Called with a short text as each fleet is done.
    kept : Path, optional
        Folder in which finished fleets are kept and from which they are taken up again when the
        fleet and the program are the same.

    Returns
    -------
    DemandProof
        Each fleet's messy export goes through reading, coding, lives and models; the forecast and
        the oracle go through the same demand stage, so that they differ by what they know alone.

    Raises
    ------
    DutylifeError
        No fleet, too few machines, or no worker.
    """
    compute = compute_of(workers)
    if n_fleets < 1 or n_units < 10:
        raise DutylifeError(
            f"{n_fleets} fleets of {n_units} machines prove nothing.",
            "prove_demand", "give a fleet of 10 machines at least",
        )  # fmt: skip
    jobs = [
        DemandJob(world=world.name, number=i, n_units=n_units, seed=fleet_seed(seed, i))
        for i in range(n_fleets)
        for world in WORLDS
    ]
    results = _results(jobs, compute, kept, progress or (lambda _: None))
    sums = [row for found in results for row in found[0]]
    stock = [row for found in results for row in found[1]]
    return summed_up(sums, stock, {"seed": seed, "n_fleets": n_fleets, "n_units": n_units})


def _results(
    jobs: list[DemandJob], compute: Compute, kept: Path | None, tell: Callable[[str], None]
) -> list[Any]:
    """Rows of each job, in the order of the jobs; those kept from before are not run again."""
    held = KeptResults(kept, program_digest()) if kept else None
    found = [held.taken_up(job.name, asdict(job)) if held else None for job in jobs]
    missing = [job for job, rows in zip(jobs, found, strict=True) if rows is None]
    if len(missing) < len(jobs):
        tell(f"{len(jobs) - len(missing)} of {len(jobs)} fleets kept from before")
    new = {}
    for job, rows in zip(missing, worked(demand_rows, missing, compute), strict=True):
        if held:
            held.keep(job.name, asdict(job), rows)
        new[job.name] = rows
        tell(f"{job.world}, fleet {job.number + 1}")
    return [new[job.name] if rows is None else rows for job, rows in zip(jobs, found, strict=True)]


def summed_up(
    sums: list[dict[str, Any]], stock: list[dict[str, Any]], info: dict[str, Any]
) -> DemandProof:
    """Tables of all fleets together."""
    order = {world.name: i for i, world in enumerate(WORLDS)}
    both = {"prove_demand_sums": pd.DataFrame(sums), "prove_demand_stock": pd.DataFrame(stock)}
    made = {
        name: table.sort_values("case", key=lambda c: c.map(order), kind="stable")
        for name, table in both.items()
    }
    parts = tuple(made.values())
    made["prove_demand"] = figures_of(*parts)
    made["prove_demand_verdicts"] = verdicts_of(*parts)
    tables = {name: as_table(name, table) for name, table in made.items()}
    return DemandProof(tables, info | {"source_digest": source_digest()})
