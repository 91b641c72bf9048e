"""Does the replacement brand last as long: lives of each maker's parts, within each duty."""

import numpy as np
import pandas as pd
import pytest

from dutylife.models import compare_part_makers
from dutylife.schema import as_table
from dutylife.settings import settings_from

SETTINGS = settings_from({"fleet": {"as_of": "2024-12-31"}})
CATALOGUE = as_table(
    "catalogue",
    pd.DataFrame(
        {
            "part_number": ["N1", "N2", "S1", "X1"],
            "component": "air filter",
            "part_maker": ["north works", "north works", "south works", None],
        }
    ),
)


def lives(duty: str, number: str, scale: float, n: int, seed: int) -> pd.DataFrame:
    age = scale * np.random.default_rng(seed).weibull(2.0, n)
    stop = 600.0
    return pd.DataFrame({
        "unit_id": [f"{duty}{number}{i:03d}" for i in range(n)], "component": "air filter",
        "duty": duty, "life_number": 1, "spell": 1, "entry_hours": 0.0, "entry_days": 0.0,
        "exit_hours": np.minimum(age, stop), "exit_days": np.minimum(age, stop) / 2,
        "age_se_hours": 0.0, "event": np.where(age <= stop, "failed", "running"), "weight": 1.0,
        "clock_source": "meter", "part_number": number,
    })  # fmt: skip


def compared(*cells: pd.DataFrame) -> pd.DataFrame:
    table = as_table("failure_events", pd.concat(cells, ignore_index=True))
    found = compare_part_makers(table, CATALOGUE, SETTINGS)
    return found.astype({"part_maker": "object", "lasts": "object"}).set_index("part_maker")


def test_a_part_of_half_the_life_is_told_with_its_factor():
    found = compared(
        lives("quay", "N1", 300, 60, 1), lives("quay", "S1", 150, 40, 2),
        lives("hall", "N2", 500, 40, 3), lives("hall", "S1", 250, 30, 4),
    )  # fmt: skip
    south = found.loc["south works"]
    assert south["lasts"] == "shorter"
    assert south["times_life"] == pytest.approx(0.5, abs=0.1)
    assert south["times_life_lower"] < 0.5 < south["times_life_upper"]
    assert "do not last as long" in south["verdict"]
    assert found.loc["north works", "n_lives"] == 100


def test_a_maker_met_in_hard_duty_only_is_not_blamed_for_it():
    found = compared(lives("quay", "S1", 100, 60, 1), lives("quay", "N1", 100, 60, 2),
                     lives("hall", "N2", 600, 80, 3))  # fmt: skip
    assert (found["lasts"] == "alike").all()
    apart = compared(lives("quay", "S1", 100, 60, 1), lives("hall", "N2", 600, 60, 3))
    assert not apart["lasts"].isin(["shorter", "longer"]).any()


def test_parts_of_no_known_maker_or_of_one_maker_are_not_compared():
    assert compared(lives("quay", "X1", 100, 60, 1), lives("quay", "N1", 100, 60, 2)).empty
    assert compared(lives("quay", "N1", 100, 60, 1), lives("quay", "S1", 100, 4, 2)).empty


def test_makers_without_failures_say_so():
    calm = [lives("quay", n, 90_000, 20, k) for k, n in enumerate(["N1", "S1"])]
    found = compared(*calm)
    assert (found["lasts"] == "too few").all()
    assert found["verdict"].str.contains("too few failures among 40 lives").all()
