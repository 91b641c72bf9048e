"""The weeks ahead at the bench: laws held to known truths, a planted rush, thin and odd records."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings
from dutylife.stock.bench import bench_load
from dutylife.stock.bench.arrivals import ALL
from dutylife.stock.bench.law import count_quantile, weekly_law
from dutylife.stock.bench.season import WEEKS, season_of
from dutylife.stock.bench.work import hours_quantiles, machines_there

AS_OF = pd.Timestamp("2025-12-28")  # a Sunday
EMPTY = (
    "maintenance_events", "unit_spans", "failure_events", "life_draws", "intervals", "visit_plan",
    "costs", "contracts",
)  # fmt: skip


def rush(strength: float) -> np.ndarray:
    """Share of each part of the year, highest in the middle of April."""
    return 1 + strength * np.cos(2 * np.pi * (np.arange(WEEKS) - 15) / WEEKS)


def settings_of(**workshop: float) -> Settings:
    return Settings.model_validate(
        {
            "fleet": {"name": "a", "as_of": AS_OF.date(), "currency": "crowns"},
            "exports": [{"path": "lines.csv", "kind": "lines"}],
            "workshop": workshop,
            "report": {"horizon_months": 12},
        }
    )


def tables_of(
    arrived: list[tuple[pd.Timestamp, str]], hours: np.ndarray | None = None,
    days: np.ndarray | None = None,
) -> dict[str, pd.DataFrame]:  # fmt: skip
    """A record of one visit a row: day and machine, its labour hours and days in the shop."""
    n = len(arrived)
    dates = pd.DatetimeIndex([d for d, _ in arrived])
    lines = pd.DataFrame(
        {
            "line_id": [f"{i:016x}" for i in range(n)], "source_file": "lines.csv",
            "source_row": range(1, n + 1), "ticket": [f"J{i}" for i in range(n)],
            "service_date": dates, "unit_id": [u for _, u in arrived],
            "line_kind": "part" if hours is None else "labour",
            "quantity": 1.0 if hours is None else hours,
        }
    )  # fmt: skip
    if days is not None:
        lines = lines.assign(
            received_on=dates, ready_on=dates + pd.to_timedelta(days.astype(int), unit="D")
        )
    names = [f"{c}-{i}" for c in ("A", "B") for i in range(40)]
    units = pd.DataFrame(
        {
            "unit_id": names, "equipment_class": [f"class {u[0]}" for u in names],
            "first_seen": AS_OF - pd.Timedelta(days=1500), "last_seen": AS_OF,
            "prob_in_service": 1.0,
        }
    )  # fmt: skip
    out = {name: empty_table(name) for name in EMPTY}
    return out | {
        "service_lines": as_table("service_lines", lines), "units": as_table("units", units)
    }  # fmt: skip


def visits_of(
    seed: int, n_years: int, a_week: float, strength: float = 0.0, from_year: int = 0
) -> list[tuple[pd.Timestamp, str]]:
    """Poisson visits with a season, by day; the years end at AS_OF, or ``from_year`` later."""
    rng = np.random.default_rng(seed)
    first = AS_OF + pd.Timedelta(days=1) - pd.Timedelta(days=7 * WEEKS * n_years)
    out = []
    for day in range(7 * WEEKS * (n_years + from_year)):
        date = first + pd.Timedelta(days=day)
        share = rush(strength)[min((date.day_of_year - 1) // 7, WEEKS - 1)]
        for _ in range(rng.poisson(a_week / 7 * share)):
            out.append((date, f"{'AB'[rng.integers(2)]}-{rng.integers(40)}"))
    return out


def whole(table: pd.DataFrame) -> pd.DataFrame:
    return table[table["equipment_class"] == ALL].reset_index(drop=True)


def test_ranges_hold_what_they_say_on_records_of_known_law():
    """Levels that wander, counts over-dispersed: 12 records of 3 years, then a true year."""
    rng = np.random.default_rng(8)
    held, under, below = [], [], []
    for _ in range(12):
        n, ahead = 3 * WEEKS, WEEKS
        level = 12 * np.exp(np.cumsum(rng.normal(0, 0.02, n + ahead)))
        came = rng.poisson(level * rng.gamma(20, 1 / 20, n + ahead)).astype(float)
        week = np.arange(n + ahead) % WEEKS
        law = weekly_law(came[None, :n], week[:n], np.ones((1, n)), week[n:], np.ones((1, ahead)))
        low, middle, high = (law.quantile(q)[-1] for q in (0.1, 0.5, 0.9))
        held.append(((came[n:] >= low) & (came[n:] <= high)).mean())
        under.append((came[n:] <= high).mean())
        below.append(((came[n:] < middle).mean() + (came[n:] <= middle).mean()) / 2)
    # whole numbers on both ends of the range add some 4 %; a year's level is one draw a record
    assert 0.75 <= np.mean(held) <= 0.92, np.mean(held)
    assert 0.82 <= np.mean(under) <= 0.97, np.mean(under)
    assert 0.38 <= np.mean(below) <= 0.62, np.mean(below)


def test_a_season_is_seen_where_there_is_one_and_not_where_there_is_none():
    rng = np.random.default_rng(3)
    seen = {0.0: 0, 0.6: 0}
    for strength in seen:
        for _ in range(40):
            week = np.arange(2 * WEEKS) % WEEKS
            y = rng.negative_binomial(20, 20 / (20 + 8 * rush(strength)[week])).astype(float)
            season = season_of(y, week, np.ones(len(week)))
            seen[strength] += not season.is_flat
    assert seen[0.0] <= 3  # a chance season passes in 1 record of 20 at most
    assert seen[0.6] >= 36


def test_growth_from_year_to_year_is_no_season():
    week = np.arange(3 * WEEKS) % WEEKS
    rng = np.random.default_rng(5)
    flat = sum(
        season_of(
            rng.poisson(10 * np.exp(0.3 * np.arange(3 * WEEKS) / WEEKS)).astype(float), week,
            np.ones(3 * WEEKS),
        ).is_flat
        for _ in range(20)
    )  # fmt: skip
    assert flat >= 18


def test_a_planted_spring_rush_shows_ahead_and_only_then():
    strong = bench_load(tables_of(visits_of(1, 3, 8.0, strength=0.7)), settings_of())
    weeks = whole(strong.table).set_index("from_date")["machines_mean"]
    spring = weeks["2026-03-25":"2026-05-05"].mean()
    autumn = weeks["2026-09-20":"2026-11-05"].mean()
    assert spring / autumn == pytest.approx(1.65 / 0.35, rel=0.4)
    assert abs(weeks.idxmax() - pd.Timestamp("2026-04-15")).days <= 35
    none = bench_load(tables_of(visits_of(2, 3, 8.0)), settings_of())
    flat = whole(none.table)["machines_mean"]
    assert flat.max() / flat.min() < 1.1
    assert "no season" in none.notes[0][0] + none.notes[-1][0]


def test_arrivals_grow_with_the_fleet():
    """An announced contract of as many machines as there are doubles a class from its day on."""
    tables = tables_of(visits_of(4, 2, 8.0))
    contract = pd.DataFrame(
        {
            "contract": ["new"], "equipment_class": ["class A"], "duty": ["d"],
            "n_machines": [40.0], "from_date": [pd.Timestamp("2026-07-01")],
            "source_file": ["c.csv"], "source_row": [1],
        }
    )  # fmt: skip
    tables["contracts"] = as_table("contracts", contract)
    table = bench_load(tables, settings_of()).table
    own = table[table["equipment_class"] == "class A"].set_index("from_date")["machines_mean"]
    assert own["2026-09-07"] / own["2026-03-02"] == pytest.approx(2.0, rel=0.05)
    other = table[table["equipment_class"] == "class B"].set_index("from_date")["machines_mean"]
    assert other["2026-09-07"] / other["2026-03-02"] == pytest.approx(1.0, rel=0.05)


def test_hours_are_those_of_a_random_number_of_visits():
    """Against simulation: negative binomial visits of unlike hours and planned ones."""
    rng = np.random.default_rng(1)
    hours, weight = np.array([0.5, 1.0, 2.25]), np.array([0.5, 0.3, 0.2])
    plan = np.array([2.0, 3.0, 1.0])
    n = rng.negative_binomial(10, 10 / 19, 40_000)
    total = np.array([rng.choice(hours, k, p=weight).sum() for k in n])
    total += (rng.random((len(n), 3)) < 0.8) @ plan
    said = hours_quantiles((0.1, 0.5, 0.9), 9.0, 0.1, hours, weight, plan, 0.8)
    assert np.allclose(said, np.quantile(total, (0.1, 0.5, 0.9)), atol=0.26)


def test_count_quantiles_are_those_of_the_negative_binomial():
    from scipy.stats import nbinom, poisson

    mean = np.array([0.0, 0.3, 4.0, 310.0])
    for level in (0.1, 0.5, 0.9, 0.95):
        exact = nbinom.ppf(level, 4.0, 4.0 / (4.0 + mean[1:]))
        assert count_quantile(level, mean, np.full(4, 0.25))[1:].tolist() == exact.tolist()
        assert count_quantile(level, mean, np.zeros(4))[2] == poisson.ppf(level, 4.0)
        assert count_quantile(level, mean, np.zeros(4))[0] == 0.0


def test_machines_there_follow_littles_law_and_a_simulation():
    """Little (1961): machines there = arrivals a day x mean days there."""
    stay = np.array([1.0, 3.0, 8.0, 20.0])
    assert machines_there(np.full(6, 14.0), stay) == pytest.approx(np.full(6, 2.0 * stay.mean()))
    rng = np.random.default_rng(2)
    a_week = np.array([5.0, 5, 5, 5, 20, 20, 5, 5])
    there = np.zeros((400, 8))
    for i in range(400):
        before = np.concatenate([np.full(4, 5.0), a_week])
        come = np.concatenate(
            [7 * (w - 4) + 7 * rng.random(rng.poisson(m)) for w, m in enumerate(before)]
        )
        go = come + rng.choice(stay, len(come))
        for w in range(8):
            at = 7 * w + 7 * rng.random(20)
            there[i, w] = ((come[:, None] <= at) & (go[:, None] > at)).sum(axis=0).mean()
    assert machines_there(a_week, stay) == pytest.approx(there.mean(axis=0), rel=0.06)


def test_hours_and_loaners_of_a_record_come_true():
    """Two years of record, a third one to come: hours and machines there hold their ranges."""
    visits = visits_of(6, 2, 9.0, from_year=1)
    rng = np.random.default_rng(6)
    hours = np.round(rng.gamma(3.0, 0.6, len(visits)) * 4) / 4 + 0.25
    days = rng.integers(1, 12, len(visits))
    last = sum(d <= AS_OF for d, _ in visits)
    record = tables_of(visits[:last], hours[:last], days[:last])
    table = whole(bench_load(record, settings_of(hours_per_week=30.0)).table)
    later = pd.DataFrame({"day": [d for d, _ in visits[last:]], "hours": hours[last:]})
    later["week"] = later["day"] - pd.to_timedelta(later["day"].dt.day_of_week, unit="D")
    came = later.groupby("week")["hours"].sum().reindex(table["from_date"]).dropna()
    said = table.set_index("from_date").loc[came.index]
    assert 0.78 <= (came <= said["labour_hours_p90"]).mean() <= 1.0
    assert 0.3 <= (came <= said["labour_hours_p50"]).mean() <= 0.7
    start = pd.DatetimeIndex([d for d, _ in visits])
    end = start + pd.to_timedelta(days, unit="D")
    there = np.array([((start <= d) & (end > d)).sum() for d in said.index + pd.Timedelta("3D")])
    assert 0.78 <= (there <= said["loaners_p90"].to_numpy()).mean() <= 1.0
    assert there.mean() <= said["loaners_p90"].mean() <= 2.2 * there.mean()
    assert (table["workshop_hours"] == 30.0).all()


def test_planned_visits_of_the_recommended_plan_are_added():
    tables = tables_of(visits_of(7, 2, 6.0))
    settings = settings_of()
    settings = settings.model_copy(
        update={"plan": settings.plan.model_copy(update={"in_force": "recommended"})}
    )
    before = whole(bench_load(tables, settings).table)
    plan = pd.DataFrame(
        {
            "unit_id": [f"A-{i}" for i in range(10)], "equipment_class": "class A",
            "due_on": pd.Timestamp("2026-03-04"), "tasks": "replace x", "labour_hours": 1.0,
        }
    )  # fmt: skip
    after = whole(bench_load(tables | {"visit_plan": as_table("visit_plan", plan)}, settings).table)
    gain = (after["machines_mean"] - before["machines_mean"]).set_axis(after["from_date"])
    assert gain[pd.Timestamp("2026-03-02")] == pytest.approx(10.0)
    assert gain.drop(pd.Timestamp("2026-03-02")).abs().max() < 1e-9


@pytest.mark.parametrize(
    ("n_weeks", "words"), [(0, "0 whole weeks"), (3, "3 whole weeks"), (5, "too few to see a")]
)
def test_a_short_record_is_said(n_weeks: int, words: str):
    late = [v for v in visits_of(9, 1, 9.0) if v[0] > AS_OF - pd.Timedelta(days=7 * n_weeks)]
    load = bench_load(tables_of(late), settings_of())
    assert any(words in message for message, _ in load.notes)
    assert load.table.empty == (n_weeks < 4)
    assert len(load.findings) == len(load.notes)
    assert load.text


def test_a_record_without_labour_lines_and_ready_dates_leaves_blanks_and_says_so():
    load = bench_load(tables_of(visits_of(10, 2, 5.0)), settings_of())
    for column in ("labour_hours_p50", "labour_hours_p90", "loaners_p90"):
        assert load.table[column].isna().all()
    told = " ".join(message for message, _ in load.notes)
    assert "no labour lines" in told
    assert "received" in told


def test_a_single_visit_and_odd_days_do_not_break_it():
    day = AS_OF - pd.Timedelta(days=300)
    one = bench_load(tables_of([(day, "A-1")], np.array([2.0]), np.array([-3])), settings_of())
    assert not one.table.empty
    assert one.table["loaners_p90"].isna().all()  # ready before received tells nothing
    assert (whole(one.table)["machines_p50"] == 0).all()


def test_row_order_changes_nothing():
    tables = tables_of(visits_of(11, 2, 4.0), None)
    mixed = tables["service_lines"].sample(frac=1.0, random_state=4).reset_index(drop=True)
    again = bench_load(tables | {"service_lines": mixed}, settings_of()).table
    pd.testing.assert_frame_equal(bench_load(tables, settings_of()).table, again)


def test_the_day_to_start_from_must_be_known():
    from dutylife.errors import DecisionError

    settings = settings_of()
    blank = settings.model_copy(update={"fleet": settings.fleet.model_copy(update={"as_of": None})})
    with pytest.raises(DecisionError, match="day to start from"):
        bench_load(tables_of(visits_of(12, 1, 2.0)), blank)
    assert isinstance(settings.fleet.as_of, dt.date)


def test_planned_work_goes_on_as_seen_until_the_plan_starts():
    """A third of the visits are services; the plan without any starts in July."""
    tables = tables_of(visits_of(13, 2, 9.0))
    lines = tables["service_lines"]
    services = lines.iloc[::3]
    events = pd.DataFrame(
        {
            "unit_id": services["unit_id"].astype(object), "component": "air filter",
            "event_date": services["service_date"], "activity": "inspect",
            "reason": "preventive", "ticket": services["ticket"].astype(object),
            "is_comeback": False, "found_at_service": False, "confidence": 1.0,
        }
    )  # fmt: skip
    tables["maintenance_events"] = as_table("maintenance_events", events)
    settings = settings_of()
    none = settings.plan.model_copy(update={"in_force": "none", "from_": dt.date(2026, 7, 6)})
    table = whole(bench_load(tables, settings.model_copy(update={"plan": none})).table)
    weeks = table.set_index("from_date")["machines_mean"]
    before, after = weeks["2026-06-01":"2026-06-29"].mean(), weeks["2026-07-06":].mean()
    assert after / before == pytest.approx(2 / 3, abs=0.06)
    seen = whole(bench_load(tables, settings).table).set_index("from_date")["machines_mean"]
    assert before / seen["2026-06-01":"2026-06-29"].mean() == pytest.approx(1.0, abs=0.12)
