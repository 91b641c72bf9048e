"""What to write down at each job, on one sheet, and how much surer each field makes the laws."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.components import shipped_components
from dutylife.models.cells import usable_lives
from dutylife.models.verdict import FEW_FAILURES, OWN_FAILURES
from dutylife.provenance import Run, open_run
from dutylife.reports.cautions import CALENDAR_LINE
from dutylife.reports.facts import Facts, day, facts_of, plain, records, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.tables import Shown, figure_column, html_table, templates
from dutylife.reports.whole_page import links_of_run, write_whole_page

NAME = "data-slip.html"
MOST_ROWS = 5  # so that slip and table stand on one sheet
_WHY = ("failed", "worn, found at a look", "over its limit", "still good, changed while open",
        "by the plan")  # fmt: skip
_CSS = """
.slip { border: 2px solid #17211f; padding: 6px 18px 14px; margin: 14px 0 22px; }
.slip h2 { border: 0; padding: 0; margin: 8px 0 4px; }
.slip .fields { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(260px, 100%), 1fr)); gap: 4px 28px; }
.slip .field { display: flex; gap: 10px; align-items: flex-end; min-height: 34px; }
.slip .blank { flex: 1; border-bottom: 1px solid #17211f; min-width: 70px; }
.slip ul { list-style: none; padding: 0; display: flex; flex-wrap: wrap; gap: 6px 22px; }
.slip li::before { content: "\\2610\\00a0"; font-size: 18px; }
@media print {
  .slip { margin: 4px 0 6px; padding: 2px 14px 6px; break-inside: avoid; }
  .slip .fields { grid-template-columns: 1fr 1fr; }
  .slip .field { min-height: 28px; }
  .slip p, .slip ul { margin: 3px 0; }
  .slip li::before { font-size: 14px; }
  .dutylife, .dutylife p { font-size: 9pt; max-width: none; }
  .dutylife .answer { font-size: 11pt; }
  .dutylife h2 { margin-top: 6px; padding-top: 4px; font-size: 12pt; }
  footer, footer p { margin: 2px 0; padding-top: 2px; font-size: 8pt; max-width: none; }
}
"""  # noqa: E501


def gains(run: Run) -> pd.DataFrame:
    """Return how much narrower a law's range would be, had its lives had their hours or reason.

    Parameters
    ----------
    run : Run

    Returns
    -------
    DataFrame
        A row for each component and duty of fewer than 10 failures: component, duty, n_failed,
        n_without_hours (failures of known days whose hours are missing or too rough),
        n_unsure (failures of which it isn't sure that the part was the cause), n_readings,
        ``narrower_hours`` and ``narrower_reason``: by what share the range of its half-life would
        be narrower [1]; missing where that field changes nothing, or nothing can be computed.

    Notes
    -----
    The information of Weibull lives on log life is the square of the shape times the failures
    expected, so failures that gain an age count by their number. A failure that counts with
    probability w lacks w (1 - w) of it (missing information, Louis 1982: score differences of
    one failure are the shape; formula from memory). What other duties lend stays as it is, so
    that only a law's own share, ``own_data_share``, grows. The width of a range goes by the
    square root.
    """
    models = plain(run.table("life_models"))
    lives = run.table("failure_events")
    usable = usable_lives(lives, int(run.info.get("comeback_days") or 0))
    known = usable[usable["event"] == "failed"]
    weight = known["weight"].fillna(1.0).clip(0, 1)
    known = known.assign(w=weight, unsure=weight * (1 - weight))
    reads = plain(table_or_empty(run, "readings"))
    n_reads = reads.groupby("component").size() if len(reads) else pd.Series(dtype=int)
    rows: list[dict[str, Any]] = []
    for model in records(models[models["n_failed"] < OWN_FAILURES]):
        mine = known[(known["component"] == model.component) & (known["duty"] == model.duty)]
        counted = mine[mine["fits_hours" if model.clock == "hours" else "fits_days"]]
        own, have = float(model.own_data_share), float(counted["w"].sum())
        by_hours = shipped_components().get(str(model.component))
        lacks = mine[mine["fits_days"] & ~mine["fits_hours"]]
        wears_by_hours = by_hours is None or by_hours.clock == "hours"
        unsure = float(counted["unsure"].sum())
        rows.append(
            {
                "component": model.component, "duty": model.duty, "n_failed": int(model.n_failed),
                "n_without_hours": len(lacks) if wears_by_hours else 0,
                "n_unsure": int((counted["unsure"] > 0.01).sum()),
                "n_readings": int(n_reads.get(model.component, 0)),
                "narrower_hours": _narrower(own, have, have + float(lacks["w"].sum()))
                if wears_by_hours and model.clock == "hours" and len(lacks) else np.nan,
                "narrower_reason": _narrower(own, have - unsure, have) if unsure > 0.01 else np.nan,
            }
        )  # fmt: skip
    columns = ["component", "duty", "n_failed", "n_without_hours", "n_unsure", "n_readings",
               "narrower_hours", "narrower_reason"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def _narrower(own: float, before: float, after: float) -> float:
    """Share by which a range narrows where the own part of a law's information grows."""
    if before <= 0:
        return float("nan")
    return float(1.0 - 1.0 / np.sqrt(1.0 - own + own * after / before))


def slip_section(run: Run) -> Section:
    """Return the slip's reasons: which laws lack evidence, and what each field would add."""
    given, table = facts_of(run), gains(run)
    n_all = len(run.table("life_models"))
    if table.empty:
        return Section("Why it is worth writing down", f"Each answer has {OWN_FAILURES} failures "
                       "or more of its own.")  # fmt: skip
    table = table.assign(most=table[["narrower_hours", "narrower_reason"]].max(axis=1).fillna(0))
    order = table.sort_values(["most", "n_failed", "component"], ascending=[False, True, True])
    shown = order[order["most"] > 0].head(MOST_ROWS)
    few = int((table["n_failed"] < FEW_FAILURES).sum())
    answer = (
        f"{len(table)} of {wording.count(n_all, 'answer')} on how long a component lasts in one "
        f"kind of work stand on fewer than {OWN_FAILURES} failures of their own; {few} of them on "
        f"fewer than {FEW_FAILURES}, which is not enough evidence by itself."
    )
    if shown.empty:
        nothing = (
            "No gain can be computed: where failures are few, those counted have their hours and "
            "their reason. More jobs written down so are what makes these answers surer."
        )
        return Section("Why it is worth writing down", answer, (nothing, _sentence(table)))
    return Section("Why it is worth writing down", answer, (_sentence(table),), (
        html_table(
            shown,
            [
                Shown(name="component", heading="component"),
                Shown(name="duty", heading="duty"),
                figure_column("n_failed", "failures counted"),
                figure_column("n_without_hours", "more, hours not written"),
                figure_column("narrower_hours", "with hours: range narrower by", write=_percent,
                              missing="no change"),
                figure_column("n_unsure", "of those counted, cause not sure"),
                figure_column("narrower_reason", "with the reason: range narrower by",
                              write=_percent, missing="no change"),
                figure_column("n_readings", "readings so far"),
            ],
            caption=_caption(len(shown), given),
        ),
    ))  # fmt: skip


def _percent(value: float) -> str:
    return wording.percent(value)


def _caption(n: int, given: Facts) -> str:
    first = "The one that would gain" if n == 1 else f"The {n} that would gain most"
    return f"{first}, had the failures in the record up to {day(given.as_of)} had these fields."


def _sentence(table: pd.DataFrame) -> str:
    unread = int((table["n_readings"] == 0).sum())
    return (
        "Readings add by another way: from two readings of the same part on, its drift to the "
        "limit can be followed, before anything fails. How much that adds can't be computed from "
        f"a record without them; {unread} of these answers are on components without a reading."
    )


def write_data_slip(folder: str | Path) -> Path:
    """Write DIR/data-slip.html: a sheet to fill in at each job, and what it would add.

    Parameters
    ----------
    folder : str or Path
        Run DIR.

    Returns
    -------
    Path
    """
    run = open_run(Path(folder).resolve())
    given = facts_of(run)
    body = Markup("<h1>Data slip</h1>\n{}\n{}").format(
        Markup(
            templates()
            .get_template("slip.html")
            .render(meter=given.meter_unit, why=_WHY, caution=CALENDAR_LINE)
        ),
        Markup(slip_section(run).html),
    )
    return write_whole_page(
        run.folder / NAME, "Data slip", body, given, links_of_run("data-slip"), css=_CSS
    )
