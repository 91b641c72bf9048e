"""Duties are proposed for merging where the record shows that they are the same, not else."""

import numpy as np
import pandas as pd
import pytest

from dutylife.models import alike_duties
from dutylife.schema import as_table
from dutylife.settings import Settings


def lives(scales: dict[str, float], n: int, seed: int, components: int = 4) -> pd.DataFrame:
    """``n`` lives a component and duty in days, Weibull of shape 2, cut off at 1.2 scales."""
    rng = np.random.default_rng(seed)
    rows = []
    for c in range(components):
        for duty, scale in scales.items():
            life = (300.0 + 40 * c) * scale * rng.weibull(2.0, n)
            end = np.minimum(life, 1.2 * 300.0 * scale)
            for i in range(n):
                rows.append(
                    {"unit_id": f"{duty}{i}", "component": f"part {c}", "life_number": 1,
                     "spell": 1, "duty": duty, "entry_days": 0.0, "exit_days": end[i],
                     "ended_on": pd.Timestamp("2024-01-01"), "weight": 1.0,
                     "clock_source": "estimated",
                     "event": "failed" if life[i] <= end[i] else "running"}
                )  # fmt: skip
    return as_table("failure_events", pd.DataFrame(rows))


def test_two_names_for_the_same_work_are_proposed_as_one() -> None:
    found = alike_duties(lives({"kerb": 1.0, "park": 1.0, "quay": 0.5}, 120, 1), Settings())
    assert found["key"].tolist() == ["duty kerb, park"]
    assert "duty.csv" in found["mend"].iloc[0]
    assert "(0." in found["message"].iloc[0]


def test_few_lives_propose_nothing() -> None:
    assert alike_duties(lives({"kerb": 1.0, "park": 1.0}, 12, 2), Settings()).empty


@pytest.mark.parametrize("ratio", [0.7, 1.4])
def test_duties_that_differ_are_left_apart(ratio: float) -> None:
    assert alike_duties(lives({"kerb": 1.0, "park": ratio}, 120, 3), Settings()).empty


def test_a_difference_in_one_component_alone_speaks_against_it() -> None:
    both = lives({"kerb": 1.0, "park": 1.0}, 120, 4)
    odd = lives({"kerb": 1.0, "park": 0.45}, 120, 5, components=1)
    odd = odd.assign(component="odd part")
    rows = [f.astype({"component": "object"}) for f in (both, odd)]
    assert alike_duties(as_table("failure_events", pd.concat(rows)), Settings()).empty
