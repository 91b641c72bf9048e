"""Stock page: what today's order protects, money against waiting, more than is needed."""

from pathlib import Path

import pandas as pd
import pytest
from made_run import make_run, write_csv

from dutylife.provenance import Run, open_run
from dutylife.reports.stock import shelf_money


@pytest.fixture
def run_folder(tmp_path: Path) -> Path:
    return make_run(tmp_path / "run")


def with_curve(folder: Path, *points: tuple[str, float, float, float, float]) -> Run:
    columns = ["point", "pieces", "levels_cost", "fill_rate", "waiting_days"]
    write_csv("money_curve", pd.DataFrame(list(points), columns=columns), folder)
    return open_run(folder)


CURVE = (
    ("curve", 0.0, 0.0, 0.0, 3650.0), ("curve", 10.0, 500.0, 0.9, 365.0),
    ("90 % given", 10.0, 500.0, 0.9, 365.0), ("95 % given", 12.0, 620.0, 0.95, 120.0),
    ("as it stands", 6.0, 300.0, 0.6, 1200.0), ("with the order", 14.0, 700.0, 0.96, 60.0),
)  # fmt: skip


def test_first_screen_says_what_the_order_spares(run_folder: Path):
    said = shelf_money.what_it_protects(with_curve(run_folder, *CURVE))
    assert "from 60 % to 96 %" in said
    assert "100 days a month" in said
    assert said.endswith("with it 5.")


def test_no_order_protects_nothing(run_folder: Path):
    same = (*CURVE[:-1], ("with the order", 6.0, 300.0, 0.6, 1200.0))
    assert shelf_money.what_it_protects(with_curve(run_folder, *same)) == ""
    assert shelf_money.what_it_protects(with_curve(run_folder, *CURVE[:4])) == ""


def test_what_95_instead_of_90_takes_is_the_answer(run_folder: Path):
    section = shelf_money.money_and_waiting(with_curve(run_folder, *CURVE))
    assert "95 % of pieces given at once instead of 90 % take 120 EUR more" in section.answer
    assert "245 days" in section.answer
    assert 'alt="Days waited fall' in section.html


def test_a_shelf_for_years_is_named_with_its_money(run_folder: Path):
    table = run_folder / "tables" / "stock_plan.csv"
    rows = pd.read_csv(table)
    part = rows["part_number"].iloc[0]
    rows.loc[0, ["on_hand", "on_order", "order_up_to", "unit_cost"]] = [5000.0, 0.0, 10.0, 2.0]
    rows.to_csv(table, index=False)
    section = shelf_money.excess(open_run(run_folder))
    assert "frees 9 980 EUR" in section.answer.replace("\u202f", " ").replace("\u00a0", " ")
    assert str(part) in section.html


@pytest.mark.parametrize("name", [shelf_money.money_and_waiting, shelf_money.excess])
def test_hostile_text_stays_text(run_folder: Path, name):
    assert "<script" not in name(with_curve(run_folder, *CURVE)).html
