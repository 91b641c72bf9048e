"""The life models alone against laws that are known: ranges hold them as often as they say."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife import reports
from dutylife.errors import DutylifeError
from dutylife.prove.models_alone import cases
from dutylife.prove.models_alone.cases import ModelsJob, rows_of
from dutylife.prove.models_alone.made import N_DUTIES
from dutylife.prove.models_alone.scores import MET, NO_AIM
from dutylife.prove.run import source_digest
from dutylife.prove.workers import Workers, compute_of, worked
from dutylife.run_folder import write_tables
from dutylife.schema import as_table

FEWEST_CELLS = 2 * N_DUTIES
DEFAULT_CELLS = 2000
# by so much more or less than pooled cells of the prior: those by themselves cost next to nothing
OWN_TIMES, OFF_SHARE, LENDING_SHARE, CELLS_A_FLEET = 5, 0.25, 0.5, 4
TABLES = {name: f"prove_models_{name}" for name in ("own", "pooled", "lending", "factors")}


@dataclass(frozen=True, slots=True)
class ModelsProof:
    """Tables of the comparison, by name, and what made them."""

    tables: dict[str, pd.DataFrame]
    info: dict[str, Any]

    @property
    def text(self) -> str:
        """What a person at a terminal wants to know first."""
        lines = []
        for name, rows in self.tables.items():
            aimed = rows[rows["answer"] != NO_AIM]
            met = int((aimed["answer"] == MET).sum())
            lines.append(f"{name}: {met} of {len(aimed)} aims met")
            for row in aimed[aimed["answer"] != MET].to_dict("records"):
                share = "error_ratio" if name == TABLES["lending"] else "coverage"
                lines.append(
                    f"  {row['answer']}: {row['what']} at {row['expected_failures']} expected "
                    f"failures, {share.replace('_', ' ')} {row[share]:.3f} "
                    f"(se {row[share + '_se']:.3f})"
                )
        return "\n".join(lines)

    def written(self, folder: Path) -> "ModelsProof":
        """Write the tables as CSV and Parquet into a folder, and models.html beside them."""
        tables = {n: as_table(n, t) for n, t in self.tables.items()}
        write_tables(tables, folder)
        reports.write_prove_models_page(folder, tables, self.info)
        return self


def prove_models(
    *,
    n_cells: int = DEFAULT_CELLS,
    seed: int = 20260101,
    workers: Workers = 1,
    progress: Callable[[str], None] | None = None,
) -> ModelsProof:
    """Hold the ranges of the life models against the laws their lives were drawn from.

    Parameters
    ----------
    n_cells : int
        Cells of each size whose laws are of the stated prior, pooled eight duties a component;
        five times as many stand by themselves, a quarter for each case off the prior, half for
        what lending gains, and a fleet for every four. [1]
    seed : int
        Same seed, same tables, whatever the number of workers.
    workers : int or Compute
        Processes.
    progress : callable, optional
        Called with a short text as each case is done.

    Returns
    -------
    ModelsProof
        prove_models_own, _pooled, _lending, _factors.

    Raises
    ------
    DutylifeError
        Fewer cells than two components have, or no worker.
    """
    compute = compute_of(workers)
    if n_cells < FEWEST_CELLS:
        raise DutylifeError(
            f"{n_cells} cells prove nothing.", "prove_models",
            f"give {FEWEST_CELLS} cells or more (two components of {N_DUTIES} duties)",
        )  # fmt: skip
    jobs = list(models_jobs(n_cells, seed))
    tell = progress or (lambda _: None)
    rows: dict[str, list[dict[str, Any]]] = {}
    for job, (name, found) in zip(jobs, worked(rows_of, jobs, compute), strict=True):
        rows.setdefault(TABLES[name], []).extend(found)
        tell(f"{job.case}, {job.failures} expected failures")
    info = {"seed": seed, "n_cells": n_cells, "source_digest": source_digest()}
    return ModelsProof({n: as_table(n, pd.DataFrame(r)) for n, r in rows.items()}, info)


def models_jobs(n_cells: int, seed: int) -> Iterator[ModelsJob]:
    """Every case at every size."""
    components = max(n_cells // N_DUTIES, 2)
    off = max(int(components * OFF_SHARE), 2)
    for failures in cases.SIZES:
        yield ModelsJob("own", "by themselves", failures, n_cells * OWN_TIMES, (seed, 1, failures))
    for failures in cases.SIZES:
        yield ModelsJob("pooled", cases.STATED, failures, components, (seed, 2, failures))
    for number, case in enumerate(cases.OFF_PRIOR):
        for failures in cases.OFF_SIZES:
            yield ModelsJob("pooled", case, failures, off, (seed, 3, number, failures))
    lending = max(int(components * LENDING_SHARE), 2)
    for failures in cases.LENDING_SIZES:
        yield ModelsJob("lending", "duties alike", failures, lending, (seed, 4, failures))
    fleets = max(n_cells // CELLS_A_FLEET, 2)
    yield ModelsJob("factors", "customers differ", cases.FLEET_FAILURES, fleets, (seed, 5))
