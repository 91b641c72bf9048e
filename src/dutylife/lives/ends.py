"""Maintenance events that end a life: how it ended, and whether the next one starts new."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.components import Component, components_of
from dutylife.settings import Settings

CELL = ["unit_id", "component"]
FEWEST_CLASSES = 3  # that must all carry a component before a class without events is given it


def ends_of(maintenance_events: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Events that end a life, at most one a day for a component of a unit.

    Parameters
    ----------
    maintenance_events : DataFrame, table "maintenance_events"

    Returns
    -------
    DataFrame
        unit_id, component, position (as the record names it), ended_on, event (failed,
        replaced), renews, weight, is_comeback, failure_mode, fitted (part number put in), pieces
        (put in), was_found (a failure found when the machine came for service), ticket, line_ids;
        sorted by unit, component, position and day.

    Notes
    -----
    Any event with reason failure ends the life as ``failed``. A replacement for another reason
    ends it as ``replaced``; so does a cleaning where cleaning makes the component as new. The
    next life starts new (``renews``) after a replacement, such a cleaning, or a repair for
    failure; after a failure that was only looked at, adjusted or tested the part's age is not
    known. Of several events on one day a failure wins, then a replacement; the part number is
    that of any replacement of the day, and a day renews if one of its events does.
    """
    columns = ["unit_id", "component", "position", "event_date", "activity", "reason",
               "failure_mode", "is_comeback", "confidence", "ticket", "part_number", "quantity",
               "found_at_service", "line_ids"]  # fmt: skip
    rows = maintenance_events[columns].copy()
    words = ["unit_id", "component", "position", "activity", "reason", "failure_mode",
             "part_number"]  # fmt: skip
    rows = rows.astype(dict.fromkeys(words, "object"))
    rows["position"] = rows["position"].fillna("")
    rows = rows[rows["unit_id"].notna() & rows["component"].notna() & rows["event_date"].notna()]
    known = components_of(settings)
    cleans = [n for n in rows["component"].unique() if _component(known, n).clean_renews]
    failed = rows["reason"] == "failure"
    cleaned_as_new = (rows["activity"] == "clean") & rows["component"].isin(cleans)
    replaced = rows["activity"] == "replace"
    rows["renews"] = replaced | cleaned_as_new | (failed & (rows["activity"] == "repair"))
    rows["event"] = np.where(failed, "failed", "replaced")
    rows["fitted"] = rows["part_number"].where(replaced)
    rows["rank"] = np.where(failed, 0, 2) + np.where(replaced, 0, 1)
    rows = rows[failed | replaced | cleaned_as_new]
    cell = [*CELL, "position", "event_date"]
    # ticket and line settle ties only: where there is none, they need not be put in order
    tied = rows.duplicated([*cell, "rank"], keep=False)
    rows["tie"] = 0
    rows.loc[tied, "tie"] = _places(rows.loc[tied, ["ticket", "line_ids"]])
    rows = rows.sort_values([*cell, "rank", "tie"], kind="stable")
    day = rows.groupby(cell, sort=False)
    rows["pieces"] = day["quantity"].transform("sum")
    rows["renews"] = day["renews"].transform("max").astype(bool)
    rows["fitted"] = day["fitted"].transform("first")
    rows["failure_mode"] = day["failure_mode"].transform("first")
    first = rows.drop_duplicates(cell).copy()
    first["was_found"] = first["found_at_service"].eq(True) & (first["event"] == "failed")  # noqa: E712
    first["weight"] = first["confidence"].fillna(1.0).where(first["event"] == "failed", 1.0)
    first = first.rename(columns={"event_date": "ended_on"})
    kept = [*CELL, "position", "ended_on", "event", "renews", "weight", "is_comeback",
            "failure_mode", "fitted", "pieces", "was_found", "ticket", "line_ids"]  # fmt: skip
    return first[kept].reset_index(drop=True)


def _places(words: pd.DataFrame) -> NDArray[np.int64]:
    """Place of each row in the alphabet of its words."""
    place = np.empty(len(words), dtype=np.int64)
    place[words.reset_index(drop=True).sort_values([*words], kind="stable").index] = np.arange(
        len(words)
    )
    return place


def carried_by_class(maintenance_events: pd.DataFrame, equipment_class: pd.Series) -> pd.DataFrame:
    """Components each class of equipment carries: equipment_class, component.

    A class carries a component when any machine of that class has an event on it; a class without
    any event carries what every other class carries, where there are at least `FEWEST_CLASSES` of
    them.

    Parameters
    ----------
    equipment_class : Series, by unit_id
        Of the whole fleet.
    """
    pairs = maintenance_events[CELL].astype("object").dropna().drop_duplicates()
    pairs["equipment_class"] = pairs["unit_id"].map(equipment_class)
    seen = pairs[["equipment_class", "component"]].dropna().drop_duplicates()
    n_classes = seen["equipment_class"].nunique()
    seen_on = seen["component"].value_counts()
    common = seen_on.index[(seen_on == n_classes) & (n_classes >= FEWEST_CLASSES)].to_series()
    classes = equipment_class.dropna().drop_duplicates().rename("equipment_class")
    sound = classes[~classes.isin(seen["equipment_class"])].to_frame()
    from_others = sound.merge(common.rename("component"), how="cross")
    return pd.concat([seen, from_others[[*seen.columns]]], ignore_index=True)


def carried(
    maintenance_events: pd.DataFrame, equipment_class: pd.Series, by_class: pd.DataFrame
) -> pd.DataFrame:
    """Components each machine carries, by its class or an event of its own: unit_id, component.

    A machine without a class carries what was seen on it.

    Parameters
    ----------
    equipment_class : Series, by unit_id
    by_class : DataFrame
        As `carried_by_class` gives it.
    """
    own = maintenance_events[CELL].astype("object").dropna().drop_duplicates()
    own = own[own["unit_id"].isin(equipment_class.index)]
    classes = equipment_class.dropna().rename("equipment_class").reset_index()
    from_class = classes.merge(by_class, on="equipment_class")[CELL]
    both = pd.concat([from_class, own]).drop_duplicates()
    return both.sort_values(CELL, kind="stable").reset_index(drop=True)


def _component(known: dict[str, Component], name: str) -> Component:
    return known.get(name, Component(name=name))
