"""Announced work: read, checked and kept; no stage counts its machines yet."""

import pandas as pd

from dutylife.intake.columns import Mapped, require_columns
from dutylife.intake.findings import finding
from dutylife.intake.history.accounts import Account
from dutylife.intake.names import name_key
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.wording import count

_TEXTS = ("contract", "equipment_class", "duty")


def read_contracts(mapped: Mapped, settings: Settings) -> pd.DataFrame:
    """Contracts of one file; rows that can't be used get their reason in ``mapped``."""
    require_columns(mapped, ("contract", "equipment_class", "duty", "n_machines", "from_date"))
    out = pd.DataFrame({c: mapped.cells(c) for c in _TEXTS})
    out["from_date"] = mapped.dates("from_date")
    for column in ("n_machines", "hours_per_week"):
        out[column] = mapped.numbers(column, settings.fleet.meter_unit)
    out["source_file"] = mapped.name
    out["source_row"] = mapped.raw.source_row
    n = out["n_machines"]
    mapped.set_aside((mapped.text == "").all(axis=1), "blank row")
    for column in _TEXTS:
        mapped.set_aside(out[column] == "", f"no {column}")
    mapped.set_aside(~((n > 0) & (n % 1 == 0)), "number of machines is not a whole number above 0")
    mapped.set_aside(out["from_date"].isna(), "date can't be read")
    usable = mapped.reason == ""
    key = pd.concat([name_key(out[c]) for c in _TEXTS], axis=1).agg("\x1f".join, axis=1)
    twice = key.where(usable).duplicated() & usable
    mapped.set_aside(twice & mapped.text.duplicated(), "row repeated")
    mapped.set_aside(twice, "contract listed already, with other data")
    mapped.say_blanked(
        "hours_per_week",
        out["hours_per_week"].isna() & (mapped.cells("hours_per_week") != ""),
        "contracts",
        "can't be read as use a week",
        f"correct the cell, or decimal or the column's unit in {mapped.key}",
    )
    return out[mapped.reason == ""]


def build_contracts(rows: pd.DataFrame, account: Account) -> pd.DataFrame:
    """Table contracts of all files; the first file's row of a contract stands."""
    key = pd.concat([name_key(rows[c]) for c in _TEXTS], axis=1).agg("\x1f".join, axis=1)
    rows = rows[~key.duplicated()] if len(rows) else rows
    if len(rows):
        n = int(rows["n_machines"].sum())
        account.say(
            finding(
                "intake", "note",
                f"{count(len(rows), 'contract')} announce {count(n, 'machine')}; the forecast "
                "of parts counts them from their day on, as new; visits and intervals do not.",
                mend="nothing to do where that is right",
                table="contracts", key="announced",
            )
        )  # fmt: skip
    return as_table("contracts", rows)
