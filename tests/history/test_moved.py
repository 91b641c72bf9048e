"""Every changed recommendation has its causes, they add up, and what was done is what is told."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_months import DECEMBER, NOVEMBER, State, kept, make_shop, since, state, write_csv

from dutylife.history import Snapshot
from dutylife.history.path import _stock
from dutylife.settings import Settings


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    return make_shop(tmp_path_factory.mktemp("shop"))


@pytest.fixture(scope="module")
def november(shop: Settings) -> State:
    return state(shop, NOVEMBER)


@pytest.fixture(scope="module")
def month(november: State, tmp_path_factory: pytest.TempPathFactory) -> Snapshot:
    return kept(november, tmp_path_factory.mktemp("history"))


def edited(shop: Settings, folder: Path, lines: pd.DataFrame) -> Settings:
    """The shop's settings on a copy of its exports with other lines."""
    for name in ("machines.csv", "parts.csv"):
        (folder / name).write_bytes((shop.folder / name).read_bytes())
    write_csv(lines, folder / "lines.csv")
    return shop.model_copy(update={"folder": folder})


def lines_of(shop: Settings) -> pd.DataFrame:
    return pd.read_csv(shop.folder / "lines.csv", dtype=str, keep_default_na=False)


def levels(run: State) -> pd.Series:
    plan = run.tables["stock_plan"].astype({"part_number": "object"})
    return plan.set_index("part_number")["order_up_to"]


def intervals(run: State) -> pd.Series:
    """Intervals in days by component, duty and task; run to failure has none."""
    rows = run.tables["intervals"].astype(dict.fromkeys(["component", "duty", "task"], "object"))
    rows = rows.assign(task=rows["task"].replace("run to failure", "replace"))
    subject = rows["component"] + ", " + rows["duty"] + ": " + rows["task"]
    on_meter = rows["clock"] == "hours"
    values = rows["interval_hours"].where(on_meter, rows["interval_days"])
    return values.set_axis(subject)


def ways(moved: pd.DataFrame) -> list[pd.DataFrame]:
    groups = moved.groupby(["recommendation", "subject"], observed=True)
    return [own.sort_values("cause_order") for _, own in groups]


def test_nothing_changed_nothing_moved(month: Snapshot, november: State) -> None:
    tables, found = since(month, november)
    assert tables["moved"].empty
    assert tables["record_changes"].empty
    assert found.empty


def test_every_change_has_causes_that_add_up(
    shop: Settings, month: Snapshot, november: State
) -> None:
    december = state(shop, DECEMBER)
    moved = since(month, december)[0]["moved"]
    for what, before, after in (
        ("order-up-to level", levels(november), levels(december)),
        ("interval", intervals(november), intervals(december)),
    ):
        both = pd.concat({"then": before, "now": after}, axis=1)
        unlike = ~np.isclose(both["then"], both["now"], rtol=1e-9, equal_nan=True)
        told = set(moved.loc[moved["recommendation"] == what, "subject"])
        assert told == set(both.index[unlike])
    assert len(moved)
    for own in ways(moved):
        assert own["cause_before"].iloc[0] == pytest.approx(own["value_before"].iloc[0],
                                                            nan_ok=True)  # fmt: skip
        assert own["cause_after"].iloc[-1] == pytest.approx(own["value_after"].iloc[0],
                                                            nan_ok=True)  # fmt: skip
        joins = zip(own["cause_after"][:-1], own["cause_before"][1:], strict=True)
        assert all(a == pytest.approx(b, nan_ok=True) for a, b in joins)
        whole = own["value_after"].iloc[0] - own["value_before"].iloc[0]
        if own["cause_change"].notna().all():
            assert own["cause_change"].sum() == pytest.approx(whole, abs=1e-9)
    assert set(moved["cause"]) <= {"new exposure", "new failures", "calendar", "parts used"}


@pytest.mark.slow
def test_changed_costs_and_terms_are_told_as_settings(shop: Settings, month: Snapshot) -> None:
    cost = shop.costs["ignition cap"].model_copy(update={"failure_cost": 2000.0})
    stock = shop.stock["default"].model_copy(update={"service_level": 0.6})
    changed = shop.model_copy(
        update={"costs": shop.costs | {"ignition cap": cost},
                "stock": shop.stock | {"default": stock}}
    )  # fmt: skip
    tables, found = since(month, state(changed, NOVEMBER))
    moved = tables["moved"]
    assert len(moved)
    assert set(moved["cause"]) == {"settings"}
    assert moved["cause_evidence"].unique().tolist() == [
        "changed: costs.ignition cap.failure_cost, stock.default.service_level"
    ]
    assert "recoil starter rope" not in set(moved["component"])
    assert tables["record_changes"].empty
    assert found.empty


def test_an_edited_past_row_is_told_and_nothing_else(
    shop: Settings, month: Snapshot, november: State, tmp_path: Path
) -> None:
    lines = lines_of(shop)
    # a job with a cap that had failed, of the middle of the record, is said to be a year younger
    caps = lines["Part no"].str.startswith("IC-") & (lines["Job kind"] == "repair")
    job = lines.loc[caps, "Job"].iloc[len(lines.loc[caps]) // 2]
    row = lines.index[(lines["Job"] == job) & caps][0]
    day = lines.at[row, "Job date"]
    was = lines.at[row, "Machine"]
    other = next(m for m in sorted(set(lines["Machine"])) if m[:2] == was[:2] and m != was)
    lines.loc[lines["Job"] == job, "Machine"] = other
    tables, found = since(month, state(edited(shop, tmp_path, lines), NOVEMBER))
    changes = tables["record_changes"]
    of_lines = changes[changes["table"] == "service_lines"]
    assert set(of_lines["change"]) == {"changed"}
    assert set(of_lines["ticket"]) == {job}
    machine = of_lines[of_lines["changed_column"] == "unit_id"]
    assert len(machine) == (lines["Job"] == job).sum()
    assert set(zip(machine["was"], machine["is_now"], strict=True)) == {(was, other)}
    assert machine["happened_on"].dt.strftime("%d/%m/%Y").unique().tolist() == [day]
    assert set(tables["moved"]["cause"]) == {"past rows"}
    (told,) = found.itertuples()
    assert told.message.startswith(f"{len(machine)} rows of the months up to 2025-11-30 are not")
    assert told.table == "record_changes"


def test_levels_on_the_way_are_those_of_a_whole_run(november: State) -> None:
    """Steps ask the stock for levels alone: the same levels and orders as with every span."""
    t = november.tables
    short = _stock(t, t, t["intervals"], november.here)
    for column in ("reorder_point", "order_up_to", "order_now"):
        assert short[column].equals(t["stock_plan"][column]), column


@pytest.mark.slow
def test_a_new_failure_is_told_as_such(shop: Settings, november: State, tmp_path: Path) -> None:
    """The same December with and without one failure, on a record that else ends in November."""
    lines = lines_of(shop)
    day = pd.to_datetime(lines["Job date"], format="%d/%m/%Y")
    before = lines[day <= pd.Timestamp(NOVEMBER)]
    caps = before["Part no"].str.startswith("IC-") & (before["Job kind"] == "repair")
    job = before.loc[caps, "Job"].iloc[-1]
    again = before[before["Job"] == job].assign(**{"Job": "J99999", "Job date": "20/12/2025"})
    found = {}
    for name, more in (("without", again.iloc[:0]), ("with", again)):
        folder = tmp_path / name
        folder.mkdir()
        settings = edited(shop, folder, pd.concat([before, more]))
        month = kept(state(settings, NOVEMBER), folder / "history")
        found[name] = since(month, state(settings, DECEMBER))[0]["moved"]
    assert "new failures" not in set(found["without"]["cause"])
    failures = found["with"][found["with"]["cause"] == "new failures"]
    assert "ignition cap" in set(failures["component"].dropna())
    assert set(failures["component"].dropna()) == {"ignition cap"}
    assert failures["cause_evidence"].str.contains("1 failure|1 in other duties").all()
