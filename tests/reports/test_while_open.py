"""The sheet names what to change while the machine is open, a part of unknown age too."""

from types import SimpleNamespace

import pandas as pd
import pytest

from dutylife.reports.sheet.due import _open_anyway

CHANCES = pd.DataFrame({
    "component": ["air filter", "drive belt"], "duty": "verge",
    "change_if_open_past_hours": [250.0, 500.0], "change_if_open_past_days": [210.0, 800.0],
})  # fmt: skip
NONE_DUE = pd.DataFrame({"task": [], "component": []})


def sheet_of(**ages):
    columns = {"component": "air filter", "age_hours": None, "age_days": None, "seen_days": None}
    lives = pd.DataFrame([columns | ages]).astype(
        {"age_hours": float, "age_days": float, "seen_days": float}
    )
    return SimpleNamespace(
        table=lambda _: CHANCES, machine={"duty": "verge"}, already=(), lives=lives,
        given=SimpleNamespace(meter_unit="hours"),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("ages", "said"),
    [
        ({"age_hours": 300.0, "age_days": 100.0}, "300"),  # past on one clock is enough
        ({"seen_days": 1127.0}, "no change on record"),  # as old as that at least
        ({"age_hours": 200.0, "age_days": 100.0}, ""),
        ({"seen_days": 200.0}, ""),  # may be past it or not: nothing is claimed
        ({}, ""),
    ],
)
def test_a_part_past_the_age_is_named_with_what_is_known_of_it(ages, said):
    rows = _open_anyway(sheet_of(**ages), NONE_DUE)
    assert (len(rows) == 1) == bool(said)
    assert all(said in age for age in rows["age"])
