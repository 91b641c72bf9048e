"""Ages in hours of invented fleets against their true lives: as near as their own errors say.

Asked: of ages by a meter, between readings and by use rates alike, 85 to 98 % within 1.645
standard errors of the truth (90 % of a normal law; a reading to the hour is better than its
error, a stopped meter worse).
"""

from pathlib import Path

import pandas as pd
import pytest

import dutylife as dl
from dutylife.practice import simulate_fleet, write_practice

PLAIN = {"typed_text": 0.0, "late_start": 0.5, "unknown_installs": 0.0, "silent_leavers": 0.0,
         "no_meters": 0.0, "meter_faults": 0.0, "season": 0.0}  # fmt: skip
N_FLEETS = 3


def ages_of(folder: Path, seed: int, strengths: dict[str, float]) -> pd.DataFrame:
    """Lives of known age beside the true lives that began and ended on the same days."""
    fleet = simulate_fleet(n_units=100, seed=seed, difficulties=PLAIN | strengths)
    settings = dl.read_settings(write_practice(folder, fleet, n_years=4)["settings"])
    read = dl.read_exports(settings)
    as_of = settings.fleet.model_copy(update={"as_of": read.as_of})
    settings = settings.model_copy(update={"fleet": as_of})
    t = read.tables
    coded = dl.code_lines(t["service_lines"], t["units"], t["shelf"], settings)
    lives = dl.build_lives(
        coded["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], settings
    )["failure_events"]
    words = {"unit_id": "object", "component": "object", "clock_source": "object"}
    lives = lives[lives["clock_source"] != "unknown"].astype(words)
    true = fleet.lives.drop_duplicates(["unit_id", "component", "installed_on"])
    both = lives.merge(true, on=["unit_id", "component", "installed_on"], suffixes=("", "_true"))
    # a failed machine comes to the shop some days later, and doesn't run until then
    late = (both["ended_on"] - both["ended_on_true"]).dt.days
    return both[late.between(0, 6)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("what", "bias"), [("no_meters", 0.06), ("meter_faults", 0.04), ("season", 0.02)]
)
def test_ages_are_as_near_as_they_say(what: str, bias: float, tmp_path: Path) -> None:
    ages = pd.concat(
        [ages_of(tmp_path / str(seed), seed, {what: 1.0}) for seed in range(1, N_FLEETS + 1)]
    )
    error = ages["exit_hours"] - ages["age_hours"]
    near = (error.abs() <= 1.645 * ages["age_se_hours"]).groupby(ages["clock_source"])
    print(what, near.agg(["mean", "size"]).round(3).to_dict("index"),
          f"bias {error.sum() / ages['age_hours'].sum():.3f}")  # fmt: skip
    shares = near.mean()[near.size() >= 100]
    assert shares.between(0.85, 0.98).all(), shares
    assert abs(error.sum() / ages["age_hours"].sum()) < bias
