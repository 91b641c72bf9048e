"""Likely causes on invented fleets, the last year held out, beside what truly was at fault.

``python tests/recovery/cause_truth.py [--fleets 6] [--vague 0.6]`` prints how often chances hold
and how often the first three hold the cause.
"""

import argparse
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import dutylife as dl
from dutylife.decisions.causes import cause_record, likely_causes
from dutylife.models import fit_models
from dutylife.practice import PracticeFleet, simulate_fleet, write_practice
from dutylife.practice.fleet import date_of

HELD_OUT_DAYS = 365
BANDS = (0.0, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0)


def asked_and_true(
    seed: int, n_units: int, vague: float, n_years: float = 4, every: int = 1
) -> pd.DataFrame:
    """Every component of complaints of the last year: chance given, and whether it was it.

    ``vague`` is the share of complaints in words that fit several parts; of all complaints one in
    ``every`` is asked.

    Laws and cases are of the years before; ages as the record stands on the day.

    Returns
    -------
    DataFrame
        question, unit_id, component, probability, check_order, frequency_order (by failures of
        the years before on this class, whatever the complaint), is_cause.
    """
    with tempfile.TemporaryDirectory() as name:
        own = Path(name) / "own.toml"
        own.write_text(f"[visits]\nvague_complaint_share = {vague}\n", encoding="utf-8")
        fleet = simulate_fleet(n_units=n_units, n_years=n_years, seed=seed, settings_file=own)
        paths = write_practice(Path(name), fleet, n_years=n_years)
        last = fleet.scenario.record.as_of
        cut = (pd.Timestamp(last) - pd.Timedelta(days=HELD_OUT_DAYS)).date()
        settings = dl.read_settings(paths["settings"])
        _, whole = _lives(settings)
        early = settings.fleet.model_copy(update={"as_of": cut})
        settings, before = _lives(settings.model_copy(update={"fleet": early}))
    before |= fit_models(before["failure_events"], before["unit_spans"], settings)
    asked = _complaints(fleet, whole["service_lines"], pd.Timestamp(cut))
    return answers(seed, asked.iloc[::every], before, whole, settings)


def answers(
    seed: int,
    asked: pd.DataFrame,
    before: dict[str, pd.DataFrame],
    whole: dict[str, pd.DataFrame],
    settings: Any,
) -> pd.DataFrame:
    """Ask each complaint of the record before it."""
    record = cause_record(before, settings, tuple(asked["complaint"].unique()))
    order = _by_frequency(before, record.cases)
    rows = []
    for number, (unit, day, complaint, causes) in enumerate(asked.itertuples(index=False)):
        if unit not in record.machines.index:
            continue
        standing = _standing_on(whole, record.standing, unit, day)
        told = likely_causes(record, unit, complaint, standing=standing)
        kind = told.equipment_class
        mine = told.table[["component", "probability", "check_order"]].astype({"component": str})
        rows.append(
            mine.assign(
                question=f"{seed}/{number}", unit_id=unit, complaint=complaint,
                is_cause=mine["component"].isin(causes),
                frequency_order=mine["component"].map(order[kind]).fillna(99),
                n_causes=len(causes), n_like=told.n_like,
            )
        )  # fmt: skip
    return pd.concat(rows, ignore_index=True)


def _lives(settings: Any) -> tuple[Any, dict[str, pd.DataFrame]]:
    """Exports to lives, without what stands behind them."""
    read = dl.read_exports(settings)
    fleet = settings.fleet.model_copy(update={"as_of": read.as_of})
    settings = settings.model_copy(update={"fleet": fleet})
    t = dict(read.tables)
    t |= dl.code_lines(t["service_lines"], t["units"], t["shelf"], settings)
    t |= dl.build_lives(
        t["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], settings
    )
    return settings, t


def _complaints(fleet: PracticeFleet, lines: pd.DataFrame, cut: pd.Timestamp) -> pd.DataFrame:
    """Repairs after the cut with the complaint as typed and the components truly at fault."""
    told = lines.astype({"unit_id": object, "complaint": object})
    told = told.drop_duplicates(["unit_id", "service_date"]).set_index(["unit_id", "service_date"])
    rows = []
    for visit in fleet.visits:
        day = pd.Timestamp(date_of(visit.day))
        key = (visit.machine.unit_id, day)
        if not visit.causes or day <= cut or key not in told.index:
            continue
        said = told.loc[key, "complaint"]
        causes = {work.component for work in visit.causes}
        rows.append((*key, said if isinstance(said, str) else "", causes))
    return pd.DataFrame(rows, columns=["unit_id", "day", "complaint", "causes"])


def _standing_on(
    tables: dict[str, pd.DataFrame], like: pd.DataFrame, unit: str, day: pd.Timestamp
) -> pd.DataFrame:
    """Lives of a machine on a day, from those of the whole record: installed before it."""
    lives = tables["failure_events"]
    lives = lives[lives["unit_id"] == unit]
    begun = lives["installed_on"].isna() | (lives["installed_on"] < day)
    mine = lives[begun & (lives["ended_on"] >= day)].copy()
    left = (mine["ended_on"] - day).dt.days
    use = float(like.loc[like["unit_id"] == unit, "use"].max())
    rate = (mine["exit_hours"] / mine["exit_days"]).where(mine["exit_days"] > 0).fillna(use / 7)
    return mine.assign(
        age_days=mine["exit_days"] - left, age_hours=(mine["exit_hours"] - left * rate).clip(0),
        use=use,
    )  # fmt: skip


def _by_frequency(
    tables: dict[str, pd.DataFrame], cases: pd.DataFrame
) -> dict[str, dict[str, int]]:
    out = {}
    for kind, of in cases.groupby("equipment_class"):
        n = of.groupby("component")["weight"].sum().sort_values(ascending=False, kind="stable")
        out[str(kind)] = {str(c): i + 1 for i, c in enumerate(n.index)}
    return out


def calibration(rows: pd.DataFrame) -> pd.DataFrame:
    """Chance given beside how often it came, by bands of the chance."""
    band = pd.cut(rows["probability"], BANDS)
    grouped = rows.groupby(band, observed=True)
    return grouped.agg(
        given=("probability", "mean"), came=("is_cause", "mean"), n=("is_cause", "size")
    )


def first_three(rows: pd.DataFrame) -> pd.Series:
    """Share of complaints whose cause is among the first three, ours and by frequency."""
    causes = rows[rows["is_cause"]]
    by = causes.groupby("question")
    n = rows["question"].nunique()
    return pd.Series(
        {
            "ours": float((by["check_order"].min() <= 3).sum() / n),
            "by frequency": float((by["frequency_order"].min() <= 3).sum() / n),
            "first is it": float((by["check_order"].min() == 1).sum() / n),
            "most frequent is it": float((by["frequency_order"].min() == 1).sum() / n),
            "complaints": n,
            "log loss": float(-np.log(causes["probability"].clip(1e-6)).mean()),
        }
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fleets", type=int, default=6)
    parser.add_argument("--units", type=int, default=120)
    parser.add_argument("--vague", type=float, default=0.6)
    given = parser.parse_args()
    found = pd.concat(
        [asked_and_true(900 + k, given.units, given.vague) for k in range(given.fleets)]
    )
    print(calibration(found).round(3).to_string())
    print(first_three(found).round(3).to_string())
