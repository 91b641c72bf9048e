"""Exports looked at: a proposed settings file with how sure each column is, and what to ask."""

from dutylife.draft.changes import changed_columns, read_or_tell_changes
from dutylife.draft.confirm import ConfirmedMapping, confirm_mapping
from dutylife.draft.writing import KEPT, Decided, Draft, default_out, draft_settings, write_draft

__all__ = [
    "KEPT", "ConfirmedMapping", "Decided", "Draft", "changed_columns", "confirm_mapping",
    "default_out", "draft_settings", "read_or_tell_changes", "write_draft",
]  # fmt: skip
