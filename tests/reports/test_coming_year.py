"""The coming year on the page: each plan with its ranges, each machine with its verdict."""

import xml.etree.ElementTree as ET

from made_run import BAD

from dutylife.provenance import Run
from dutylife.reports import answers, section
from dutylife.settings import settings_from

PLANS, KEEP = "what the plan changes", "keep or retire"


def tables(html: str) -> list[ET.Element]:
    return ET.fromstring(html).findall(".//table")


def cells(row: ET.Element) -> str:
    return " | ".join(" ".join("".join(c.itertext()).split()) for c in row)


def test_the_answer_says_what_a_year_of_the_plan_changes(run: Run):
    text = section(run, PLANS).text
    assert "80 failures a year instead of 190 with today's practice" in text
    assert "saves the contractor 9 500 EUR a year" in text
    assert "what can hurt someone" in text


def test_every_plan_is_a_row_with_its_range_and_its_saving(run: Run):
    first, second = tables(section(run, PLANS).html)
    rows = [cells(r) for r in first.findall("tbody/tr")]
    assert [r.split(" |")[0] for r in rows] == [
        "the proposed plan", "today's practice", "waiting for failure",
    ]  # fmt: skip
    assert "30 500" in rows[1]
    assert "(27 450 to 35 075)" in rows[1]
    assert "9 500" in rows[1]
    # the shop's own money is not known: no column stands empty for it
    heads = cells(first.find("thead/tr"))
    assert "contractor pays" in heads
    assert "shop" not in heads
    customers = [cells(r) for r in second.findall("tbody/tr")]
    assert customers[0].startswith("Kerb & Son | 12")


def test_machines_that_will_cost_most_stand_first_with_a_verdict(run: Run):
    (table,) = tables(section(run, KEEP).html)
    rows = [cells(r) for r in table.findall("tbody/tr")]
    assert [r[:5] for r in rows] == [f"TP-{n:02d}" for n in range(1, 8)]
    assert "retire" in rows[0]
    assert "1 200 EUR a year" in rows[0]
    assert "no price of a new one is stated" in rows[6]


def test_the_verdicts_are_counted_and_safety_work_is_kept(run: Run):
    text = section(run, KEEP).text
    assert "Of 7 machines: retire 2, keep 2; 3 can't be told." in text
    assert "No safety work is ever dropped" in text


def test_hostile_names_stay_text(run: Run):
    for name in (PLANS, KEEP):
        assert BAD not in section(run, name).html
        assert "&lt;script&gt;" in section(run, name).html


def test_a_run_of_before_has_neither_and_says_so(run: Run):
    for name, table in ((PLANS, "plan_comparison"), (KEEP, "keep_or_retire")):
        path = run.folder / "tables" / f"{table}.csv"
        text = path.read_text(encoding="utf-8")
        path.unlink()
        try:
            assert section(run, name).answer.startswith("No ")
        finally:
            path.write_text(text, encoding="utf-8")


def test_the_terminal_tells_it_too(run: Run):
    made = {n: run.table(n) for n in ("stock_plan", "visit_plan", "plan_comparison")}
    settings = settings_from({"fleet": {"as_of": "2026-03-31", "currency": "EUR"}})
    assert any("today's practice" in a for a in answers(made, settings))
