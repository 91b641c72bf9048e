"""What a complaint is likely to turn out to be, for the order in which things are checked."""

from dutylife.decisions.causes.likely import LikelyCauses, likely_causes
from dutylife.decisions.causes.record import CauseRecord, cause_record
from dutylife.decisions.causes.visit_price import VisitPrice, visit_price

__all__ = [
    "CauseRecord", "LikelyCauses", "VisitPrice", "cause_record", "likely_causes", "visit_price",
]  # fmt: skip
