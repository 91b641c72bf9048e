"""Part numbers: which one a life takes next, how many, and the use that lives do not explain."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.components import Component
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
OTHER_MONTHS = 24.0
_WORDS = ["unit_id", "component", "position", "activity", "reason", "part_number"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OtherUse:
    """Use of one part that no simulated life explains: lines per month and pieces per line."""

    n_lines: float
    months: float
    sizes: Array


def replacements_seen(maintenance_events: pd.DataFrame, current: dict[str, str]) -> pd.DataFrame:
    """Replace events with their part number brought to the one in use now, in date order."""
    events = maintenance_events.astype(dict.fromkeys(_WORDS, "object"))
    events = events[events["activity"] == "replace"]
    number = events["part_number"].map(lambda p: current.get(p, p), na_action="ignore")
    events = events.assign(part_number=number, position=events["position"].fillna(""))
    return events.sort_values(
        ["event_date", "unit_id", "component", "position", "ticket"], kind="stable"
    )


def current_numbers(catalogue: pd.DataFrame) -> dict[str, str]:
    """Return the number in use now behind each number that the catalogue says was replaced."""
    pairs = catalogue[["part_number", "replaces"]].astype(object).dropna()
    newer = {
        old.strip(): str(row.part_number)
        for row in pairs.sort_values("part_number").itertuples()
        for old in str(row.replaces).split(";")
        if old.strip() and old.strip() != row.part_number
    }
    out: dict[str, str] = {}
    for old in newer:
        at, passed = old, {old}
        while at in newer and newer[at] not in passed:  # a ring of numbers ends where it began
            at = newer[at]
            passed.add(at)
        out[old] = at
    return out


def next_part(lives: pd.DataFrame, replaced: pd.DataFrame) -> pd.Series:
    """Part number each life in service will take next.

    The one last fitted to that machine, else the most used for the component on its class, else
    the most used for the component; missing where the record holds none.
    """
    numbered = replaced[replaced["part_number"].notna()]
    here = ["unit_id", "component", "position"]
    last = numbered.drop_duplicates(here, keep="last").set_index(here)["part_number"]
    unplaced = numbered.drop_duplicates(here[:2], keep="last").set_index(here[:2])["part_number"]
    classes = lives[["unit_id", "equipment_class"]].drop_duplicates("unit_id")
    of_class = numbered.merge(classes, on="unit_id", how="left")
    by_class = _most_used(of_class, ["component", "equipment_class"])
    by_component = _most_used(numbered, ["component"])
    out = _looked_up(lives, here, last)
    for keys, found in (
        (here[:2], unplaced),
        (["component", "equipment_class"], by_class),
        (["component"], by_component),
    ):
        out = out.where(out.notna(), _looked_up(lives, keys, found))
    return out


def pieces_each(replaced: pd.DataFrame) -> dict[str, float]:
    """Mean pieces of a replacement, by part number."""
    given = replaced[replaced["part_number"].notna() & (replaced["quantity"] > 0)]
    mean = given.groupby("part_number")["quantity"].mean()
    return {str(number): float(value) for number, value in mean.items()}


def share_using_part(
    maintenance_events: pd.DataFrame, known: dict[str, Component]
) -> dict[tuple[str, bool], float]:
    """Share of the renewals of a component that take a part, by component and whether planned.

    A failure may be cleaned or adjusted away; planned cleaning counts where it renews.
    """
    events = maintenance_events.astype(dict.fromkeys(_WORDS, "object"))
    events = events.drop_duplicates(["unit_id", "component", "position", "event_date", "activity"])
    planned = events["reason"] != "failure"
    renews = pd.Series(
        [
            a == "replace" or (a == "clean" and c in known and known[c].clean_renews)
            for a, c in zip(events["activity"], events["component"], strict=True)
        ],
        index=events.index,
        dtype=bool,
    )
    counted = events[~planned | renews]
    is_replace = (counted["activity"] == "replace").astype(float)
    share = is_replace.groupby([counted["component"], planned[counted.index]]).mean()
    table = share.rename("share").reset_index()
    table.columns = pd.Index(["component", "planned", "share"])
    return {
        (str(r["component"]), bool(r["planned"])): float(r["share"])
        for r in table.to_dict("records")
    }


def other_use(
    service_lines: pd.DataFrame,
    explained: set[str],
    current: dict[str, str],
    as_of: pd.Timestamp,
) -> dict[str, OtherUse]:
    """Use of each part in the last 24 months that no simulated life explains.

    Counter sales, machines out of the fits, comebacks. Returned pieces are taken off.

    Parameters
    ----------
    service_lines : DataFrame, table "service_lines"
    explained : set of str
        line_id of the lines that simulated lives stand for.
    current : dict
        Numbers in use now, see `current_numbers`.
    as_of : Timestamp
    """
    lines = service_lines.astype({"part_number": "object", "line_kind": "object"})
    lines = lines[lines["line_kind"].isin(["part", "credit"]) & lines["part_number"].notna()]
    lines = lines[lines["service_date"] <= as_of]
    number = lines["part_number"].map(lambda p: current.get(p, p))
    lines = lines.assign(part_number=number, quantity=lines["quantity"].fillna(1.0))
    numbers = sorted(lines["part_number"].unique())
    first = service_lines["service_date"].min()
    start = max(as_of - pd.DateOffset(months=int(OTHER_MONTHS)), first) if len(lines) else as_of
    months = max((as_of - start).days / DAYS_PER_MONTH, 1.0)
    recent = lines[(lines["service_date"] > start) & ~lines["line_id"].isin(explained)]
    recent = recent.sort_values("line_id", kind="stable")
    by_part = {str(n): f["quantity"].to_numpy() for n, f in recent.groupby("part_number")}
    out: dict[str, OtherUse] = {}
    for name in numbers:
        quantity = by_part.get(name, np.empty(0))
        taken = quantity[quantity > 0]
        # a returned piece takes its share of the lines away
        kept = max(quantity.sum() / taken.sum(), 0.0) if taken.size else 0.0
        out[name] = OtherUse(n_lines=len(taken) * kept, months=months, sizes=taken)
    return out


def component_of_part(
    replaced: pd.DataFrame, catalogue: pd.DataFrame, current: dict[str, str]
) -> dict[str, str]:
    """Return the component of each part: the catalogue's, else the one it most often replaced."""
    numbered = replaced[replaced["part_number"].notna()]
    used = _most_used(numbered.assign(part_number=numbered["component"],
                                      number=numbered["part_number"]), ["number"])  # fmt: skip
    out = {str(k): str(v) for k, v in used.items()}
    listed = catalogue[["part_number", "component"]].astype(object).dropna()
    for number, component in listed.itertuples(index=False, name=None):
        out[str(number)] = str(component)
    for old, new in current.items():
        if old in out:
            out.setdefault(new, out[old])
    return out


def _most_used(numbered: pd.DataFrame, keys: list[str]) -> pd.Series:
    counts = numbered.groupby([*keys, "part_number"]).size().rename("n").reset_index()
    counts = counts.sort_values(
        [*keys, "n", "part_number"], ascending=[True] * len(keys) + [False, True]
    )
    out: pd.Series = counts.drop_duplicates(keys).set_index(keys)["part_number"]
    return out


def _looked_up(lives: pd.DataFrame, keys: list[str], found: pd.Series) -> pd.Series:
    table = found.rename("found").reset_index()
    table = table.astype({k: "object" for k in keys})
    merged = lives[keys].merge(table, on=keys, how="left")["found"]
    return pd.Series(merged.to_numpy(dtype=object), index=lives.index, dtype=object)
