"""Lives of a block of machines, from their events: chained, cut at moves, aged on both clocks."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dutylife.lives.ages import with_ages
from dutylife.lives.clocks.paths import MeterPaths
from dutylife.lives.ends import carried, ends_of
from dutylife.lives.found import last_good_days
from dutylife.lives.positions import CELL, on_positions, with_known_places
from dutylife.lives.spells import split_at_moves
from dutylife.lives.watch import at_span
from dutylife.schema import days_at
from dutylife.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """What the whole fleet tells that the lives of every machine need.

    ``by_class`` as `carried_by_class` gives it, ``positions`` as `n_positions` does.
    """

    settings: Settings
    record_start: pd.Timestamp
    positions: pd.DataFrame
    by_class: pd.DataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Some machines with all that belongs to them.

    ``machines`` as in `Watch`; ``events`` and ``spans`` rows of the tables "maintenance_events"
    and "unit_spans"; ``evidence`` the days they were seen; ``paths`` their meters; ``usage`` as
    `usage_of` gives it.
    """

    machines: pd.DataFrame
    events: pd.DataFrame
    spans: pd.DataFrame
    evidence: pd.DataFrame
    paths: MeterPaths
    usage: pd.DataFrame


def lives_of(fleet: Fleet, block: Block) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Lives of the machines of a block, and what they add to the fleet's mean lives.

    Returns
    -------
    lives : DataFrame
        Columns of "failure_events"; first parts that may be the machine's original ones have the
        ages of original ones. With ``age_then`` of those on which the fleet has yet to decide
        (days the machine was old when the record began) and ``duty_at_end``.
    watched : DataFrame
        component, duty, days watched and renewals.
    """
    placed = with_known_places(block.events, fleet.positions, block.machines["equipment_class"])
    lives = _chained(placed, fleet, block)
    lives = _first_parts(lives, fleet, block)
    watched = _watched(lives)
    lives = split_at_moves(lives, block.spans, block.evidence)
    return _aged(lives, placed, block), watched


def _chained(events: pd.DataFrame, fleet: Fleet, block: Block) -> pd.DataFrame:
    """Lives of each component in a row: each begins where the last one ended."""
    machines = block.machines
    of_class = machines["equipment_class"]
    ends, still = on_positions(
        ends_of(events, fleet.settings), carried(events, of_class, fleet.by_class),
        fleet.positions, of_class,
    )  # fmt: skip
    ends["is_open"] = False
    still["ended_on"] = days_at(still["unit_id"], machines["observed_to"])
    still["event"] = still["unit_id"].map(machines["ends"])
    still = still.assign(is_open=True, renews=False, weight=1.0, is_comeback=False,
                         failure_mode=None, fitted=None, pieces=np.nan, was_found=False,
                         ticket="", line_ids="")  # fmt: skip
    if ends.empty:
        ends = ends.reindex(columns=still.columns).iloc[:0]
    lives = pd.concat([ends.astype(still.dtypes), still], ignore_index=True)
    lives = lives.sort_values([*CELL, "ended_on", "is_open"], kind="stable", ignore_index=True)
    cell = lives.groupby(CELL, sort=False)
    lives["life_number"] = cell.cumcount() + 1
    previous = cell["ended_on"].shift()
    renewed = cell["renews"].shift().eq(True)
    lives["installed_on"] = previous.where(renewed)
    lives["part_number"] = cell["fitted"].shift()
    begin = days_at(lives["unit_id"], machines["observed_from"])
    lives["watched_from"] = previous.where(previous > begin, begin)
    lives["equipment_class"] = lives["unit_id"].map(machines["equipment_class"])
    lives["prob_in_service"] = lives["unit_id"].map(machines["prob_in_service"])
    where = at_span(lives["unit_id"], lives["ended_on"], block.spans)
    return lives.assign(duty=where["duty"], customer=where["customer"])


def _first_parts(lives: pd.DataFrame, fleet: Fleet, block: Block) -> pd.DataFrame:
    """Fill in the begin of first lives whose part may be the machine's original one.

    A machine that entered service within the record: its parts are original, watched from new. One
    that is older: by ``[lives] first_part``. ``original``: always; this is the rule for logs
    that start when they start, so all machines are watched only from their own first evidence.
    ``unknown``: never. ``by age``: the fleet decides, see `blocks.without_doubtful`; until then
    they count as original, marked by ``age_then``.
    """
    out, machines = lives.copy(), block.machines
    began = days_at(out["unit_id"], machines["in_service_on"])
    first = (out["life_number"] == 1) & began.notna()
    within = first & (began >= fleet.record_start)
    rule = fleet.settings.lives.first_part
    if rule == "original":
        seen = days_at(out["unit_id"], machines["first_seen"])
        out["watched_from"] = out["watched_from"].mask(first & seen.notna(), seen)
    taken = within if rule == "unknown" else first
    out["installed_on"] = out["installed_on"].mask(taken, began)
    age_then = (fleet.record_start - began).dt.days.astype(float)
    out["age_then"] = age_then.where(first & ~within & (rule == "by age"))
    out["duty_at_end"] = out["duty"]
    return out


def _watched(lives: pd.DataFrame) -> pd.DataFrame:
    days = (lives["ended_on"] - lives["watched_from"]).dt.days.clip(lower=0)
    told = pd.DataFrame({"days": days.astype(float), "renewals": (~lives["is_open"]).astype(float)})
    cell = [lives["component"], lives["duty"]]
    return told.groupby(cell, sort=True).sum().reset_index()


def _aged(lives: pd.DataFrame, events: pd.DataFrame, block: Block) -> pd.DataFrame:
    """Lives with their ages, and with the bounds of failures found at a service."""
    found = lives["was_found"].to_numpy(bool)
    lives = lives.reset_index(drop=True)
    last_good = last_good_days(lives[found], events)
    # the age on the last good day, by the same clock: as if the life had ended there
    until_then = lives[found].assign(ended_on=last_good)
    aged = with_ages(
        pd.concat([lives, until_then], ignore_index=True), block.paths, block.usage
    )  # fmt: skip
    out, then = aged.iloc[: len(lives)].copy(), aged.iloc[len(lives) :]
    for clock in ("hours", "days"):
        lower, upper = f"lower_{clock}", f"upper_{clock}"
        out[lower] = out[upper] = np.nan
        out.loc[found, lower] = then[f"exit_{clock}"].to_numpy(float)
        out.loc[found, upper] = out.loc[found, f"exit_{clock}"]
    return out
