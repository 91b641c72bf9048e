"""One law for each component in each duty: own, pooled or a starting value, and what it says."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from brute_posterior import brute_posterior

from dutylife.components import components_of
from dutylife.models import fit_models
from dutylife.models.starting import starting_life
from dutylife.run_folder import write_tables
from dutylife.schema import as_table, check_table
from dutylife.settings import settings_from

SETTINGS = settings_from({"fleet": {"as_of": "2024-12-31"}})
FILTER, CARB = "air filter", "carburetor"  # on hours, on days


def lives(component: str, duty: str, n: int, shape: float, scale: float, *, seed: int = 1,
          stop: float = np.inf, by_meter: bool = True, **more: Any) -> pd.DataFrame:  # fmt: skip
    """``n`` lives of a Weibull law in the component's clock, cut off at ``stop``; 2 h a day."""
    rng = np.random.default_rng(seed)
    age = scale * rng.weibull(shape, n)
    exit_ = np.minimum(age, stop)
    hours = component == FILTER
    frame = pd.DataFrame({
        "unit_id": [f"{duty}{i:03d}" for i in range(n)], "component": component, "duty": duty,
        "life_number": 1, "spell": 1, "entry_hours": 0.0, "entry_days": 0.0,
        "exit_hours": exit_ if hours else exit_ * 2, "exit_days": exit_ / 2 if hours else exit_,
        "event": np.where(age <= stop, "failed", "running"), "weight": 1.0,
        "clock_source": "meter" if by_meter else "estimated",
    })  # fmt: skip
    frame["age_se_hours"] = 0.5 if by_meter else 0.4 * frame["exit_hours"]
    return frame.assign(**more)


def table(*frames: pd.DataFrame) -> pd.DataFrame:
    return as_table("failure_events", pd.concat(frames, ignore_index=True))


def spans(*duties: str, hours_per_week: float = 14.0) -> pd.DataFrame:
    rows = [
        {
            "unit_id": f"{d}{i:03d}",
            "from_date": "2020-01-01",
            "duty": d,
            "hours_per_week": hours_per_week + i - 1,
        }
        for d in duties
        for i in range(3)
    ]
    return as_table("unit_spans", pd.DataFrame(rows))


def one(found: dict[str, pd.DataFrame], duty: str, component: str = FILTER) -> pd.Series:
    m = found["life_models"]
    rows = m[(m["component"] == component) & (m["duty"] == duty)]
    assert len(rows) == 1
    return rows.iloc[0]


def draws_of(found: dict[str, pd.DataFrame], duty: str, component: str = FILTER) -> pd.DataFrame:
    d = found["life_draws"]
    return d[(d["component"] == component) & (d["duty"] == duty)]


def expected_law(
    exit_: Any, event: Any, *, entry: Any = None, weight: Any = None
) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation of (log shape, log scale) by brute force."""
    life = starting_life(components_of(SETTINGS)[FILTER], "kerb", "hours", 14.0, SETTINGS)
    start = np.log(life.b10) - np.log(-np.log(0.9)) / 1.5
    n = len(exit_)
    return brute_posterior(
        np.asarray(exit_), np.asarray(event), np.zeros(n) if entry is None else np.asarray(entry),
        np.ones(n) if weight is None else np.asarray(weight), start, 601,
    )  # fmt: skip


def assert_middle_is(row: pd.Series, mean: np.ndarray, sd: np.ndarray) -> None:
    """Medians near means: a fifth of a standard deviation."""
    found = np.log([row["shape"], row["scale_hours"]])
    np.testing.assert_allclose((found - mean) / sd, 0.0, atol=0.2)


def test_own_law_is_that_of_its_lives_on_both_clocks() -> None:
    events = table(lives(FILTER, "kerb", 30, 2.5, 100.0, stop=110.0))
    found = fit_models(events, spans("kerb"), SETTINGS)
    row = one(found, "kerb")
    failed = events["event"] == "failed"
    stopped = np.minimum(events["exit_hours"], 110.0)
    mean, sd = expected_law(stopped, failed)
    assert (row["clock"], row["basis"]) == ("hours", "own data")
    assert 0.98 < row["own_data_share"] < 1.0  # the rest is the weak prior's
    assert (row["n_lives"], row["n_failed"]) == (30, failed.sum())
    assert_middle_is(row, mean, sd)
    assert row["scale_days"] == pytest.approx(row["scale_hours"] / 2.0)  # 14 h a week
    for what, at in (("shape", 0), ("scale_hours", 1)):
        ends = np.log([row[f"{what}_lower"], row[f"{what}_upper"]])
        np.testing.assert_allclose((ends - mean[at]) / sd[at], [-1.645, 1.645], atol=0.25)
    assert row["b10_hours_lower"] < row["b10_hours"] < row["b10_hours_upper"] < row["b50_hours"]
    assert row["longest_life_hours"] == pytest.approx(110.0)
    assert row["longest_life_days"] == pytest.approx(55.0)


def test_tables_keep_to_their_specification_and_every_cell_has_one_clock() -> None:
    events = table(
        lives(FILTER, "kerb", 30, 2.5, 100.0), lives(FILTER, "park", 6, 2.5, 300.0, stop=100.0),
        lives(CARB, "kerb", 12, 1.2, 200.0), lives(CARB, "park", 4, 1.2, 200.0, stop=50.0),
    )  # fmt: skip
    found = fit_models(events, spans("kerb", "park"), SETTINGS)
    for name, frame in found.items():
        assert check_table(name, frame).empty
    models = found["life_models"]
    assert not models.duplicated(["component", "duty"]).any()
    assert dict(zip(models["component"], models["clock"], strict=True)) == {
        FILTER: "hours", CARB: "days"
    }  # fmt: skip
    cell = ["component", "duty"]
    assert (found["life_draws"].groupby(cell, observed=True).size() == 64).all()
    total = found["life_draws"].groupby(cell, observed=True)["weight"].sum()
    assert total.to_numpy() == pytest.approx(np.ones(4))
    clocks = found["life_draws"].merge(models[[*cell, "clock", "basis"]], on=cell)
    assert (clocks["clock_x"] == clocks["clock_y"]).all()
    assert (clocks["basis_x"] == clocks["basis_y"]).all()


def test_draws_carry_the_mean_and_spread_of_what_is_known() -> None:
    events = table(lives(FILTER, "kerb", 14, 2.0, 100.0))
    draws = draws_of(fit_models(events, spans("kerb"), SETTINGS), "kerb")
    mean, sd = expected_law(events["exit_hours"], np.ones(14))
    logs = np.log(draws[["shape", "scale"]].to_numpy())
    np.testing.assert_allclose((logs.mean(axis=0) - mean) / sd, 0.0, atol=1e-3)
    np.testing.assert_allclose(logs.std(axis=0), sd, rtol=2e-3)


def test_a_part_that_may_not_have_been_the_cause_fails_in_part_only() -> None:
    base = lives(FILTER, "kerb", 20, 2.0, 100.0)
    half = base.assign(weight=np.where(np.arange(20) < 10, 0.5, 1.0))
    row = one(fit_models(table(half), spans("kerb"), SETTINGS), "kerb")
    age = base["exit_hours"].to_numpy()
    mean, sd = expected_law(
        np.concatenate([age, age[:10]]), np.repeat([1, 0], [20, 10]),
        weight=np.concatenate([half["weight"], np.full(10, 0.5)]),
    )  # fmt: skip
    assert_middle_is(row, mean, sd)
    assert (row["n_lives"], row["n_failed"]) == (20, 20)


def test_late_entry_comebacks_and_unknown_ages() -> None:
    good = lives(FILTER, "kerb", 20, 2.0, 100.0, seed=4)
    late = good.assign(entry_hours=good["exit_hours"] * 0.4, entry_days=good["exit_days"] * 0.4)
    unknown = lives(FILTER, "kerb", 9, 2.0, 5.0, unit_id="u", clock_source="unknown")
    unknown["life_number"] = range(9)
    blank = ["entry_hours", "exit_hours", "entry_days", "exit_days", "age_se_hours"]
    unknown[blank] = np.nan
    back = lives(FILTER, "kerb", 9, 2.0, 5.0, unit_id="c", is_comeback=True)
    back["life_number"] = range(9)
    row = one(fit_models(table(late, unknown, back), spans("kerb"), SETTINGS), "kerb")
    assert row["n_lives"] == 20
    assert_middle_is(row, *expected_law(good["exit_hours"], np.ones(20), entry=late["entry_hours"]))


def test_a_part_put_in_at_a_visit_is_watched_from_the_end_of_the_comeback_time() -> None:
    first = lives(FILTER, "kerb", 20, 2.0, 200.0)  # 2 h a day: 30 days are 60 h
    later = first.assign(life_number=2)
    law = {}
    for name, frame in (("first", first), ("later", later)):
        law[name] = one(fit_models(table(frame), spans("kerb"), SETTINGS), "kerb")
    assert law["first"]["n_lives"] == 20
    past = first[first["exit_hours"] > 60.0]
    assert law["later"]["n_lives"] == len(past) < 20
    expected = expected_law(past["exit_hours"], np.ones(len(past)), entry=np.full(len(past), 60.0))
    assert_middle_is(law["later"], *expected)


def test_lives_at_odds_with_the_prior_still_leave_many_draws() -> None:
    """85 sound lives far beyond the starting interval: no single draw may carry the answer."""
    sound = lives(CARB, "kerb", 85, 1.5, 1e9, stop=2500.0)
    found = fit_models(table(sound), spans("kerb"), SETTINGS)
    row, draws = one(found, "kerb", CARB), draws_of(found, "kerb", CARB)
    assert row["basis"] == "starting value"
    assert row["b10_days_lower"] < row["b10_days"] < row["b10_days_upper"]
    assert draws["scale"].nunique() > 50


def test_guessed_hours_stay_out_of_a_law_in_hours() -> None:
    metered = lives(FILTER, "kerb", 20, 2.0, 100.0)
    guessed = lives(FILTER, "kerb", 10, 2.0, 900.0, by_meter=False)
    guessed["life_number"] = 2
    row = one(fit_models(table(metered, guessed), spans("kerb"), SETTINGS), "kerb")
    assert (row["clock"], row["n_lives"]) == ("hours", 20)


def test_where_most_ages_in_hours_are_guessed_the_cell_goes_by_days() -> None:
    metered = lives(FILTER, "kerb", 8, 2.0, 100.0)
    guessed = lives(FILTER, "kerb", 12, 2.0, 100.0, by_meter=False)
    guessed["unit_id"] = "other" + guessed["unit_id"]
    row = one(fit_models(table(metered, guessed), spans("kerb"), SETTINGS), "kerb")
    assert (row["clock"], row["n_lives"]) == ("days", 20)


def test_few_failures_take_the_other_duties_and_are_moved_by_their_own() -> None:
    """Kerb has a law of 100 h; four failures in trench lie near 50 h, four in park near 200 h."""
    many = lives(FILTER, "kerb", 60, 2.5, 100.0)
    few = [
        lives(FILTER, duty, 4, 8.0, scale) for duty, scale in (("trench", 50.0), ("park", 200.0))
    ]
    found = fit_models(table(many, *few), spans("kerb", "trench", "park"), SETTINGS)
    trench, park, kerb = one(found, "trench"), one(found, "park"), one(found, "kerb")
    assert (trench["basis"], park["basis"], kerb["basis"]) == ("pooled", "pooled", "own data")
    assert trench["scale_hours"] < 75 < kerb["scale_hours"] < 140 < park["scale_hours"]
    # the duty's own life lies in the range, and the range is wider than that of the 60 lives
    assert trench["scale_hours_lower"] < 50 < trench["scale_hours_upper"]
    wide, narrow = (r["scale_hours_upper"] / r["scale_hours_lower"] for r in (trench, kerb))
    assert wide > narrow
    assert 0.3 < trench["own_data_share"] < kerb["own_data_share"] <= 1.0
    assert trench["verdict"].startswith(
        "Pooled. 4 failures in 4 lives in this duty: too few for a law of its own, so the lives of "
        "other duties stand in, as far as duties prove alike, moved by its own ("
    )
    assert "% of the answer) (68 failures in 68 lives in all)." in trench["verdict"]


def test_a_duty_without_failures_is_moved_up_by_its_long_lives() -> None:
    many = lives(FILTER, "kerb", 60, 2.5, 100.0)
    sound = lives(FILTER, "park", 10, 2.5, 1e6, stop=150.0)
    park = one(fit_models(table(many, sound), spans("kerb", "park"), SETTINGS), "park")
    assert park["n_failed"] == 0
    assert park["scale_hours"] > 200.0


def test_three_failures_here_and_three_there_make_one_pooled_law() -> None:
    both = [lives(FILTER, d, 3, 2.5, 100.0, seed=s) for d, s in (("kerb", 1), ("park", 2))]
    found = fit_models(table(*both), spans("kerb", "park"), SETTINGS)
    kerb = one(found, "kerb")
    assert kerb["basis"] == "pooled"
    assert 0.0 < kerb["own_data_share"] < 1.0
    assert "(6 failures in 6 lives in all)" in kerb["verdict"]
    # three lives each of one law: what one says of the other brings them near
    assert kerb["scale_hours"] == pytest.approx(one(found, "park")["scale_hours"], rel=0.6)


def test_without_lives_the_starting_value_says_what_it_is() -> None:
    nothing = lives(FILTER, "kerb", 2, 2.0, 100.0, clock_source="unknown")
    row = one(fit_models(table(nothing), spans("kerb"), SETTINGS), "kerb")
    assert (row["basis"], row["own_data_share"], row["n_lives"]) == ("starting value", 0.0, 0)
    assert row["verdict"].startswith("No life of known age yet. Starting value, our proposal: ")
    # the stated weak prior of shape: median 1.5, 95 % of it within 0.7 to 3.2, so 90 % 0.79 to 2.84
    assert (row["shape_lower"], row["shape"], row["shape_upper"]) == pytest.approx(
        (0.79, 1.5, 2.84), rel=0.02
    )


@pytest.mark.parametrize(("severe", "factor"), [([], 1.0), (["kerb"], None)])
def test_the_starting_value_is_the_shipped_interval(
    severe: list[str], factor: float | None
) -> None:
    settings = settings_from({"fleet": {"as_of": "2024-12-31"}, "duty": {"severe": severe}})
    name = "spark plug"
    task = components_of(settings)[name].first_task("replace")
    nothing = lives(FILTER, "kerb", 2, 2.0, 100.0, clock_source="unknown").assign(component=name)
    row = one(fit_models(table(nothing), spans("kerb"), settings), "kerb", name)
    expected = task.interval_hours * (factor or task.severe_factor)
    b10 = row["b10_hours"]
    if row["clock"] == "days":
        expected = task.interval_days * (factor or task.severe_factor)
        b10 = row["b10_days"]
    assert b10 == pytest.approx(expected, rel=0.01)


def test_a_component_that_failed_nowhere_has_a_starting_value_moved_by_sound_lives() -> None:
    sound = lives(CARB, "kerb", 31, 1.5, 1e6, stop=2000.0)
    late = one(fit_models(table(sound), spans("kerb"), SETTINGS), "kerb", CARB)
    young = lives(CARB, "kerb", 31, 1.5, 1e6, stop=1.0)
    plain = one(fit_models(table(young), spans("kerb"), SETTINGS), "kerb", CARB)
    assert late["basis"] == plain["basis"] == "starting value"
    assert "moved by what was seen" in late["verdict"]
    assert late["b50_days"] > 1.5 * plain["b50_days"]


def test_two_failures_are_an_answer_with_a_wide_range_and_weak_words() -> None:
    few = lives(CARB, "kerb", 31, 1.5, 100.0, stop=1.0)
    few.loc[:1, "event"] = "failed"
    row = one(fit_models(table(few), spans("kerb"), SETTINGS), "kerb", CARB)
    assert row["basis"] == "own data"
    assert row["own_data_share"] < 0.95
    assert row["verdict"].startswith("Not enough evidence: 2 failures in 31 lives")
    assert row["scale_days_upper"] > 4 * row["scale_days_lower"]


def test_failures_at_one_age_do_not_stop_the_run() -> None:
    same = lives(FILTER, "kerb", 8, 2.0, 100.0).assign(exit_hours=40.0)
    row = one(fit_models(table(same), spans("kerb"), SETTINGS), "kerb")
    assert row["basis"] == "own data"
    assert row["shape"] > 2.0  # held back by the prior, not endless
    assert row["b50_hours_lower"] < 40.0 < row["b50_hours_upper"]


def test_a_duty_of_one_customer_says_that_the_two_cant_be_told_apart() -> None:
    kerb = lives(FILTER, "kerb", 20, 2.5, 100.0).assign(customer="one yard")
    park = lives(FILTER, "park", 20, 2.5, 40.0).assign(
        customer=np.where(np.arange(20) % 2, "one", "two")
    )
    found = fit_models(table(kerb, park), spans("kerb", "park"), SETTINGS)
    told = "All its lives are one customer's: duty and customer can't be told apart."
    assert told in one(found, "kerb")["verdict"]
    assert told not in one(found, "park")["verdict"]


def test_a_harder_duty_is_told_beside_the_one_with_most_failures() -> None:
    kerb, park = lives(FILTER, "kerb", 60, 2.5, 200.0), lives(FILTER, "park", 30, 2.5, 80.0)
    found = fit_models(table(kerb, park), spans("kerb", "park"), SETTINGS)
    assert "This duty goes with lives 2." in one(found, "park")["verdict"]
    assert "times as short as in 'kerb'" in one(found, "park")["verdict"]
    assert "goes with" not in one(found, "kerb")["verdict"]


def test_curves_start_at_one_and_follow_the_cell() -> None:
    events = table(lives(FILTER, "kerb", 10, 2.0, 100.0), lives(FILTER, "park", 3, 2, 1e6, stop=50))
    curves = fit_models(events, spans("kerb", "park"), SETTINGS)["survival_curves"]
    assert curves["duty"].unique().tolist() == ["kerb"]  # no failure, no curve
    assert (curves.iloc[0]["age"], curves.iloc[0]["survival"]) == (0.0, 1.0)
    assert curves["survival"].tolist() == pytest.approx([1 - i / 10 for i in range(11)])


def test_ages_that_are_one_as_they_are_written_are_one_step(tmp_path: Path) -> None:
    events = lives(FILTER, "kerb", 10, 2.0, 1000.0)
    first = events["exit_hours"].idxmin()
    events.loc[first, "exit_hours"] = 1858.3333330001
    events.loc[(first + 1) % 10, "exit_hours"] = 1858.3333330004
    curves = fit_models(table(events), spans("kerb"), SETTINGS)["survival_curves"]
    write_tables({"survival_curves": curves}, tmp_path)
    for name in ("survival_curves.csv", "survival_curves.parquet"):
        read = pd.read_csv if name.endswith("csv") else pd.read_parquet
        ages = read(tmp_path / name)["age"]
        assert ages.is_unique
        assert len(ages) == 10  # from 0 on: ten lives, two at one age


def test_a_curve_that_cant_be_drawn_is_said_and_the_law_stands() -> None:
    base = lives(FILTER, "kerb", 20, 2.5, 100.0)
    base["entry_hours"] = base["exit_hours"] * 0.5
    first = int(base["exit_hours"].idxmin())
    base.loc[first, ["entry_hours", "exit_hours"]] = [0.0, float(base["entry_hours"].min()) * 0.5]
    found = fit_models(table(base), spans("kerb"), SETTINGS)
    assert found["survival_curves"].empty
    row = one(found, "kerb")
    assert row["basis"] == "own data"
    assert row["verdict"].endswith("No curve is drawn: too few lives were watched from new.")


def test_words_follow_the_evidence() -> None:
    def word(n: int, shape: float, seed: int = 1) -> str:
        events = table(lives(FILTER, "kerb", n, shape, 100.0, seed=seed))
        return one(fit_models(events, spans("kerb"), SETTINGS), "kerb")["verdict"]

    assert word(40, 3.0).startswith("Supported: 40 failures in 40 lives; the risk rises with age")
    assert word(60, 0.5).startswith("Supported: 60 failures in 60 lives; the risk falls with age")
    assert word(30, 1.0).startswith("Leaning: 30 failures in 30 lives; whether the risk rises")
    assert " h (" in word(40, 3.0)


def test_extrapolation_is_said() -> None:
    events = table(lives(FILTER, "kerb", 60, 2.0, 100.0, stop=45.0))
    row = one(fit_models(events, spans("kerb"), SETTINGS), "kerb")
    assert row["b50_hours"] > 45.0
    assert "no life that long was seen (longest 45 h)" in row["verdict"]


def test_without_use_rates_the_other_clock_stays_blank() -> None:
    events = table(lives(CARB, "kerb", 20, 1.5, 100.0))
    empty = spans("kerb").assign(hours_per_week=np.nan)
    row = one(fit_models(events, empty, SETTINGS), "kerb", CARB)
    assert row["scale_days"] > 0
    assert np.isnan(row["scale_hours"])


def test_neither_row_order_nor_seed_changes_anything() -> None:
    events = table(
        lives(FILTER, "kerb", 30, 2.5, 100.0), lives(FILTER, "park", 3, 2.5, 100.0),
        lives(CARB, "kerb", 4, 1.2, 200.0),
    )  # fmt: skip
    found = fit_models(events, spans("kerb", "park"), SETTINGS)
    again = fit_models(
        events.sample(frac=1.0, random_state=3), spans("kerb", "park").iloc[::-1], SETTINGS
    )
    for name, frame in found.items():
        pd.testing.assert_frame_equal(frame, again[name], rtol=1e-9)
    other = settings_from({"fleet": {"as_of": "2024-12-31"}, "report": {"seed": 2}})
    moved = fit_models(events, spans("kerb", "park"), other)
    for name, frame in found.items():
        pd.testing.assert_frame_equal(frame, moved[name])


def test_hours_to_days_scales_the_scale_only() -> None:
    """The same lives counted in days, 2 h a day: same shape, half the scale."""
    metered = lives(FILTER, "kerb", 25, 2.0, 100.0)
    by_days = lives(FILTER, "kerb", 25, 2.0, 100.0, by_meter=False)
    hours = one(fit_models(table(metered), spans("kerb"), SETTINGS), "kerb")
    days = one(fit_models(table(by_days), spans("kerb"), SETTINGS), "kerb")
    assert (hours["clock"], days["clock"]) == ("hours", "days")
    # the starting interval stands at another age on the other clock, and hardly matters
    assert days["shape"] == pytest.approx(hours["shape"], rel=1e-2)
    assert days["scale_days"] == pytest.approx(hours["scale_hours"] / 2, rel=1e-2)


def test_no_lives_give_empty_tables() -> None:
    none = as_table("failure_events", pd.DataFrame())
    found = fit_models(none, spans("kerb"), SETTINGS)
    assert all(frame.empty for frame in found.values())
