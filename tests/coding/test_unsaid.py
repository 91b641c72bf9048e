"""Repairs that do not say what was mended go by those of the same record that do."""

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

Code = Callable[..., dict[str, pd.DataFrame]]
ROUGH = "runs rough, black smoke"
CAP = {"part_number": "CAP-1", "description": "plug cap"}
PLUG = {"part_number": "PLUG-1", "description": "spark plug"}


def job(number: int, complaint: str, work: str, *parts: dict[str, Any]) -> list[dict[str, Any]]:
    """Lines of a repair, each on a machine of its own so that none comes back."""
    head = {"ticket": f"J{number}", "unit_id": f"U{number}", "complaint": complaint,
            "work_done": work, "ticket_kind": "repair"}  # fmt: skip
    return [head | line for line in ({"description": "labour"}, *parts)]


def failures(coded: dict[str, pd.DataFrame], number: int) -> dict[str, float]:
    events = coded["maintenance_events"]
    mine = events[(events["ticket"] == f"J{number}") & (events["reason"] == "failure")]
    return dict(zip(mine["component"].astype(str), mine["confidence"], strict=True))


def test_a_shared_failure_goes_by_what_the_same_complaint_turned_out_to_be(code: Code) -> None:
    lines = [x for i in range(9) for x in job(i, "misfires", "plug fouled, replaced", PLUG)]
    lines += [
        x for i in range(9, 12) for x in job(i, "misfires", "plug cap cracked, replaced", CAP)
    ]
    coded = code(*lines, *job(50, "misfires", "repaired", PLUG, CAP))
    found = failures(coded, 50)
    assert sum(found.values()) == pytest.approx(1.0)
    # 9 and 3 known cases, half a case of each added
    assert found["spark plug"] == pytest.approx(9.5 / 13.0)


def test_without_known_cases_it_is_shared_alike(code: Code) -> None:
    assert failures(code(*job(1, "misfires", "repaired", PLUG, CAP)), 1) == {
        "spark plug": 0.5, "ignition cap": 0.5,
    }  # fmt: skip


def cleaned(n: int) -> list[dict[str, Any]]:
    return [x for i in range(n) for x in job(i, ROUGH, "carb gummed up, cleaned")]


def test_a_repair_that_bills_nothing_is_what_such_repairs_are(code: Code) -> None:
    coded = code(*cleaned(6), *job(50, ROUGH, "Repaired and tested"), *job(51, "", ""))
    for number in (50, 51):
        assert failures(coded, number) == {"carburetor": 1.0}
    one = coded["maintenance_events"].set_index("ticket").loc["J50"]
    assert one["activity"] == "clean"
    assert one["line_ids"]
    assert "2 repair tickets name no component" in " ".join(coded["findings"]["message"])


@pytest.mark.parametrize(
    ("complaint", "work"),
    [(ROUGH, "checked over, no fault found"), (ROUGH, "straightened handle"),
     ("frame bent", "repaired"), (ROUGH, "repaired the trailer hitch")],
)  # fmt: skip
def test_a_ticket_that_says_something_else_is_left_alone(
    code: Code, complaint: str, work: str
) -> None:
    assert failures(code(*cleaned(6), *job(50, complaint, work)), 50) == {}


def test_a_handful_of_known_cases_is_asked_for(code: Code) -> None:
    assert failures(code(*cleaned(4), *job(50, ROUGH, "repaired")), 50) == {}


def test_the_part_billed_may_have_been_changed_along_the_way(code: Code) -> None:
    told = [x for i in range(5) for x in job(i, ROUGH, "carb gummed up, cleaned", PLUG)]
    told += [x for i in range(5, 6) for x in job(i, ROUGH, "plug fouled, replaced", PLUG)]
    found = failures(code(*told, *job(50, ROUGH, "repaired", PLUG)), 50)
    assert found["carburetor"] == pytest.approx(5 / 6)
    assert found["spark plug"] == pytest.approx(1 / 6)
