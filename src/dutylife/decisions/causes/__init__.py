"""What a complaint is likely to turn out to be, for the order in which things are checked."""

from dutylife.decisions.causes.likely import LikelyCauses, likely_causes
from dutylife.decisions.causes.record import CauseRecord, cause_record

__all__ = ["CauseRecord", "LikelyCauses", "cause_record", "likely_causes"]
