"""Parts files and the edited order workbook to the table of the shelf."""

from typing import Any

import pandas as pd

from dutylife.errors import TableError
from dutylife.intake.columns import PART_COLUMNS, Mapped, require_columns
from dutylife.intake.findings import finding, first_few
from dutylife.intake.names import name_key
from dutylife.intake.values import is_total_row
from dutylife.schema import as_table
from dutylife.settings import Settings

_TEXTS = (
    "part_number",
    "description",
    "supplier",
    "replaces",
    "replaced_by",
    "alternate_of",
    "unit",
)
_NUMBERS = tuple(c for c in PART_COLUMNS if c not in _TEXTS)
# these can't be negative in any shop; a negative count on hand is common and means "not known"
# what a part reads may lie below 0 (a vacuum, a clearance)
_READ = ("nominal", "low_limit", "high_limit")
_NEVER_NEGATIVE = ("unit_cost", "lead_time_days")


def read_parts(mapped: Mapped, settings: Settings) -> pd.DataFrame:
    """Parts of one file; rows that can't be used get their reason in ``mapped``.

    Raises
    ------
    TableError
        Negative costs or lead times, every row at once.
    """
    require_columns(mapped, ("part_number",))
    parts = pd.DataFrame({c: mapped.cells(c) for c in _TEXTS})
    for column in _NUMBERS:
        parts[column] = mapped.numbers(column, settings.fleet.meter_unit)
    parts["source_file"] = mapped.name
    parts["source_row"] = mapped.raw.source_row
    is_total = is_total_row(mapped.raw.cells)
    mapped.set_aside((mapped.text == "").all(axis=1), "blank row")
    is_word = parts["part_number"].str.casefold().isin(["", "total", "totals", "total:"])
    mapped.set_aside(is_word & is_total, "totals row")
    mapped.set_aside(parts["part_number"] == "", "no part number")
    usable = name_key(parts["part_number"]).where(mapped.reason == "")
    twice = usable.duplicated() & usable.notna()
    mapped.set_aside(twice & mapped.text.duplicated(), "row repeated")
    mapped.set_aside(twice, "part number listed already, with other figures")
    _refuse_negative(mapped, parts)
    for column in _NUMBERS:
        mapped.say_blanked(
            column,
            parts[column].isna() & (mapped.cells(column) != ""),
            "shelf",
            "can't be read as numbers",
            f"correct the cell, or decimal or thousands in {mapped.key}",
        )
        if column in _READ:
            continue
        least = 1 if column == "pack_size" else 0
        low = parts[column] < least
        mapped.say_blanked(
            column, low, "shelf", f"are below {least}", "count the part, or correct the cell"
        )
        parts[column] = parts[column].mask(low)
    return parts[mapped.reason == ""]


def _refuse_negative(mapped: Mapped, parts: pd.DataFrame) -> None:
    rows = []
    for column in _NEVER_NEGATIVE:
        for at in parts.index[(parts[column] < 0) & (mapped.reason == "")]:
            value = mapped.text.at[at, column]
            rows.append(
                {"row": int(mapped.raw.source_row.loc[at]), "column": column, "value": value,
                 "code": "out of range", "mend": "must be 0 or more"}
            )  # fmt: skip
    if rows:
        shown = first_few([f"row {r['row']}: {r['column']} = {r['value']}" for r in rows])
        raise TableError(
            f"{len(rows)} costs or lead times are negative.",
            f"{mapped.name}, {shown}",
            "correct them in the parts file; 0 or more is needed, blank means not known",
            problems=pd.DataFrame(rows),
        )


def build_shelf(parts: pd.DataFrame) -> tuple[pd.DataFrame, list[dict[str, Any]]]:
    """Parts of all files, one row a part number.

    Files are taken in the order of the settings: what a later one fills replaces what an earlier
    one says, and a count by hand replaces the figure on hand of its own and earlier files.
    """
    if parts.empty:
        return as_table("shelf", parts), []
    counted = parts["counted"].notna()
    parts = parts.assign(on_hand=parts["counted"].where(counted, parts["on_hand"]))
    shelf = parts.mask(parts == "").groupby("part_number", sort=True).last().reset_index()
    notes = []
    if counted.any():
        notes.append(
            finding(
                "intake", "note",
                f"{int(counted.sum())} parts were counted by hand; the count replaces the figure "
                f"on hand ({first_few(parts.loc[counted, 'part_number'])}).",
                table="shelf", key="counted",
            )
        )  # fmt: skip
    return as_table("shelf", shelf), notes
