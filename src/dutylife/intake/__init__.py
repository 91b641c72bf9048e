"""Export files to service lines, machines, shelf; every row used, or set aside with a reason."""

from dutylife.intake.exports import Intake, SourceFile, account, read_exports

__all__ = ["Intake", "SourceFile", "account", "read_exports"]
