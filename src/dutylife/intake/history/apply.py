"""The rules of a shop's history in their order, between the joined lines and the tables."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from dutylife.intake.history.accounts import Account, without_taken
from dutylife.intake.history.aliases import apply_aliases, build_aliases, confirmed_aliases
from dutylife.intake.history.cores import mark_cores, net_cores
from dutylife.intake.history.hours import fill_hours
from dutylife.intake.history.kits import build_kits, exploded, flat_kits
from dutylife.intake.history.machines_in_text import name_machines
from dutylife.intake.history.returns import net_returns
from dutylife.intake.history.superseded import (
    brought_to_current,
    current_numbers,
    say_old_in_settings,
)
from dutylife.intake.history.waits import say_days_in_shop
from dutylife.intake.names import name_key
from dutylife.schema import filled_from
from dutylife.settings import Settings


@dataclass(frozen=True, slots=True)
class History:
    """What the rules left.

    Parameters
    ----------
    lines, machines, parts : DataFrame
        As given, with the rules applied.
    taken : DataFrame
        Lines taken out of use, with their ``reason``.
    tables : dict of DataFrame
        kits, aliases.
    findings : list of dict
        Rows of the findings table.
    """

    lines: pd.DataFrame
    machines: pd.DataFrame
    parts: pd.DataFrame
    taken: pd.DataFrame
    tables: dict[str, pd.DataFrame]
    findings: list[dict[str, Any]]


def apply_history(
    lines: pd.DataFrame,
    machines: pd.DataFrame,
    parts: pd.DataFrame,
    *,
    kits: pd.DataFrame,
    aliases: pd.DataFrame,
    settings: Settings,
) -> History:
    """Bring joined lines to what was truly fitted, to which machine, at what meter.

    In this order: confirmed aliases; the machine a text names; numbers in use now; kits and packs
    taken apart; deposits on old parts; returns against their sale; meter readings in texts.

    Parameters
    ----------
    lines, machines, parts : DataFrame
        Of all files, one spelling a name; blanks are "".
    kits, aliases : DataFrame
        Rows of the files of that kind, empty where there are none.
    settings : Settings

    Raises
    ------
    TableError
        Part numbers that replace one another in a ring, a kit that holds itself.
    """
    account = Account()
    lines = lines.reset_index(drop=True)
    names = pd.concat([machines["unit_id"], lines["unit_id"]])
    confirmed = confirmed_aliases(aliases, names)
    under = lines["unit_id"].value_counts()
    by_key = under.groupby(name_key(pd.Series(under.index)).to_numpy()).sum()
    lines, machines = apply_aliases(lines, machines, confirmed, account)
    lines = name_machines(lines, machines, confirmed, account)
    alias_table = build_aliases(
        aliases, lines, machines, account,
        lambda name: int(by_key.get("".join(name.casefold().split()), 0)),
    )  # fmt: skip
    current = current_numbers(parts, settings)
    say_old_in_settings(settings, current, account)
    lines, parts = brought_to_current(lines, parts, current, account)
    kit_table = build_kits(kits)
    flat = flat_kits(_current(kits, current))
    lines = exploded(lines, flat, parts, account)
    lines = mark_cores(lines, account)
    net_cores(lines, account)
    lines = net_returns(lines, account)
    lines = fill_hours(lines, settings.fleet.meter_unit, account)
    say_days_in_shop(lines, account)
    left, taken = without_taken(lines, account)
    tables = {"kits": kit_table, "aliases": alias_table}
    return History(left, machines, parts, taken, tables, account.findings)


def _current(kits: pd.DataFrame, current: dict[str, str]) -> pd.DataFrame:
    by_key = {"".join(o.casefold().split()): n for o, n in current.items()}
    new = {
        c: filled_from(name_key(kits[c]).map(by_key), kits[c])
        for c in ("kit_number", "part_number")
    }
    return kits.assign(**new)
