"""Export files to service lines, machines, shelf; every row used, or set aside with a reason."""

from dutylife.intake.columns import Mapped
from dutylife.intake.exports import mapped_files, read_exports
from dutylife.intake.plan_file import stated_plan
from dutylife.intake.raw import find_files
from dutylife.intake.rows import Intake, SourceFile, account
from dutylife.intake.unchanged import same_exports

__all__ = [
    "Intake", "Mapped", "SourceFile", "account", "find_files", "mapped_files", "read_exports",
    "same_exports", "stated_plan",
]  # fmt: skip
