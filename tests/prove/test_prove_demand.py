"""The proof of the demand forecast: its scores, its verdicts, its worlds and its page."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from dutylife.cli import main
from dutylife.errors import DutylifeError
from dutylife.practice import simulate_fleet
from dutylife.prove import prove_demand
from dutylife.prove.demand_alone.fleet import ALL_PARTS, ITS_PARTS, parts_changed
from dutylife.prove.demand_alone.scores import MONTHS, DemandSums
from dutylife.prove.demand_alone.stock import FILL, STARTS, STEPS, stock_rows
from dutylife.prove.demand_alone.truth import summed_up
from dutylife.prove.demand_alone.verdicts import figures_of, verdicts_of
from dutylife.prove.demand_alone.worlds import CONTRACT, PLAN, STEADY, WORLDS, world_of
from dutylife.prove.scores import ORACLE, OURS
from dutylife.settings import settings_from
from dutylife.stock.terms import terms_of

INFO = {"seed": 1, "n_fleets": 4, "n_units": 240}


def sums_of(means, *, worlds=(STEADY,), n_fleets=4, n_parts=40, seed=3):
    """Poisson forecasts of stated means, by method, of pieces that come at the oracle's mean."""
    from scipy.stats import poisson

    rng = np.random.default_rng(seed)
    rows = []
    for world in worlds:
        for fleet in range(n_fleets):
            sums = DemandSums()
            for _ in range(n_parts):
                own = rng.uniform(2, 30)
                for months in MONTHS:
                    came, place = float(rng.poisson(own)), float(rng.uniform())
                    for method, share in means.items():
                        law = poisson(own * share).pmf(np.arange(200))
                        sums.add(ALL_PARTS, method, months, law, came, place)
            rows += [{"case": world, "fleet": f"{world} {fleet}"} | r for r in sums.as_rows]
    return rows


def stock_of(costs, *, world=STEADY, n_fleets=4):
    """Rows whose cost at the fill asked for is as stated by method; fill rises with the step."""
    fills = np.linspace(0.5, 0.99, len(STEPS))
    return [
        {"case": world, "fleet": f"{world} {fleet}", "among": ALL_PARTS, "method": method,
         "quantile": q, "times": t, "asked": 100.0, "given": 100 * fill,
         "held_cost": cost * fill / FILL, "ordering_cost": 0.0, "waiting_cost": 0.0}
        for fleet in range(n_fleets) for method, cost in costs.items()
        for (q, t), fill in zip(STEPS, fills, strict=True)
    ]  # fmt: skip


def answers(means, costs, world=STEADY):
    rows = verdicts_of(
        pd.DataFrame(sums_of(means, worlds=(world,))), pd.DataFrame(stock_of(costs, world=world))
    )
    return {str(r["measure"]): r for r in rows.to_dict("records")}


def test_a_forecast_as_good_as_the_oracle_meets_its_aims():
    found = answers(
        {OURS: 1.0, ORACLE: 1.0, "sba": 1.6, "tsb": 0.5},
        {OURS: 80.0, ORACLE: 80.0, "sba": 100.0, "tsb": 120.0},
    )
    assert {r["answer"] for r in found.values()} == {"met"}
    assert found["pinball loss"]["figure"] == pytest.approx(1.0)
    assert found["stock cost at equal fill"]["figure"] == pytest.approx(1.0)
    assert found["stock cost at equal fill"]["gain"] == pytest.approx(0.2)
    assert found["stock cost at equal fill"]["best_method"] == "sba"


def test_a_forecast_as_bad_as_the_series_misses_them():
    found = answers({OURS: 1.6, ORACLE: 1.0, "sba": 1.6}, {OURS: 96.0, ORACLE: 80.0, "sba": 100.0})
    assert found["pinball loss"]["answer"] == "not met"
    assert found["pinball loss"]["figure"] == pytest.approx(0.0, abs=1e-9)
    assert found["stock cost at equal fill"]["figure"] == pytest.approx(0.2)
    # a law 60 % too high: pieces stay under it far more often than it says, ranks are low
    assert found["under p80"]["figure"] > 0.1
    assert found["under p80"]["answer"] == "not met"
    assert found["even ranks, 3 months"]["answer"] == "not met"


def test_where_the_oracle_gains_nothing_a_little_worse_than_the_series_is_allowed():
    costs = {OURS: 100.5, ORACLE: 99.0, "sba": 100.0}
    found = answers({OURS: 1.0, ORACLE: 1.0, "sba": 1.0}, costs)
    assert found["stock cost at equal fill"]["aim"].endswith(
        "1 % worse than the best series method"
    )
    assert found["stock cost at equal fill"]["answer"] == "met"
    worse = answers({OURS: 1.0, ORACLE: 1.0, "sba": 1.0}, costs | {OURS: 102.0})
    assert worse["stock cost at equal fill"]["answer"] == "not met"


def test_a_plan_that_starts_asks_for_half_the_loss():
    means = {OURS: 1.0, ORACLE: 1.0, "sba": 0.3}
    found = answers(means, {OURS: 45.0, ORACLE: 40.0, "sba": 100.0}, PLAN)
    assert found["pinball loss"]["answer"] == "met"
    assert found["pinball loss"]["aim_least"] == 0.5
    assert found["stock cost at equal fill"]["figure"] == pytest.approx(0.55)


def test_the_best_series_method_and_its_error_stand_in_the_figures():
    rows = pd.DataFrame(sums_of({OURS: 1.0, ORACLE: 1.0, "sba": 1.5, "tsb": 1.2}))
    table = figures_of(rows, pd.DataFrame(stock_of({OURS: 1.0, ORACLE: 1.0, "sba": 2.0})))
    loss = table[table["measure"] == "pinball loss"].set_index("method")
    assert loss["is_best_series"].idxmax() == "tsb"
    assert loss.loc["tsb", "gain"] == 0
    assert loss.loc["sba", "gain"] < 0 < loss.loc[OURS, "gain"]
    assert 0 < loss.loc[OURS, "gain_se"] < 0.1


def test_a_shelf_that_knows_the_demand_costs_less_at_the_same_fill():
    """A burst in the first month: told to one method, not to the other."""
    from scipy.stats import poisson

    rng = np.random.default_rng(1)
    day = np.arange(182)
    rate = np.where(day < 29, 3.0, 0.5)
    asked = {f"P{i}": rng.poisson(rate).astype(float) for i in range(12)}
    own = {"stock": {"default": {"lead_time_days": 9.0, "review_days": 7.0, "holding_rate": 0.2}}}
    terms = {p: terms_of(p, {}, settings_from(own)) for p in asked}
    starts = tuple({0: 0, 1: 31, 3: 90}[m] for m in STARTS)

    def law(mean):
        return poisson(mean).pmf(np.arange(120))

    told = stock_rows(
        lambda _, m, days: law((3.0 if m == 0 else 0.5) * days), asked, terms,
        dict.fromkeys(asked, 10.0), starts,
    )  # fmt: skip
    blind = stock_rows(lambda *a: law(0.5 * a[2]), asked, terms, dict.fromkeys(asked, 10.0), starts)

    def cost(rows):
        fill = np.maximum.accumulate([r["given"] / r["asked"] for r in rows])
        every = [r["held_cost"] + r["ordering_cost"] + r["waiting_cost"] for r in rows]
        return fill, np.interp(FILL, fill, every)

    fill, dear = cost(blind)
    assert fill[0] < FILL < fill[-1]  # inside what was tried, not at its end
    fill, cheap = cost(told)
    assert fill[-1] > FILL  # at its lowest level it may give more: no cheaper for that
    assert cheap < 0.85 * dear


@pytest.mark.parametrize("world", WORLDS, ids=lambda w: w.name)
def test_each_world_changes_what_it_says(world, tmp_path):
    path = tmp_path / "world.toml"
    path.write_text(world.text, encoding="utf-8")
    fleet = simulate_fleet(seed=5, settings_file=path, **world.practice_keywords(40))
    end = fleet.span.end
    later = [m for m in fleet.machines if m.in_service >= fleet.span.start]
    assert all(m.index >= 600_000 for m in later), "only machines that arrive came later"
    assert fleet.coming
    assert all(m.in_service >= end for m in fleet.coming)
    assert not {m.unit_id for m in fleet.coming} & {m.unit_id for m in fleet.machines}
    assert bool(fleet.announced) == (world.name == CONTRACT)
    assert (fleet.scenario.plan.share > 0) == (world.name == PLAN)
    its = parts_changed(fleet, world_of(world.name))
    assert bool(its) == (world.name in (CONTRACT, PLAN))
    if world.name == CONTRACT:
        assert len(fleet.announced) == 12


def test_the_page_tells_what_is_not_met(tmp_path):
    means = {OURS: 1.3, ORACLE: 1.0, "sba": 1.5}
    rows = sums_of(means, worlds=(STEADY, CONTRACT))
    stock = stock_of({OURS: 90.0, ORACLE: 80.0, "sba": 100.0})
    found = summed_up(rows, stock, INFO).written(tmp_path)
    page = (tmp_path / "demand.html").read_text(encoding="utf-8")
    assert "aims are met" in page
    assert "Not met: steady" in page
    assert "240 machines" in page
    assert "share at or under p80" in found.text
    kept = pd.read_csv(tmp_path / "prove_demand_verdicts.csv")
    assert set(kept["case"]) == {STEADY, CONTRACT}


def test_nothing_to_prove_is_refused():
    with pytest.raises(DutylifeError, match="prove nothing"):
        prove_demand(n_fleets=0)
    told = CliRunner().invoke(main, ["prove", "--demand", "--money"])
    assert told.exit_code == 2
    assert "two proofs" in told.output


@pytest.mark.slow
def test_one_small_fleet_a_world_goes_through_the_command(tmp_path: Path):
    """Some 3 minutes on one quiet core; ITS_PARTS only where the world changes some parts."""
    found = prove_demand(n_fleets=1, n_units=40).written(tmp_path)
    sums = found.tables["prove_demand_sums"].astype({"case": object, "among": object})
    assert set(sums["case"]) == {w.name for w in WORLDS}
    assert set(sums.loc[sums["among"] == ITS_PARTS, "case"]) == {CONTRACT, PLAN}
    figures = found.tables["prove_demand"].astype(object)
    plan = figures[(figures["case"] == PLAN) & (figures["among"] == ITS_PARTS)]
    gain = plan[plan["measure"] == "pinball loss"].set_index("method")["gain"]
    assert gain[OURS] > 0.5
    assert (tmp_path / "demand.html").is_file()
