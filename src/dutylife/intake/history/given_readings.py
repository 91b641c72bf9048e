"""Readings kept in a file of their own: checked, brought to our components and units."""

import pandas as pd

from dutylife.components import Component, components_of, short_name
from dutylife.intake.columns import Mapped, require_columns
from dutylife.intake.measures import in_unit, kind_of, read_cell
from dutylife.intake.names import name_key
from dutylife.provenance import digest_of
from dutylife.schema import as_table
from dutylife.settings import Settings

_TEXTS = ("unit_id", "component", "position", "quantity", "unit", "part_number", "moment")


def read_readings(mapped: Mapped, settings: Settings) -> pd.DataFrame:
    """Readings of one file; rows that can't be used get their reason in ``mapped``.

    ``value`` may name its own unit ("9.9 kOhm") and may be over range ("OL"); the unit is else
    that of the column ``unit``, of the settings, or of the component's measuring task. A blank
    quantity is what is measured in that unit of the component.
    """
    require_columns(mapped, ("unit_id", "component", "read_on", "value"))
    out = pd.DataFrame({c: mapped.cells(c) for c in _TEXTS})
    out["read_on"] = mapped.dates("read_on")
    for column in ("age_hours", "age_days"):
        out[column] = mapped.numbers(column, settings.fleet.meter_unit)
    out["source_file"], out["source_row"] = mapped.name, mapped.raw.source_row
    known = components_of(settings)
    names = {
        n: short_name(n, known) or short_name(n.lower(), known) for n in out["component"].unique()
    }
    out["component"] = out["component"].map(names)
    moment = out["moment"].str.casefold()
    out["moment"] = moment.where(moment.isin(["as found", "as left"]), "as found")
    mapped.set_aside((mapped.text == "").all(axis=1), "blank row")
    mapped.set_aside(out["unit_id"] == "", "no machine id")
    mapped.set_aside(out["component"].isna(), "component not known")
    mapped.set_aside(out["read_on"].isna(), "date can't be read")
    usable = out[mapped.reason == ""]
    read = [
        _reading(known[c], value, unit or mapped.units.get("value", ""), quantity)
        for c, value, unit, quantity in zip(
            usable["component"], mapped.cells("value")[usable.index], usable["unit"],
            usable["quantity"], strict=True,
        )
    ]  # fmt: skip
    columns = ["quantity", "value", "value_lower", "value_upper", "unit", "over_range"]
    values = pd.DataFrame(read, columns=columns, index=usable.index, dtype="object")
    bad = values["unit"].isna().reindex(out.index, fill_value=False)
    mapped.set_aside(bad, "value, unit or quantity can't be read")
    out = out.drop(columns=["quantity", "unit"]).join(values)
    for column in ("age_hours", "age_days"):
        mapped.say_blanked(
            column,
            out[column].isna() & (mapped.cells(column) != ""),
            "readings",
            "can't be read as ages",
            f"correct the cell, or decimal or the column's unit in {mapped.key}",
        )
    return out[mapped.reason == ""]


def build_readings(rows: pd.DataFrame, last_day: pd.Timestamp) -> pd.DataFrame:
    """Table readings of all files up to the last day; a reading in two files is read once."""
    if rows.empty:
        return as_table("readings", pd.DataFrame())
    rows = rows[rows["read_on"] <= last_day]
    content = [
        "unit_id", "component", "position", "read_on", "quantity", "value", "unit", "over_range",
        "moment", "part_number",
    ]  # fmt: skip
    text = rows[content].astype(str)
    text["unit_id"] = name_key(rows["unit_id"])
    same = text.agg("\x1f".join, axis=1)
    turn = same.groupby([same, rows["source_file"]]).cumcount()
    ids = [digest_of("reading", c, t) for c, t in zip(same, turn, strict=True)]
    out = rows.assign(line_id=ids, reading_number=1)
    return as_table("readings", out.mask(out == "").drop_duplicates("line_id"))


Read = tuple[str | None, float | None, float | None, float | None, str | None, bool]
_NONE: Read = (None, None, None, None, None, False)


def _reading(component: Component, text: str, unit: str, quantity: str) -> Read:
    """Quantity, value, its ends, unit and over range of one cell; all blank where unreadable."""
    tasks = [t for t in component.tasks if t.measurement and kind_of(t.unit)]
    kinds = {kind_of(t.unit): t for t in reversed(tasks)}
    named = [t for t in tasks if t.measurement.casefold() == quantity.casefold()]
    default = unit or (named[0].unit if named else tasks[0].unit if len(kinds) == 1 else "")
    found = read_cell(text, default.removesuffix(" of rated")) if default else None
    if found is None:
        for one in tasks:
            found = found or read_cell(text, one.unit.removesuffix(" of rated"))
    if found is None:
        return _NONE
    task = named[0] if named else kinds.get(found.kind)
    if not quantity and task is None:
        return _NONE
    stored = task.unit if task and kind_of(task.unit) == found.kind else default
    if kind_of(stored) != found.kind:
        return _NONE
    ends = [
        None if v is None else in_unit(v, found.kind, stored)
        for v in (found.value, found.lower, found.upper)
    ]
    said = task.measurement if task and (named or not quantity) else quantity
    return said, ends[0], ends[1], ends[2], stored, found.over_range
