"""The cases in which the life models are held to known laws: one function a table, one row a size.

Each takes a job and gives rows; the same job gives the same rows, whatever runs beside it.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dutylife.models import fit_cells
from dutylife.models.cells import CellLives
from dutylife.models.pooling import pool_cells
from dutylife.prove.models_alone.made import (
    N_DUTIES,
    START,
    Law,
    Laws,
    lives_blindly_cut,
    lives_half_cut,
    together,
)
from dutylife.prove.models_alone.scores import Judged, error_row

LEVEL = 0.90
WHAT = ("b10", "b50", "shape", "scale")
FACTOR = "factor"
SIZES = (1, 2, 3, 5, 10, 30)
OFF_SIZES = (3, 10, 30)
LENDING_SIZES = (2, 3, 5, 10, 30)
POOLED_AIM = (0.88, 0.92)
OWN_AIM = {10: (0.85, 0.92), 30: (0.88, 0.92)}
FACTOR_AIM = (0.85, 0.95)
FACTOR_FAILURES = 5  # the run compares two duties in words from so many on
LENDING_AIM = {3: 0.65, 10: 1.0, 30: 1.0}
STATED = "laws of the prior, watch blind to them"
HALF_CUT = "laws of the prior, half cut off everywhere"
FAR = "one duty lives 5 times as long"
OFF_PRIOR: dict[str, Laws] = {
    HALF_CUT: Laws(),
    "shapes around 0.7": Laws(shape_mean=float(np.log(0.7)), shape_mean_sd=0.0),
    "shapes around 3.5": Laws(shape_mean=float(np.log(3.5)), shape_mean_sd=0.0),
    "shapes differ by 0.6 in logs": Laws(shape_between=0.6),
    FAR: Laws(scale_between=0.2, first_longer=float(np.log(5.0))),
    "lives 20 times as long as expected": Laws(off_start=float(np.log(20.0))),
}
# what lending is held to: duties of a component that are alike, as parts of one kind often are
ALIKE = Laws(
    shape_mean=float(np.log(2.0)), shape_mean_sd=0.25, shape_between=0.1, scale_between=0.45,
    customer_variance=0.0,
)  # fmt: skip
SPREAD = replace(ALIKE, customer_variance=0.25)
FLEET_DUTIES, FLEET_CUSTOMERS, FLEET_FAILURES = 4, 8, 40
TOLD, NOT_TOLD = "customers told", "customers not told"


@dataclass(frozen=True, slots=True)
class ModelsJob:
    """A case at a size: which table, how many components (of "own" cells, of "factors" fleets)."""

    table: str
    case: str
    failures: int
    count: int
    seed: tuple[int, ...]


def rows_of(job: ModelsJob) -> tuple[str, list[dict[str, Any]]]:
    """Rows of a job, with the name of their table."""
    make = {"own": own_rows, "pooled": pooled_rows, "lending": lending_rows, "factors": factor_rows}
    rows = make[job.table](job)
    return job.table, [{"case": job.case, "expected_failures": job.failures} | r for r in rows]


def own_rows(job: ModelsJob) -> list[dict[str, Any]]:
    """Likelihood-ratio ranges of cells by themselves: shapes of 0.8 to 4, even in logs."""
    rng = np.random.default_rng(job.seed)
    shapes = rng.uniform(np.log(0.8), np.log(4.0), job.count)
    laws = [Law(float(q), float(rng.normal(START, 1.0))) for q in shapes]
    lives = [lives_half_cut(rng, law, 2 * job.failures) for law in laws]
    rows = together(lives)
    fits = fit_cells(rows["cell"], rows["exit"], rows["event"], entry=rows["entry"])
    out = []
    for what in WHAT:
        found = fits.limits(what, LEVEL)
        closed, with_open = Judged(), 0
        lower, value, upper = (found[c].to_numpy(float) for c in ("lower", "value", "upper"))
        both_ends = (found["verdict"] == "fitted").to_numpy(bool)
        for number, law in enumerate(laws):
            truth = law.figure(what)
            if both_ends[number]:
                ends = float(lower[number]), float(value[number]), float(upper[number])
                closed.add(number, ends, truth)
            with_open += bool(fits.fitted[number] and lower[number] <= truth <= upper[number])
        shares = {
            "share_open": float((fits.fitted & (found["verdict"] == "unbounded")).mean()),
            "share_no_top": float((fits.verdict == "unbounded").mean()),
            "share_no_failure": float((fits.verdict == "no estimate").mean()),
            "coverage_with_open": with_open / max(int(fits.fitted.sum()), 1),
        }
        out.append({"what": what} | closed.row(OWN_AIM.get(job.failures)) | shares)
    return out


def pooled_rows(job: ModelsJob) -> list[dict[str, Any]]:
    """Ranges of cells pooled with the other duties, laws from the stated prior or off it."""
    rng = np.random.default_rng(job.seed)
    drawn_from = Laws() if job.case == STATED else OFF_PRIOR[job.case]
    watch = lives_blindly_cut if job.case == STATED else lives_half_cut
    compared = (FACTOR,) if job.failures >= FACTOR_FAILURES else ()
    judged = {what: Judged() for what in (*WHAT, *compared)}
    far = {what: Judged() for what in WHAT}
    for number in range(job.count):
        laws, variance = drawn_from.drawn(rng, N_DUTIES)
        lives = [watch(rng, law, 2 * job.failures, variance=variance) for law in laws]
        pool = pool_cells(lives, START)
        for duty, (law, cell) in enumerate(zip(laws, pool.cells, strict=True)):
            into = far if job.case == FAR and duty == 0 else judged
            for what in WHAT:
                into[what].add(number, cell.range_of(what, LEVEL), law.figure(what))
        if FACTOR in judged:
            truth = float(np.exp(laws[0].log_scale - laws[1].log_scale))
            judged[FACTOR].add(number, pool.factor(0, 1, LEVEL), truth)
    aim = POOLED_AIM if job.case == STATED else None
    aims = {FACTOR: FACTOR_AIM if aim else None}
    out = [
        {"what": w, "duties": "all"} | found.row(aims.get(w, aim)) for w, found in judged.items()
    ]
    if job.case == FAR:
        for row in out:
            row["duties"] = "the far one over another" if row["what"] == FACTOR else "the others"
        out += [{"what": w, "duties": "the far one"} | found.row() for w, found in far.items()]
    return out


def lending_rows(job: ModelsJob) -> list[dict[str, Any]]:
    """How much nearer to the truth a cell comes by the other duties' lives, where these are alike.

    Only cells that have a law by themselves and two failures count, so that both can be compared.
    """
    rng = np.random.default_rng(job.seed)
    errors: dict[str, tuple[list[float], list[float], list[int]]] = {
        what: ([], [], []) for what in WHAT
    }
    judged = {what: Judged() for what in WHAT}
    for number in range(job.count):
        laws, _ = ALIKE.drawn(rng, N_DUTIES)
        lives = [lives_half_cut(rng, law, 2 * job.failures) for law in laws]
        rows = together(lives)
        fits = fit_cells(rows["cell"], rows["exit"], rows["event"], entry=rows["entry"])
        own = {
            "b10": fits.quantile(0.1), "b50": fits.quantile(0.5),
            "shape": fits.shape, "scale": fits.scale,
        }  # fmt: skip
        pool = pool_cells(lives, START)
        for duty, (law, cell) in enumerate(zip(laws, pool.cells, strict=True)):
            for what in WHAT:
                found, truth = cell.range_of(what, LEVEL), law.figure(what)
                judged[what].add(number, found, truth)
                if fits.fitted[duty] and lives[duty].n_failed >= 2:
                    pooled, separate, group = errors[what]
                    pooled.append(float(np.log(found[1] / truth)))
                    separate.append(float(np.log(own[what][duty] / truth)))
                    group.append(number)
    out = []
    for what in WHAT:
        aim = LENDING_AIM.get(job.failures) if what == "b10" else None
        covered = judged[what].row()
        out.append(
            {"what": what} | error_row(*errors[what], aim)
            | {k: covered[k] for k in ("coverage", "coverage_se")}
        )  # fmt: skip
    return out


def factor_rows(job: ModelsJob) -> list[dict[str, Any]]:
    """Lives in a duty over those in another, where customers differ: told, and kept from us."""
    rng = np.random.default_rng(job.seed)
    judged = {TOLD: Judged(), NOT_TOLD: Judged()}
    variances: dict[str, list[float]] = {TOLD: [], NOT_TOLD: []}
    for number in range(job.count):
        laws, variance = SPREAD.drawn(rng, FLEET_DUTIES)
        told = [
            lives_half_cut(rng, law, 2 * job.failures, variance=variance,
                           n_customers=FLEET_CUSTOMERS)
            for law in laws
        ]  # fmt: skip
        for words, lives in ((TOLD, told), (NOT_TOLD, [_untold(c) for c in told])):
            pool = pool_cells(lives, START)
            variances[words].append(pool.customer_variance)
            for one in range(0, FLEET_DUTIES, 2):  # the other pairs tell little beyond these
                truth = float(np.exp(laws[one].log_scale - laws[one + 1].log_scale))
                judged[words].add(number, pool.factor(one, one + 1, LEVEL), truth)
    return [
        {"what": FACTOR, "customers": words,
         "customer_variance": float(np.mean(variances[words]))}
        | found.row(FACTOR_AIM if words == TOLD else None)
        for words, found in judged.items()
    ]  # fmt: skip


def _untold(lives: CellLives) -> CellLives:
    return replace(lives, customer=None)
