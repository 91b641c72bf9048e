"""Readings of texts to the readings table: one row a value, on the machine and day of its job."""

from collections.abc import Iterable
from typing import Any

import pandas as pd

from dutylife.coding.readings.attach import Value
from dutylife.schema import as_table

_KEY = ["line_id", "component", "position", "quantity", "moment", "reading_number"]


def reading_table(
    lines: pd.DataFrame,
    values: dict[str, list[Value]],
    settled: pd.DataFrame,
    events: pd.DataFrame,
) -> pd.DataFrame:
    """Readings of all jobs with a machine; ages stay blank until the lives are known.

    Parameters
    ----------
    lines : DataFrame
        Lines with their job, from `evidence.plain_lines`.
    values : dict
        Readings of each work text and of each text of a line that is no part line.
    settled : DataFrame
        job, component: what each job is about, ambiguous words settled; a reading of an ambiguous
        word is kept only where one of its components is the job's.
    events : DataFrame
        Table maintenance_events: the part fitted is the one a reading "as left" is of.

    Returns
    -------
    DataFrame
        Table readings.
    """
    values = {text: told for text, told in values.items() if told}
    mine = lines[lines["job"] >= 0]
    work = mine[mine["work_done"].isin(values)].drop_duplicates(["job", "work_done"])
    is_part = mine["line_kind"].isin(["part", "credit", "core"])
    told = mine[mine["description"].isin(values) & ~is_part]
    asked = settled[settled["job"].isin({*work["job"], *told["job"]})]
    jobs = set(zip(asked["job"], asked["component"], strict=True))
    rows: list[dict[str, Any]] = []
    for frame, column in ((work, "work_done"), (told, "description")):
        cells = zip(
            frame[column], frame["unit_id"], frame["service_date"], frame["line_id"], frame["job"],
            strict=True,
        )  # fmt: skip
        rows += reading_rows(cells, values, jobs)
    if not rows:
        return as_table("readings", pd.DataFrame())
    found = pd.DataFrame(rows).drop_duplicates(_KEY)
    return as_table("readings", _with_new_part(found, events))


def reading_rows(
    cells: Iterable[tuple[str, str, Any, str, int]],
    values: dict[str, list[Value]],
    jobs: set[tuple[int, str]],
) -> list[dict[str, Any]]:
    """Rows for each (text, unit_id, date, line_id, job): what its text holds."""
    return [
        {
            "unit_id": unit_id, "component": v.component, "position": v.position or None,
            "read_on": date, "quantity": v.quantity, "value": v.value,
            "value_lower": v.value_lower, "value_upper": v.value_upper, "unit": v.unit,
            "over_range": v.over_range, "moment": v.moment, "reading_number": v.reading_number,
            "line_id": line_id,
        }
        for text, unit_id, date, line_id, job in cells
        for v in values.get(text, [])
        if not v.is_ambiguous or (job, v.component) in jobs
    ]  # fmt: skip


def _with_new_part(found: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """Part number of the part fitted that day, for readings taken after it."""
    fitted = events[(events["activity"] == "replace") & events["part_number"].notna()]
    fitted = fitted[
        fitted["unit_id"].isin(found["unit_id"].unique())
        & fitted["component"].isin(found["component"].unique())
    ]
    numbers = {
        (str(e.unit_id), str(e.component), e.event_date): str(e.part_number)
        for e in fitted[["unit_id", "component", "event_date", "part_number"]].itertuples()
    }
    keys = zip(found["unit_id"], found["component"], found["read_on"], strict=True)
    fitted_then = pd.Series([numbers.get(k) for k in keys], index=found.index, dtype="object")
    return found.assign(part_number=fitted_then.where(found["moment"] == "as left"))
