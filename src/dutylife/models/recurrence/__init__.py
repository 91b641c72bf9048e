"""Events that come again on a machine: renewals, or a trend that the life law overlooks."""

from dutylife.models.recurrence.spans import spans_in_a_row
from dutylife.models.recurrence.table import recurrence_of

__all__ = ["recurrence_of", "spans_in_a_row"]
