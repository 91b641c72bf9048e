"""The visit plan against single dates and the present schedule, on fleets of known laws."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from visit_worlds import make_world, present_schedule, single_dates, visit_plan

FLEETS = 20


@pytest.mark.slow
def test_the_visit_plan_saves_a_tenth_of_single_dates_and_of_the_present_schedule():
    world = make_world(FLEETS)
    alone, present, ours = single_dates(world), present_schedule(world), visit_plan(world)
    for name, other in (("single dates", alone), ("present schedule", present)):
        saved = 1 - ours / other
        error = saved.std(ddof=1) / np.sqrt(FLEETS)
        print(
            f"\n{name}: {other.mean():.0f} a machine and year, the visit plan {ours.mean():.0f}: "
            f"{100 * saved.mean():.1f} % less (standard error {100 * error:.1f})"
        )
        assert saved.mean() >= 0.10
