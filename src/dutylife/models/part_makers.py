"""Whether the replacement of one part maker lasts as long as those of the others."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife.components import Component, components_of
from dutylife.errors import TooFewFailuresError
from dutylife.models.batches import compare_batches
from dutylife.models.cells import clock_of, usable_lives
from dutylife.provenance import seed_of
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.wording import count, number, span

FEWEST_LIVES = 5  # of known age and maker, below which a maker is not compared


def compare_part_makers(
    failure_events: pd.DataFrame, catalogue: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    """Lives of each part maker's part over those of the other makers, within each duty.

    Parameters
    ----------
    failure_events, catalogue : DataFrame
        The tables of those names; the maker of a life is that of its part number.
    settings : Settings
        Clocks, comeback days, confidence level, seed.

    Returns
    -------
    DataFrame
        Table "part_makers": a row by component and maker, of components with two makers or more
        of 5 lives each. ``times_life`` and its bounds from `compare_batches`.

    Notes
    -----
    Each duty has a life of its own, so that a maker met in hard duty only is not blamed for the
    duty; where one maker's parts are found in one duty and the other's in another, nothing can
    be told and bounds are wide. It says "goes with": who fits the dearer part may also look
    after the machine better. Chances are adjusted within a component (Holm, 1979).
    """
    known = components_of(settings)
    usable = usable_lives(failure_events, settings.coding.comeback_days)
    maker = catalogue.astype({"part_number": "object", "part_maker": "object"})
    told = maker.dropna(subset=["part_maker"]).drop_duplicates("part_number")
    by_number = told.set_index("part_number")["part_maker"]
    numbers = failure_events.loc[usable.index, "part_number"].astype("object")
    usable = usable.assign(part_maker=numbers.map(by_number))
    rows: list[dict[str, Any]] = []
    for component, alike in usable.groupby("component", sort=True):
        about = known.get(str(component), Component(name=str(component)))
        rows += _of_component(str(component), _ages(alike, about), settings)
    return as_table("part_makers", pd.DataFrame(rows))


def _ages(alike: pd.DataFrame, about: Component) -> pd.DataFrame:
    """Exit, entry, failed, duty, maker of the lives of a component, each duty on its clock."""
    parts = []
    for duty, cell in alike.groupby("duty", sort=True):
        clock = clock_of(cell, alike, about)
        rows = cell[cell[f"fits_{clock}"] & cell["part_maker"].notna()]
        failed = (rows["event"] == "failed") & (rows["weight"].fillna(1.0) >= 0.5)
        parts.append(
            pd.DataFrame(
                {
                    "exit": rows[f"exit_{clock}"], "entry": rows[f"entry_{clock}"],
                    "failed": failed, "duty": duty, "maker": rows["part_maker"],
                }
            )
        )  # fmt: skip
    return pd.concat(parts, ignore_index=True)


def _of_component(component: str, lives: pd.DataFrame, settings: Settings) -> list[dict[str, Any]]:
    n = lives.groupby("maker").size()
    lives = lives[lives["maker"].isin(n.index[n >= FEWEST_LIVES])]
    if lives["maker"].nunique() < 2:
        return []
    level = settings.report.confidence_level
    try:
        told = compare_batches(
            lives["exit"], lives["failed"], lives["maker"], entry=lives["entry"], by=lives["duty"],
            level=level, seed=seed_of(settings.report.seed, "part makers", component),
        ).table  # fmt: skip
    except TooFewFailuresError:  # told as "too few" by its rows
        return [
            {
                "component": component, "part_maker": name, "n_lives": len(of),
                "n_failed": int(of["failed"].sum()), "lasts": "too few",
                "verdict": f"too few failures among {count(len(lives), 'life', 'lives')} to tell",
            }
            for name, of in lives.groupby("maker", sort=True)
        ]  # fmt: skip
    return [{"component": component} | _row(row) for row in told.to_dict("records")]


def _row(row: dict[Any, Any]) -> dict[str, Any]:
    finite = np.isfinite(row["times_life"])
    out = {
        "part_maker": row["batch"], "n_lives": row["n_lives"], "n_failed": row["n_failed"],
        "times_life": row["times_life"] if finite else np.nan,
        "times_life_lower": row["lower"],
        "times_life_upper": row["upper"] if np.isfinite(row["upper"]) else np.nan,
        "p_adjusted": row["p_adjusted"], "lasts": row["flag"] or "alike",
    }  # fmt: skip
    top = np.isfinite(row["upper"])
    between = span(row["lower"], row["upper"], "") if top else f"{number(row['lower'])} or more"
    times = f"{number(row['times_life'])} times as long as the others'"
    said = f"its parts last {times} ({between.strip()})" if finite else "none of its parts failed"
    word = {"shorter": ": they do not last as long", "longer": ": they last longer"}
    open_ = f"; no difference is proved by {count(row['n_failed'], 'failure')}"
    return out | {"verdict": said + word.get(row["flag"], open_)}
