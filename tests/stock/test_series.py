"""Laws of series: sums, weights, and two published collections against smoothing methods."""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import nbinom

from dutylife.stock.part_law import quantiles
from dutylife.stock.series import (
    LEVELS,
    METHODS,
    learned_weights,
    pinball,
    series_chances,
    weights_of,
)
from dutylife.stock.shares import shares_of_lives
from dutylife.stock.smoothing import croston, tsb

SHARED = Path(os.environ.get("DUTYLIFE_SHARED", "../shared")) / "data"
AS_CAME = {("as they came", float("inf")): 1.0}


def test_months_as_they_came_keep_their_lumps():
    law = series_chances([0, 10, 0, 0], 1.0, AS_CAME)
    assert law[0] == pytest.approx(0.75)
    assert law[10] == pytest.approx(0.25)
    two = series_chances([0, 10, 0, 0], 2.0, AS_CAME)  # windows 10, 10, 0
    assert two[10] == pytest.approx(2 / 3)
    half = series_chances([0, 10, 0, 0], 0.5, AS_CAME)
    assert half[10] == pytest.approx(0.125)


def test_the_smooth_law_has_the_record_s_mean_and_grows_with_the_span():
    rng = np.random.default_rng(2)
    record = rng.poisson(3.0, 60)
    for months in (1.0, 2.5, 6.0):
        law = series_chances(record, months, {("smooth", float("inf")): 1.0})
        assert law @ np.arange(len(law)) == pytest.approx(record.mean() * months, rel=1e-3)


def test_a_part_that_fades_is_forecast_lower_when_that_paid_before():
    rng = np.random.default_rng(5)
    t = np.arange(48)
    fading = rng.poisson(6 * 0.93**t, (40, 48)).astype(float)
    weights = learned_weights(fading)
    assert sum(w for (_, half), w in weights.items() if half <= 12) > 0.8
    steady = rng.poisson(1.0, (400, 48)).astype(float)
    weights = learned_weights(steady)
    assert sum(w for (_, half), w in weights.items() if half >= 24) > 0.6


def test_weights_go_by_losses():
    even = weights_of({"a": 1.0, "b": 1.0})
    assert even == {"a": 0.5, "b": 0.5}
    told = weights_of({"a": 1.0, "b": 1.1})
    assert told["a"] > 0.9
    assert weights_of({"a": 0.0, "b": 1.0}) == {"a": 1.0, "b": 0.0}


def test_parts_go_by_what_forecast_them_best():
    def rows(number, method, loss, n=12):
        return pd.DataFrame(
            {"part_number": number, "method": method, "months": 1.0, "pinball_loss": [loss] * n}
        )

    scores = pd.concat(
        [rows("A", "lives", 1.0), rows("A", "series", 2.0), rows("B", "lives", 2.0),
         rows("B", "series", 1.0)]
    )  # fmt: skip
    found = shares_of_lives(scores, ["A", "B", "never scored"])
    assert found["A"][0] > 0.95
    assert found["B"][0] < 0.05
    assert found["A"][1] == 12
    assert found["never scored"] == (pytest.approx(0.5), 0)
    assert shares_of_lives(None, ["A"]) == {"A": (1.0, 0)}


def _collection(name, every):
    table = pd.read_csv(SHARED / "parts_demand" / name, dtype={0: str}).iloc[:, 1:]
    values = table.to_numpy(dtype=float)
    return values[~np.isnan(values).any(axis=1)][::every]


def _negative_binomial(mean, ratio, level):
    found = nbinom.ppf(level, np.maximum(mean, 1e-9) / (ratio - 1), 1 / ratio)
    return np.where(mean <= 0, 0.0, found)


def _compared(demand):
    """Mean pinball loss by method and level over 12 months, and mean replayed cost."""
    n_months = demand.shape[1]
    weights = learned_weights(demand[:, :-12])
    steps = {
        "croston": np.array([croston(y, 0.1, 0.1, "counted", None)[0] for y in demand]),
        "tsb": np.array([tsb(y, 0.1, 0.1, None)[0] for y in demand]),
    }
    steps = {m: np.nan_to_num(s) for m, s in steps.items()}
    steps["sba"] = 0.95 * steps["croston"]
    losses = {m: np.zeros(len(LEVELS)) for m in (*steps, "series")}
    stock = {m: [None, np.zeros(len(demand))] for m in losses}
    cost = dict.fromkeys(losses, 0.0)
    for t in range(n_months - 12, n_months):
        past, came = demand[:, :t], demand[:, t]
        mean = past.mean(axis=1)
        ratio = np.where(mean > 0, past.var(axis=1, ddof=1) / np.where(mean > 0, mean, 1), 1.0)
        ratio = np.maximum(ratio, 1.0001)
        said = {
            m: [_negative_binomial(s[:, t], ratio, level) for level in LEVELS]
            for m, s in steps.items()
        }
        up_to = {m: _negative_binomial(2 * s[:, t], ratio, 0.95) for m, s in steps.items()}
        own = np.array([quantiles(series_chances(y, 1.0, weights), LEVELS) for y in past])
        said["series"] = list(own.T)
        up_to["series"] = np.array(
            [quantiles(series_chances(y, 2.0, weights), (0.95,))[0] for y in past]
        )
        for method, at in said.items():
            losses[method] += [pinball(q, came, v).mean() for q, v in zip(at, LEVELS, strict=True)]
            # review monthly, a month's lead time; a piece short costs 19 times one held
            shelf, coming = stock[method]
            shelf = (up_to[method] if shelf is None else shelf) + coming
            order = np.maximum(up_to[method] - shelf, 0.0)
            shelf = shelf - came
            stock[method] = [shelf, order]
            cost[method] += float((np.maximum(shelf, 0) + 19 * np.maximum(-shelf, 0)).mean())
    return losses, cost


@pytest.mark.shared
@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["car_parts_monthly_sales.csv", "airforce_spares_monthly_demand.csv"]
)
def test_series_do_no_worse_than_the_best_smoothing_method(name):
    # SBA: Syntetos & Boylan (2005); TSB: Teunter, Syntetos & Babai (2011); smoothing 0.1
    losses, cost = _compared(_collection(name, every=5))
    rivals = [m for m in losses if m != "series"]
    for i in range(len(LEVELS)):
        assert losses["series"][i] <= min(losses[m][i] for m in rivals)
    assert cost["series"] <= min(cost[m] for m in rivals)


@pytest.mark.shared
def test_weekly_repair_orders_stay_in_their_ranges():
    folder = SHARED / "city_fleet_orders"
    orders = pd.read_csv(
        folder / "fact_work_orders.zip", sep=";", decimal=",", encoding="utf-8-sig",
        dtype={"asset_id": str}, usecols=["date_id", "job_type_id", "asset_id"],
    )  # fmt: skip
    kinds = pd.read_csv(folder / "dim_job_type.csv", sep=";", encoding="utf-8-sig")
    repair = kinds.loc[kinds["job_type"] == "REPAIR", "job_type_id"]
    opened = orders.loc[orders["job_type_id"].isin(repair), "date_id"].astype(str)
    week = pd.to_datetime(opened, format="%Y%m%d").dt.to_period("W-SUN")
    count = week.value_counts().sort_index().iloc[1:-1].to_numpy(dtype=float)
    inside = 0
    for i, t in enumerate(range(len(count) - 104, len(count))):
        if i % 13 == 0:  # what is learned is learned from before
            weights = learned_weights(count[None, :t], 52)
        low, high = quantiles(series_chances(count[:t], 1.0, weights), (0.1, 0.9))
        inside += low <= count[t] <= high
    assert 0.75 <= inside / 104 <= 0.85


def test_no_record_teaches_nothing():
    assert learned_weights(np.zeros((3, 24))) == dict.fromkeys(METHODS, 0.1)
    assert series_chances([], 3.0).tolist() == [1.0]
