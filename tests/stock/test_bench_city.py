"""A city's repair orders a week, rolled 1, 4 and 13 weeks ahead over the last 104 weeks."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson

from dutylife.stock.bench.arrivals import parts_of_year
from dutylife.stock.bench.law import weekly_law
from dutylife.stock.bench.season import WEEKS
from dutylife.stock.series import LEVELS, pinball

pytestmark = [pytest.mark.shared, pytest.mark.slow]
ROLLED, YEARS, AHEAD = 104, 6, (1, 4, 13)


def orders_a_week(shared: Path) -> pd.Series:
    """Repair orders opened in each whole week, by its Monday."""
    folder = shared / "data" / "city_fleet_orders"
    form = {"sep": ";", "decimal": ",", "encoding": "utf-8-sig"}
    orders = pd.read_csv(
        folder / "fact_work_orders.zip", usecols=["date_id", "job_type_id"], **form
    )
    kinds = pd.read_csv(folder / "dim_job_type.csv", **form)
    orders = orders.merge(kinds, on="job_type_id")
    orders = orders[orders["job_type"] == "REPAIR"]
    day = pd.to_datetime(orders["date_id"].astype(str))
    monday = day - pd.to_timedelta(day.dt.day_of_week, unit="D")
    return monday.value_counts().sort_index().asfreq("7D", fill_value=0).iloc[1:-1]


def others(y: np.ndarray, known: int, at: int) -> dict[str, Callable[[float], float]]:
    """Companions from the weeks before ``known``: quantiles of the week ``at``."""
    naive = y[[at - WEEKS * k for k in range(1, 6)]]
    year = y[known - WEEKS : known]
    moving, mean = y[known - 13 : known].mean(), y[known - 2 * WEEKS : known].mean()
    return {
        "seasonal naive": lambda q: float(np.quantile(naive, q, method="inverted_cdf")),
        "moving average": lambda q: float(moving + np.quantile(year - year.mean(), q)),
        "Poisson at the mean": lambda q: float(poisson.ppf(q, mean)),
    }


@pytest.fixture(scope="module")
def rolled(shared: Path) -> tuple[dict[int, float], dict[tuple[int, str], np.ndarray]]:
    """Share of weeks inside the 80 % range, and mean losses by level, by weeks ahead."""
    orders = orders_a_week(shared)
    y, week = orders.to_numpy(float), parts_of_year(pd.DatetimeIndex(orders.index))
    loss: dict[tuple[int, str], list[list[float]]] = {}
    held: dict[int, list[bool]] = {h: [] for h in AHEAD}
    n = len(y)
    for known in range(n - ROLLED - max(AHEAD) + 1, n):
        a = known - WEEKS * YEARS
        law = weekly_law(
            y[None, a:known], week[a:known], np.ones((1, known - a)),
            np.resize(week[known : known + max(AHEAD)], max(AHEAD)), np.ones((1, max(AHEAD))),
        )  # fmt: skip
        said = {q: law.quantile(q)[-1] for q in (0.1, 0.9, *LEVELS)}
        for h in AHEAD:
            at = known + h - 1
            if not n - ROLLED <= at < n:
                continue
            held[h].append(bool(said[0.1][h - 1] <= y[at] <= said[0.9][h - 1]))
            came = np.array(y[at])
            ours = [float(pinball(np.array(said[q][h - 1]), came, q)) for q in LEVELS]
            loss.setdefault((h, "ours"), []).append(ours)
            for name, quantile in others(y, known, at).items():
                row = [float(pinball(np.array(quantile(q)), came, q)) for q in LEVELS]
                loss.setdefault((h, name), []).append(row)
    mean = {key: np.mean(rows, axis=0) for key, rows in loss.items()}
    assert all(len(held[h]) == ROLLED for h in AHEAD)
    for h in AHEAD:
        print(h, "held", np.mean(held[h]), {k[1]: v.round(2) for k, v in mean.items() if k[0] == h})
    return {h: float(np.mean(held[h])) for h in AHEAD}, mean


COMPANIONS = ("seasonal naive", "moving average", "Poisson at the mean")


def held_as_asked(h: int) -> object:
    """Weeks ahead; what is known to miss is told with its figure."""
    missed = pytest.mark.xfail(strict=True, reason="85.6 % of 104 weeks 13 weeks ahead")
    return pytest.param(h, marks=missed) if h == 13 else h


@pytest.mark.parametrize("h", [held_as_asked(h) for h in AHEAD])
def test_80_percent_ranges_hold_75_to_85_percent(rolled, h):
    assert 0.75 <= rolled[0][h] <= 0.85


@pytest.mark.parametrize("name", COMPANIONS)
@pytest.mark.parametrize("h", AHEAD)
def test_the_mean_loss_over_the_levels_is_no_companions(rolled, h, name):
    assert (rolled[1][h, "ours"] / rolled[1][h, name]).mean() <= 1.0


@pytest.mark.xfail(
    strict=True,
    reason="one week ahead at 0.5 the Poisson is better by 1.4 %, 13 ahead at 0.8 the moving "
    "average by 3 %",
)
def test_no_companion_is_better_at_any_level(rolled):
    ratios = [rolled[1][h, "ours"] / rolled[1][h, name] for h in AHEAD for name in COMPANIONS]
    assert np.max(ratios) <= 1.0
