"""Errors and warnings: what happened, where (file, row, key), how to mend it. Imports nothing."""

from typing import Any


class DutylifeError(Exception):
    """Something the user can mend.

    Parameters
    ----------
    what : str
        What is wrong, with the value and the limit.
    where : str
        File, row, column or settings key.
    mend : str
        What to do about it.
    """

    def __init__(self, what: str, where: str = "", mend: str = "") -> None:
        super().__init__(what, where, mend)  # all three as args, so that pickling keeps them
        self.what = what
        self.where = where
        self.mend = mend

    def __str__(self) -> str:
        text = self.what
        if self.where:
            text += f"\n  Where: {self.where}"
        if self.mend:
            text += f"\n  Mend:  {self.mend}"
        return text


class SettingsError(DutylifeError, ValueError):
    """The settings file can't be used: unknown key, wrong type, value out of range."""


class ExportError(DutylifeError, ValueError):
    """An export file can't be used: missing, empty, not a table, nothing readable in it."""


class ColumnMissingError(ExportError):
    """A column named in the mapping is not in the file."""


class TableError(DutylifeError, ValueError):
    """A table breaks its specification; ``problems`` lists every fault at once.

    Parameters
    ----------
    what, where, mend : str
        As in `DutylifeError`.
    problems : Any
        DataFrame with row, column, value, code, mend.
    """

    def __init__(self, what: str, where: str = "", mend: str = "", problems: Any = None) -> None:
        super().__init__(what, where, mend)
        self.args = (what, where, mend, problems)
        self.problems = problems


class FitError(DutylifeError, ValueError):
    """A life model can't be fitted to what was given."""


class TooFewFailuresError(FitError):
    """Too few failures for the law asked for."""


class DecisionError(DutylifeError, ValueError):
    """A decision can't be computed from the costs or laws given."""


class RunError(DutylifeError, RuntimeError):
    """A run folder is missing, half there or in the way."""


class DutylifeWarning(UserWarning):
    """Base of this package's warnings."""


class DataWarning(DutylifeWarning):
    """Something in the data a person should look at."""


class FitWarning(DutylifeWarning):
    """A fit ended, but at the edge of what it can carry."""


class ExtrapolationWarning(DutylifeWarning):
    """An answer lies beyond the longest life seen."""
