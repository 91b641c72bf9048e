"""Single cells of known laws: what each way to choose a replacement age loses on the best one."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dutylife.decisions.age_advice import ReplacementAdvice, replacement_advice
from dutylife.decisions.age_cells import cell_optima
from dutylife.decisions.age_table import optimal_ages
from dutylife.decisions.age_weibull import age_replacement_weibull
from dutylife.models import fit_cells
from dutylife.models.cells import CellLives
from dutylife.models.checks import Array
from dutylife.models.pooling import pool_cells
from dutylife.prove.models_alone.cases import ALIKE
from dutylife.prove.models_alone.made import N_DUTIES, START, Law, lives_half_cut, together
from dutylife.prove.models_alone.scores import mean_by_group
from dutylife.settings import Workshop

COST_RATIO = 5.0
SIZES = (2, 5, 10, 30)
AIMS = {2: 0.06, 5: 0.03, 10: 0.02, 30: 0.01}
WORST_TENTH = 3.0
OURS, OPEN, BEFORE, OWN, NEVER, FIXED = (
    "pooled, as the run advises", "pooled, no gate", "pooled, another gate: 1 % saved, age seen",
    "by itself, maximum likelihood", "run to failure", "0.6 x mean life of all duties",
)  # fmt: skip
RULES = (OURS, OPEN, BEFORE, OWN, NEVER, FIXED)
STRETCHES, AT_RANDOM = "cut off over stretches of each law", "cut off at random by each law"
CASES = (STRETCHES, AT_RANDOM)
SHARE_OF_MEAN = 0.6
OLD_SAVING = 0.01


@dataclass(frozen=True, slots=True)
class MoneyJob:
    """A case at a size: components of eight duties each."""

    case: str
    failures: int
    count: int
    seed: tuple[int, ...]


def money_rows(job: MoneyJob) -> list[dict[str, Any]]:
    """Rows of table "prove_money" of a job: what each rule loses, mean over the cells.

    Half of the lives fail on average in every cell. "Stretches": each life is watched until a
    chance of 0.2 to 0.8 of failing has gone by, a third from a later age on. "At random": each is
    cut off at an age drawn from its own law.
    """
    rng = np.random.default_rng(job.seed)
    lost: dict[str, list[NDArray[np.float64]]] = {rule: [] for rule in RULES}
    for _ in range(job.count):
        laws, _ = ALIKE.drawn(rng, N_DUTIES)
        lives = [_made(rng, job.case, law, 2 * job.failures) for law in laws]
        for rule, ages in ages_chosen(laws, lives).items():
            lost[rule].append(money_lost(laws, ages))
    groups = np.repeat(np.arange(job.count, dtype=float), N_DUTIES)
    return [
        {"case": job.case, "expected_failures": job.failures, "rule": rule}
        | _row(np.concatenate(values), groups, AIMS.get(job.failures) if rule == OURS else None)
        for rule, values in lost.items()
    ]


def _made(rng: np.random.Generator, case: str, law: Law, n: int) -> CellLives:
    if case == STRETCHES:
        return lives_half_cut(rng, law, n)
    shape, scale = np.exp(law.log_shape), np.exp(law.log_scale)
    age = scale * rng.exponential(size=n) ** (1 / shape)
    stop = scale * rng.exponential(size=n) ** (1 / shape)
    event = age <= stop
    customer = rng.integers(0, n // 4 + 1, n).astype(object)
    return CellLives(
        np.minimum(age, stop), event, np.zeros(n), np.ones(n), n, int(event.sum()), None, customer
    )


def ages_chosen(laws: list[Law], lives: list[CellLives]) -> dict[str, Array]:
    """Age each rule replaces at in each duty of a component, ``inf`` where it waits."""
    pool = pool_cells(lives, START)
    draws = [cell.draws() for cell in pool.cells]
    longest = max(float(c.exit.max()) for c in lives)
    shape, scale = np.array([d.shape for d in draws]), np.array([d.scale for d in draws])
    weights = np.array([d.weight for d in draws])
    costs = np.ones(len(laws)), np.full(len(laws), COST_RATIO)
    rows = together(lives)
    fits = fit_cells(rows["cell"], rows["exit"], rows["event"], entry=rows["entry"])
    own = np.where(fits.fitted, fits.shape, 1.0)
    own_scale = np.where(fits.fitted, fits.scale, 1.0)
    wears = pool.probability_wears
    advice = [_advice(*d, longest, wears) for d in zip(shape, scale, weights, strict=True)]
    means = [law.figure("scale") * _mean_share(law.figure("shape")) for law in laws]
    return {
        OURS: np.array([a.interval if a.pays else np.inf for a in advice]),
        OPEN: cell_optima(shape, scale, weights, *costs).age,
        BEFORE: np.array([_before(*d, longest) for d in zip(shape, scale, weights, strict=True)]),
        OWN: optimal_ages(own[:, None], costs[1], own_scale[:, None])[:, 0],
        NEVER: np.full(len(laws), np.inf),
        FIXED: np.full(len(laws), SHARE_OF_MEAN * float(np.mean(means))),
    }


def _advice(
    shape: Array, scale: Array, weights: Array, longest: float, wears: float
) -> ReplacementAdvice:
    return replacement_advice(
        shape, scale, weights, planned_cost=1.0, failure_cost=COST_RATIO, longest_seen=longest,
        steps=tuple(Workshop().interval_steps_hours), component_wears=wears,
    )  # fmt: skip


def _before(shape: Array, scale: Array, weights: Array, longest: float) -> float:
    found = age_replacement_weibull(
        shape, scale, weights, planned_cost=1.0, failure_cost=COST_RATIO, longest_age=longest
    )
    pays = found.saving >= OLD_SAVING and not found.beyond_seen
    return found.best_age if pays else np.inf


def money_lost(laws: list[Law], ages: Array) -> NDArray[np.float64]:
    """True long-run cost at each age over the true least cost, less 1; shape (n_cells,) [1]."""
    shape = np.array([law.figure("shape") for law in laws])
    scale = np.array([law.figure("scale") for law in laws])
    best = optimal_ages(shape[:, None], np.full(len(laws), COST_RATIO), scale[:, None])[:, 0]
    return cost_rate(shape, scale, ages) / cost_rate(shape, scale, best) - 1


def cost_rate(shape: Array, scale: Array, ages: Array) -> NDArray[np.float64]:
    """Long-run cost per unit of age, a planned change costing 1; ``inf`` waits for failure."""
    from scipy.special import gammainc

    with np.errstate(over="ignore"):
        hazard = np.where(np.isfinite(ages), (ages / scale) ** shape, np.inf)
    mean = scale * _mean_share(shape)
    failed = -np.expm1(-hazard)
    lived = mean * np.where(np.isfinite(hazard), gammainc(1 / shape, hazard), 1.0)
    return np.asarray((1 + (COST_RATIO - 1) * failed) / lived, dtype=float)


def _mean_share(shape: Any) -> Any:
    """Mean life over characteristic life."""
    from scipy.special import gamma

    return gamma(1 + 1 / shape)


def _row(lost: Array, groups: Array, aim: float | None) -> dict[str, Any]:
    mean, error = mean_by_group(lost, groups)
    worst = float(np.sort(lost)[-max(len(lost) // 10, 1) :].mean())
    tail = worst / mean if mean > 0 else np.nan
    return {
        "n_cells": len(lost), "n_groups": len(np.unique(groups)), "money_lost": mean,
        "money_lost_se": error, "worst_tenth_ratio": tail, "aim_most": aim,
        "ninth_decile_ratio": float(np.quantile(lost, 0.9)) / mean if mean > 0 else np.nan,
        "answer": _answer(mean, error, aim),
        "tail_answer": "no aim" if aim is None else "met" if tail <= WORST_TENTH else "not met",
    }  # fmt: skip


def _answer(mean: float, error: float, aim: float | None) -> str:
    """Met, or missed by more than two standard errors, or too few cells to tell."""
    if aim is None:
        return "no aim"
    if mean <= aim:
        return "met"
    return "not met" if mean - aim > 2 * error else "too few cells"
