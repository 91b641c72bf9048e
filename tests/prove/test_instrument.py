"""The instrument is right before it judges: simulated lives follow their laws."""

import dataclasses

import numpy as np
import pandas as pd
import pytest
from joblib import Parallel, delayed

from dutylife.practice import simulate_fleet
from dutylife.practice.scenario import read_scenario
from dutylife.prove.instrument import check_instrument, check_lives

# 1 % of the scale of a law of shape 0.9 asks for 100 000 failures; the driven end's shapes are
# 1.2 and more
LIVES_A_LAW, FAILURES_A_LAW = 25_000, {True: 100_000, False: 60_000}
HOURS_A_DAY, LIFE_DAYS, NEVER_CHOSEN = 3.0, 60.0, 1e-9
CELL = ["component", "duty"]
KEPT = ["unit_id", "component", "duty", "event", "life_number", "age_hours", "age_days"]


def test_simulated_lives_follow_their_laws():
    found = check_instrument([simulate_fleet(n_units=300, n_years=4, seed=2)])
    assert len(found) >= 30
    assert found["ks_p"].min() >= 0.01 / len(found)


def test_a_wrong_law_is_seen():
    fleet = simulate_fleet(n_units=300, n_years=4, seed=2)
    for name, factor in (("shape", 1.25), ("scale", 1.2)):
        laws = fleet.laws.assign(**{name: factor * fleet.laws[name]})
        found = check_instrument([dataclasses.replace(fleet, laws=laws)])
        assert found["ks_p"].min() < 0.01 / len(found), name


def settings_of(only_engine: bool) -> str:
    """The scenario's shapes, with short lives, about equally many of every law."""
    scenario = read_scenario()
    lines = ["[record]", "history_years = 12.0", "share_before_record = 1.0"]
    for duty, place in scenario.duties.items():
        lines += [f'[duties."{duty}"]', f"hours_per_week = {7 * HOURS_A_DAY}"]
        lines += [f'[duties."{duty}".classes]']
        for name in place.classes:
            has_parts = only_engine or scenario.classes[name].driven
            lines.append(f'"{name}" = {1.0 if has_parts else NEVER_CHOSEN}')
    for name, law in scenario.components.items():
        scale = LIFE_DAYS * (HOURS_A_DAY if scenario.clock(name) == "hours" else 1.0)
        lines += [f'[components."{name}"]', f"scale = {scale}"]
        factors = [f'"{duty}" = {0.9 + 0.05 * i}' for i, duty in enumerate(scenario.duties)]
        lines.append("factor = { " + ", ".join(factors) + " }")
        if law.on_engine and not only_engine:
            lines.append("on_engine = false")  # then it is on no machine
    if only_engine:
        for name in scenario.classes:
            lines += [f'[classes."{name}"]', "driven = []"]
    return "\n".join(lines)


def some_lives(path, seed):
    """Lives of one fleet, small: millions of them have to lie in memory at once."""
    fleet = simulate_fleet(n_units=400, n_years=4, seed=seed, settings_file=path)
    lives = fleet.lives[KEPT].assign(fleet=np.int16(seed))
    kinds = {name: pd.CategoricalDtype(sorted(fleet.laws[name].unique())) for name in CELL}
    kinds["event"] = pd.CategoricalDtype(["failed", "lost", "replaced", "running"])
    lives["unit_id"] = pd.factorize(lives["unit_id"], sort=True)[0].astype("int16")
    return fleet.laws, lives.astype(kinds | {"life_number": "int16"})


@pytest.mark.slow
@pytest.mark.parametrize("only_engine", [True, False], ids=["engine", "driven end"])
def test_a_fit_to_the_true_lives_gives_back_every_law(tmp_path, only_engine):
    """Over 25 000 lives a law: shape and scale within 1 % and 3 standard errors.

    The standard error of a scale is 1.05 / (shape sqrt(failures)), so that more are made than
    asked for.
    """
    own = tmp_path / "own.toml"
    own.write_text(settings_of(only_engine))
    parts, counts = [], None
    for first in range(1, 400, 8):
        seeds = range(first, first + 8)
        made = Parallel(n_jobs=2)(delayed(some_lives)(own, s) for s in seeds)
        laws = made[0][0]
        for _, lives in made:
            parts.append(lives)
            failed = lives[lives["event"] == "failed"]
            by_law = failed.groupby(CELL, observed=True).size()
            counts = by_law if counts is None else counts.add(by_law, fill_value=0)
        print(first, len(counts), counts.min(), counts.sum(), flush=True)
        if counts.min() >= FAILURES_A_LAW[only_engine]:
            break
    found = check_lives(laws, pd.concat(parts, ignore_index=True))
    print(f"{len(found)} laws, {found['n_lives'].sum()} lives, least {found['n_lives'].min()}")
    print(f"smallest KS p {found['ks_p'].min():.3g}, {0.01 / len(found):.2g} asked for")
    columns = ["shape_ratio", "scale_ratio", "shape_errors", "scale_errors"]
    print(found[columns].describe().to_string())
    assert found["n_lives"].min() >= LIVES_A_LAW
    assert found["ks_p"].min() >= 0.01 / len(found)
    for what in ("shape", "scale"):
        assert (found[f"{what}_ratio"] - 1).abs().max() <= 0.01
        assert found[f"{what}_errors"].abs().max() <= 3.0
