"""State and negation: what was done is told apart from what was looked at, put off or said."""

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

Code = Callable[..., dict[str, pd.DataFrame]]


@pytest.mark.parametrize(
    ("text", "component", "activity"),
    [
        ("plug ok", "spark plug", "inspect"),
        ("plug checked, no fault", "spark plug", "inspect"),
        ("air filter worn, declined", "air filter", "inspect"),
        ("carburetor ordered, not fitted", "carburetor", "inspect"),
        ("will replace fuel filter next time", "fuel filter", "inspect"),
        ("fuel filter on back order", "fuel filter", "inspect"),
        ("spark plug renewed last visit", "spark plug", "inspect"),
        ("ignition coil fitted previously", "ignition coil", "inspect"),
        ("customer supplied plug fitted", "spark plug", "replace"),
        ("air filter cleaned, not replaced", "air filter", "clean"),
        ("air filter cleaned not renewed", "air filter", "clean"),
        ("air filter cleaning declined", "air filter", "inspect"),
        ("AIR FLITER CLND", "air filter", "clean"),
        ("carb stripped and cleaned", "carburetor", "clean"),
        ("carb replaced", "carburetor", "replace"),
        ("Z\u00fcndkerze erneuert", "spark plug", "replace"),
        ("zundkerze gepruft, i.o.", "spark plug", "inspect"),
        ("Luftfilter gereinigt", "air filter", "clean"),
        ("Vergaser bestellt", "carburetor", "inspect"),
        ("buj\u00eda cambiada", "spark plug", "replace"),
        ("filtro de aire limpiado", "air filter", "clean"),
        ("carburateur nettoy\u00e9", "carburetor", "clean"),
        ("bougie remplac\u00e9e", "spark plug", "replace"),
        ("luchtfilter vervangen", "air filter", "replace"),
        ("carburateur schoongemaakt", "carburetor", "clean"),
    ],
)
def test_what_was_done(code: Code, events_of: Any, text: str, component: str, activity: str):
    events = events_of(code({"work_done": text}))
    assert events[component][0] == activity


def test_not_the_cause_is_no_failure(code: Code, events_of: Any):
    coded = code(
        {"work_done": "plug renewed, not the cause. ignition coil dead, replaced",
         "complaint": "no spark"}
    )  # fmt: skip
    events = events_of(coded)
    assert events["ignition coil"][:2] == ("replace", "failure")
    assert events["spark plug"][1] == "opportunistic"


def test_at_fault_against_changed_along(code: Code, events_of: Any):
    events = events_of(
        code({"work_done": "carb gummed up, replaced. renewed air filter while apart",
              "complaint": "surging"})
    )  # fmt: skip
    assert events["carburetor"][1] == "failure"
    assert events["air filter"][1] == "opportunistic"


def test_a_comeback_within_30_days_is_flagged(code: Code):
    lines = [
        {"work_done": "fuel filter blocked, replaced", "ticket": t, "service_date": d}
        for t, d in (("J1", "2024-03-01"), ("J2", "2024-03-31"), ("J3", "2024-06-01"))
    ]
    events = code(*lines)["maintenance_events"].sort_values("event_date")
    assert events["is_comeback"].tolist() == [False, True, False]
