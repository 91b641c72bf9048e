"""The replacement ages alone against laws that are known: what they lose on perfect knowledge."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife import reports
from dutylife.errors import DutylifeError
from dutylife.prove.models_alone.made import N_DUTIES
from dutylife.prove.money_alone.cells import CASES, COST_RATIO, OURS, SIZES, MoneyJob, money_rows
from dutylife.prove.run import source_digest
from dutylife.prove.workers import Workers, compute_of, worked
from dutylife.run_folder import write_tables
from dutylife.schema import as_table

FEWEST_CELLS = 2 * N_DUTIES
DEFAULT_CELLS = 800
TABLE = "prove_money"


@dataclass(frozen=True, slots=True)
class MoneyProof:
    """Table of the comparison and what made it."""

    table: pd.DataFrame
    info: dict[str, Any]

    @property
    def text(self) -> str:
        """What a person at a terminal wants to know first."""
        lines = [f"Money lost against perfect knowledge, a failure costing {COST_RATIO:g} times"]
        for row in self.table.to_dict("records"):
            told = (
                f"  {row['case']}, {row['expected_failures']} failures, {row['rule']}: "
                f"{100 * row['money_lost']:.1f} % (se {100 * row['money_lost_se']:.1f}), nine in "
                f"ten cells at most {row['ninth_decile_ratio']:.1f} times that, worst tenth "
                f"{row['worst_tenth_ratio']:.1f} times"
            )
            if row["rule"] == OURS:
                told += f"; aim {100 * row['aim_most']:.0f} %: {row['answer']}"
            lines.append(told)
        return "\n".join(lines)

    def written(self, folder: Path) -> "MoneyProof":
        """Write the table as CSV and Parquet into a folder, and money.html beside it."""
        tables = {TABLE: as_table(TABLE, self.table)}
        write_tables(tables, folder)
        reports.write_prove_money_page(folder, tables[TABLE], self.info)
        return self


def prove_money(
    *,
    n_cells: int = DEFAULT_CELLS,
    seed: int = 20260101,
    workers: Workers = 1,
    progress: Callable[[str], None] | None = None,
) -> MoneyProof:
    """Hold replacement ages against the best age of the law their lives were drawn from.

    Parameters
    ----------
    n_cells : int
        Cells of each size and case, eight duties to a component. [1]
    seed : int
        Same seed, same table, whatever the number of workers.
    workers : int or Compute
        Processes.
    progress : callable, optional
        Called with a short text as each case is done.

    Returns
    -------
    MoneyProof
        Laws: shape of a component lognormal, median 2.0, log sd 0.25; log sd 0.1 between its
        eight duties; log sd 0.45 of scale between them; as many expected failures in each.

    Raises
    ------
    DutylifeError
        Fewer cells than two components have, or no worker.
    """
    compute = compute_of(workers)
    if n_cells < FEWEST_CELLS:
        raise DutylifeError(
            f"{n_cells} cells prove nothing.", "prove_money",
            f"give {FEWEST_CELLS} cells or more (two components of {N_DUTIES} duties)",
        )  # fmt: skip
    jobs = [
        MoneyJob(case, failures, n_cells // N_DUTIES, (seed, 7, number, failures))
        for number, case in enumerate(CASES)
        for failures in SIZES
    ]
    tell = progress or (lambda _: None)
    rows: list[dict[str, Any]] = []
    for job, found in zip(jobs, worked(money_rows, jobs, compute), strict=True):
        rows += found
        tell(f"{job.case}, {job.failures} expected failures")
    info = {"seed": seed, "n_cells": n_cells, "source_digest": source_digest()}
    return MoneyProof(as_table(TABLE, pd.DataFrame(rows)), info)
