"""The history of months: dated snapshots, the past held against today's, what moved and why."""

from dutylife.history.path import Here
from dutylife.history.rerun import Months, months_of
from dutylife.history.since import since_month
from dutylife.history.snapshot import Given, Snapshot, keep_month, months_kept, slug_of

__all__ = [
    "Given",
    "Here",
    "Months",
    "Snapshot",
    "keep_month",
    "months_kept",
    "months_of",
    "since_month",
    "slug_of",
]
