"""Events: what the chain found and how it coded it, against what the shop truly did."""

import pandas as pd

from dutylife.practice import PracticeFleet
from dutylife.prove.scores import OURS, Scores

KEY = ["unit_id", "component", "event_date"]
WORK = ("replace", "repair", "clean")  # what ends a life when it follows a failure


def score_events(fleet: PracticeFleet, maintenance_events: pd.DataFrame, scores: Scores) -> None:
    """Share of the true events found on their machine and day, and of those, rightly coded.

    Parameters
    ----------
    fleet : PracticeFleet
    maintenance_events : DataFrame, table "maintenance_events"
    scores : Scores
        "events found" (of the true), "events rightly coded" (of the found: activity, reason and
        comeback all right), "events made up" (of the chain's that can end a life). Oil changes
        and cleaning at a service are true, yet not in the truth's list: left out.
    """
    words = dict.fromkeys(["unit_id", "component", "activity", "reason"], "object")
    true = fleet.events.astype(words).drop_duplicates(KEY)
    seen = maintenance_events.astype(words)
    ends = (seen["activity"] == "replace") | (
        seen["activity"].isin(WORK) & (seen["reason"] == "failure")
    )
    known = seen["component"].isin(fleet.scenario.components)
    seen = seen[ends & known].drop_duplicates(KEY)
    both = true.merge(seen, on=KEY, suffixes=("_true", ""))
    right = (
        (both["activity"] == both["activity_true"])
        & ((both["reason"] == both["reason_true"]) | both["is_comeback_true"])
        & (both["is_comeback"] == both["is_comeback_true"])
    )
    scores.add("events found", OURS, len(both), len(true))
    scores.add("events rightly coded", OURS, int(right.sum()), len(both))
    scores.add("events made up", OURS, len(seen) - len(both), len(seen))
