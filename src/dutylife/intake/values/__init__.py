"""Cells of text to dates, numbers and meter readings; what a whole column tells of their form."""

from dutylife.intake.values.cells import blanked, filled_unlike, is_total_row
from dutylife.intake.values.coded import coded, from_codes, no_text, on_unlike, retold, unlike_of
from dutylife.intake.values.date_evidence import DateEvidence, date_evidence
from dutylife.intake.values.dates import read_dates
from dutylife.intake.values.meters import factor_of, meter_factor, read_meters
from dutylife.intake.values.number_evidence import NumberEvidence, number_evidence
from dutylife.intake.values.numbers import read_numbers

__all__ = [
    "DateEvidence",
    "NumberEvidence",
    "blanked",
    "coded",
    "date_evidence",
    "factor_of",
    "filled_unlike",
    "from_codes",
    "is_total_row",
    "meter_factor",
    "no_text",
    "number_evidence",
    "on_unlike",
    "read_dates",
    "read_meters",
    "read_numbers",
    "retold",
    "unlike_of",
]
