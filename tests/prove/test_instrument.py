"""The instrument is right before it judges: simulated lives follow their laws."""

import dataclasses

import pytest

from dutylife.practice import simulate_fleet
from dutylife.prove.instrument import check_instrument

LIVES_A_LAW = 25_000


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


@pytest.mark.slow
def test_a_fit_to_the_true_lives_gives_back_every_law(tmp_path):
    """At least 25 000 lives a law: shape and scale within 1 % and 3 standard errors."""
    # machines of every class in every duty alike, and old ones: more lives a machine
    own = tmp_path / "own.toml"
    from dutylife.practice.scenario import read_scenario

    scenario = read_scenario()
    lines = ["[record]", "history_years = 40.0", "share_before_record = 1.0"]
    for duty, place in scenario.duties.items():
        lines += [f'[duties."{duty}".classes]', *(f'"{c}" = 1.0' for c in place.classes)]
    own.write_text("\n".join(lines))
    fleets, found = [], None
    for seed in range(1, 40):
        fleets.append(simulate_fleet(n_units=3000, n_years=4, seed=seed, settings_file=own))
        found = check_instrument(fleets)
        if found["n_failed"].min() >= LIVES_A_LAW:
            break
    print(f"{len(fleets)} fleets, {len(found)} laws, {found['n_lives'].sum()} lives")
    print(f"smallest KS p {found['ks_p'].min():.3g}")
    print(found[["shape_ratio", "scale_ratio", "shape_errors", "scale_errors"]].describe())
    assert found["n_lives"].min() >= LIVES_A_LAW
    assert found["ks_p"].min() >= 0.01 / len(found)
    for what in ("shape", "scale"):
        assert (found[f"{what}_ratio"] - 1).abs().max() <= 0.01
        assert found[f"{what}_errors"].abs().max() <= 3.0
