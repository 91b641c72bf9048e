"""Figures of the failure-event table beside the true lives: found, ends, ages, laws, presence."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dutylife.errors import FitError
from dutylife.models import fit_law
from dutylife.models.cells import CellLives, lives_on, usable_lives

NEAR_DAYS = 14  # a life is found when the table has one that ended within so many days
FEWEST_FAILURES = 8  # of all fleets together, before a law is fitted and compared
Z_90 = 1.6448536269514722
BINS = (0.0, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0)
LAW_COLUMNS = ["method", "clock", "n_laws", "n_failed", "scale_ratio", "scale_ratio_se",
               "shape_ratio", "shape_ratio_se"]  # fmt: skip
OURS, TRUE = "table", "true lives"


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenFleet:
    """What one fleet's record was made into, and what was true.

    Parameters
    ----------
    lives : dict of DataFrame
        By method: `OURS` and the naive rules as table "failure_events", `TRUE` as simulated.
    units : DataFrame, table "units"
        With ``truly_there``, whether the machine was a customer's at the end.
    laws : DataFrame
        component, duty, clock, distribution, shape, scale.
    start : Timestamp
        First day of the record.
    comeback_days : int
    """

    lives: dict[str, pd.DataFrame]
    units: pd.DataFrame
    laws: pd.DataFrame
    start: pd.Timestamp
    comeback_days: int


Fleets = list[SeenFleet]


def found_table(fleets: Fleets) -> pd.DataFrame:
    """Share of true lives found, with the right end, and errors of age, by clock source.

    Returns
    -------
    DataFrame
        clock_source ("any" for all), n_lives, share_found, share_right_end, error_hours_median,
        error_hours_p90 (absolute), share_within_bounds (of ages, in 1.645 standard errors),
        error_days_median, error_days_p90. Of lives that ended in the record.
    """
    rows = pd.concat([_joined(f) for f in fleets], ignore_index=True)
    out = [_found_row("any", rows)]
    sources = rows.loc[rows["is_found"], "clock_source"].astype(str)
    for source in ("meter", "interpolated", "estimated", "unknown"):
        out.append(_found_row(source, rows.loc[sources.index[sources == source]]))
    return pd.DataFrame(out)


def _found_row(source: str, rows: pd.DataFrame) -> dict[str, Any]:
    found = rows[rows["is_found"]]
    aged = found[found["exit_hours"].notna()]
    hours = (aged["exit_hours"] - aged["age_hours"]).abs()
    days = (found["exit_days"] - found["age_days"]).abs().dropna()
    within = hours <= Z_90 * aged["age_se_hours"]
    return {
        "clock_source": source, "n_lives": len(rows),
        "share_found": float(rows["is_found"].mean()) if len(rows) else np.nan,
        "share_right_end": float(found["is_right"].mean()) if len(found) else np.nan,
        "error_hours_median": _quantile(hours, 0.5), "error_hours_p90": _quantile(hours, 0.9),
        "share_within_bounds": float(within.mean()) if len(aged) else np.nan,
        "error_days_median": _quantile(days, 0.5), "error_days_p90": _quantile(days, 0.9),
    }  # fmt: skip


def _quantile(values: pd.Series, share: float) -> float:
    return float(values.quantile(share)) if len(values) else np.nan


def _joined(fleet: SeenFleet) -> pd.DataFrame:
    """True lives that ended in the record, each with the nearest row of the table."""
    true = fleet.lives[TRUE]
    true = true[(true["ended_on"] >= fleet.start) & (true["event"] != "moved")]
    table = fleet.lives[OURS].astype(dict.fromkeys(("unit_id", "component", "event"), "object"))
    table = table[table["spell"] == table.groupby(["unit_id", "component", "life_number"])[
        "spell"].transform("max")]  # fmt: skip
    columns = ["unit_id", "component", "ended_on", "event", "exit_hours", "exit_days",
               "age_se_hours", "clock_source", "is_comeback"]  # fmt: skip
    found = table[columns].rename(columns={"event": "event_found", "is_comeback": "found_back"})
    both = pd.merge_asof(
        true.astype({"unit_id": "object", "component": "object"}).sort_values("ended_on"),
        found.assign(found_on=found["ended_on"]).sort_values("ended_on"),
        on="ended_on", by=["unit_id", "component"], direction="nearest",
        tolerance=pd.Timedelta(days=NEAR_DAYS),
    )  # fmt: skip
    both["is_found"] = both["event_found"].notna()
    # poor work ends a life by no fault of the part: the table says failed, and marks it
    is_back = both["is_comeback"] & both["found_back"].eq(True)  # noqa: E712
    both["is_right"] = (both["event"] == both["event_found"]) | is_back
    return both


def law_table(fleets: Fleets) -> pd.DataFrame:
    """Scale and shape of one law a cell on the lives of all fleets, over the true law.

    Returns
    -------
    DataFrame
        method, clock ("both" for all), n_laws, n_failed, scale_ratio, scale_ratio_se,
        shape_ratio, shape_ratio_se: means of the log ratio, weighted by failures, and the
        standard error of that mean. "true lives" are all lives of these fleets as simulated, known
        to the day: what is left there is chance.
    """
    out: list[dict[str, Any]] = []
    for method in fleets[0].lives:
        rows = _laws_of(fleets, method)
        for clock in ("both", "hours", "days"):
            own = rows if clock == "both" else rows[rows["clock"] == clock]
            if len(own):
                out.append({"method": method, "clock": clock} | _means(own))
    # fleets of a handful of machines leave no law to compare
    return pd.DataFrame(out, columns=LAW_COLUMNS)


def _laws_of(fleets: Fleets, method: str) -> pd.DataFrame:
    """Log ratio of each law fitted to the lives of all fleets to the true one."""
    seen_lives = [
        f.lives[method] if method == TRUE else usable_lives(f.lives[method], f.comeback_days)
        for f in fleets
    ]
    lives = pd.concat(seen_lives, ignore_index=True)
    laws = fleets[0].laws
    cells = dict(list(lives.groupby(["component", "duty"])))
    out = []
    for law in laws[laws["distribution"] == "weibull"].to_dict("records"):
        rows = cells.get((law["component"], law["duty"]))
        if rows is None:
            continue
        clock = str(law["clock"])
        seen = _true(rows, clock) if method == TRUE else lives_on(rows, clock)
        if seen.failures < FEWEST_FAILURES:
            continue
        try:
            fit = fit_law("weibull", seen.exit, seen.event, entry=seen.entry, weights=seen.weight)
        except FitError:  # a handful of failures at one age: no law to compare
            continue
        out.append({"clock": clock, "n_failed": seen.n_failed, "weight": seen.failures,
                    "scale": np.log(fit.scale / law["scale"]),
                    "shape": np.log(fit.shape / law["shape"])})  # fmt: skip
    return pd.DataFrame(out, columns=["clock", "n_failed", "weight", "scale", "shape"])


def _true(rows: pd.DataFrame, clock: str) -> CellLives:
    age = rows[f"age_{clock}"].to_numpy(float)
    begin = rows.get(f"entry_{clock}")
    entry = np.zeros(len(age)) if begin is None else begin.to_numpy(float)
    kept = (age > entry) & (entry >= 0)
    event = (rows["event"] == "failed").to_numpy()[kept]
    return CellLives(age[kept], event, entry[kept], np.ones(kept.sum()), int(kept.sum()),
                     int(event.sum()))  # fmt: skip


def _means(rows: pd.DataFrame) -> dict[str, Any]:
    share = rows["weight"] / rows["weight"].sum()
    out: dict[str, Any] = {"n_laws": len(rows), "n_failed": int(rows["n_failed"].sum())}
    for what in ("scale", "shape"):
        mean = float((share * rows[what]).sum())
        error = float(np.sqrt((share**2 * (rows[what] - mean) ** 2).sum()))
        out |= {f"{what}_ratio": np.exp(mean), f"{what}_ratio_se": error}
    return out


def presence_table(fleets: Fleets) -> pd.DataFrame:
    """Who was believed to be there against who was, in bins of the belief.

    Returns
    -------
    DataFrame
        from_probability, to_probability, n_units, believed, there (shares), brier_score. Machines
        whose leaving is stated are left out.
    """
    units = pd.concat([f.units for f in fleets], ignore_index=True)
    units = units[units["left_on"].isna() & units["prob_in_service"].notna()]
    belief = units["prob_in_service"].astype(float)
    there = units["truly_there"].astype(float)
    out = []
    for low, high in zip(BINS[:-1], BINS[1:], strict=True):
        here = (belief > low if low else belief >= low) & (belief <= high)
        if here.any():
            out.append(
                {"from_probability": low, "to_probability": high, "n_units": int(here.sum()),
                 "believed": float(belief[here].mean()), "there": float(there[here].mean()),
                 "brier_score": float(((belief - there)[here] ** 2).mean())}
            )  # fmt: skip
    return pd.DataFrame(out)
