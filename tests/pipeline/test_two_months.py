"""Two months of a run, as a shop makes them: kept, held against each other, given again."""

import datetime as dt
import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dutylife import open_run
from dutylife.pipeline import RunResult, run
from dutylife.provenance import file_digest, shipped_folder

sys.path.insert(0, str(Path(__file__).parents[1] / "history"))

from made_months import DECEMBER, NOVEMBER, make_shop  # noqa: E402

pytestmark = pytest.mark.slow


def add_up(result: RunResult, before: RunResult) -> None:
    """Every level and interval that is another has its causes, and they add up to the change."""
    moved = result.tables["moved"]
    for own in (f.sort_values("cause_order") for _, f in
                moved.groupby(["recommendation", "subject"], observed=True)):  # fmt: skip
        first, last = own.iloc[0], own.iloc[-1]
        assert first["cause_before"] == pytest.approx(first["value_before"], nan_ok=True)
        assert last["cause_after"] == pytest.approx(last["value_after"], nan_ok=True)
        if own["cause_change"].notna().all():
            whole = first["value_after"] - first["value_before"]
            assert own["cause_change"].sum() == pytest.approx(whole, abs=1e-9)
    one, two = (
        r.tables["stock_plan"].astype({"part_number": "object"}).set_index("part_number")
        for r in (before, result)
    )
    for column, what in (("order_up_to", "order-up-to level"), ("order_now", "order now")):
        both = pd.concat({"then": one[column], "now": two[column]}, axis=1)
        unlike = ~np.isclose(both["then"], both["now"], equal_nan=True)
        told = moved.loc[moved["recommendation"] == what, "subject"]
        assert set(told) == set(both.index[unlike])


def test_a_month_is_held_against_the_one_before_and_given_again(tmp_path: Path) -> None:
    settings = make_shop(tmp_path / "shop")
    runs = tmp_path / "runs"
    november = run(settings, as_of=NOVEMBER, out=runs / "november")
    assert november.tables["moved"].empty
    december = run(settings, as_of=DECEMBER, out=runs / "december")
    add_up(december, november)
    before = december.info["history"]["before"]
    assert before["as_of"] == "2025-11-30"
    assert before["digest"] == file_digest(runs / "history" / before["name"])
    assert any(a.startswith("Since 30 Nov 2025") for a in december.info["answers"])
    assert set(december.tables["forecast_scores"]["months"]) == {1.0}
    # the exports are gone: November is given again from what was kept
    for path in (tmp_path / "shop").glob("*.csv"):
        path.unlink()
    again = run(settings, as_of=NOVEMBER, out=runs / "again")
    assert again.info["history"]["taken_up"]["as_of"] == "2025-11-30"
    assert "every table is the same" in again.info["answers"][-1]
    tables = sorted(p.name for p in (november.folder / "tables").iterdir())
    for name in tables:
        assert (november.folder / "tables" / name).read_bytes() == (
            again.folder / "tables" / name
        ).read_bytes(), name
    assert again.info["inputs"] == november.info["inputs"]
    # and where it is not the same, it says which tables and why
    path = runs / "history" / before["name"]
    about = json.loads(path.read_text())
    about["tables"]["intervals"] = about["code_digest"] = "another"
    path.write_text(json.dumps(about))
    unlike = run(settings, as_of=NOVEMBER, out=runs / "unlike")
    assert unlike.info["answers"][-1] == (
        "From the inputs kept on 2025-11-30, but not as given then: intervals differs: dutylife "
        "is another one now"
    )
    assert "What moved since last month" in (december.folder / "stock.html").read_text()


def test_two_months_of_the_demo_fleet(tmp_path: Path) -> None:
    settings = shipped_folder("data_demo") / "dutylife.toml"
    results = [run(settings, as_of=day, out=tmp_path / f"{day}") for day in (NOVEMBER, DECEMBER)]
    add_up(results[1], results[0])
    moved = open_run(results[1].folder).table("moved")
    assert len(moved)
    assert moved["cause_evidence"].ne("").all()
    assert results[1].info["as_of"] == dt.date(2025, 12, 31).isoformat()
