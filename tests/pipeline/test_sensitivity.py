"""Each assumption switched: what the table and its page promise the analyst."""

import numpy as np
import pandas as pd
import pytest

import dutylife.sensitivity as module
from dutylife import pipeline
from dutylife.practice import make_practice
from dutylife.reports.evidence.assumptions import assumption_rows
from dutylife.sensitivity import sensitivity
from dutylife.settings import Settings

Run = tuple[Settings, dict[str, pd.DataFrame], pd.DataFrame]


@pytest.fixture(scope="module")
def switched(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A small fleet whose machines leave without a word, with its table of assumptions."""
    folder = tmp_path_factory.mktemp("fleet")
    made = make_practice(
        folder, n_units=40, n_years=3, seed=3,
        difficulties={"silent_leavers": 1.0, "comebacks": 1.0, "unknown_installs": 0.0,
                      "counter_sales": 1.0},
    )  # fmt: skip
    as_read: dict[str, pd.DataFrame] = {}

    def keep(stage: str, tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
        if stage == "reading exports":
            as_read.update({name: tables[name] for name in ("units", "unit_spans")})
        return {}

    settings, tables = pipeline.run_stages(made["settings"], after=keep)
    return settings, tables, sensitivity(tables | as_read, settings)


def ratios(table: pd.DataFrame, switched_to: str) -> pd.Series:
    return table.loc[table["switched_to"] == switched_to, "scale_ratio"].dropna()


def test_it_stands_beside_the_intervals_of_the_run(switched: Run) -> None:
    _, tables, found = switched
    one = found[found["switched_to"] == found["switched_to"].iloc[0]]
    assert len(one) == len(tables["life_models"])
    renewal = tables["intervals"][tables["intervals"]["task"] == "replace"]
    both = one[one["task"] == "replace"].merge(renewal, on=["component", "duty"])
    assert len(both) == len(renewal) > 0
    assert both["interval_days_x"].tolist() == both["interval_days_y"].tolist()


def test_counting_on_to_the_export_date_lengthens_lives(switched: Run) -> None:
    _, _, found = switched
    longer = ratios(found, "every machine is there to the last day")
    shorter = ratios(found, "every machine is watched to its last visit only")
    assert np.exp(np.log(longer).mean()) > 1.01 > 0.99 > np.exp(np.log(shorter).mean())


def test_comebacks_taken_for_lives_shorten_them(switched: Run) -> None:
    _, tables, found = switched
    assert tables["maintenance_events"]["is_comeback"].any()
    assert np.log(ratios(found, "it is a failure like any other")).mean() < 0


def test_what_touches_nothing_has_no_rows(switched: Run) -> None:
    settings, tables, found = switched
    assert not tables["maintenance_events"]["found_at_service"].any()
    assert "it happened on that day" not in set(found["switched_to"])
    assert found["assumed"].nunique() >= 4
    assert settings.lives.still_there == "by gaps"


def test_the_page_counts_what_changes_by_a_tenth() -> None:
    row = {"assumed": "a", "switched_to": "b", "component": "cap", "task": "replace",
           "task_switched": "replace", "interval_days": 100.0, "scale_ratio": 0.9}  # fmt: skip
    table = pd.DataFrame(
        [row | {"duty": "kerb", "interval_days_switched": 95.0},
         row | {"duty": "park", "interval_days_switched": 80.0},
         row | {"duty": "yard", "interval_days_switched": np.nan,
                "task_switched": "run to failure"},
         row | {"duty": "quay", "interval_days_switched": np.nan, "task_switched": None},
         row | {"assumed": "c", "duty": "kerb", "interval_days_switched": 100.0}]
    )  # fmt: skip
    found = assumption_rows(table)
    assert found["n_changed"].tolist() == [2, 0]
    assert found["largest"].tolist() == [
        "cap, yard: replace at 100 days, then run to failure", "none",
    ]  # fmt: skip
    assert found["middle"].iloc[0] == "−10 %"


@pytest.mark.slow
def test_of_a_large_fleet_a_part_is_drawn_and_the_run_says_so(
    switched: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings, tables, whole = switched
    assert module.sampled_note(tables["units"]).empty
    monkeypatch.setattr(module, "MOST_MACHINES", 25)
    drawn = sensitivity(tables, settings)
    assert set(drawn["switched_to"]) <= {a.switched_to for a in module.ASSUMPTIONS}
    assert len(drawn)
    # laws as assumed are those of the machines drawn, so fewer failures stand behind them
    one, two = (f.drop_duplicates(["component", "duty"])["n_failed"].sum() for f in (whole, drawn))
    assert 0 < two < one
    assert "25 machines" in module.sampled_note(tables["units"])["message"].iloc[0]
    assert sensitivity(tables, settings).equals(drawn)
