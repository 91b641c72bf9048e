"""A plan left at "as seen" while machines run to failure forecasts what they then ask for."""

from pathlib import Path

import pandas as pd
import pytest

from dutylife import pipeline
from dutylife.practice import simulate_fleet, write_practice
from dutylife.practice.scenario import read_scenario
from dutylife.prove.replay import future_pieces
from dutylife.stock.demand import days_ahead
from dutylife.stock.fleet_demand import fleet_demand

SEEDS = (11, 12, 13, 14)
MONTHS = 12


def _run_to_failure(folder: Path) -> Path:
    """Nothing is changed by plan or while open, no machine comes or leaves."""
    services = "".join(f'"{name}" = 0.0\n' for name in read_scenario().service)
    text = f"[record]\nshare_before_record = 1.0\n[service]\n{services}"
    path = folder / "world.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _totals(seed: int, folder: Path) -> tuple[float, float]:
    """Pieces forecast and asked for in the next year, of the parts that lives stand behind."""
    off = {"opportunistic_changes": 0.0, "silent_leavers": 0.0}
    fleet = simulate_fleet(n_units=100, n_years=4, seed=seed, difficulties=off,
                           settings_file=_run_to_failure(folder))  # fmt: skip
    paths = write_practice(folder / "export", fleet, n_years=4)
    settings, t = pipeline.run_stages(paths["settings"], laws_only=True)
    assert settings.plan.in_force == "as seen"
    demand = fleet_demand(
        t["failure_events"], t["life_draws"], pd.DataFrame(), t["units"], t["unit_spans"],
        t["service_lines"], t["maintenance_events"], t["catalogue"], settings,
        use_seasons=t["use_seasons"],
    )  # fmt: skip
    span = days_ahead(pd.Timestamp(settings.fleet.as_of), 365)
    laws = demand.laws("as seen", [span])
    came = future_pieces(fleet, MONTHS)
    of_lives = {n for law in fleet.scenario.components.values() for n in law.part_numbers.values()}
    told = sum(laws[n][span.key].mean for n in sorted(of_lives & set(laws)))
    return told, float(sum(came[n].sum() for n in sorted(of_lives)))


@pytest.mark.slow
def test_the_plan_as_seen_forecasts_within_a_tenth_where_machines_run_to_failure(tmp_path):
    totals = []
    for seed in SEEDS:
        folder = tmp_path / str(seed)
        folder.mkdir()
        totals.append(_totals(seed, folder))
    told, came = (sum(t[i] for t in totals) for i in (0, 1))
    print([round(a / b, 3) for a, b in totals], round(told / came, 3))
    assert told / came == pytest.approx(1.0, abs=0.10)
    assert all(a / b == pytest.approx(1.0, abs=0.10) for a, b in totals)
