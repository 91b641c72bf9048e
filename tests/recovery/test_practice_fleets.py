"""Twenty invented fleets through intake, coding, lives and models, against their true laws.

Asked: at least 200 cells with 10 or more failures; 90 % bounds of shape and of scale each cover
85 to 95 %; median upper/lower of scale at most 2.2 at 10 to 20 failures.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import dutylife as dl

N_FLEETS = 20


def cells_of(seed: int, folder: Path) -> pd.DataFrame:
    """Fitted cells beside their true laws, on the clock of the law."""
    dl.make_practice(folder, seed=seed)
    settings = dl.read_settings(folder / "dutylife.toml")
    read = dl.read_exports(settings)
    fleet = settings.fleet.model_copy(update={"as_of": read.as_of})
    settings = settings.model_copy(update={"fleet": fleet})
    t = read.tables
    coded = dl.code_lines(t["service_lines"], t["units"], t["shelf"], settings)
    lives = dl.build_lives(
        coded["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], settings
    )
    fitted = dl.fit_models(lives["failure_events"], lives["unit_spans"], settings)["life_models"]
    truth = pd.read_csv(folder / "truth" / "laws.csv").rename(
        columns={c: f"{c}_true" for c in ("clock", "distribution", "shape", "scale")}
    )
    fitted = fitted.astype({"component": str, "duty": str, "clock": str, "basis": str})
    both = fitted.merge(truth, on=["component", "duty"])
    both["seed"] = seed
    return both[both["basis"] == "own data"]


def compare(cells: pd.DataFrame) -> pd.DataFrame:
    """Cells whose fit is on the law's own clock: covered or not, how wide, how far."""
    same = cells[cells["clock"] == cells["clock_true"]].copy()
    for end in ("", "_lower", "_upper"):
        hours = same["clock"] == "hours"
        same[f"scale{end}"] = np.where(hours, same[f"scale_hours{end}"], same[f"scale_days{end}"])
    truth = {"shape": same["shape_true"], "scale": same["scale_true"]}
    for what, true in truth.items():
        same[f"{what}_covered"] = true.between(same[f"{what}_lower"], same[f"{what}_upper"])
        same[f"{what}_ratio"] = same[what] / true
    same["width"] = same["scale_upper"] / same["scale_lower"]
    return same


@pytest.mark.slow
def test_bounds_cover_the_true_laws(tmp_path: Path):
    cells = pd.concat([cells_of(seed, tmp_path / str(seed)) for seed in range(N_FLEETS)])
    seen = compare(cells[cells["n_failed"] >= 10])
    print(
        f"{len(seen)} cells of {(cells['n_failed'] >= 10).sum()}; covered shape "
        f"{seen['shape_covered'].mean():.3f}, scale {seen['scale_covered'].mean():.3f}; "
        f"median ratio shape {seen['shape_ratio'].median():.3f}, "
        f"scale {seen['scale_ratio'].median():.3f}"
    )
    assert len(seen) >= 200
    assert 0.85 <= seen["shape_covered"].mean() <= 0.95
    assert 0.85 <= seen["scale_covered"].mean() <= 0.95
    few = seen[seen["n_failed"] <= 20]
    print(f"median upper/lower of scale at 10 to 20 failures: {few['width'].median():.2f}")
    assert few["width"].median() <= 2.2
