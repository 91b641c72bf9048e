"""Hours of labour and days in the shop of past visits by class, and what to say of them."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.stock.bench.arrivals import Arrivals

Array = npt.NDArray[np.float64]
Notes = list[tuple[str, str]]
# both our proposal
FEWEST_OF_CLASS = 12  # visits with hours or days, below which the fleet's stand for a class
MOSTLY = 0.8  # share of visits that say so from which on nothing is said of the others


def hours_of_visits(
    seen: Arrivals, counted: "pd.Series[bool]", costs: pd.DataFrame, events: pd.DataFrame
) -> tuple[list[Array], list[tuple[str, str]]]:
    """Hours of past visits of each class; from labour lines, else the costs' labour hours."""
    visits = seen.visits[counted]
    told = visits["labour_hours"].notna()
    notes: list[tuple[str, str]] = []
    if told.any():
        if told.mean() < MOSTLY:
            notes.append(
                (
                    f"Labour hours at the bench: {told.mean():.0%} of the visits have labour "
                    "lines; the others are taken to be like them.",
                    "map the lines of labour",
                )
            )
        return _by_class(seen, visits[told], "labour_hours"), notes
    each = costs[(costs["task"].astype(str) == "replace") & costs["labour_hours"].notna()]
    per_task = each.groupby(each["component"].astype(str))["labour_hours"].mean()
    work = events.astype({"component": "object", "ticket": "object", "unit_id": "object"})
    work = work.assign(hours=work["component"].astype(str).map(per_task))
    sums = work.groupby(["unit_id", "ticket"])["hours"].sum(min_count=1).rename("stated")
    visits = visits.merge(sums.reset_index(), on=["unit_id", "ticket"], how="left")
    if visits["stated"].notna().any():
        note = "Labour hours at the bench: the record has no labour lines; hours are those of the "
        return _by_class(seen, visits[visits["stated"].notna()], "stated"), [
            (note + "tasks done, as the costs state them.", "map the lines of labour")
        ]
    note = "Labour hours at the bench are left blank: the record has no labour lines and the "
    return [], [(note + "costs state no labour_hours.", "map the lines of labour")]


def days_there(seen: Arrivals) -> tuple[list[Array], list[tuple[str, str]]]:
    """Days from received to ready of past visits of each class; none where nothing says so."""
    visits = seen.visits[seen.visits["days_there"].notna()]
    if visits.empty:
        note = "Loaners are left blank: the record does not say when machines were received and "
        return [], [(note + "ready.", "map received_on and ready_on")]
    notes = []
    share = len(visits) / len(seen.visits)
    if share < MOSTLY:
        notes.append(
            (
                f"Loaners: {share:.0%} of the visits say when the machine was received and ready; "
                "the others are taken to stay as long.",
                "fill received_on and ready_on",
            )
        )
    return _by_class(seen, visits, "days_there"), notes


def _by_class(seen: Arrivals, visits: pd.DataFrame, column: str) -> list[Array]:
    every = visits[column].to_numpy(dtype=float)
    own = [visits.loc[visits["row"] == i, column].to_numpy(float) for i in range(len(seen.classes))]
    return [v if len(v) >= FEWEST_OF_CLASS else every for v in own]
