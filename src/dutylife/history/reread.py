"""The past as today's exports tell it."""

from collections.abc import Callable
from dataclasses import dataclass, field

import pandas as pd

from dutylife.errors import DutylifeError
from dutylife.history.path import Here, told_settings
from dutylife.schema import as_table
from dutylife.settings import Settings

Tables = dict[str, pd.DataFrame]


@dataclass(slots=True, kw_only=True, eq=False)
class Past:
    """Today's exports looked at as of last month, under any settings.

    Parameters
    ----------
    then, now : Here
    read : callable
        Settings to the tables of reading alone, as of their day.
    code : callable
        Settings to all tables after coding, as of their day.

    Attributes
    ----------
    refused : str
        Why last month's settings can't read today's exports; today's did it then.
    """

    then: Here
    now: Here
    read: Callable[[Settings], Tables]
    code: Callable[[Settings], Tables]
    refused: str = ""
    _known: dict[str, Tables] = field(default_factory=dict)

    def __call__(self, settings: Settings) -> Tables:
        """Tables service_lines, units, unit_spans, maintenance_events and readings of the past.

        Events are coded with all that is known today, and those of later days left out: what a
        later line taught of an earlier one belongs to the past.
        """
        key = str(told_settings(settings))
        if key not in self._known:
            self._known[key] = self._read_past(settings)
        return self._known[key]

    def _read_past(self, settings: Settings) -> Tables:
        day = self.then.as_of
        is_today = told_settings(settings) == told_settings(self.now.settings)
        try:
            read = self.read(_on(settings, day))
            coded = self.now.tables if is_today else self.code(_on(settings, self.now.as_of))
        except DutylifeError as error:
            if is_today:
                raise
            self.refused = str(error)
            return self(self.now.settings)
        events, readings = coded["maintenance_events"], coded["readings"]
        return known_then(read, self.then.tables, day) | {
            "maintenance_events": as_table(
                "maintenance_events", events[events["event_date"] <= day]
            ),
            "readings": as_table("readings", readings[~(readings["read_on"] > day)]),
        }


def known_then(read: Tables, then: Tables, day: pd.Timestamp) -> Tables:
    """Lines, machines and their spans without what lists of machines say of later days."""
    units, before = _by_unit(read["units"]), _by_unit(then["units"])
    is_known = (
        units.index.isin(before.index)
        | units["first_seen"].notna()
        | (units["in_service_on"] <= day)
    )
    units = units[is_known]
    later = units["left_on"] > day
    units["left_on"] = units["left_on"].mask(later, before["left_on"].reindex(units.index))
    spans = read["unit_spans"]
    spans = spans[spans["unit_id"].astype("object").isin(units.index)]
    return {
        "service_lines": as_table("service_lines", read["service_lines"]),
        "units": as_table("units", units.rename_axis("unit_id").reset_index()),
        "unit_spans": as_table("unit_spans", spans),
    }


def _by_unit(units: pd.DataFrame) -> pd.DataFrame:
    return units.astype({"unit_id": "object"}).set_index("unit_id")


def _on(settings: Settings, day: pd.Timestamp) -> Settings:
    fleet = settings.fleet.model_copy(update={"as_of": day.date()})
    return settings.model_copy(update={"fleet": fleet})
