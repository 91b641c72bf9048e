"""What a change does to the coming year: before and after, with the same luck."""

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife import wording
from dutylife.decisions.comparison.ranges import figure_of
from dutylife.decisions.comparison.year import Size, Year
from dutylife.decisions.what_if_changes import CHANGES
from dutylife.decisions.what_if_ground import Ground, ground_notes, what_if_ground, year_of
from dutylife.errors import DecisionError
from dutylife.provenance import Run
from dutylife.settings import Settings

Array = npt.NDArray[np.float64]
MEASURES = {
    "failures": "failures", "visits": "visits", "parts": "parts",
    "labour_hours": "labour, hours", "lost_days": "lost days",
    "contractor": "the contractor's money", "shop": "the shop's money",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WhatIf:
    """A year before and after a change, with the same luck.

    Parameters
    ----------
    changes : tuple of str
        What was changed, in words.
    table : DataFrame
        A row for each measure: before, after, difference (after less before), each with _lower
        and _upper; per year, money in ``currency``.
    notes : tuple of str
        What is assumed, left out or not known.
    currency : str
    """

    changes: tuple[str, ...]
    table: pd.DataFrame
    notes: tuple[str, ...]
    currency: str

    @property
    def text(self) -> str:
        """One sentence."""
        rows = self.table.set_index("measure")
        changed = "; ".join(self.changes) or "nothing changed"
        told = []
        for measure, noun in (("failures", "failures"), ("visits", "visits")):
            before, after = rows["before"][measure], rows["after"][measure]
            told.append(f"{_whole(after)} {noun} a year instead of {_whole(before)}")
        money = [m for m in MEASURES.values() if "money" in m and rows["before"].notna()[m]]
        if money:
            told.append(self._money(money[0]))
        else:
            told.append("no money is known")
        return f"{changed[0].upper()}{changed[1:]}: {', '.join(told)}."

    def _money(self, measure: str) -> str:
        row: Any = self.table.set_index("measure").loc[measure]
        low, high = row["difference_lower"], row["difference_upper"]
        word = "more" if row["difference"] > 0 else "less"
        whose = measure.removesuffix("'s money")
        if low * high <= 0:
            span = f"{wording.money(low, '')} to {wording.money(high, '')}"
            either = ": it may go either way" if row["difference"] else ""
            return f"{whose} pays about as much ({span} {self.currency} more{either})"
        ends = sorted((abs(low), abs(high)))
        amount = wording.money(abs(row["difference"]), self.currency)
        span = f"{wording.money(ends[0], '')} to {wording.money(ends[1], '')}"
        return f"{whose} pays {amount} {word} ({span})"


def what_if(
    run: Run | Ground | Mapping[str, pd.DataFrame],
    settings: Settings | None = None,
    **changes: Any,
) -> WhatIf:
    """Ask what a change does to the coming year under the proposed plan.

    Parameters
    ----------
    run : Run, Ground, or mapping of str to DataFrame
        An opened run, the tables of one, or `what_if_ground` of either (reads them once).
    settings : Settings, optional
        Needed with tables.
    **changes
        One or more of:

        ``lost_day_cost=180``, ``lost_days_per_failure=2``, ``loaner_at_hand=True``,
        ``hours_factor=2``, ``new_contract={"duty": ..., "n_machines": 10}`` (and, if wanted,
        hours_per_week, equipment_class),
        ``longer_life={"component": ..., "factor": 1.5}`` (and extra_cost),
        ``cover={"duty": ..., "factor": 1.3}`` (a pre-cleaner or cover; and components),
        ``measure_instead="ignition cap"``, ``skip_task="replace air filter"``,
        ``hire_out_days=28``, ``cost_a_year=500`` (what the change itself costs).

    Returns
    -------
    WhatIf

    Raises
    ------
    DecisionError
        An unknown change or name, or a value that can't be; the key and what to give instead.

    Notes
    -----
    Before and after meet the same luck and the same draws of the laws, so that the difference is
    known better than the figures. Where costs or lives change, replacement ages are chosen anew;
    looks keep their spacing. No task of a component that can hurt is dropped or put off.
    """
    unknown = sorted(set(changes) - set(CHANGES))
    if unknown:
        near = difflib.get_close_matches(unknown[0], CHANGES, n=1, cutoff=0.4)
        raise DecisionError(
            f"'{unknown[0]}' is no change that can be asked about.", f"what_if: {unknown[0]}",
            (f"did you mean '{near[0]}'? " if near else "") + "known: " + ", ".join(CHANGES),
        )  # fmt: skip
    before = run if isinstance(run, Ground) else what_if_ground(run, settings)
    after, words = before, []
    for name, make in CHANGES.items():
        if name in changes:
            after, said = make(after, changes[name])
            words += [said] if said else []
    earlier = before.before or year_of(before)
    later = earlier if not changes else year_of(after, earlier.size)
    return WhatIf(
        changes=tuple(words),
        table=_table(earlier, later, after.cost_a_year, before.settings.report.confidence_level),
        notes=ground_notes(after),
        currency=before.settings.fleet.currency,
    )


def _table(before: Year, after: Year, cost_a_year: float, level: float) -> pd.DataFrame:
    rows = []
    for measure, said in MEASURES.items():
        one, two = before.sums[measure].sum(axis=0), after.sums[measure].sum(axis=0)
        if measure == "contractor":
            two = two + cost_a_year
        row: dict[str, Any] = {"measure": said}
        for name, total in (("before", one), ("after", two), ("difference", two - one)):
            row |= _three(name, total, before.size, level)
        rows.append(row)
    return pd.DataFrame(rows)


def _three(name: str, total: Array, size: Size, level: float) -> dict[str, float]:
    figure = figure_of(total, size, level)
    return {name: figure.value, f"{name}_lower": figure.lower, f"{name}_upper": figure.upper}


def _whole(value: float) -> str:
    return wording.number(value, 3) if value < 10 else f"{value:,.0f}".replace(",", " ")
