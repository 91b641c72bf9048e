"""A fleet of 39 customers whose export has no duty: what confirming the first twenty buys.

``pytest -s -m slow tests/prove/test_duty_confirmed.py`` prints intervals before and after,
beside the true best ones.
"""

import csv
import math
from dataclasses import replace
from pathlib import Path

import pytest

from dutylife.draft import draft_settings, write_draft
from dutylife.pipeline import run_stages
from dutylife.practice import make_practice, simulate_fleet
from dutylife.prove.money import chosen_ages
from dutylife.prove.truth import TrueCell, true_cells
from dutylife.settings import Duty, Settings, read_settings

N_MORE = 7  # customers of each duty beside the scenario's own
ONE = "all work alike"
FIRST = 20
SIZE = {"n_units": 300, "n_years": 4, "seed": 11}


def more_customers(folder: Path) -> Path:
    """Settings of a practice fleet with many small customers: each next one is a little smaller."""
    names = ("stone yard", "harbour", "verge crews", "indoor hire")
    rows = [
        f'"{duty.title()} {number}" = {{ duty = "{duty}", weight = {1.2 / number:.3f} }}'
        for duty in names
        for number in range(1, N_MORE + 1)
    ]
    file = folder / "customers.toml"
    file.write_text("[customers]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return file


@pytest.mark.slow
def test_confirming_the_first_twenty_customers(tmp_path: Path) -> None:
    scenario = more_customers(tmp_path)
    made = make_practice(tmp_path / "fleet", settings_file=scenario, says_duty=False, **SIZE)
    fleet = simulate_fleet(settings_file=scenario, **SIZE)
    export = [str(made[kind]) for kind in ("lines", "machines", "parts")]
    draft = draft_settings(export, tmp_path / "fleet")
    target = tmp_path / "fleet" / "drafted.toml"
    write_draft(draft, target, replace=True)
    table = tmp_path / "fleet" / "duty.csv"
    with table.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) > 1.5 * FIRST
    share = sum(float(r["share_lines"]) for r in rows[:FIRST])
    print(f"\n{len(rows)} customers; the first {FIRST} have {100 * share:.1f} % of the lines")
    assert [int(r["n_tickets"]) for r in rows] == sorted(
        (int(r["n_tickets"]) for r in rows), reverse=True
    )
    true_duty = {name: c.duty for name, c in fleet.scenario.customers.items()}
    told = sum(r["duty"] != "" for r in rows[:FIRST])
    print(f"of these {FIRST}, draft proposed a duty with a reason for {told}")
    for row in rows[:FIRST]:
        row["duty"], row["confirmed"] = true_duty[row["customer"]], "yes"
    with table.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    # no export tells what a failure costs: the shop states it, as in the fleet's own settings
    stated = read_settings(made["settings"])
    money = {"costs": stated.costs, "workshop": stated.workshop}
    confirmed = read_settings(target).model_copy(update=money)
    alike = confirmed.model_copy(update={"duty": Duty(all=ONE)})
    cells = true_cells(fleet)
    lost = {}
    for name, settings in (("one duty for all", alike), ("first twenty confirmed", confirmed)):
        ages = ages_by(settings, cells)
        lost[name] = money_lost(cells, ages)
        off = [abs(math.log(ages[k] / cells[k].best_age())) for k in cells
               if math.isfinite(ages[k]) and math.isfinite(cells[k].best_age())]  # fmt: skip
        print(
            f"{name}: money above the best {100 * lost[name]:.1f} %, replacement ages off by a "
            f"factor of {math.exp(sum(off) / len(off)):.2f} on average ({len(off)} cells)"
        )
        for key in (("air filter", d) for d in ("stone yard", "harbour", "indoor hire")):
            print(f"  {key[0]}, {key[1]}: {ages[key]:.0f}, true best {cells[key].best_age():.0f}")
    assert share >= 0.8
    assert lost["first twenty confirmed"] < lost["one duty for all"]


def ages_by(
    settings: Settings, cells: dict[tuple[str, str], TrueCell]
) -> dict[tuple[str, str], float]:
    """Replacement ages that a run recommends, on each law's clock."""
    _, tables = run_stages(settings)
    intervals = tables["intervals"]
    if settings.duty.all:  # the one recommendation is followed in every duty
        one = {c: replace(cells[c, d], duty=ONE) for c, d in cells}
        by_component = chosen_ages({(c, ONE): one[c] for c in one}, intervals)
        return {(c, d): by_component[c, ONE] for c, d in cells}
    return chosen_ages(cells, intervals)


def money_lost(cells: dict[tuple[str, str], TrueCell], ages: dict[tuple[str, str], float]) -> float:
    """Currency a year above the best, as a share of the best."""
    best = sum(c.best_rate() * c.per_year for c in cells.values())
    paid = sum(c.cost_rate(ages[k]) * c.per_year for k, c in cells.items())
    return paid / best - 1.0
