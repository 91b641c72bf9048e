"""The shelf as it counts: old numbers under the new one, parts not sold by the piece."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife.intake.findings import finding, first_few
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings
from dutylife.settings.nearest import nearest
from dutylife.wording import count

_MOSTLY = 0.5  # share of a part's lines in parts of a piece from which on its unit is asked about


def shelf_rows(shelf: pd.DataFrame, current: dict[str, str]) -> dict[str, dict[str, Any]]:
    """Row of each part number in use now, what lies there under its old numbers added.

    Parameters
    ----------
    shelf : DataFrame, table "shelf"
    current : dict
        Number in use now behind each old one, see `parts.current_numbers`.

    Returns
    -------
    dict of str to dict
        An old number has no row of its own: its pieces count under the new one, on the new one's
        terms. Where the new one is listed and either count is not known, it stays unknown.
    """
    rows = shelf.astype({"part_number": "object", "supplier": "object"}).to_dict("records")
    given = {str(r["part_number"]): {str(k): v for k, v in r.items()} for r in rows}
    out = {n: r for n, r in given.items() if current.get(n, n) == n}
    for old in sorted(set(given) - set(out)):
        new, row = current[old], given[old]
        if not _missing(row.get("counted")):
            row["on_hand"], row["counted"] = row["counted"], np.nan
        if new not in out:
            out[new] = row | {"part_number": new}
            continue
        ordered = [r.get("on_order", np.nan) for r in (out[new], row)]
        if not all(_missing(n) for n in ordered):  # nothing told is nothing on its way
            out[new]["on_order"] = sum(0.0 if _missing(n) else n for n in ordered)
        # a shelf that nobody counted is not known, whichever number lies there
        more = row.get("on_hand", np.nan)
        out[new]["on_hand"] = out[new].get("on_hand", np.nan) + more
        if not _missing(out[new].get("counted")):
            out[new]["counted"] += more
    return out


def stock_findings(
    service_lines: pd.DataFrame, numbers: list[str], settings: Settings, gathered: list[str]
) -> pd.DataFrame:
    """Findings of the stock stage: parts nobody knows or not sold by the piece, demand on a grid.

    Parameters
    ----------
    service_lines : DataFrame, table "service_lines"
    numbers : list of str
        Parts of the plan.
    settings : Settings
    gathered : list of str
        Components and duties whose demand under a plan is told on a grid.

    Returns
    -------
    DataFrame, table "findings"
    """
    rows = [*_unknown_parts(numbers, settings), *_other_units(service_lines), *_on_grid(gathered)]
    return as_table("findings", pd.DataFrame(rows)) if rows else empty_table("findings")


def _unknown_parts(numbers: list[str], settings: Settings) -> list[dict[str, Any]]:
    named = [n for n in settings.stock if n != "default" and n not in numbers]
    return [
        finding(
            "stock", "ask",
            f'The settings state stock terms of part \'{n}\' ([stock."{n}"]), but neither a line '
            "nor a parts file names it: they are not used.",
            mend=("correct the number, or take it out" + nearest(n, numbers)) if numbers else
            "correct the number, or take it out",
            table="settings", key=f'stock."{n}"',
        )
        for n in named
    ]  # fmt: skip


def _other_units(service_lines: pd.DataFrame) -> list[dict[str, Any]]:
    lines = service_lines.astype({"part_number": "object", "line_kind": "object"})
    lines = lines[(lines["line_kind"] == "part") & lines["part_number"].notna()]
    lines = lines[lines["quantity"].notna() & (lines["quantity"] > 0)]
    broken = (lines["quantity"] % 1 > 1e-9).groupby(lines["part_number"]).agg(["sum", "count"])
    broken = broken[broken["sum"] > _MOSTLY * broken["count"]]
    if broken.empty:
        return []
    told = [f"{n} ({int(r['sum'])} of {int(r['count'])} lines)" for n, r in broken.iterrows()]
    return [
        finding(
            "stock", "note",
            f"{count(len(broken), 'part')} {'is' if len(broken) == 1 else 'are'} sold in parts of "
            f"a piece, by length or volume it seems: {first_few(told)}. "
            f"{'Its' if len(broken) == 1 else 'Their'} demand and levels count the lines' own "
            "unit, each line rounded up; what lies on the shelf must be counted in it, too.",
            mend="state on hand, pack and cost of these parts in the unit in which they are sold",
            table="service_lines", key="quantity",
        )
    ]  # fmt: skip


def _on_grid(gathered: list[str]) -> list[dict[str, Any]]:
    if not gathered:
        return []
    return [
        finding(
            "stock", "note",
            f"{first_few(gathered)}: the many parts in service are gathered on a grid of use and "
            "days left to their planned replacement, not gone through one by one. Half a year's "
            "demand moves by less than 1 % by it, a month's by less than a third of its own "
            "scatter.",
            mend="nothing to do", table="demand_forecast", key="component",
        )
    ]  # fmt: skip


def _missing(value: Any) -> bool:
    return value is None or bool(pd.isna(value))
