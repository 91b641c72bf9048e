"""An order ahead of a season: what each further piece brings, held against seasons played out."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson
from test_plan import AS_OF, stock

from dutylife.errors import SettingsError
from dutylife.settings import settings_from
from dutylife.stock import newsvendor
from dutylife.stock.season_order import season_gain

SEASON = {
    "name": "spring", "order_by": "2026-03-20", "from": "2026-04-01", "until": "2026-07-31",
    "price_cut": 0.1,
}  # fmt: skip
DAYS = 120.0


def spring(a_day, ends):
    return [poisson(a_day * e).pmf(np.arange(200)) for e in ends]


@pytest.mark.parametrize("a_day", [0.01, 0.1, 0.5])
@pytest.mark.parametrize("costs", [(3.0, 1.0), (0.2, 1.0), (20.0, 1.0)])
def test_without_a_cost_of_lying_it_is_the_newsvendors_number(a_day, costs):
    short, over = costs
    found = season_gain(
        spring(a_day, [DAYS]), [DAYS], short_cost=short, held_cost_per_day=0.0, left_over_cost=over
    )
    law = poisson(a_day * DAYS).pmf(np.arange(200))
    assert found.best == newsvendor(law, short, over, is_distribution=True).quantity_whole


@pytest.mark.parametrize("held", [0.002, 0.02, 0.08])
def test_seasons_played_out_gain_what_is_told(held):
    # orders come at random through the season; each piece bought ahead lies until it is asked for
    a_day, short, over, most = 0.15, 4.0, 3.0, 45
    ends = [DAYS * i / 16 for i in range(1, 17)]
    found = season_gain(
        spring(a_day, ends), ends, short_cost=short, held_cost_per_day=held, left_over_cost=over
    )
    rng = np.random.default_rng(7)
    came = np.cumsum(rng.exponential(1 / a_day, (20_000, most)), axis=1)
    used = came <= DAYS
    each = np.where(used, short, -over) - held * np.minimum(came, DAYS)
    told = np.cumsum(found.gain[:most])
    played = np.cumsum(each.mean(axis=0))
    error = np.cumsum(each, axis=1).std(axis=0) / np.sqrt(len(each))
    assert np.all(np.abs(told - played) < 4 * error + 0.002 * np.abs(played) + 0.05)
    assert abs(found.best - (int(np.argmax(played)) + 1)) <= 1


def test_gain_falls_from_piece_to_piece():
    ends = [30.0, 60.0, 90.0, 120.0]
    found = season_gain(
        spring(0.2, ends), ends, short_cost=5.0, held_cost_per_day=0.01, left_over_cost=2.0
    )
    assert np.all(np.diff(found.gain) <= 1e-12)
    assert found.of(2, 3) == pytest.approx(found.gain[2:5].sum())


def with_season(fleet, intervals=None, **changed):
    seasons = settings_from({"season_orders": [SEASON | changed]}).season_orders
    settings = fleet.settings.model_copy(update={"season_orders": seasons})
    given = SimpleNamespace(**vars(fleet) | {"settings": settings})
    return stock(given, intervals)["season_orders"].astype({"part_number": object})


def test_every_known_part_has_its_season_and_says_why(fleet):
    rows = with_season(fleet)
    assert len(rows) > 0
    assert rows["sentence"].str.len().gt(20).all()
    known = rows[rows["order_ahead"].notna()]
    assert (known["order_ahead"] >= 0).all()
    assert (known["from_date"] == pd.Timestamp("2026-04-01")).all()
    cost = known["order_ahead"] * known["unit_cost"]
    assert known["order_cost"].to_numpy() == pytest.approx(cost.to_numpy())
    for row in rows[rows["order_ahead"].isna()].itertuples():
        assert row.sentence.startswith("Not told:")
    assert known[known["order_ahead"] > 0]["gain_money"].ge(0).all()


def test_a_greater_cut_never_buys_less(fleet):
    little = with_season(fleet, price_cut=0.03).set_index("part_number")["order_ahead"]
    much = with_season(fleet, price_cut=0.4).set_index("part_number")["order_ahead"]
    known = little.notna()
    assert known.any()
    assert (much[known] >= little[known]).all()
    assert much[known].sum() > little[known].sum()


def test_a_season_that_can_no_longer_be_ordered_for_has_no_rows(fleet):
    late = (AS_OF - pd.Timedelta(days=1)).date().isoformat()
    assert with_season(fleet, order_by=late).empty
    assert with_season(fleet, supplier="nobody").empty


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"price_cut": 0.0}, "nothing is gained"),
        ({"until": "2026-03-01"}, "follow one another"),
        ({"until": "2028-03-01"}, "a year at most"),
        ({"price_cut": 1.2}, "less than 1"),
    ],
)
def test_an_order_that_makes_no_sense_is_refused_with_the_cure(fleet, changed, told):
    with pytest.raises(SettingsError, match=told):
        with_season(fleet, **changed)


def test_a_season_that_begins_on_the_day_itself_is_too_late_to_order_ahead_of(fleet):
    day = AS_OF.date().isoformat()
    assert with_season(fleet, order_by=day, **{"from": day}).empty
    assert len(with_season(fleet, order_by=day, **{"from": "2026-03-16"}))
