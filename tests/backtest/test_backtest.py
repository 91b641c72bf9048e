"""A rolled-back run knows only what was booked by then, and past forecasts are scored by it."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from dutylife.backtest.methods import LAST_YEAR, OTHERS, chances_by
from dutylife.backtest.rolled import known_by, rolled_settings, run_as_of
from dutylife.backtest.run import _Month, _replayed, _scored
from dutylife.backtest.shelf import Level, replay
from dutylife.practice import make_practice
from dutylife.settings import read_settings, settings_from
from dutylife.stock.terms import terms_of

DAY = dt.date(2025, 6, 30)


def terms(**own):
    return terms_of("A", {}, settings_from({"stock": {"default": own}}))


def test_a_shelf_is_replayed_by_hand():
    own = terms(lead_time_days=2.0, review_days=1.0, pack_size=1)
    daily = np.array([1.0, 2.0, 0.0, 1.0, 0.0])
    # starts with 2: day 0 gives 1, position 1 = point, no order; day 1 gives 1 of 2 (1 waits) and
    # orders 3, there at the close of day 3: the one of day 3 waits as well, 1 is left after both
    found = replay(daily, [Level(start=0, point=1, up_to=2)], own)
    assert (found.asked, found.given, found.n_orders, found.n_short_days) == (4.0, 2.0, 1, 2)
    assert found.held_mean == pytest.approx((1 + 0 + 0 + 0 + 1) / 5)


def test_what_came_before_is_replayed_and_not_counted():
    own = terms(lead_time_days=2.0, review_days=1.0, pack_size=1)
    daily = np.array([1.0, 1.0])
    level = [Level(start=0, point=0, up_to=2)]
    full = replay(daily, level, own)
    assert (full.asked, full.given) == (2.0, 2.0)
    # the day before took one of the two
    found = replay(daily, level, own, before=np.array([1.0]))
    assert (found.asked, found.given, found.n_short_days) == (2.0, 1.0, 1)
    assert found.held_mean == 0.0


def test_a_lost_sale_is_not_owed():
    own = terms(lead_time_days=1.0, review_days=1.0, pack_size=1, when_short="lost sale")
    daily = np.array([3.0, 0.0, 0.0, 1.0])
    # 1 of 3 given, 2 lost; 1 ordered, there at the close of day 1, given on day 3
    found = replay(daily, [Level(start=0, point=1, up_to=1)], own)
    assert (found.asked, found.given, found.n_orders) == (4.0, 2.0, 2)


def test_a_shelf_may_start_at_what_is_on_hand():
    own = terms(lead_time_days=2.0, review_days=1.0)
    daily = np.array([1.0, 1.0, 1.0, 0.0, 1.0])
    # 1 on the shelf: given; position 0 < 1 orders 3, there at the close of day 2; days 1 and 2
    # short, then paid back; 1 left, given on day 4
    found = replay(daily, [Level(start=0, point=1, up_to=3)], own, on_hand=1.0)
    assert (found.asked, found.given, found.n_orders) == (4.0, 2.0, 2)
    plenty = replay(daily, [Level(start=0, point=9, up_to=9)], own)
    assert plenty.given == 4.0


def test_levels_change_from_their_day_on():
    own = terms(lead_time_days=3.0, review_days=1.0, pack_size=1)
    daily = np.ones(20)
    flat = replay(daily, [Level(start=0, point=1, up_to=1)], own)
    raised = replay(
        daily, [Level(start=0, point=1, up_to=1), Level(start=8, point=4, up_to=5)], own
    )
    assert raised.given > flat.given
    assert raised.held_mean > flat.held_mean


@pytest.mark.parametrize("method", OTHERS)
def test_every_method_gives_a_law(method):
    rng = np.random.default_rng(3)
    record = rng.poisson(1.5, 36).astype(float)
    law = chances_by(method, record, 3.0)
    assert law.sum() == pytest.approx(1.0, abs=1e-9)
    assert law @ np.arange(len(law)) == pytest.approx(3 * record[-12:].mean(), rel=0.6)
    assert chances_by(method, np.zeros(24), 1.0).tolist() == [1.0]
    assert LAST_YEAR in OTHERS


def month(quantiles, levels=(1.0, 2.0)):
    at = pd.Timestamp("2025-01-31")
    return _Month(
        as_of=at, said={"m": {("A", 1): quantiles}}, levels={"m": {"A": levels}}
    )  # fmt: skip


def test_scores_are_the_loss_of_the_quantiles_against_the_pieces_that_came():
    first = pd.Timestamp("2025-01-01")
    daily = {"A": np.zeros(90)}
    daily["A"][[30, 31, 58, 59]] = [50.0, 2.0, 3.0, 9.0]  # 31 January, 1 and 28 February, 1 March
    rows = _scored(month((2.0, 6.0, 9.0)), daily, first, pd.Timestamp("2025-03-15"))
    assert len(rows) == 1  # 3 and 6 months have not ended
    losses = [0.5 * 3, 0.2 * 1, 0.05 * 4]
    assert rows[0]["pinball_loss"] == pytest.approx(np.mean(losses))
    assert (rows[0]["under_p80"], rows[0]["under_p95"]) == (1.0, 1.0)
    low = _scored(month((2.0, 4.0, 9.0)), daily, first, pd.Timestamp("2025-03-15"))
    assert (low[0]["under_p80"], low[0]["under_p95"]) == (0.0, 1.0)


def test_a_replayed_shelf_without_a_cost_has_no_money():
    from dutylife.schema import empty_table

    first = pd.Timestamp("2025-01-01")
    table = _replayed(
        [month((2.0, 6.0, 9.0))], {"A": np.ones(60)}, first, pd.Timestamp("2025-03-01"),
        empty_table("shelf"), settings_from({}),
    )  # fmt: skip
    assert table["held_money"].isna().all()
    assert table["asked"].tolist() == [29.0]


@pytest.fixture(scope="module")
def practice(tmp_path_factory):
    folder = tmp_path_factory.mktemp("fleet")
    make_practice(folder, n_units=24, n_years=3.0, seed=5)
    return folder


def test_settings_forget_what_was_said_later(practice):
    given = read_settings(practice / "dutylife.toml")
    later = given.model_copy(
        update={"coding": given.coding.model_copy(update={"corrections": "later.csv"})}
    )
    rolled = rolled_settings(later, DAY)
    assert rolled.coding.corrections == ""
    assert rolled.fleet.as_of == DAY


def test_a_plan_still_to_start_is_not_known_yet(practice):
    given = read_settings(practice / "dutylife.toml")

    def plan_at(begins):
        told = given.plan.model_copy(update={"in_force": "present_schedule", "from_": begins})
        return rolled_settings(given.model_copy(update={"plan": told}), DAY).plan

    assert plan_at(dt.date(2025, 7, 1)).in_force == "as seen"
    assert plan_at(dt.date(2025, 7, 1)).from_ is None
    assert plan_at(DAY).in_force == "present_schedule"
    assert plan_at(None).in_force == "present_schedule"


def test_tables_of_reading_lose_what_came_later():
    from dutylife.schema import as_table, empty_table

    units = as_table(
        "units",
        pd.DataFrame(
            {"unit_id": ["A", "B", "C"],
             "in_service_on": pd.to_datetime(["2024-01-01", "2025-08-01", None]),
             "left_on": pd.to_datetime(["2025-09-01", None, "2025-01-01"]),
             "first_seen": pd.to_datetime(["2024-02-01", None, "2024-02-01"]),
             "last_seen": pd.to_datetime(["2025-05-01", None, "2024-12-01"])}
        ),
    )  # fmt: skip
    lines = as_table(
        "service_lines",
        pd.DataFrame(
            {"line_id": ["1", "2", "3"], "unit_id": ["A", "A", "C"], "source_file": "f",
             "line_kind": "part",
             "source_row": [1, 2, 3],
             "service_date": pd.to_datetime(["2025-06-01", "2025-06-29", "2024-12-01"])}
        ),
    )  # fmt: skip
    spans = as_table(
        "unit_spans",
        pd.DataFrame(
            {"unit_id": ["A", "A", "B"], "duty": ["d", "e", "d"],
             "from_date": pd.to_datetime(["2024-01-01", "2025-07-15", "2025-08-01"]),
             "to_date": pd.to_datetime(["2025-07-14", None, None])}
        ),
    )  # fmt: skip
    tables = {"service_lines": lines, "units": units, "unit_spans": spans,
              "contracts": empty_table("contracts")}  # fmt: skip
    out = known_by(tables, DAY)
    assert out["service_lines"]["line_id"].tolist() == ["1", "3"]  # the 29th is not booked yet
    assert out["units"]["unit_id"].tolist() == ["A", "C"]  # B entered service later
    assert out["units"]["left_on"].isna().tolist() == [True, False]
    assert out["unit_spans"]["duty"].tolist() == ["d"]
    assert out["unit_spans"]["to_date"].isna().all()


@pytest.mark.slow
def test_later_edits_of_the_record_do_not_change_a_rolled_back_run(practice, tmp_path):
    settings = practice / "dutylife.toml"
    end = read_settings(settings).fleet.as_of
    day = (pd.Timestamp(end) - pd.DateOffset(months=4)).date()
    _, before = run_as_of(read_settings(settings), day)
    edited = tmp_path / "edited"
    edited.mkdir()
    for file in practice.iterdir():
        if file.is_file():
            (edited / file.name).write_bytes(file.read_bytes())
    lines = pd.read_csv(edited / "lines.csv", dtype=str, keep_default_na=False)
    when = pd.to_datetime(lines["Job date"], format="%d/%m/%Y")
    late = when > pd.Timestamp(day)
    assert late.sum() > 50
    lines.loc[late, "Work"] = "ignition cap cracked, renewed"
    lines.loc[late, "Part no"] = "PLANTED-1"
    lines.to_csv(edited / "lines.csv", index=False)
    machines = pd.read_csv(edited / "machines.csv", dtype=str, keep_default_na=False)
    machines.loc[machines.index[:6], "Left"] = (pd.Timestamp(end)).strftime("%d/%m/%Y")
    machines.to_csv(edited / "machines.csv", index=False)
    _, after = run_as_of(read_settings(edited / "dutylife.toml"), day)
    for name in ("maintenance_events", "failure_events", "life_draws", "demand_forecast",
                 "stock_plan"):  # fmt: skip
        pd.testing.assert_frame_equal(before[name], after[name])
    assert len(before["demand_forecast"]) > 0


def test_the_sentence_says_what_was_held_for_the_fill_rate():
    from dutylife.reports import backtest_answer

    both = ["forecast", "last year's usage"]
    scores = pd.DataFrame({
        "as_of": pd.Timestamp("2025-05-31"), "part_number": "A", "months": 1.0, "method": both,
        "pinball_loss": [0.9, 1.0], "under_p80": 1.0, "under_p95": 1.0,
    })  # fmt: skip
    stock = pd.DataFrame({
        "part_number": "A", "method": both, "asked": 10.0, "given": [10.0, 8.0],
        "held_mean": [30.0, 6.0], "held_money": 1.0, "n_orders": 1, "n_short_days": [0, 2],
    })  # fmt: skip
    said = backtest_answer({"forecast_scores": scores, "backtest_stock": stock})
    assert "Over 1 month past forecasts were off by 10 % less" in said
    assert "100 % of the pieces asked for at once with 30 on the shelf" in said
    assert "80 % with 6" in said
