"""Known laws, simulated with censoring and late entry: is the answer right as often as it says?"""

import numpy as np
import pandas as pd
import pytest

from dutylife.models import fit_law
from dutylife.models.cells import lives_on, usable_lives
from dutylife.models.laws import LifeLaw
from dutylife.schema import as_table

SHAPE, SCALE = 2.0, 100.0


def cell(rng: np.random.Generator, n: int, shape: float = SHAPE) -> LifeLaw | None:
    """``n`` lives, a third of them entered late, about half cut off; None below 5 failures."""
    life = SCALE * rng.weibull(shape, 3 * n)
    entry = np.where(rng.uniform(size=3 * n) < 0.33, rng.uniform(0, 60, 3 * n), 0.0)
    stop = entry + rng.uniform(30, 120, 3 * n)
    seen = np.flatnonzero(life > entry)[:n]  # a life that ended before its entry was never seen
    exit_, event = np.minimum(life, stop)[seen], (life <= stop)[seen]
    if event.sum() < 5:
        return None
    return fit_law("weibull", exit_, event, entry=entry[seen])


def recovered(n_cells: int, n_lives: int, seed: int) -> dict[str, float]:
    rng = np.random.default_rng(seed)
    laws = [law for _ in range(n_cells) if (law := cell(rng, n_lives)) is not None]
    assert len(laws) > 0.97 * n_cells
    out = {"n_failed": float(np.median([law.n_failed for law in laws]))}
    for what, truth in (("shape", SHAPE), ("scale", SCALE)):
        ends = np.array([law.bounds(what, 0.90) for law in laws])
        out[f"{what}_covers"] = float(np.mean((ends[:, 0] <= truth) & (truth <= ends[:, 1])))
        values = np.array([getattr(law, what) for law in laws])
        out[f"{what}_bias"] = float(np.median(values) / truth - 1.0)
    return out


def test_bounds_cover_as_often_as_they_say_and_the_bias_is_small() -> None:
    found = recovered(400, 30, seed=20260101)
    assert 10 <= found["n_failed"] <= 20
    # 400 cells: the standard error of a coverage of 0.90 is 0.015
    assert 0.85 <= found["shape_covers"] <= 0.95
    assert 0.85 <= found["scale_covers"] <= 0.95
    # small samples bias the shape upward (some 4 % at 15 failures), the scale hardly
    assert 0.0 <= found["shape_bias"] < 0.08
    assert abs(found["scale_bias"]) < 0.03


@pytest.mark.slow
def test_bounds_cover_over_thousands_of_cells() -> None:
    found = recovered(5000, 30, seed=7)
    assert 0.87 <= found["shape_covers"] <= 0.93
    assert 0.86 <= found["scale_covers"] <= 0.93
    assert abs(found["scale_bias"]) < 0.02


@pytest.mark.slow
def test_likelihood_ratio_bounds_cover_where_failures_are_few() -> None:
    rng = np.random.default_rng(3)
    laws = [law for _ in range(400) if (law := cell(rng, 14)) is not None]
    ends = np.array([law.bounds("b10", 0.90, "likelihood ratio") for law in laws])
    truth = SCALE * (-np.log(0.9)) ** (1 / SHAPE)
    covers = np.mean((ends[:, 0] <= truth) & (truth <= ends[:, 1]))
    # some 380 cells: standard error 0.015
    assert 0.85 <= covers <= 0.95


def test_ignoring_late_entry_would_make_parts_look_longer_lived() -> None:
    rng = np.random.default_rng(11)
    life = SCALE * rng.weibull(SHAPE, 20000)
    entry = rng.uniform(0, 120, 20000)
    seen = life > entry
    right = fit_law("weibull", life[seen], np.ones(seen.sum()), entry=entry[seen])
    wrong = fit_law("weibull", life[seen], np.ones(seen.sum()))
    assert (right.shape, right.scale) == pytest.approx((SHAPE, SCALE), rel=0.03)
    assert wrong.scale > 1.1 * SCALE


def test_leaving_comebacks_out_does_not_bend_the_law() -> None:
    """Early failures count as comebacks and are left out; the shape must not rise for it."""
    rng = np.random.default_rng(13)
    n, window = 1500, 30
    age = 200.0 * rng.weibull(0.9, n)
    stop = rng.uniform(50, 600, n)
    exit_, failed = np.minimum(age, stop), age <= stop
    table = as_table("failure_events", pd.DataFrame({
        "unit_id": np.arange(n).astype(str), "component": "carburetor", "duty": "kerb",
        "life_number": 2, "spell": 1, "entry_days": 0.0, "exit_days": exit_, "weight": 1.0,
        "event": np.where(failed, "failed", "running"), "clock_source": "estimated",
        "is_comeback": failed & (exit_ <= window),
    }))  # fmt: skip
    fitted = {}
    for name, days in (("right", window), ("naive", 0)):
        lives = lives_on(usable_lives(table, days), "days")
        fitted[name] = fit_law("weibull", lives.exit, lives.event, entry=lives.entry)
    assert fitted["right"].bounds("shape", 0.99)[0] < 0.9 < fitted["right"].bounds("shape", 0.99)[1]
    assert fitted["right"].scale == pytest.approx(200.0, rel=0.15)
    assert fitted["naive"].shape > 1.1
