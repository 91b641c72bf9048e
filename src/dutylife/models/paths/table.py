"""From the table of readings to the paths of single parts: which part, how old, what it read."""

from dataclasses import dataclass, field
from typing import Literal

import pandas as pd

from dutylife.errors import FitError
from dutylife.schema import spans_of_days
from dutylife.wording import count

Clock = Literal["hours", "days"]
COLUMNS = ["part", "age", "reading", "unit_id", "position", "read_on", "part_number", "line_id"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartReadings:
    """Readings of one quantity of one component as `path_model` takes them, and what was left out.

    ``table`` has a row a reading with columns part, age, reading, unit_id, position, read_on,
    part_number, line_id.
    """

    component: str
    quantity: str
    unit: str
    clock: str
    n_over_range: int
    n_unknown_age: int
    table: pd.DataFrame = field(repr=False, compare=False)

    @property
    def text(self) -> str:
        """One or two sentences."""
        n_parts = self.table["part"].nunique()
        told = (
            f"{count(len(self.table), 'reading')} of {self.quantity} ({self.component}) on "
            f"{count(n_parts, 'part')}, ages in {self.clock}; left out: "
            f"{self.n_unknown_age} of unknown age, {self.n_over_range} over range."
        )
        if self.n_over_range:
            told += (
                " Readings over range are those of the worst parts: without them drift comes out "
                "too small."
            )
        return told


def readings_by_part(
    readings: pd.DataFrame, component: str, quantity: str | None = None, *, clock: Clock = "hours"
) -> PartReadings:
    """Readings of a component sorted into paths, one for each part in service.

    Parameters
    ----------
    readings : DataFrame
        Table readings, ages filled by `lives.age_readings`.
    component : str
    quantity : str, optional
        Needed where several quantities of the component were read.
    clock : {"hours", "days"}
        Clock of ``age``. [fleet meter unit, or days]

    Returns
    -------
    PartReadings
        A part is a machine, a position and the day the part was fitted. A reading "as left" of a
        part that stayed (a gap set, a tension restored) begins another path: its age counts from
        that day, and its part's name says so. Several figures of one day are repeats. The reading
        at which a part was found broken may lie off its path (a jump, not drift): look at it.

    Raises
    ------
    FitError
        Nothing of that component was read, several quantities or units, or no reading with an age.
    """
    where = "readings_by_part(readings, component, quantity)"
    mine = readings[readings["component"].astype("object") == component]
    if quantity is not None:
        mine = mine[mine["quantity"].astype("object") == quantity]
    kinds = sorted({(str(q), str(u)) for q, u in zip(mine["quantity"], mine["unit"], strict=True)})
    if len(kinds) != 1 or clock not in ("hours", "days"):
        told = "; ".join(f"{q} in {u}" for q, u in kinds) or "none"
        raise FitError(
            f"One quantity of '{component}' on the clock '{clock}' is needed; read were: {told}.",
            where, "name a component and quantity of the table; clock is 'hours' or 'days'",
        )  # fmt: skip
    over = mine["over_range"].fillna(False).astype(bool) | mine["value"].isna()
    age = mine[f"age_{clock}"]
    unaged = ~over & (age.isna() | mine["age_days"].isna())
    used = mine[~over & ~unaged]
    if used.empty:
        raise FitError(
            f"None of {count(len(mine), 'reading')} of '{component}' has a figure and an age.",
            where, "ages need the day or the meter reading at which a part was fitted",
        )  # fmt: skip
    return PartReadings(
        component=component,
        quantity=kinds[0][0],
        unit=kinds[0][1],
        clock=clock,
        n_over_range=int(over.sum()),
        n_unknown_age=int(unaged.sum()),
        table=_paths(used, clock),
    )


def _paths(used: pd.DataFrame, clock: str) -> pd.DataFrame:
    rows = used.astype({"unit_id": "object", "position": "object", "moment": "object"})
    fitted = rows["read_on"] - spans_of_days(rows["age_days"].astype(float).round())
    place = rows["unit_id"] + rows["position"].map(lambda p: "" if pd.isna(p) else f" {p}")
    rows = rows.assign(
        life=place + " " + fitted.dt.strftime("%Y-%m-%d"),
        age=rows[f"age_{clock}"].astype(float),
        is_set=(rows["moment"] == "as left") & (rows["age_days"] > 0),
    ).sort_values(["life", "read_on", "is_set", "reading_number"], kind="stable")
    # one day's figures as left are one setting
    first = rows["is_set"] & ~rows.duplicated(["life", "read_on", "is_set"])
    turn = first.groupby(rows["life"]).cumsum()
    since = rows["age"].where(first).groupby([rows["life"], turn]).transform("max").fillna(0.0)
    named = rows["life"].where(turn == 0, rows["life"] + " set " + turn.astype(str))
    out = rows.assign(
        part=named, age=(rows["age"] - since).clip(lower=0.0), reading=rows["value"].astype(float)
    )
    return out[COLUMNS].reset_index(drop=True)
