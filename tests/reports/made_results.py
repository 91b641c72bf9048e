"""One made result of every kind that `plot` draws."""

from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from dutylife import decisions, models, stock
from dutylife.models.cells import CellLives
from dutylife.models.pooling import pool_cells
from dutylife.schema import as_table, empty_table


def lives(n: int = 60, shape: float = 1.8, seed: int = 5) -> tuple[Any, Any]:
    """Ages and failed flags of Weibull lives of scale 400 h, cut off between 100 and 900 h."""
    rng = np.random.default_rng(seed)
    age, stop = 400.0 * rng.weibull(shape, n), rng.uniform(100, 900, n)
    return np.round(np.minimum(age, stop) + 1.0), age <= stop


def _pooled() -> Any:
    cells = []
    for seed in range(3):
        age, failed = lives((40, 15, 4)[seed], seed=seed)
        n = len(age)
        cells.append(CellLives(age, failed, np.zeros(n), np.ones(n), n, int(failed.sum())))
    return pool_cells(cells, float(np.log(400.0)))


def _paths() -> Any:
    rng = np.random.default_rng(2)
    part = np.repeat(np.arange(12), 6)
    age = np.tile(np.arange(1, 7) * 100.0, 12)
    drift = np.repeat(rng.normal(0.01, 0.002, 12), 6)
    return models.path_model(part, age, 2.0 + drift * age + rng.normal(0, 0.2, 72), limit=12.0)


def _recurring() -> tuple[Any, Any, Any]:
    rng = np.random.default_rng(3)
    counts = rng.poisson(4.0, 12)
    unit = np.repeat(np.arange(12), counts)
    return 1000.0 * rng.random(counts.sum()) ** (1 / 1.6), unit, dict.fromkeys(range(12), 1000.0)


def comparison_rows(currency_known: bool = True) -> pd.DataFrame:
    """Table "plan_comparison" of three plans and two customers."""
    rows = []
    for customer, part in ((None, 1.0), ("Kerb & Son", 0.7), ("Quay crew", 0.3)):
        for plan, failures, cost in (
            ("recommended", 80.0, 21_000.0), ("as seen", 190.0, 30_500.0),
            ("none", 205.0, 33_000.0),
        ):  # fmt: skip
            figures = {"failures_per_year": failures, "visits_per_year": 240.0 - failures,
                       "parts_per_year": 300.0 - failures, "labour_hours_per_year": 310.0,
                       "lost_days_per_year": 1.5 * failures}  # fmt: skip
            if plan != "recommended":
                figures |= {"failures_spared_per_year": failures - 80.0,
                            "lost_days_spared_per_year": 1.5 * (failures - 80.0)}  # fmt: skip
            if currency_known:
                figures["cost_per_year"] = cost
                figures |= {} if plan == "recommended" else {"saving_per_year": cost - 21_000.0}
            row = {"plan": plan, "payer": "contractor", "customer": customer, "n_machines": 12}
            for name, value in figures.items():
                row |= {name: part * value, f"{name}_lower": 0.9 * part * value,
                        f"{name}_upper": 1.15 * part * value}  # fmt: skip
            rows += [
                row,
                row
                | {
                    "payer": "shop",
                    "cost_per_year": None,
                    "cost_per_year_lower": None,
                    "cost_per_year_upper": None,
                    "saving_per_year": None,
                    "saving_per_year_lower": None,
                    "saving_per_year_upper": None,
                },
            ]
    return as_table("plan_comparison", pd.DataFrame(rows))


def machine_rows() -> pd.DataFrame:
    """Table "keep_or_retire" of seven machines, dear and cheap, two of them to go."""
    rows = [
        {"unit_id": f"TP-{n:02d}", "equipment_class": "trench pump", "duty": "yard",
         "customer": "Kerb & Son", "payer": "contractor", "watched_hours": 2000.0, "n_failed": n,
         "billed_per_1000_hours": 300.0 + n, "lost_days_per_1000_hours": 2.0, "own_factor": 1.0,
         "own_factor_lower": 0.7, "own_factor_upper": 1.4, "trend": "no trend", "p_adjusted": 0.9,
         "next_year_cost": 2000.0 - 200 * n, "next_year_cost_lower": 1000.0 - 100 * n,
         "next_year_cost_upper": 3500.0 - 200 * n, "next_year_lost_days": 4.0,
         "new_one_cost_per_year": 1200.0 if n < 5 else None,
         "probability_new_is_cheaper": 0.95 if n < 3 else 0.05,
         "advice": "retire" if n < 3 else "keep" if n < 5 else "can't tell",
         "safety_tasks": "drive belt", "sentence": "Said in words."}
        for n in range(1, 8)
    ]  # fmt: skip
    return as_table("keep_or_retire", pd.DataFrame(rows))


def changed_rows() -> pd.DataFrame:
    """Before and after of a what-if; the shop's money is not known."""
    rows = []
    for measure, before, after in (
        ("failures", 80.0, 60.0), ("visits", 240.0, 230.0), ("lost days", 120.0, 90.0),
        ("the contractor's money", 21_000.0, 18_500.0), ("the shop's money", None, None),
    ):  # fmt: skip
        row: dict[str, Any] = {"measure": measure}
        change = None if before is None or after is None else after - before
        for name, value in (("before", before), ("after", after), ("difference", change)):
            ends = (None, None) if value is None else sorted((0.9 * value, 1.1 * value))
            row |= {name: value, f"{name}_lower": ends[0], f"{name}_upper": ends[1]}
        rows.append(row)
    return pd.DataFrame(rows).astype({"before": float, "after": float, "difference": float})


def causes_rows() -> pd.DataFrame:
    """Table "likely_causes" of three components."""
    share = np.array([0.55, 0.3, 0.15])
    rows = {
        "unit_id": "TP-02", "check_order": [1, 2, 3], "complaint": "no spark",
        "component": ["ignition cap", "spark plug", "ignition coil"],
        "probability": share, "probability_lower": share * 0.6, "probability_upper": share * 1.5,
        "counted_in": "duty", "n_like": 12.0, "n_at_fault": [7.0, 3.0, 2.0],
        "share_of_like": share, "share_of_like_lower": share * 0.6,
        "share_of_like_upper": share * 1.5, "times_usual_risk": 1.0, "age_hours": 200.0,
        "age_days": 120.0, "is_already_done": False,
    }  # fmt: skip
    return as_table("likely_causes", pd.DataFrame(rows))


def bench_rows() -> pd.DataFrame:
    """Table "bench_forecast" of all machines, eight weeks."""
    rows = {
        "from_date": pd.date_range("2026-04-06", periods=8, freq="7D"),
        "equipment_class": "all machines", "machines_mean": 12.0, "machines_planned": 3.0,
        "machines_p10": 8.0, "machines_p50": 12.0, "machines_p90": 17.0,
        "labour_hours_p50": 20.0, "labour_hours_p90": 31.0, "workshop_hours": 30.0,
        "loaners_p90": 2.0,
    }  # fmt: skip
    return as_table("bench_forecast", pd.DataFrame(rows))


def every_result() -> dict[str, Any]:
    """Result by the name of its kind (of two kinds of one law: by law)."""
    age, failed = lives()
    words = np.where(failed, np.where(np.arange(60) % 3 == 0, "worn", "clogged"), "")
    lower = np.floor(age / 100) * 100
    at, unit, ends = _recurring()
    every = np.r_[at, list(ends.values())]
    units = np.r_[unit, list(ends)]
    happened = np.r_[np.ones(len(at)), np.zeros(len(ends))]
    batch = np.where(np.arange(60) < 20, "made in March", "made in May")
    slower = np.where(batch == "made in March", age / 3, age)
    covariates = pd.DataFrame({"hot": np.arange(60) % 2, "oil": np.where(age > 300, "new", "old")})
    wear = stats.weibull_min(2.5, scale=400.0)
    poisson = stock.demand_law("poisson", mean=4.2)
    record = [0, 0, 3, 0, 0, 0, 2, 0, 1, 0, 0, 4, 0, 0, 0, 0, 2, 0, 1, 0]
    mixed = np.r_[np.random.default_rng(1).uniform(2, 25, 8), age]
    return {
        "SurvivalCurve": models.kaplan_meier(age, failed),
        "CumulativeHazard": models.nelson_aalen(age, failed),
        "IntervalCurve": models.turnbull(lower, np.where(failed, lower + 100, np.inf)),
        "CauseCurves": models.aalen_johansen(age, words),
        "MeanCumulative": models.mean_cumulative(units, every, happened),
        "LifeLaw": models.fit_law("weibull", age, failed),
        "CurvedLaw": models.fit_law("gamma", age, failed),
        "RankFit": models.rank_regression(age, failed),
        "LawChoice": models.choose_law(age, failed, n_simulated=39),
        "EarlyFailures": models.early_failures(mixed, np.r_[np.ones(8, bool), failed]),
        "BatchComparison": models.compare_batches(slower, failed, batch, n_simulated=50),
        "CellFits": models.fit_cells(np.arange(60) % 4, age, failed),
        "LifeRegression": models.fit_law("weibull", age, failed, covariates=covariates),
        "ShapeFactor": models.simulated_shape_factor(20, 8, n_samples=2000),
        "Pooled": _pooled(),
        "PowerLaw": models.power_law(at, unit=unit, end=ends),
        "TrendTests": models.trend_tests(at, unit=unit, end=ends),
        "OrderTest": models.order_test([1, 1, 1, 2, 2, 3, 3], [9, 5, 4, 8, 3, 6, 7], np.ones(7)),
        "PathModel": _paths(),
        "AgeReplacement": decisions.age_replacement(wear, planned_cost=100.0, failure_cost=900.0),
        "AgeReplacementDraws": decisions.age_replacement_weibull(
            np.array([2.2, 2.5, 2.9]),
            np.array([380.0, 400.0, 430.0]),
            planned_cost=100.0,
            failure_cost=900.0,
            longest_age=900.0,
        ),
        "BlockReplacement": decisions.block_replacement(
            wear, planned_cost=100.0, failure_cost=900.0
        ),
        "InspectionInterval": decisions.inspection_interval(
            0.01, 40, look_cost=3.0, failure_cost=200.0, planned_cost=20.0
        ),
        "FailureFindingInterval": decisions.failure_finding_interval([0.9, 0.95, 0.99], 50.0),
        "RenewalFunction": decisions.renewal_function(wear, np.linspace(50, 2000, 40)),
        "JointIntervals": decisions.joint_intervals(
            [40.0, 25.0, 60.0],
            shared_cost=80.0,
            demand_rate=[2.0, 0.4, 0.3],
            holding_cost=[6.0, 5.0, 4.0],
            names=["air filter", "spark plug", "drive belt"],
        ),
        "PlanComparison": decisions.PlanComparison(
            table=comparison_rows(),
            notes=(),
            currency="EUR",
            n_simulations=200,
            confidence_level=0.9,
        ),
        "WhatIf": decisions.WhatIf(
            changes=("a loaner is at hand",), table=changed_rows(), notes=(), currency="EUR"
        ),
        "KeepOrRetire": decisions.KeepOrRetire(
            table=machine_rows(), notes=(), currency="EUR", findings=empty_table("findings")
        ),
        "LikelyCauses": decisions.LikelyCauses(
            table=causes_rows(),
            unit_id="TP-02",
            equipment_class="trench pump",
            duty="wet trench",
            complaint="no spark",
            already=(),
            counted_in="duty",
            n_like=12.0,
        ),
        "BenchLoad": stock.BenchLoad(table=bench_rows(), notes=[]),
        "BaseStock": stock.base_stock(poisson, 0.95),
        "ReorderPolicy": stock.reorder_policy(poisson, reorder_point=7, order_quantity=12),
        "Newsvendor": stock.newsvendor(poisson, 0.7, 0.18),
        "OrderQuantity": stock.order_quantity(1300, 8, holding_cost=0.225),
        "OrderUpToPolicy": stock.order_up_to_policy(
            stock.demand_law("poisson", mean=3.0),
            order_cost=20.0,
            holding_cost=1.0,
            penalty_cost=12.0,
        ),
        "BudgetAllocation": stock.allocate_budget(
            [0.8, 2.0, 3.5],
            [120.0, 40.0, 15.0],
            600.0,
            n_machines=40,
            names=["pump", "coil", "belt"],
        ),
        "IntermittentForecast": stock.intermittent_forecast(record, "croston", horizon=6),
        "GammaPoisson": stock.gamma_poisson(2.863, 1522.46, n_failures=2, time=1700),
    }
