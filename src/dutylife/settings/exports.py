"""``[[exports]]``: what each file holds and how its columns map to ours."""

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from dutylife.settings.nearest import nearest
from dutylife.settings.section import Section
from dutylife.vocabulary import COLUMNS

KINDS = (
    "lines", "machines", "roster", "parts", "stock", "kits", "aliases", "readings", "contracts",
)  # fmt: skip


class SourceColumn(Section):
    """A column of the export, with the unit its numbers are in where it is not the fleet's."""

    column: str
    unit: str = ""


class Join(Section):
    """``[[exports.join]]``: a table whose rows belong to this one's by keys both have.

    ``left`` names the key columns of the export (or of a table joined before), ``right`` those of
    the joined table; without ``path`` it is in the same file.
    """

    path: str = ""
    sheet: str = ""
    member: str = ""
    header_row: Annotated[int, Field(ge=0)] = 0
    fill_down: bool = False
    left: str | list[str]
    right: str | list[str]

    @property
    def keys(self) -> list[tuple[str, str]]:
        """Pairs of key columns, left and right."""
        left = [self.left] if isinstance(self.left, str) else self.left
        right = [self.right] if isinstance(self.right, str) else self.right
        return list(zip(left, right, strict=True))

    @model_validator(mode="after")
    def _as_many_left_as_right(self) -> "Join":
        n_left = 1 if isinstance(self.left, str) else len(self.left)
        n_right = 1 if isinstance(self.right, str) else len(self.right)
        if n_left != n_right or not n_left:
            raise ValueError("left and right must name as many columns each")
        return self


class PartsCell(Section):
    """``parts_cell``: a column that lists all parts of a visit, and the sign between two parts.

    ``pattern`` is a regular expression over one part with the groups part_number, description,
    quantity, unit_price; without it the usual forms are read.
    """

    column: str
    separator: Annotated[str, Field(min_length=1)] = ";"
    pattern: str = ""


class Export(Section):
    """``[[exports]]``: one file, what it holds and how its columns map to ours."""

    path: str
    kind: Literal[
        "lines", "machines", "parts", "roster", "kits", "aliases", "stock", "readings", "contracts"
    ] = "lines"
    # a key left out, blank or 0 is settled by evidence of the whole file or column
    sheet: str = ""
    member: str = ""
    header_row: Annotated[int, Field(ge=0)] = 0
    encoding: str = ""
    delimiter: Annotated[str, Field(max_length=1)] = ""
    # fixed-width text: the character, counted from 1, at which each column begins
    column_starts: list[Annotated[int, Field(ge=1)]] = []
    decimal: Literal["", ".", ","] = ""
    thousands: Literal["", ".", ",", " ", "'"] = ""
    date_order: Literal["", "ymd", "dmy", "mdy"] = ""
    fill_down: bool = False
    join: list[Join] = []
    parts: list[dict[str, str]] = []
    parts_cell: PartsCell | None = None
    columns: dict[str, SourceColumn] = {}
    values: dict[str, dict[str, str]] = {}

    @model_validator(mode="before")
    @classmethod
    def _column_names(cls, data: Any) -> Any:
        """``ours = "theirs"`` is short for ``ours = {column = "theirs"}``."""
        if isinstance(data, dict) and isinstance(data.get("columns"), dict):
            named = {
                ours: {"column": theirs} if isinstance(theirs, str) else theirs
                for ours, theirs in data["columns"].items()
            }
            data = {**data, "columns": named}
        return data

    @model_validator(mode="after")
    def _ours_are_ours(self) -> "Export":
        slots = [ours for slot in self.parts for ours in slot]
        for ours in [*self.columns, *self.values, *slots]:
            if ours not in COLUMNS:
                raise ValueError(f"'{ours}' is not a column of ours{nearest(ours, COLUMNS)}")
        return self
