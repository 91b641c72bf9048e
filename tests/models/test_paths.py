"""Drift of readings: against a brute likelihood, known limits of the law, and planted faults."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal, norm

from dutylife.errors import FitError
from dutylife.models import PathModel, crossing_ages, fit_law, path_model


def fleet(seed: int, n: int = 12, *, drift: float = 0.0006, drift_sd: float = 0.0002):
    """Parts read 2 to 5 times: part, age, reading; start 5, spread 0.15, measurement 0.08."""
    generator = np.random.default_rng(seed)
    reads = generator.integers(2, 6, n)
    part = np.repeat(np.arange(n), reads)
    age = np.concatenate([[0.0, *np.sort(generator.uniform(100, 1500, k - 1))] for k in reads])
    start = 5.0 + 0.15 * generator.standard_normal(n)
    slope = drift + drift_sd * generator.standard_normal(n)
    error = 0.08 * generator.standard_normal(len(age))
    return part, age, start[part] + slope[part] * age + error


def brute_loglik(
    part, age, reading, start, drift, start_sd, drift_sd, correlation, measurement_sd
) -> float:
    """Each part's readings as one draw of a multivariate normal law, nothing simplified."""
    total = 0.0
    tie = correlation * start_sd * drift_sd
    between = np.array([[start_sd**2, tie], [tie, drift_sd**2]])
    for name in np.unique(part):
        t = age[part == name]
        design = np.stack([np.ones(len(t)), t], axis=1)
        cover = design @ between @ design.T + measurement_sd**2 * np.eye(len(t))
        total += multivariate_normal(start + drift * t, cover).logpdf(reading[part == name])
    return total


def figures(model: PathModel) -> dict[str, float]:
    names = ("start", "drift", "start_sd", "drift_sd", "correlation", "measurement_sd")
    found = {n: getattr(model, n) for n in names}
    return found | {"correlation": 0.0 if math.isnan(model.correlation) else model.correlation}


@pytest.mark.parametrize("start", ["common", "independent", "correlated"])
def test_the_likelihood_is_that_of_normal_paths_and_no_step_beside_it_is_higher(start):
    part, age, reading = fleet(4)
    model = path_model(part, age, reading, start=start)
    top = brute_loglik(part, age, reading, **figures(model))
    assert model.loglik == pytest.approx(top, abs=1e-8)
    free = ["start", "drift", "drift_sd", "measurement_sd"]
    free += [] if start == "common" else ["start_sd"]
    free += ["correlation"] if start == "correlated" else []
    for name in free:
        for step in (0.98, 1.02):
            moved = figures(model)
            moved[name] *= step
            assert brute_loglik(part, age, reading, **moved) < top + 1e-7, (name, step)


def test_bounds_are_those_of_a_brute_grid_of_the_likelihood():
    # common start: drift, its spread, start and measurement, all four flat, by plain summation
    part, age, reading = fleet(8, 8)
    model = path_model(part, age, reading, start="common")
    best, grids = figures(model), {}
    for name, low, high, n in (
        ("drift_sd", 0.0, 6.0, 60), ("drift", -2.0, 4.0, 41), ("start", 0.94, 1.06, 41),
        ("measurement_sd", 0.4, 2.6, 40),
    ):  # fmt: skip
        grids[name] = best[name] * np.linspace(low, high, n)
    spread, drift, start, noise = np.meshgrid(
        *(grids[k] for k in ("drift_sd", "drift", "start", "measurement_sd")), indexing="ij"
    )
    value = np.zeros(spread.shape)
    for name in np.unique(part):
        t, y = age[part == name], reading[part == name]
        # inverse and determinant of s^2 I + d^2 t t' in closed form
        off = [y[j] - start - drift * t[j] for j in range(len(t))]
        along = sum(o * x for o, x in zip(off, t, strict=True))
        own = noise**2 + spread**2 * (t @ t)
        square = (sum(o**2 for o in off) - spread**2 * along**2 / own) / noise**2
        value -= 0.5 * (2 * (len(t) - 1) * np.log(noise) + np.log(own) + square)
    weight = np.exp(value - value.max())
    for axis, name in enumerate(("drift_sd", "drift", "start", "measurement_sd")):
        mass = weight.sum(axis=tuple(a for a in range(4) if a != axis))
        reached = (np.cumsum(mass) - mass / 2) / mass.sum()
        expected = np.interp([0.05, 0.95], reached, grids[name])
        step = grids[name][1] - grids[name][0]
        room = 0.04 * (expected[1] - expected[0]) + 0.2 * step
        np.testing.assert_allclose(model.bounds(name), expected, rtol=0, atol=room, err_msg=name)


def test_many_readings_of_one_law_give_its_figures_and_its_age_at_the_limit():
    part, age, reading = fleet(21, 2000)
    model = path_model(part, age, reading, limit=6.25)
    assert model.start_kind == "correlated"
    assert model.drift == pytest.approx(0.0006, rel=0.03)
    assert model.drift_sd == pytest.approx(0.0002, rel=0.1)
    assert model.start == pytest.approx(5.0, abs=0.02)
    assert model.start_sd == pytest.approx(0.15, rel=0.06)
    assert model.measurement_sd == pytest.approx(0.08, rel=0.03)
    row = model.time_to_limit().iloc[0]
    truth = np.random.default_rng(5).standard_normal((2, 400_000))
    slope = 0.0006 + 0.0002 * truth[1]
    ages = np.where(slope > 0, (6.25 - 5.0 - 0.15 * truth[0]) / slope, np.inf)
    expected = np.quantile(ages, [0.05, 0.5, 0.95], method="inverted_cdf")
    assert [row["lower"], row["age_at_limit"]] == pytest.approx(expected[:2], rel=0.06)
    assert row["upper"] == pytest.approx(expected[2], rel=0.12)
    assert row["share_never"] == pytest.approx(norm.cdf(-3), abs=0.003)


@pytest.mark.parametrize("tie", [-0.9, 0.9])
def test_a_tie_between_start_and_drift_moves_the_ages_of_new_parts(tie):
    generator = np.random.default_rng(22)
    z, w = generator.standard_normal((2, 800)), np.random.default_rng(23).standard_normal((2, 9999))
    both = [(5.0 + 0.4 * a, 0.001 + 0.0003 * (tie * a + np.sqrt(1 - tie**2) * b))
            for a, b in (z, w)]  # fmt: skip
    part, age = np.repeat(np.arange(800), 5), np.tile(np.linspace(0.0, 1000.0, 5), 800)
    start, drift = both[0]
    reading = start[part] + drift[part] * age + 0.05 * generator.standard_normal(len(age))
    model = path_model(part, age, reading, limit=7.0)
    assert model.correlation == pytest.approx(tie, abs=0.03)
    start, drift = both[1]
    ages = np.where(drift > 0, (7.0 - start) / np.where(drift > 0, drift, 1.0), np.inf)
    row = model.time_to_limit().iloc[0]
    expected = np.quantile(ages, [0.05, 0.5, 0.95])
    assert [row["lower"], row["age_at_limit"], row["upper"]] == pytest.approx(expected, rel=0.06)


def test_parts_that_never_reach_the_limit_are_told_not_hidden():
    part, age, reading = fleet(33, 300, drift=0.00005, drift_sd=0.0002)
    model = path_model(part, age, reading, limit=6.25)
    row = model.time_to_limit().iloc[0]
    # drift at or below 0 in norm.cdf(-0.25) = 40 % of parts
    assert row["share_never"] == pytest.approx(0.40, abs=0.06)
    assert math.isinf(row["upper"])
    assert "never reach it" in model.text
    falling = path_model(*fleet(34, 100, drift=-0.0003, drift_sd=0.00005), limit=6.25)
    assert falling.time_to_limit()["age_at_limit"].iloc[0] == math.inf
    assert "Half of new parts or more never reach 6.25" in falling.text
    assert "readings fall by" in falling.text
    assert (falling.lives()["event"] == 0).mean() > 0.8


def test_a_part_read_often_goes_by_its_own_readings_and_one_read_once_by_the_others():
    part, age, reading = fleet(40, 30)
    often = np.linspace(0.0, 1400.0, 60)
    steep = 5.0 + 0.0011 * often + 0.08 * np.random.default_rng(2).standard_normal(60)
    names = [*(f"p{k}" for k in part), *["often"] * 60, "once"]
    model = path_model(
        names, np.append(np.append(age, often), 300.0), np.append(np.append(reading, steep), 5.2),
        limit=6.25,
    )  # fmt: skip
    own, new = model.time_to_limit(part="often").iloc[0], model.time_to_limit().iloc[0]
    assert own["age_at_limit"] == pytest.approx(1.25 / 0.0011, rel=0.05)
    assert own["lower"] < 1.25 / 0.0011 < own["upper"]
    assert own["upper"] - own["lower"] < 0.15 * (new["upper"] - new["lower"])
    assert own["share_over_now"] > 0.95
    once = model.time_to_limit(part="once").iloc[0]
    assert once["n_readings"] == 1
    assert once["age_at_limit"] == pytest.approx(new["age_at_limit"], rel=0.2)
    assert once["upper"] - once["lower"] > 0.6 * (new["upper"] - new["lower"])
    assert any("1 part read at one age only" in note for note in model.notes)
    every = model.parts_to_limit()
    pd.testing.assert_series_equal(every[every["part"] == "often"].iloc[0], own, check_names=False)
    with pytest.raises(FitError, match="'other' was not read"):
        model.time_to_limit(part="other")


def test_units_direction_and_order_of_rows_change_nothing():
    part, age, reading = fleet(50, 15)
    plain = path_model(part, age, reading, limit=6.25)
    row = plain.time_to_limit().iloc[0]
    # ohms and days of 24 h
    scaled = path_model(part, age / 24.0, 1000.0 * reading, limit=6250.0)
    other = scaled.time_to_limit().iloc[0]
    assert other["age_at_limit"] * 24.0 == pytest.approx(row["age_at_limit"], rel=1e-3)
    assert scaled.drift / 1000.0 / 24.0 == pytest.approx(plain.drift, rel=1e-6)
    # wear that falls to its limit
    down = path_model(part, age, 10.0 - reading, limit=3.75, direction="down")
    assert down.drift == pytest.approx(-plain.drift, rel=1e-6)
    assert down.bounds("drift") == pytest.approx(tuple(-b for b in plain.bounds("drift")[::-1]),
                                                 rel=1e-3)  # fmt: skip
    np.testing.assert_allclose(
        down.parts_to_limit()[["age_at_limit", "lower", "upper"]],
        plain.parts_to_limit()[["age_at_limit", "lower", "upper"]], rtol=2e-3,
    )  # fmt: skip
    np.testing.assert_allclose(down.lives()["exit"], plain.lives()["exit"], rtol=1e-9)
    order = np.random.default_rng(1).permutation(len(part))
    mixed = path_model(part[order], age[order], reading[order], limit=6.25)
    assert mixed.loglik == pytest.approx(plain.loglik, abs=1e-8)
    again = path_model(part, age, reading, limit=6.25)
    pd.testing.assert_frame_equal(again.parts_to_limit(), plain.parts_to_limit())
    pd.testing.assert_frame_equal(again.table, plain.table)


def test_a_log_scale_is_the_same_law_of_logarithms_with_a_likelihood_to_compare():
    part, age, height = fleet(60, 15)
    log = path_model(part, age, np.exp(height), limit=math.exp(6.25), scale="log")
    plain = path_model(part, age, height, limit=6.25)
    assert log.drift == pytest.approx(plain.drift, rel=1e-9)
    assert log.loglik == pytest.approx(plain.loglik - height.sum(), abs=1e-6)
    pd.testing.assert_frame_equal(log.time_to_limit(), plain.time_to_limit())
    # readings that grow by a share of themselves: the likelihood says which scale
    assert log.loglik > path_model(part, age, np.exp(height)).loglik
    assert "the logarithm of readings rises" in log.text


def test_duties_are_fitted_apart_and_a_thin_one_is_named():
    slow, fast = fleet(70, 40), fleet(71, 40, drift=0.0018)
    part = [*(f"a{k}" for k in slow[0]), *(f"b{k}" for k in fast[0])]
    age, reading = np.append(slow[1], fast[1]), np.append(slow[2], fast[2])
    duty = ["field"] * len(slow[0]) + ["quarry"] * len(fast[0])
    models = path_model(part, age, reading, by=duty, limit=6.25)
    assert list(models) == ["field", "quarry"]
    assert models["quarry"].bounds("drift")[0] > models["field"].bounds("drift")[1]
    alone = path_model(part[: len(slow[0])], slow[1], slow[2], limit=6.25)
    pd.testing.assert_frame_equal(models["field"].table, alone.table)
    with pytest.raises(FitError, match="Group 'yard'"):
        path_model([*part, "c"], [*age, 0.0], [*reading, 5.0], by=[*duty, "yard"])


def test_faults_in_the_readings_are_told():
    part, age, reading = fleet(80, 6)
    missing = reading.copy()
    missing[[3, 5]] = np.nan
    with pytest.raises(FitError, match=r"2 rows have a reading that is missing .*first: row 3"):
        path_model(part, age, missing)
    with pytest.raises(FitError, match="no part"):
        path_model([None, *part[1:]], age, reading)
    with pytest.raises(FitError, match="negative"):
        path_model(part, age - 1.0, reading)
    with pytest.raises(FitError, match="no logarithm"):
        path_model(part, age, reading - 5.5, scale="log")
    with pytest.raises(FitError, match="differ in length"):
        path_model(part, age[1:], reading)
    with pytest.raises(FitError, match="0 parts of 6 were read at two ages or more, 6 at one"):
        path_model(range(6), age[:6], reading[:6])
    # twice at one age is no second age
    with pytest.raises(FitError, match="were read at two ages"):
        path_model(part, np.full(len(part), 100.0), reading)
    with pytest.raises(FitError, match="are the same"):
        path_model(part, age, np.full(len(part), 5.0))
    with pytest.raises(FitError, match="without scatter"):
        path_model(part, age, 5.0 + 0.001 * age * (1 + part))
    with pytest.raises(FitError, match="beyond the limit of 4"):
        path_model(part, age, reading).time_to_limit(4.0)
    with pytest.raises(FitError, match="limit of None"):
        path_model(part, age, reading).time_to_limit()
    with pytest.raises(FitError, match="'sideways'"):
        path_model(part, age, reading, direction="sideways")
    with pytest.raises(FitError, match="'cubic'.*'any'.*level"):
        path_model(part, age, reading, scale="cubic", start="any", level=1.0)
    with pytest.raises(FitError, match="'drifts'"):
        path_model(part, age, reading).bounds("drifts")


def test_parts_read_twice_each_are_fitted_though_every_line_goes_through_its_readings():
    # measurement is then told only by how starts and drifts share out what differs; in some
    # fleets its best figure is 0, which is no fault of the readings
    zero = 0
    for seed in range(12):
        generator = np.random.default_rng([6, seed])
        part, age = np.repeat(np.arange(8), 2), np.tile([0.0, 1000.0], 8)
        start = 5.0 + 0.2 * generator.standard_normal(8)
        reading = start[part] + 0.001 * age + 0.05 * generator.standard_normal(16)
        model = path_model(part, age, reading, limit=7.0)
        assert model.start_kind == "independent"
        low, high = model.bounds("measurement_sd")
        assert low <= 0.07
        assert high >= 0.04
        zero += model.measurement_sd == 0.0
        row = model.time_to_limit().iloc[0]
        assert row["lower"] < 2000 < row["upper"]
    assert 0 < zero < 12
    exact = np.repeat(np.arange(8), 2)
    with pytest.raises(FitError, match="without scatter"):
        path_model(exact, age, 5.0 + 0.0001 * age * (1 + exact))


def test_two_readings_at_one_age_are_repeats_and_count_as_such():
    part, age, reading = fleet(90, 10)
    twice = (np.append(part, part), np.append(age, age), np.append(reading, reading + 0.01))
    model = path_model(*twice)
    assert model.loglik == pytest.approx(brute_loglik(*twice, **figures(model)), abs=1e-7)
    assert any(f"{len(part)} readings of a part at an age" in note for note in model.notes)
    one = crossing_ages(part, age, reading + 0.005, 5.5)
    pd.testing.assert_frame_equal(crossing_ages(*twice, 5.5), one)


def test_some_parts_that_stay_where_they_are_do_not_stop_a_fit():
    part, age, reading = fleet(95, 10)
    stuck = np.where(part == 3, 5.0, reading)
    row = path_model(part, age, stuck, limit=6.25).time_to_limit(part=3).iloc[0]
    assert row["share_over_now"] < 0.2
    assert row["age_at_limit"] > 0


def test_a_bend_is_told_and_a_straight_path_is_not_called_bent():
    part, age, reading = fleet(100, 30)
    assert not any("straight" in n for n in path_model(part, age, reading).notes)
    late = path_model(part, age, reading + (age / 700.0) ** 2).notes
    assert any("ever faster" in n and "too late" in n for n in late)
    early = path_model(part, age, reading + np.sqrt(age) / 8.0).notes
    assert any("ever more slowly" in n and "too early" in n for n in early)
    # towards a limit below, a fall that gains speed is the faster one
    fall = path_model(part, age, 10 - reading - (age / 700.0) ** 2, direction="down").notes
    assert any("ever faster" in n for n in fall)


def test_crossings_are_straight_between_readings_and_ready_to_fit():
    part = ["a", "a", "a", "b", "b", "c", "c", "d", "d", "d"]
    age = [0, 100, 200, 0, 150, 50, 90, 0, 100, 200]
    reading = [5.0, 6.0, 7.0, 5.0, 5.5, 6.6, 6.9, 5.0, 6.5, 6.0]
    lives = crossing_ages(part, age, reading, 6.25)
    assert lives["part"].tolist() == ["a", "b", "c", "d"]
    assert lives["exit"].tolist() == pytest.approx([125.0, 150.0, 50.0, 100 * 1.25 / 1.5])
    assert lives["event"].tolist() == [1, 0, 1, 1]
    assert lives["state"].tolist()[2] == "over at its first reading"
    # somewhere before its first reading: between two ages for the law
    assert (lives["lower"][2], lives["upper"][2]) == (0.0, 50.0)
    law = fit_law(
        "exponential", lives["exit"], lives["event"], lower=lives["lower"], upper=lives["upper"]
    )
    assert (law.n_lives, law.n_failed) == (4, 3)
    falls = crossing_ages(part, age, [-r for r in reading], -6.25, direction="down")
    pd.testing.assert_frame_equal(falls, lives)
    at_limit = crossing_ages(["a", "a"], [0, 10], [1.0, 2.0], 2.0)
    assert (at_limit["exit"][0], at_limit["event"][0]) == (10.0, 1)
    with pytest.raises(FitError, match="limit of nan"):
        crossing_ages(part, age, reading, math.nan)


def test_pseudo_ages_are_those_of_each_parts_own_line():
    part, age, reading = fleet(110, 9)
    lives = path_model(part, age, reading, limit=6.25).lives()
    for k, name in enumerate(lives["part"]):
        slope, start = np.polyfit(age[part == name], reading[part == name], 1)
        if slope > 0:
            assert lives["exit"][k] == pytest.approx((6.25 - start) / slope, rel=1e-8)
            assert lives["event"][k] == 1
        else:
            assert (lives["exit"][k], lives["event"][k]) == (age[part == name].max(), 0)
