"""Several of the same part on one machine: which of them an event was on, or that none can tell."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from dutylife.components import components_of, short_name
from dutylife.schema import filled_from
from dutylife.settings import Settings

CELL = ["unit_id", "component", "position"]
FEWEST_NAMED = 2  # events that name a position before it is believed to be one


def stated_numbers(settings: Settings) -> dict[str, int | dict[str, int]]:
    """``[lives.positions]`` by the short names of components, whatever name the settings use."""
    known = components_of(settings)  # refuses a name that is no component's
    return {short_name(c, known) or c: n for c, n in settings.lives.positions.items()}


def number_for(stated: int | Mapping[str, int] | None, equipment_class: str) -> int:
    """Stated number of a component on a class of machine, 0 where none is stated."""
    return stated.get(equipment_class, 0) if isinstance(stated, Mapping) else stated or 0


def n_positions(
    maintenance_events: pd.DataFrame, equipment_class: pd.Series, settings: Settings
) -> pd.DataFrame:
    """Positions of a component that a class of machine has, where there are two or more.

    Stated in ``[lives.positions]``, else those that at least `FEWEST_NAMED` events of the class
    name, where there are at least two of them. A stated number stands: of more names than that,
    those that the most events bear are taken.

    Parameters
    ----------
    maintenance_events : DataFrame, table "maintenance_events"
    equipment_class : Series, by unit_id

    Returns
    -------
    DataFrame
        equipment_class, component, position: named as in the record, the rest of a stated number
        as "1", "2" and so on.
    """
    rows = maintenance_events[["unit_id", "component", "position"]].astype("object")
    rows["equipment_class"] = filled_from(rows["unit_id"].map(equipment_class), "")
    named = rows[rows["position"].notna() & (rows["position"] != "")]
    key = ["equipment_class", "component", "position"]
    counts = named.groupby(key).size()
    counts = counts[counts >= FEWEST_NAMED]
    seen = counts.reset_index()[key]
    several = seen.groupby(key[:2])["position"].transform("size") > 1
    found = {
        (str(c), str(n)): sorted(group["position"].astype(str))
        for (c, n), group in seen[several].groupby(key[:2])
    }
    classes = sorted({*equipment_class.dropna().astype(str), *rows["equipment_class"]})
    often = counts.sort_values(ascending=False, kind="stable").index  # alike: in order of names
    for component, stated in stated_numbers(settings).items():
        for of in classes:
            number = number_for(stated, of)
            if number:
                names = [str(p) for c, n, p in often if (c, n) == (of, component)]
                spare = [str(i) for i in range(1, number + 1) if str(i) not in names]
                found[of, component] = sorted([*names, *spare][:number])
    out = [(c, n, p) for (c, n), names in found.items() if len(names) > 1 for p in names]
    return pd.DataFrame(out, columns=key, dtype="object")


def with_known_places(
    maintenance_events: pd.DataFrame, positions: pd.DataFrame, equipment_class: pd.Series
) -> pd.DataFrame:
    """Events that name no position but those of their component on that class of machine.

    A name that is none of them (said once, or of a component there is one of) tells nothing of
    where the part sat: left standing, it would pass for a part of its own.

    Parameters
    ----------
    maintenance_events : DataFrame, table "maintenance_events"
    positions : DataFrame
        As `n_positions` gives them.
    equipment_class : Series, by unit_id

    Returns
    -------
    DataFrame
        The same rows; ``position`` blank where it is not known.
    """
    said = maintenance_events["position"].astype("object").fillna("")
    rows = maintenance_events.loc[said != "", ["unit_id", "component"]].astype("object")
    of = filled_from(rows["unit_id"].map(equipment_class), "")
    places = set(positions.itertuples(index=False, name=None))
    keys = zip(of, rows["component"], said[rows.index], strict=True)
    strange = rows.index[[key not in places for key in keys]]
    return maintenance_events.assign(position=said.mask(said.index.isin(strange), ""))


def on_positions(
    ends: pd.DataFrame,
    carried: pd.DataFrame,
    positions: pd.DataFrame,
    equipment_class: pd.Series,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Ends of lives, and components carried, one row a position.

    Parameters
    ----------
    ends : DataFrame
        unit_id, component, position, ended_on, event, renews, weight, pieces and what else an
        end has; one row a day, component and position named.
    carried : DataFrame
        unit_id, component.
    positions : DataFrame
        As `n_positions` gives them.

    Returns
    -------
    ends, carried : DataFrame
        Both with ``position``, blank for a component there is one of.

    Notes
    -----
    An event that names no position, on a component there are k of:

    - as many pieces as there are positions: all are renewed. Of a failure, each position failed
      with weight 1/k, the rest of the weight is that it was changed in working order.
    - fewer pieces: it is not known which. Each position's life ends there, failed with weight
      1/k (changed in working order with the rest); from then on the parts' ages are not known,
      until the next event that renews them all, or that names the position. Only on a machine
      whose parts were all fitted on one day and whose record names no position is it known how
      old the one was: they are alike, so the first position stands for it, and the others go on.
    """
    several = positions.groupby(["equipment_class", "component"])["position"].agg(tuple)
    known = several.reset_index()
    keys = zip(known["equipment_class"], known["component"], strict=True)
    pairs = dict(zip(keys, known["position"], strict=True))

    def of(rows: pd.DataFrame) -> list[tuple[str, ...]]:
        classes = filled_from(rows["unit_id"].map(equipment_class), "")
        return [pairs.get(k, ("",)) for k in zip(classes, rows["component"], strict=True)]

    held = carried.assign(position=pd.Series(of(carried), index=carried.index, dtype="object"))
    held = held.explode("position", ignore_index=True)
    slots = pd.Series(of(ends), index=ends.index, dtype="object")
    many = slots.map(len) > 1
    single = ends[~many].assign(position="")
    if not many.any():
        return single.reset_index(drop=True), held
    shared = _shared(ends[many], slots[many])
    both = pd.concat([single, shared], ignore_index=True)
    return both, held


def _shared(ends: pd.DataFrame, slots: pd.Series) -> pd.DataFrame:
    """Ends on components there are several of, one row a position they may have been on."""
    rows = ends.assign(slots=slots, k=slots.map(len))
    label = rows["position"].fillna("").astype(str)
    rows["is_named"] = [p in s for p, s in zip(label, slots, strict=True)]
    rows["is_all"] = ~rows["is_named"] & (rows["pieces"].fillna(0) >= rows["k"])
    cell = ["unit_id", "component"]
    rows = rows.sort_values([*cell, "ended_on"], kind="stable", ignore_index=True)
    group = rows.groupby(cell, sort=False)
    never_named = ~group["is_named"].transform("any")
    # all alike: the event before renewed them all, or there was none
    before = group["is_all"].shift()
    alike = never_named & ~rows["is_all"] & (before.isna() | before.eq(True))
    out = rows.explode("slots", ignore_index=True)
    index = out.groupby([*cell, "ended_on", "ticket", "position"], sort=False, dropna=False)
    number = index.cumcount()
    spread = np.repeat(alike.to_numpy(), rows["k"].to_numpy())
    wanted = np.where(
        out["is_named"], out["slots"] == out["position"].astype(str),
        np.where(spread, number == 0, True),
    )  # fmt: skip
    doubt = ~out["is_named"].to_numpy() & ~spread
    failed = (out["event"] == "failed").to_numpy()
    share = np.where(doubt & failed, 1.0 / out["k"].to_numpy(float), 1.0)
    out["weight"] = out["weight"].to_numpy(float) * share
    out["renews"] = out["renews"].to_numpy(bool) & (~doubt | out["is_all"].to_numpy())
    out["position"] = out["slots"]
    kept = out[np.asarray(wanted, dtype=bool)]
    return kept.drop(columns=["slots", "k", "is_named", "is_all"])
