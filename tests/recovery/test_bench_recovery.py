"""Invented fleets, their record cut a year before its end: the bench against the year that came."""

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import nbinom

import dutylife as dl
from dutylife.practice import simulate_fleet, write_practice
from dutylife.schema import empty_table
from dutylife.stock.bench import bench_load
from dutylife.stock.bench.arrivals import ALL, arrivals_of

AS_OF, END = dt.date(2025, 12, 31), pd.Timestamp("2026-12-31")
SEEDS = range(1, 7)


def year_of(seed: int, season: float, folder: Path) -> pd.DataFrame:
    """Weeks of the year that came, all machines together, beside what was said of them."""
    folder.mkdir()
    (folder / "later.toml").write_text(f"[record]\nas_of = {END.date()}\n")
    fleet = simulate_fleet(
        n_units=120, n_years=5, seed=seed, settings_file=folder / "later.toml",
        difficulties={"season": season},
    )  # fmt: skip
    settings = dl.read_settings(write_practice(folder / "x", fleet, n_years=5)["settings"])
    whole = dl.read_exports(settings).tables["service_lines"]
    update = {
        "fleet": settings.fleet.model_copy(update={"as_of": AS_OF}),
        "report": settings.report.model_copy(update={"horizon_months": 12}),
    }
    settings = settings.model_copy(update=update)
    t = dict(dl.read_exports(settings).tables)
    t |= dl.code_lines(t["service_lines"], t["units"], t["shelf"], settings)
    t |= dl.build_lives(
        t["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], settings
    )
    t |= dl.fit_models(t["failure_events"], t["unit_spans"], settings)
    t |= {name: empty_table(name) for name in ("visit_plan", "intervals", "costs")}
    load = bench_load(t, settings)
    assert load.law is not None
    said = load.table[load.table["equipment_class"] == ALL].set_index("from_date")
    said = said.assign(spread=load.law.spread[-1], seed=seed, season=season)
    came = arrivals_of(whole, t["maintenance_events"], t["units"], END).visits
    week = came["arrived"] - pd.to_timedelta(came["arrived"].dt.day_of_week, unit="D")
    sums = came.assign(n=1.0).groupby(week)[["n", "labour_hours"]].sum()
    both = said.join(sums).fillna({"n": 0.0, "labour_hours": 0.0})
    return both[both.index <= END - pd.Timedelta(days=7)]


@pytest.mark.slow
def test_the_bench_of_the_year_that_came(tmp_path: Path):
    """80 % ranges hold 75 to 88 % of the weeks (steps of whole machines shared out: a fleet's
    year has one level, six seeds leave 4 %), the middle is one, hours likewise."""
    for season in (0.0, 1.0):
        rows = pd.concat([year_of(s, season, tmp_path / f"{s}-{season:.0f}") for s in SEEDS])
        size = 1 / np.maximum(rows["spread"], 1e-6)
        share = size / (size + rows["machines_mean"])
        low, high = nbinom.cdf(rows["n"] - 1, size, share), nbinom.cdf(rows["n"], size, share)
        held = np.clip((np.minimum(high, 0.9) - np.maximum(low, 0.1)) / (high - low), 0, 1).mean()
        under = np.clip((np.minimum(high, 0.9) - low) / (high - low), 0, 1).mean()
        middle = ((low + high) / 2).mean()
        work = (rows["labour_hours"] <= rows["labour_hours_p90"]).mean()
        ratio = rows["machines_mean"].sum() / rows["n"].sum()
        print(
            f"season {season:.0f}: 80 % held {held:.3f}, under p90 {under:.3f}, mean place "
            f"{middle:.3f}, hours under p90 {work:.3f}, said / came {ratio:.3f}"
        )
        assert 0.75 <= held <= 0.88
        assert 0.86 <= under <= 0.96
        assert 0.42 <= middle <= 0.58
        assert 0.85 <= work <= 0.97
        assert 0.92 <= ratio <= 1.08
