"""One machine at the counter: what to check first, what is due, what to bring, what it costs."""

from dutylife.reports.sheet.machine import MachineSheet, machine_sheet
from dutylife.reports.sheet.page import SheetPage, write_sheet

__all__ = ["MachineSheet", "SheetPage", "machine_sheet", "write_sheet"]
