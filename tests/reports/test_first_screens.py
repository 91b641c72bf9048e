"""First screens: whose saving with its range, whose plan the order follows, no settings keys."""

import html
import re
from pathlib import Path

import pandas as pd
import pytest

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports import section
from dutylife.reports.evidence.in_short import forecasts_scored, lives_used, what_to_record
from dutylife.reports.facts import facts_of
from dutylife.reports.maintenance.coming_year import saving_in_short, whose_money
from dutylife.reports.stock.bench_load import beside_visits
from dutylife.reports.tables import templates
from dutylife.schema import as_table

KEY = re.compile(
    r"\[(?:fleet|exports|coding|duty|customers|workshop|present_schedule|plan|costs|stock|report|"
    r"compute|lives|replacement_price|season_orders)\b[^\]]*\]|\bin_force\b|\blabour_rate\b"
)


@pytest.mark.parametrize("page", ["stock", "maintenance"])
def test_the_owners_pages_name_no_settings_key(written: Path, page: str):
    text = (written / f"{page}.html").read_text(encoding="utf-8")
    text = re.sub(r"<style.*?</style>", "", text, flags=re.DOTALL)
    assert KEY.findall(html.unescape(re.sub(r"<[^>]+>", " ", text))) == []


@pytest.mark.parametrize(
    "note",
    [
        "No present schedule is stated ([present_schedule]): it is not compared.",
        'Blank: what the part costs is not known ([stock."PART-NO"] unit_cost): cap, belt.',
        "use is not known: give meter readings or state [fleet] hours_per_week",
        "what it costs is our proposal: state [costs]",
        'No price of a new machine is stated: [replacement_price."a"]; [replacement_price."b"].',
    ],
)
def test_a_note_keeps_its_sense_without_its_keys(note: str):
    said = wording.without_keys(note)
    assert KEY.findall(said) == []
    assert "[" not in said
    assert said[:20] == note[:20]


def test_the_first_maintenance_screen_says_whose_saving_with_its_range(run: Run):
    table = run.table("plan_comparison").astype({"plan": "object", "payer": "object"})
    row = table[(table["plan"] == "as seen") & table["customer"].isna()].iloc[0]
    low, high = row["saving_per_year_lower"], row["saving_per_year_upper"]
    told = section(run, "next visits")
    text = told.text.replace("\u00a0", " ")
    assert (
        f"{wording.money(low, '')} to {wording.money(high, 'EUR')}".replace("\u00a0", " ") in text
    )
    assert "a year" in text
    assert "contractor" in text
    assert saving_in_short(run)[0] in told.sentences
    # whose money, what is in it and why the shop's own goes another way: right below the intervals
    below = section(run, "intervals in short").html.replace("\u00a0", " ")
    assert "That is the " in below
    assert "9 times in 10 within the range" in below


def compared(shop_now: float | None) -> pd.DataFrame:
    rows = []
    for plan, contractor, shop in (("recommended", 80.0, 60.0), ("as seen", 100.0, shop_now)):
        for payer, cost in (("contractor", contractor), ("shop", shop)):
            rows.append(
                {
                    "plan": plan,
                    "payer": payer,
                    "customer": "",
                    "cost_per_year": cost,
                    "labour_hours_per_year": {"recommended": 30.0}.get(plan, 10.0),
                }
            )
    return pd.DataFrame(rows)


def test_the_shops_own_costs_are_told_apart_from_the_contractors_money(run: Run):
    text = whose_money(compared(20.0), facts_of(run))
    assert "That is the contractor's money (80 EUR a year instead of 100" in text
    assert "days machines stand" in text
    assert "The shop's own costs are another count, 60 EUR a year instead of 20" in text
    assert "30 hours of it instead of 10" in text
    assert "not taken off" in text
    # where it is not known nothing is said of it
    assert "shop's own" not in whose_money(compared(None), facts_of(run))


def test_the_bench_says_why_its_count_is_not_that_of_the_visits(run: Run):
    weeks = pd.DataFrame({"machines_mean": [7.0] * 6})
    text = beside_visits(run.table("visit_plan"), weeks, facts_of(run))
    n = int((run.table("visit_plan")["due_on"] <= pd.Timestamp("2026-04-30")).sum())
    assert f"another count: {n} visit" in text
    assert "about 30 machines in the same days" in text  # one a day


def test_evidence_slip_and_guide_ask_for_the_same_fields_in_the_same_words(run: Run):
    """Whoever writes tickets reads one of the three."""
    guides = Path(__file__).parents[2] / "notebooks" / "guides"
    guide = " ".join((guides / "reading_the_pages.md").read_text(encoding="utf-8").split())
    slip = templates().get_template("slip.html").render(meter="hours", why=["worn"], caution="")
    asked = ("the hours on the meter", "why it was changed or worked on", "the reading as found",
             "the day the part that comes out was fitted")  # fmt: skip
    for field in asked:
        assert field in guide
        assert field in what_to_record(run)
        assert field.removeprefix("the ").split(" it ")[-1] in slip


def test_evidence_says_used_lives_and_that_no_forecast_was_scored(run: Run, tmp_path: Path):
    lives, laws = run.table("failure_events"), run.table("life_models")
    text = lives_used(run).replace("\u202f", " ").replace("\u00a0", " ")
    assert text.startswith(f"{wording.count(int(laws['n_lives'].sum()), 'life', 'lives')}"
                           .replace("\u202f", " ").replace("\u00a0", " "))  # fmt: skip
    assert f"stand behind {len(laws)} laws" in text
    assert len(lives) > 0

    class Held:
        """A run whose forecasts were scored, or not."""

        def __init__(self, rows):
            self.rows = rows

        def has_table(self, _):
            return True

        def table(self, name):
            return as_table(name, pd.DataFrame(self.rows))

    none = forecasts_scored(Held([]))
    assert "until a second month is run" in none
    rows = [
        {"as_of": "2026-01-31", "part_number": f"P{i}", "from_date": "2026-02-01", "months": 1.0,
         "method": "forecast", "p80": 2.0, "asked": 1.0 if i else 3.0, "under_p80": bool(i)}
        for i in range(4)
    ]  # fmt: skip
    text = forecasts_scored(Held(rows))
    assert "4 past forecasts" in text
    assert "75" in text
