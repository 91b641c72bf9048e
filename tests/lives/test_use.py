"""How much machines run: drawn to machines alike, by the season, with errors that the data tell."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from dutylife.lives.clocks import pooling
from dutylife.lives.clocks.pooling import pooled_log_rates
from dutylife.lives.clocks.season import Season, fit_season
from dutylife.lives.clocks.spread import PRIOR_DAYS, PRIOR_DRIFT, spread_of


def test_pooled_rates_equal_the_normal_law_of_all_machines_at_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """At the stated spreads: the conditional law of one large normal vector."""
    rng = np.random.default_rng(2)
    cell = np.array([0, 0, 0, 1, 1, 2, 2, 2, 3, 3])
    duty_of_cell = np.array([0, 0, 1, 2])
    own = rng.normal(2.0, 0.5, 10)
    error = rng.uniform(0.01, 0.6, 10)
    own[[4, 9, 8]], error[[4, 9, 8]] = np.nan, np.inf
    monkeypatch.setattr(pooling, "ROUNDS", 1)
    mean, variance = pooled_log_rates(own, error, cell, duty_of_cell)

    duty = duty_of_cell[cell]
    cov = (
        1e4  # the fleet's mean is not known
        + pooling.DUTY_SPREAD**2 * (duty[:, None] == duty)
        + pooling.CELL_SPREAD**2 * (cell[:, None] == cell)
        + pooling.PRIOR_SPREAD**2 * np.eye(10)
    )
    seen = np.isfinite(own)
    gain = cov[:, seen] @ np.linalg.inv(cov[np.ix_(seen, seen)] + np.diag(error[seen]))
    assert mean == pytest.approx(gain @ own[seen], abs=1e-4)
    assert variance == pytest.approx(np.diag(cov - gain @ cov[seen]), abs=1e-4)


def test_the_spreads_found_are_those_that_made_the_rates() -> None:
    rng = np.random.default_rng(6)
    cell = np.repeat(np.arange(40), 15)
    duty_of_cell = np.repeat(np.arange(8), 5)
    duties = rng.normal(1.0, 0.6, 8)
    cells = duties[duty_of_cell] + rng.normal(0.0, 0.2, 40)
    true = cells[cell] + rng.normal(0.0, 0.4, 600)
    error = rng.choice([0.002, 0.05, 1.0], 600)
    mean, variance = pooled_log_rates(
        true + rng.normal(0.0, np.sqrt(error)), error, cell, duty_of_cell
    )
    z = (true - mean) / np.sqrt(variance)
    assert np.mean(np.abs(z) < 1.645) == pytest.approx(0.9, abs=0.03)
    assert np.std(z) == pytest.approx(1.0, abs=0.07)


def test_nothing_known_gives_nothing() -> None:
    mean, variance = pooled_log_rates(
        np.full(2, np.nan), np.full(2, np.inf), np.array([0, 1]), np.array([0, 1])
    )
    assert np.isnan(mean).all()
    assert np.isnan(variance).all()


def test_a_week_moves_the_rate_of_its_like_hardly_a_year_makes_it_its_own(
    made: SimpleNamespace,
) -> None:
    rates = []
    for last in ("2020-01-04", "2020-02-01", "2020-12-27"):
        days = (pd.Timestamp(last) - pd.Timestamp("2020-01-01")).days
        lines = [("A", "2020-01-01", 0.0), ("A", last, 8.0 * days)]
        for k in range(6):  # its like run 2 h a day, give or take a tenth
            lines += [(f"L{k}", "2020-01-01", 0.0), (f"L{k}", "2020-12-26", 360 * (1.75 + 0.1 * k))]
        found = made.build(
            made.lines(*lines), made.events(),
            made.units(*[{"unit_id": u} for u in ("A", *(f"L{k}" for k in range(6)))]),
        )["units"].set_index("unit_id")  # fmt: skip
        rates.append(found.loc["A", "hours_per_week"] / 7.0)
        assert found.loc["A", "usage_source"] == ("meter" if days > 20 else "duty and class")
    assert rates == sorted(rates)
    assert rates[0] < 4.0
    assert rates[2] == pytest.approx(8.0, rel=0.06)


def test_days_of_use_are_weighted_days_added_up() -> None:
    shares = np.array([[0.4, 0.4, 0.6, 1, 1.4, 1.6, 1.6, 1.6, 1.3, 1, 0.6, 0.5], np.ones(12)])
    season = Season(np.array(["park", "yard"], dtype=object), shares)
    days = pd.date_range("2015-03-05", "2023-11-20")
    weights = shares[0][days.month.to_numpy() - 1]
    number = np.array((days - pd.Timestamp("1970-01-01")).days, dtype=float)
    found = season.days_of_use(np.zeros(len(days), dtype=np.int64), number)
    assert np.diff(found) == pytest.approx(weights[:-1])
    for row in (1, -1):
        assert season.days_of_use(np.full(3, row), number[:3]).tolist() == number[:3].tolist()
    before = season.days_of_use(np.array([0, 0]), np.array([-3000.5, np.nan]))
    assert np.isfinite(before[0])
    assert np.isnan(before[1])


def stretches(shares: np.ndarray, n_machines: int = 24, seed: int = 3) -> tuple:
    """Stretches of about 40 days over 4 years; the use of each month strays by a tenth."""
    rng = np.random.default_rng(seed)
    first = pd.Timestamp("2019-01-01")
    days = pd.date_range(first, "2022-12-31")
    number = (days - pd.Timestamp("1970-01-01")).days.to_numpy()
    machine, begin, end, rise = [], [], [], []
    for k in range(n_machines):
        strays = rng.lognormal(0.0, 0.1, 48)[(days.year - 2019) * 12 + days.month - 1]
        hours = np.cumsum(rng.uniform(1, 5) * shares[days.month.to_numpy() - 1] * strays)
        at = np.unique(np.append(rng.choice(len(days), 34), [0, len(days) - 1]))
        machine.append(np.full(len(at) - 1, k))
        begin.append(number[at[:-1]])
        end.append(number[at[1:]])
        rise.append(np.diff(hours[at]))
    return tuple(np.concatenate(v) for v in (machine, begin, end, rise))


def test_a_season_is_found_where_there_is_one_and_nowhere_else() -> None:
    true = np.array([0.4, 0.4, 0.6, 1, 1.4, 1.6, 1.6, 1.6, 1.3, 1, 0.6, 0.5])
    machine, begin, end, rise = stretches(true)
    calm = stretches(np.ones(12), seed=4)
    season = fit_season(
        np.concatenate([machine, calm[0] + 100]),
        np.repeat([0, 1], [len(machine), len(calm[0])]),
        *(
            np.concatenate([a, b]).astype(float)
            for a, b in zip((begin, end, rise), calm[1:], strict=True)
        ),
        np.array(["park", "yard"], dtype=object),
    )
    assert season.shares[0] == pytest.approx(true / true.mean(), abs=0.2)
    assert (season.shares[1] == 1.0).all()


def test_what_comes_once_to_all_machines_is_no_season() -> None:
    machine, begin, end, rise = stretches(np.ones(12), seed=5)
    strike = (begin >= 18_400) & (begin < 18_460)  # two months of 2020
    season = fit_season(
        machine, np.zeros(len(machine), dtype=np.int64), begin.astype(float), end.astype(float),
        np.where(strike, 0.1 * rise, rise), np.array(["yard"], dtype=object),
    )  # fmt: skip
    assert (season.shares == 1.0).all()


def test_ages_between_and_beyond_readings_follow_the_season(made: SimpleNamespace) -> None:
    """A cap put in on 1 April and gone on 1 July, between readings of 1 January and 31 December."""
    months = np.array([0.2, 0.2, 0.5, 1, 1.6, 2, 2, 1.8, 1.2, 0.9, 0.4, 0.2])
    days = pd.date_range("2017-01-01", "2020-12-31")
    hours = pd.Series(np.cumsum(2.0 * months[days.month - 1]), days)
    lines = [(f"M{k}", d, round(float(hours[d]) * (1 + 0.1 * k)))
             for k in range(8) for d in days[k::41]]  # fmt: skip
    lines += [
        ("P", d, round(float(hours[d]))) for d in pd.to_datetime(["2020-01-01", "2020-12-31"])
    ]
    lines += [("P", "2020-04-01"), ("P", "2020-07-01")]
    found = made.build(
        made.lines(*lines),
        made.events(("P", "ignition cap", "2020-04-01", "replace", "failure"),
                    ("P", "ignition cap", "2020-07-01", "replace", "failure")),
        made.units(*[{"unit_id": f"M{k}"} for k in range(8)], {"unit_id": "P"}),
        made.spans(*[(u, "2017-01-01", "park", "C") for u in ("P", *(f"M{k}" for k in range(8)))]),
    )  # fmt: skip
    lives = found["failure_events"]
    second = lives[(lives["unit_id"] == "P") & (lives["life_number"] == 2)].iloc[0]
    true = float(hours["2020-07-01"] - hours["2020-04-01"])
    by_calendar = float(hours["2020-12-31"] - hours["2020-01-01"]) * 91 / 365
    assert abs(second["exit_hours"] - true) < 0.3 * abs(by_calendar - true)
    assert any("run by the season" in m for m in found["findings"]["message"])


def test_the_spread_of_use_is_that_of_the_walk_that_made_it() -> None:
    rng = np.random.default_rng(9)
    n, each = 200, 20
    days = rng.uniform(20, 60, (n, each))
    rate = rng.uniform(1, 6, (n, 1))
    drift = np.exp(rng.normal(0.0, 0.2, (n, 2)))  # each half of the record at its own rate
    late = np.cumsum(days, axis=1) > days.sum(axis=1, keepdims=True) / 2
    level = rate * np.where(late, drift[:, 1:], drift[:, :1])
    hours = np.maximum(rng.normal(level * days, level * np.sqrt(0.6 * days)), 0.0)
    found = spread_of(np.repeat(np.arange(n), each), days.ravel(), hours.ravel(), n)
    assert found.drift == pytest.approx(0.2, abs=0.05)
    assert 0.6 <= found.days < 2.0  # what goes on for half the record looks like chance too


def test_a_fleet_that_tells_nothing_has_the_stated_spread() -> None:
    none = np.zeros(0)
    found = spread_of(np.zeros(0, dtype=np.int64), none, none, 0)
    assert (found.days, found.drift) == (pytest.approx(PRIOR_DAYS), pytest.approx(PRIOR_DRIFT))
