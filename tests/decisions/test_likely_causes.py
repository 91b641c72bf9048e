"""Likely causes: counts as counted, shares that follow Bayes' rule, ages and work done told."""

import made_causes
import numpy as np
import pandas as pd
import pytest

from dutylife.components import shipped_components
from dutylife.decisions import likely_causes
from dutylife.decisions.causes import cause_record, visit_price
from dutylife.decisions.causes.asked import the_components
from dutylife.decisions.causes.risks import laws_of, part_risks
from dutylife.decisions.causes.shrinkage import Level, announced, counted_range, shares
from dutylife.errors import DecisionError

NONE = np.zeros(2)


@pytest.fixture(scope="module")
def record():
    return cause_record(made_causes.tables(), made_causes.settings())


def chance(found, component: str) -> float:
    rows = found.table.set_index(found.table["component"].astype(object))
    return float(rows.loc[component, "probability"])


def test_like_complaints_are_counted_where_there_are_enough(record):
    found = likely_causes(record, "TA-3", "NO POWER")
    assert (found.counted_in, found.n_like) == ("duty", 9.0)
    rows = found.table.set_index(found.table["component"].astype(object))
    assert rows["n_at_fault"].to_dict() == {"air filter": 6, "spark plug": 3, "carburetor": 0}
    assert "Of 9 like complaints of the tamper class in yard" in found.text
    assert rows.loc["air filter", "share_of_like"] == pytest.approx(6 / 9)
    # a class without them borrows the fleet's and says so
    far = likely_causes(record, "PU-4", "no power")
    assert (far.counted_in, far.n_like) == ("fleet", 15.0)
    assert "all machines" in far.text


def test_under_five_like_complaints_it_says_so(record):
    found = likely_causes(record, "TA-1", "hard to start")
    assert found.is_thin
    assert found.n_like == 4
    assert "Not enough evidence: only 4 like complaints" in found.text


def test_the_duty_has_its_own_causes_as_far_as_its_record_goes(record):
    yard, quay = (likely_causes(record, u, "no power") for u in ("TA-3", "TA-7"))
    assert chance(yard, "air filter") > 0.5 > chance(quay, "air filter")
    assert quay.table["component"].iloc[0] == "spark plug"


def test_chances_add_up_and_lie_in_their_ranges(record):
    for words in ("no power", "", "wibbles", "floods"):
        table = likely_causes(record, "TA-1", words).table
        assert table["probability"].sum() == pytest.approx(1)
        assert (table["probability_lower"] <= table["probability"]).all()
        assert (table["probability"] <= table["probability_upper"]).all()
        assert table["check_order"].tolist() == [1, 2, 3]
        assert (table["probability"].diff().dropna() <= 0).all()


def test_what_was_done_already_falls_but_not_to_nothing(record):
    before = likely_causes(record, "TA-3", "no power")
    after = likely_causes(record, "TA-3", "no power", ["air filter"])
    assert 0 < chance(after, "air filter") < 0.2 * chance(before, "air filter")
    assert after.table["component"].iloc[0] == "spark plug"
    # Bayes: odds fall by the share of works that come back at once
    odds = chance(after, "air filter") / chance(after, "spark plug")
    odds /= chance(before, "air filter") / chance(before, "spark plug")
    assert odds == pytest.approx(record.early["air filter"], rel=1e-6)


def test_a_part_just_changed_is_less_likely_an_old_one_more(record):
    usual = likely_causes(record, "TA-3", "no power")
    standing = record.standing[record.standing["unit_id"] == "TA-3"].copy()
    standing.loc[standing["component"] == "air filter", "age_days"] = 40.0
    young = likely_causes(record, "TA-3", "no power", standing=standing)
    standing.loc[standing["component"] == "air filter", "age_days"] = 500.0
    old = likely_causes(record, "TA-3", "no power", standing=standing)
    assert chance(young, "air filter") < chance(usual, "air filter") < chance(old, "air filter")


def test_words_never_heard_leave_the_order_to_the_ages(record):
    found = likely_causes(record, "TA-3", "wibbles when wobbled")
    rows = found.table.set_index(found.table["component"].astype(object))
    # at 200 days of shape 2 the risk goes with 1 / scale squared
    ratio = rows.loc["air filter", "probability"] / rows.loc["spark plug", "probability"]
    assert ratio == pytest.approx((400 / 300) ** 2, rel=0.05)
    assert found.n_like == 0


def test_risks_are_those_of_the_law():
    draws = made_causes.tables()["life_draws"]
    lives = pd.DataFrame(
        {"component": ["spark plug"], "age_hours": [400.0], "age_days": [200.0], "use": [14.0]}
    )
    found = part_risks(lives, "yard", laws_of(draws), {"spark plug": 0.06}, 30)
    assert found.loc["spark plug", "per_day"] == pytest.approx(2 * 200 / 400**2, rel=0.02)
    new = part_risks(lives.assign(age_days=2.0), "yard", laws_of(draws), {"spark plug": 0.06}, 30)
    # a new part fails by what came back at once, its own law has hardly begun
    assert new.loc["spark plug", "per_day"] == pytest.approx(0.06 / 30, rel=0.1)
    unknown = part_risks(lives.assign(age_days=np.nan), "yard", laws_of(draws), {}, 30)
    assert unknown.loc["spark plug", "per_day"] == unknown.loc["spark plug", "steady"]


def test_far_cases_lead_where_near_ones_are_few_and_fade():
    far = Level(np.array([50.0, 50.0]), np.array([100.0, 100.0]))
    nothing = Level(NONE, NONE)
    few = Level(np.array([1.0, 0.0]), np.array([1.0, 1.0]))
    many = Level(np.array([90.0, 10.0]), np.array([100.0, 100.0]))
    pointed = np.array([False, False])
    one, _ = announced(pointed, nothing, 1.0, [far, nothing, few])
    assert 0.5 < one[0] < 0.65
    assert 0.4 < one[1] < 0.5
    two, worth = announced(pointed, nothing, 1.0, [far, nothing, many])
    assert two == pytest.approx([0.88, 0.12], abs=0.02)
    assert worth == pytest.approx([106.0, 106.0])


def test_shares_follow_bayes_rule():
    mean, worth = np.array([0.2, 0.1]), np.array([50.0, 50.0])
    got, low, high = shares(mean, worth, np.array([1.0, 3.0]), NONE, 0.9)
    assert got == pytest.approx([0.4, 0.6])
    assert (low < got).all()
    assert (got < high).all()
    # the range of a share of two gammas is the beta law's where both have one rate
    from scipy.stats import beta

    got, low, high = shares(np.array([0.4, 0.6]), np.array([50.0, 50.0]), np.ones(2), NONE, 0.9)
    assert low[0] == pytest.approx(beta.ppf(0.05, 20, 30), abs=0.005)
    assert high[0] == pytest.approx(beta.ppf(0.95, 20, 30), abs=0.005)


def test_a_counted_range_holds_the_share_as_often_as_it_says():
    random = np.random.default_rng(5)
    n = random.binomial(23, 0.4, 4000).astype(float)
    low, high = counted_range(n, 23.0, 0.9)
    assert 0.87 < ((low <= 0.4) & (high >= 0.4)).mean() < 0.94


@pytest.mark.parametrize(
    ("unit", "told"), [("TA-11", "TA-1"), ("pu 01", "nearest: PU-1"), ("x", "11 machines")]
)
def test_an_unknown_machine_is_refused_with_the_nearest(record, unit: str, told: str):
    with pytest.raises(DecisionError, match=told):
        likely_causes(record, unit, "no power")


def test_case_of_a_machine_does_not_matter(record):
    assert likely_causes(record, " ta-3 ", "no power").unit_id == "TA-3"


def test_components_by_alias_comma_and_fault():
    known = shipped_components()
    both = "plug cap,piston, rings and bore , carburetor"
    assert the_components([both, "plug cap"], known, []) == (
        "ignition cap", "piston, rings and bore", "carburetor",
    )  # fmt: skip
    with pytest.raises(DecisionError, match="'sprak plug' is not a component") as raised:
        the_components(["sprak plug,gearbox of gold"], known, [])
    assert "spark plug" in str(raised.value)
    assert "gearbox of gold" in str(raised.value)


def test_the_price_is_that_of_past_bills_by_chance(record):
    from dutylife.decisions.billed import ticket_totals

    tables = made_causes.tables()
    causes = likely_causes(record, "TA-3", "no power").table
    got = visit_price(causes, record.cases, ticket_totals(tables["service_lines"]), "tamper", 0.9)
    # 40 of labour, 10 for a filter, 6 for a plug
    assert got.middle == 50.0
    assert got.lower == 46.0
    assert got.upper <= 130.0
    assert got.share_priced == pytest.approx(1)
    bare = visit_price(causes, record.cases, pd.Series(dtype=float), "tamper", 0.9)
    assert bare.n_bills == 0
    assert np.isnan(bare.middle)
