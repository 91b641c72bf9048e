"""What other duties lend: each cell's half-life by its own lives alone, and with those borrowed."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife import wording
from dutylife.models import fit_cells
from dutylife.models.cells import lives_on, usable_lives
from dutylife.provenance import Run
from dutylife.reports.facts import Facts, facts_of, plain, records
from dutylife.reports.figures import COLOURS, as_figure
from dutylife.reports.layout import Section, side_by_side
from dutylife.reports.results.marks import in_percent
from dutylife.reports.tables import Shown, figure_column, html_table

BORROWS = 0.9  # a law whose own share lies below this is shown
MOST_DRAWN = 8


def own_and_borrowed(run: Run) -> pd.DataFrame:
    """Return the half-life of each cell that borrows, by its own lives alone and with the others'.

    Parameters
    ----------
    run : Run

    Returns
    -------
    DataFrame
        Rows of table "life_models" that borrow, with ``b50`` and its bounds on the cell's clock
        and ``own``, ``own_lower``, ``own_upper``: the likelihood's own half-life and its limits
        (missing or infinite where the lives alone leave it open). [the row's clock]
    """
    level = facts_of(run).confidence_level
    models = plain(run.table("life_models"))
    models = models[models["own_data_share"] < BORROWS].reset_index(drop=True)
    for end in ("", "_lower", "_upper"):
        hours = models["clock"] == "hours"
        models[f"b50{end}"] = models[f"b50_hours{end}"].where(hours, models[f"b50_days{end}"])
    usable = usable_lives(run.table("failure_events"), int(run.info.get("comeback_days") or 0))
    groups = dict(list(usable.groupby(["component", "duty"], sort=False)))
    parts: list[pd.DataFrame] = []
    for place, model in enumerate(records(models)):
        rows = groups.get((model.component, model.duty))
        if rows is None or model.clock not in ("hours", "days"):
            continue
        lives = lives_on(rows, model.clock)
        parts.append(
            pd.DataFrame(
                {"cell": place, "exit": lives.exit, "event": lives.event, "entry": lives.entry,
                 "weight": lives.weight, "lower": lives.lower}
            )
        )  # fmt: skip
    models[["own", "own_lower", "own_upper"]] = np.nan
    parts = [p for p in parts if len(p)]
    if not parts:
        return models
    every = pd.concat(parts, ignore_index=True)
    found = every["lower"].notna()
    fits = fit_cells(
        every["cell"], every["exit"], every["event"], entry=every["entry"],
        lower=every["lower"], upper=every["exit"].where(found), weights=every["weight"],
    )  # fmt: skip
    limits = fits.limits("b50", level)
    at = fits.cells.to_numpy(int)
    models.loc[at, "own"] = fits.quantile(0.5)
    models.loc[at, "own_lower"] = limits["lower"].to_numpy()
    models.loc[at, "own_upper"] = limits["upper"].to_numpy()
    return models


def pooling(run: Run) -> Section:
    """Return what each cell of few failures says alone, and with what other duties lend it."""
    given, cells = facts_of(run), own_and_borrowed(run)
    title = "Own data against borrowed"
    if cells.empty:
        return Section(title, "No law borrows a tenth or more: each stands on its own lives.")
    cells = cells.sort_values(["own_data_share", "component", "duty"], kind="stable")
    unit = [given.meter_short if c == "hours" else "days" for c in cells["clock"]]
    shown = cells.assign(
        alone=[_told(r, "own", u) for r, u in zip(records(cells), unit, strict=True)],
        lent=[_told(r, "b50", u) for r, u in zip(records(cells), unit, strict=True)],
    )
    level = in_percent(given.confidence_level)
    table = html_table(
        shown,
        [
            Shown(name="component", heading="component"),
            Shown(name="duty", heading="duty"),
            figure_column("n_failed", "failures"),
            Shown(name="alone", heading="half have failed by, own lives alone", number=True),
            Shown(name="lent", heading="with what other duties lend", number=True),
            figure_column("own_data_share", "own data", write=wording.share),
        ],
        caption=f"The age by which half have failed, below it the {level}.",
    )
    answer = (
        f"{wording.count(len(cells), 'law takes', 'laws take')} a tenth or more of the answer from "
        "the same component in other duties, since the duty's own failures are few."
    )
    drawable = cells[np.isfinite(cells["own"]) & (cells["own"] > 0)].head(MOST_DRAWN)
    parts = [table]
    if len(drawable):
        parts.insert(0, side_by_side([as_figure(lambda axes: _draw(axes, drawable, given))]))
    return Section(title, answer, (), tuple(parts))


def _told(row: Any, name: str, unit: str) -> str:
    value, low, high = (float(getattr(row, name + end)) for end in ("", "_lower", "_upper"))
    if not np.isfinite(value):
        return "can't be told"
    first = f"{wording.number(value)} {unit}"
    if np.isfinite(low) and np.isfinite(high):
        return f"{first}\n{wording.span(low, high, unit)}"
    if np.isfinite(low):
        return f"{first}\n{wording.number(low)} {unit} to no bound"
    return first


def _draw(axes: Any, cells: pd.DataFrame, given: Facts) -> str:
    """Draw both half-lives of each cell as times the pooled one, so that clocks share an axis."""
    for turn, (name, marker, label) in enumerate(
        (("own", "o", "own lives alone"), ("b50", "D", "with other duties"))
    ):
        place = np.arange(len(cells)) + 0.17 * (1 - 2 * turn)
        base = cells["b50"].to_numpy()
        value = cells[name].to_numpy() / base
        low = np.nan_to_num(cells[f"{name}_lower"].to_numpy() / base, nan=0.01)
        high = np.nan_to_num(cells[f"{name}_upper"].to_numpy() / base, nan=100.0, posinf=100.0)
        axes.hlines(
            place, np.maximum(low, 0.01), np.minimum(high, 100.0), color=COLOURS[turn],
            linestyle=("-", (0, (3, 1.5)))[turn], linewidth=1.8,
        )  # fmt: skip
        axes.plot(value, place, linestyle="none", marker=marker, color=COLOURS[turn], label=label)
    names = [f"{r.component},\n{r.duty}" for r in records(cells)]
    axes.set_yticks(np.arange(len(cells)), names, fontsize=7)
    axes.set(
        xscale="log", xlim=(0.1, 10), ylim=(len(cells) - 0.4, -1.6),
        xlabel="half-life over that of the law used [1]", title="Alone, and with other duties",
    )  # fmt: skip
    axes.set_xticks([0.1, 0.2, 0.5, 1, 2, 5, 10], ["0.1", "0.2", "0.5", "1", "2", "5", "10"])
    axes.minorticks_off()
    axes.set_position((0.3, 0.19, 0.68, 0.71))
    axes.legend(loc="upper right", ncols=2)
    return (
        f"Half-lives of {wording.count(len(cells), 'law')}, those that borrow most among the ones "
        "whose own lives tell one: alone (round) and with other duties (diamond), as times the "
        f"latter, with {in_percent(given.confidence_level)}s. Borrowing draws a duty of few "
        "failures toward the others and mostly narrows its range."
    )
