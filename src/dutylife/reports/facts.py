"""What a page says about its run: fleet, money, meter, as-of day; dates as a person writes them."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

import pandas as pd

from dutylife.provenance import Run
from dutylife.schema import empty_table

_MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What every section needs to know of the run."""

    fleet: str
    currency: str
    meter_unit: str
    as_of: dt.date
    plan_in_force: str
    horizon_months: int
    confidence_level: float
    customer: str = ""  # whose pack it is; blank on the shop's own pages

    @property
    def money_unit(self) -> str:
        """Currency for a column heading."""
        return self.currency or "currency"

    @property
    def meter_short(self) -> str:
        """Short unit of the meter: h, mi, km, starts."""
        return {"hours": "h", "miles": "mi", "km": "km", "starts": "starts"}[self.meter_unit]

    @property
    def span_from(self) -> pd.Timestamp:
        """First day the forecast spans count from: the day after as-of."""
        return pd.Timestamp(self.as_of) + pd.Timedelta(days=1)


def facts_of(run: Run) -> Facts:
    """Read a run's facts from its run.json.

    Parameters
    ----------
    run : Run
        An opened run folder.

    Returns
    -------
    Facts
    """
    info = run.info
    fleet = info["fleet"]
    return Facts(
        fleet=str(fleet["name"]),
        currency=str(fleet.get("currency") or ""),
        meter_unit=str(fleet["meter_unit"]),
        as_of=dt.date.fromisoformat(str(info["as_of"])),
        plan_in_force=str(info["plan_in_force"]),
        horizon_months=int(info["horizon_months"]),
        confidence_level=float(info["confidence_level"]),
        customer=str(info.get("customer", "")),
    )


def day(value: Any) -> str:
    """Return a date that reads the same everywhere; blank when missing.

    Examples
    --------
    >>> day(pd.Timestamp("2026-03-02"))
    '2 Mar 2026'
    """
    if value is None or pd.isna(value):
        return ""
    return f"{value.day} {_MONTHS[value.month - 1]} {value.year}"


def table_or_empty(run: Run, name: str) -> pd.DataFrame:
    """Return a table a run need not have (no parts list given, nothing forecast before)."""
    if run.has_table(name):
        return run.table(name)
    return empty_table(name)


def records(frame: pd.DataFrame) -> list[Any]:
    """Return the rows as named tuples."""
    return list(frame.itertuples(index=False))


def plain(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with its word columns as plain text, missing words blank."""
    out = frame.copy()
    for name in out.columns:
        if isinstance(out[name].dtype, pd.CategoricalDtype):
            out[name] = out[name].astype("object").where(out[name].notna(), "")
    return out
