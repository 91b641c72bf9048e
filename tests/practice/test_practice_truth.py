"""The practice fleet's lives are those of its laws, and its tables agree with each other."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from dutylife.components import shipped_components
from dutylife.practice import simulate_fleet
from dutylife.practice.fleet import make_machines, span_of

SEEDS = (11, 12, 13)
FAILURES_WANTED = 10


@pytest.fixture(scope="module")
def fleets():
    return [simulate_fleet(seed=seed) for seed in SEEDS]


@pytest.fixture(scope="module")
def fleet(fleets):
    return fleets[0]


@pytest.fixture(scope="module")
def lives(fleets):
    """Lives of all fleets with their law; ``age`` on the law's own clock."""
    laws = fleets[0].laws
    both = pd.concat([f.lives for f in fleets]).merge(laws, on=["component", "duty"], how="left")
    assert both["shape"].notna().all()
    both["age"] = np.where(both["clock"] == "hours", both["age_hours"], both["age_days"])
    return both


def uniforms(lives, scale_factor=1.0):
    """Randomised probability transform: F(age) of a failure, else anywhere above F(age).

    Uniform on (0, 1) if and only if the lives follow the law, whatever cut them short.
    """
    scale = lives["scale"] * scale_factor
    below = -np.expm1(-((lives["age"] / scale) ** lives["shape"])).to_numpy()
    above = below + (1 - below) * np.random.default_rng(1).random(len(lives))
    return np.where(lives["event"] == "failed", below, above)


def test_every_components_lives_follow_its_law(lives):
    for component, own in lives.groupby("component"):
        assert (own["event"] == "failed").sum() > 50
        assert stats.kstest(uniforms(own), "uniform").pvalue > 1e-3, component
    assert stats.kstest(uniforms(lives), "uniform").pvalue > 0.01


def test_the_check_of_the_law_sees_a_wrong_one(lives):
    assert stats.kstest(uniforms(lives, scale_factor=1.1), "uniform").pvalue < 1e-6
    exponential = lives.assign(shape=1.0)
    assert stats.kstest(uniforms(exponential), "uniform").pvalue < 1e-6


def test_failures_equal_the_hazard_lived_through(lives):
    """Sum of (age / scale) ** shape over all lives, cut ones included, expects the failures."""
    hazard = (lives["age"] / lives["scale"]) ** lives["shape"]
    for _, rows in lives.groupby(["component", "duty"]).groups.items():
        n_failed = (lives.loc[rows, "event"] == "failed").sum()
        expected = hazard.loc[rows].sum()
        assert abs(n_failed - expected) < 4.5 * np.sqrt(expected) + 1


def test_clocks_are_those_of_the_component_list(fleet):
    for law in fleet.laws.itertuples():
        assert law.clock == shipped_components()[law.component].clock


def test_lives_follow_one_another(fleet):
    lives = fleet.lives.sort_values(["unit_id", "component", "life_number"], ignore_index=True)
    key = ["unit_id", "component"]
    assert (lives.groupby(key)["life_number"].min() == 1).all()
    gaps = lives.groupby(key)["life_number"].diff().dropna()
    assert (gaps == 1).all()
    begun = lives.groupby(key)["installed_on"].shift(-1)
    wait = (begun - lives["ended_on"]).dt.days
    has_next = begun.notna()
    assert wait[has_next & (lives["event"] == "failed")].between(0, 4).all()
    assert (wait[has_next & (lives["event"] == "replaced")] == 0).all()
    assert not (has_next & lives["event"].isin(["running", "lost"])).any()


def test_ages_agree_with_dates_and_use(fleet):
    lives = fleet.lives
    days = (lives["ended_on"] - lives["installed_on"]).dt.days
    assert ((lives["age_days"] - days).abs() <= 1.0 + 1e-9).all()
    assert (lives["age_hours"] >= -1e-9).all()
    assert (lives["age_hours"] <= 24 * lives["age_days"] + 1e-6).all()
    assert lives["ended_on"].max() == pd.Timestamp(fleet.scenario.record.as_of)


def test_only_the_last_day_leaves_lives_running(fleet):
    running = fleet.lives[fleet.lives["event"] == "running"]
    assert (running["ended_on"] == pd.Timestamp(fleet.scenario.record.as_of)).all()
    lost = fleet.lives[fleet.lives["event"] == "lost"]
    # a machine leaves once, with everything on it
    assert (lost.groupby("unit_id")["ended_on"].nunique() == 1).all()
    assert not set(lost["unit_id"]) & set(running["unit_id"])


def test_every_repair_has_its_failed_life(fleet):
    events = fleet.events
    repairs = events[(events["reason"] == "failure") & ~events["is_comeback"]]
    failed = fleet.lives[fleet.lives["event"] == "failed"]
    both = repairs.merge(failed, on=["unit_id", "component"])
    wait = (both["event_date"] - both["ended_on"]).dt.days
    near = both[wait.between(0, 4)]
    keys = ["unit_id", "component", "event_date"]
    assert len(near.drop_duplicates(keys)) == len(repairs)


def test_changes_that_were_not_failures_end_lives_as_replaced(fleet):
    events = fleet.events
    changes = events[(events["reason"] != "failure") | events["is_comeback"]]
    replaced = fleet.lives[fleet.lives["event"] == "replaced"]
    keys = ["unit_id", "component", "event_date"]
    ended = replaced.rename(columns={"ended_on": "event_date"})[keys]
    both = changes.merge(ended, on=keys)
    assert len(both) == len(changes) > 100
    start = pd.Timestamp("1970-01-01") + pd.Timedelta(days=fleet.span.start)
    assert len(changes) == (replaced["ended_on"] >= start).sum()


def test_no_sound_part_is_changed_nearly_new(fleet):
    lives = fleet.lives
    changed = lives[(lives["event"] == "replaced") & ~lives["is_comeback"]]
    assert changed["age_days"].min() >= fleet.scenario.visits.renew_after_days


def test_comebacks_are_few_and_soon(fleets):
    lives = pd.concat([f.lives for f in fleets])
    back = lives[lives["is_comeback"]]
    assert (back["event"] == "replaced").all()
    assert back["age_days"].between(2, 21).all()
    assert 0.005 < len(back) / (lives["event"] == "failed").sum() < 0.025


def test_use_spreads_within_a_duty_and_differs_between(fleet):
    use = pd.DataFrame([(m.duty, m.hours_per_week) for m in fleet.machines])
    means = use.groupby(0)[1].mean()
    assert means["stone yard"] > means["harbour"] > means["verge crews"] > means["indoor hire"]
    scenario = fleet.scenario
    many = make_machines(scenario, span_of(scenario, 0.1), 1500, 3)
    use = pd.DataFrame([(m.duty, m.hours_per_week) for m in many])
    spread = use.groupby(0)[1].std() / use.groupby(0)[1].mean()
    assert spread.between(0.28, 0.42).all()


def test_the_same_seed_gives_the_same_fleet_and_another_does_not():
    one, two, other = (simulate_fleet(n_units=8, n_years=2, seed=s) for s in (5, 5, 6))
    for name in ("laws", "lives", "demand", "events"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(two, name))
    assert not one.lives.equals(other.lives)


def test_a_larger_fleet_keeps_the_first_machines():
    small, large = (simulate_fleet(n_units=n, n_years=2, seed=5) for n in (8, 16))
    first = large.lives[large.lives["unit_id"].isin({m.unit_id for m in small.machines})]
    pd.testing.assert_frame_equal(small.lives, first.reset_index(drop=True))


def n_cells(fleet):
    """Cells of component and duty with enough failures seen within the record."""
    start = pd.Timestamp("1970-01-01") + pd.Timedelta(days=fleet.span.start)
    lives = fleet.lives
    seen = lives[(lives["event"] == "failed") & (lives["ended_on"] >= start)]
    return int((seen.groupby(["component", "duty"]).size() >= FAILURES_WANTED).sum())


def test_a_fleet_fills_thirteen_cells_and_has_a_shops_tickets(fleets):
    for fleet in fleets:
        assert n_cells(fleet) >= 13
        jobs = [job for job in (*fleet.visits, *fleet.sales) if job.day < fleet.span.end]
        assert 500 <= len(jobs) / 4 <= 900


@pytest.mark.slow
def test_twenty_fleets_fill_250_cells():
    assert sum(n_cells(simulate_fleet(seed=seed)) for seed in range(20)) >= 250


def test_demand_goes_twelve_months_beyond_the_record(fleet):
    months = pd.DatetimeIndex(fleet.demand["month"].unique())
    as_of = pd.Timestamp(fleet.scenario.record.as_of)
    assert (months > as_of).sum() == 12
    future = fleet.demand[fleet.demand["month"] > as_of]["quantity"].sum()
    last_year = fleet.demand[fleet.demand["month"].between(as_of - pd.Timedelta("365D"), as_of)][
        "quantity"
    ].sum()
    # nobody buys machines in the future, some leave: somewhat less, not a different world
    assert 0.6 * last_year < future < 1.15 * last_year


def test_machines_keep_coming_before_and_after_the_cut_off(tmp_path):
    from dutylife.practice import simulate_fleet
    from dutylife.practice.export import machines_list

    path = tmp_path / "more.toml"
    path.write_text("[arrivals]\nshare_of_fleet_a_year = 0.5\n", encoding="utf-8")
    plain = simulate_fleet(n_units=20, n_years=2, seed=4)
    fleet = simulate_fleet(n_units=20, n_years=2, seed=4, settings_file=path)
    new = fleet.machines[20:]
    # 10 a year: Poisson, so within four standard deviations of what is expected
    assert 20 - 18 < len(new) < 20 + 18
    assert 10 - 10 <= len(fleet.coming) < 10 + 13
    assert fleet.coming
    assert all(m.in_service < fleet.span.end for m in new)
    assert all(fleet.span.end <= m.in_service < fleet.span.until for m in fleet.coming)
    assert [m.unit_id for m in fleet.machines[:20]] == [m.unit_id for m in plain.machines]
    listed = set(machines_list(fleet)["Machine"])
    assert {m.unit_id for m in new} <= listed
    assert not {m.unit_id for m in fleet.coming} & listed
    own = set(plain.lives["unit_id"])
    before = fleet.lives[fleet.lives["unit_id"].isin(own)].reset_index(drop=True)
    assert before.equals(plain.lives.reset_index(drop=True))
    units = {v.machine.unit_id for v in fleet.visits}
    assert units & {m.unit_id for m in fleet.coming}
