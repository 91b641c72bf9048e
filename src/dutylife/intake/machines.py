"""Machines files, and what the lines tell of machines, to the table of units."""

from typing import Any

import pandas as pd

from dutylife.intake.columns import MACHINE_COLUMNS, Mapped, require_columns
from dutylife.intake.findings import finding, first_few
from dutylife.intake.names import name_key
from dutylife.schema import as_table, filled_from
from dutylife.settings import Settings


def read_machines(mapped: Mapped, settings: Settings) -> pd.DataFrame:
    """Machines of one file; rows that can't be used get their reason in ``mapped``."""
    require_columns(mapped, ("unit_id",))
    texts = [c for c in MACHINE_COLUMNS if not c.endswith("_on") and c != "hours_per_week"]
    machines = pd.DataFrame({c: mapped.cells(c) for c in texts})
    machines["in_service_on"] = mapped.dates("in_service_on")
    machines["left_on"] = mapped.dates("left_on")
    machines["hours_per_week"] = mapped.numbers("hours_per_week", settings.fleet.meter_unit)
    machines["source_file"] = mapped.name
    machines["source_row"] = mapped.raw.source_row
    mapped.set_aside((mapped.text == "").all(axis=1), "blank row")
    mapped.set_aside(machines["unit_id"] == "", "no machine id")
    usable = machines["unit_id"].where(mapped.reason == "")
    twice = name_key(usable.fillna("")).duplicated() & usable.notna()
    mapped.set_aside(twice & mapped.text.duplicated(), "row repeated")
    mapped.set_aside(twice, "machine listed already, with other data")
    for column, what in (
        ("in_service_on", "dates"), ("left_on", "dates"), ("hours_per_week", "use a week"),
    ):  # fmt: skip
        mapped.say_blanked(
            column,
            machines[column].isna() & (mapped.cells(column) != ""),
            "units",
            f"can't be read as {what}",
            f"correct the cell, or date_order, decimal or the column's unit in {mapped.key}",
        )
    return machines[mapped.reason == ""]


def build_units(
    machines: pd.DataFrame, lines: pd.DataFrame, settings: Settings
) -> tuple[pd.DataFrame, pd.DataFrame, list[dict[str, Any]]]:
    """Machines of the files and of the lines, one row each.

    Parameters
    ----------
    machines : DataFrame
        Rows of all machines files in the order of the settings; a later file fills what an
        earlier one leaves blank.
    lines : DataFrame
        Service lines with one spelling of each name.

    Returns
    -------
    tuple
        Table units; the machines files' customer and duty by unit_id; findings.
    """
    listed = machines.mask(machines == "").groupby("unit_id", sort=True).first()
    seen = lines[lines["unit_id"] != ""]
    dates = seen.groupby("unit_id")["service_date"].agg(first_seen="min", last_seen="max")
    units = listed.join(dates, how="outer")
    told = seen[seen["equipment_class"] != ""].sort_values("service_date", kind="stable")
    classes = _last(told, "equipment_class").reindex(units.index)
    units["equipment_class"] = filled_from(units["equipment_class"], classes)
    units["usage_source"] = pd.Series("stated", index=units.index).where(
        units["hours_per_week"].notna()
    )
    units["meter_unit"] = settings.fleet.meter_unit
    customer = filled_from(units["customer"], _last(seen, "customer").reindex(units.index))
    gone = customer.map(
        {c: pd.Timestamp(s.left_on) for c, s in settings.customers.items() if s.left_on}
    ).astype("datetime64[ns]")
    units["left_on"] = pd.to_datetime(units["left_on"]).fillna(gone)
    units["in_service_on"] = pd.to_datetime(units["in_service_on"])
    notes = _contradictions(units)
    return as_table("units", units.reset_index()), units[["customer", "duty"]], notes


def _last(lines: pd.DataFrame, column: str) -> pd.Series:
    filled = lines[lines[column] != ""].sort_values("service_date", kind="stable")
    return filled.groupby("unit_id")[column].last()


def _contradictions(units: pd.DataFrame) -> list[dict[str, Any]]:
    notes = []
    for rows, what, mend in (
        (
            units["last_seen"] > units["left_on"],
            "were in the shop after the day they are said to have left",
            "correct left_on in the machines file or in [customers]",
        ),
        (
            units["first_seen"] < units["in_service_on"],
            "were in the shop before the day they are said to have entered service",
            "correct in_service_on in the machines file",
        ),
        (
            units["left_on"] < units["in_service_on"],
            "left before they entered service",
            "correct in_service_on or left_on in the machines file",
        ),
    ):
        if rows.any():
            names = units.index[rows]
            notes.append(
                finding(
                    "intake", "ask", f"{len(names)} machines {what}: {first_few(names)}.",
                    mend=mend, table="units", key="unit_id",
                )
            )  # fmt: skip
    return notes
