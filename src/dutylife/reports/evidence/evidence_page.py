"""Evidence page: rows accounted for, findings, texts not understood, laws and lives behind them."""

import json
from typing import Any

import numpy as np
import pandas as pd

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.evidence.lives_page import left_out_words, lives_link
from dutylife.reports.evidence.recurrence import gap_summary
from dutylife.reports.facts import Facts, facts_of, plain, records
from dutylife.reports.layout import Section, listed
from dutylife.reports.tables import Shown, figure_column, html_table, linked, whole

TOP_TEXTS = 10
_RANK = {"fault": 0, "ask": 1, "note": 2}
_SAY = {"fault": "fault", "ask": "question for you", "note": "note"}


def rows_answer(rows_in: int, rows_used: int, rows_set_aside: int) -> str:
    """Say that rows in = rows used + rows set aside.

    Parameters
    ----------
    rows_in, rows_used, rows_set_aside : int

    Returns
    -------
    str

    Examples
    --------
    >>> rows_answer(1200, 1150, 50)
    '1 200 rows in = 1 150 used + 50 set aside.'
    """
    text = f"{whole(rows_in)} rows in = {whole(rows_used)} used + {whole(rows_set_aside)} set aside"
    lost = rows_in - rows_used - rows_set_aside
    fault = f", {whole(lost)} not accounted for: a fault in this program" if lost else ""
    return f"{text}{fault}."


def rows(run: Run) -> Section:
    """Return the account of rows, per file and in total."""
    info = run.info
    files = pd.DataFrame(info["inputs"])
    total = {
        "name": "all files", "kind": "", "n_rows": info["rows_in"], "n_used": info["rows_used"],
        "n_set_aside": info["rows_set_aside"],
    }  # fmt: skip
    table = html_table(
        pd.concat([files, pd.DataFrame([total])], ignore_index=True),
        [
            Shown(name="name", heading="file"),
            Shown(name="kind", heading="holds"),
            figure_column("n_rows", "rows in"),
            figure_column("n_used", "used"),
            figure_column("n_set_aside", "set aside"),
        ],
        caption="Each row of each file is used or set aside with a reason.",
    )
    return Section("Rows, file by file", "", (), (table,))


def findings(run: Run) -> Section:
    """Return the findings, faults and questions first."""
    found = plain(run.table("findings"))
    found["rank"] = found["kind"].map(_RANK)
    found = found.sort_values(["rank", "stage", "message"], kind="stable")
    n = found["kind"].value_counts()
    needs = int(n.get("fault", 0) + n.get("ask", 0))
    notes = wording.count(n.get("note", 0), "note")
    answer = (
        f"{wording.count(needs, 'finding needs', 'findings need')} a person; {notes}."
        if needs
        else f"No finding needs a person; {notes} to read."
    )
    found["kind"] = found["kind"].map(_SAY)
    found["place"] = [
        ", ".join(
            p for p in (r.source_file, f"row {r.source_row}" if r.source_row else "", r.key) if p
        )
        for r in records(found)
    ]
    shown = [
        Shown(name="kind", heading="kind"),
        Shown(name="message", heading="what", wide=True),
        Shown(name="place", heading="where", wide=True),
        Shown(name="mend", heading="what to do", wide=True),
    ]
    table = html_table(
        found, shown, caption="Faults and questions first.", none="No finding in this run."
    )
    return Section("What a person should know", answer, (), (table,))


def not_understood(run: Run) -> Section:
    """Return the texts the lexicon does not know, most frequent first."""
    texts = plain(run.table("not_understood"))
    texts = texts.sort_values(["n_lines", "text"], ascending=[False, True])
    answer = (
        f"{wording.count(len(texts), 'text')} on {wording.count(texts['n_lines'].sum(), 'line')} "
        f"{'was' if len(texts) == 1 else 'were'} not understood."
        if len(texts)
        else "Every text was understood."
    )
    table = html_table(
        texts.head(TOP_TEXTS),
        [Shown(name="text", heading="text"), figure_column("n_lines", "lines")],
        caption=f"The {min(TOP_TEXTS, len(texts))} most frequent; table not_understood holds all.",
        none="Nothing is left to explain.",
    )
    return Section("What was not understood", answer, (), (table,))


def set_aside(run: Run) -> Section:
    """Return the rows set aside, by reason."""
    out = plain(run.table("set_aside"))
    by = out.groupby("reason", as_index=False).agg(
        n_lines=("reason", "size"), needs=("needs_person", "sum"), example=("detail", "first")
    )
    by = by.sort_values(["n_lines", "reason"], ascending=[False, True])
    shown = [
        Shown(name="reason", heading="reason"),
        figure_column("n_lines", "rows"),
        figure_column("needs", "need a person", unit="rows"),
        Shown(name="example", heading="for example", wide=True),
    ]
    table = html_table(by, shown, caption="Rows by reason.", none="No row was set aside.")
    return Section("Rows set aside", "", (), (table,))


def life_models(run: Run) -> Section:
    """Return the law of each component in each duty, with its evidence."""
    given, models = facts_of(run), plain(run.table("life_models"))
    printed = models.assign(
        shape_words=[_ranged(r, "shape", "") for r in records(models)],
        scale_words=[_scale_words(r, given) for r in records(models)],
        lives=[
            lives_link(r.component, r.duty, wording.count(r.n_lives, "life", "lives"))
            + f"\n{r.n_failed} failed"
            for r in records(models)
        ],
        own=[_basis_words(r) for r in records(models)],
    )
    shown = [
        Shown(name="component", heading="component"),
        Shown(name="duty", heading="duty"),
        linked("lives", "lives"),
        Shown(name="distribution", heading="law"),
        Shown(name="shape_words", heading="shape", unit="1"),
        Shown(name="scale_words", heading="characteristic life"),
        Shown(name="own", heading="stands on"),
        Shown(name="verdict", heading="verdict", wide=True),
    ]
    level = f"{100 * given.confidence_level:.0f} %"
    table = html_table(
        printed,
        shown,
        caption=f"Value, below it the {level} range. Shape above 1: risk rises with age; about 1: "
        "age does not matter. By the characteristic life 63 % of parts have failed.",
        none="The record carries no law.",
    )
    lives = wording.count(models["n_lives"].sum(), "life", "lives")
    failures = wording.count(models["n_failed"].sum(), "failure")
    answer = f"{wording.count(len(models), 'law')} on {lives}, {failures}."
    left_out = left_out_words(
        plain(run.table("failure_events")[["clock_source", "is_comeback"]]), models
    )
    return Section("The laws of life", answer, (left_out,) if len(models) else (), (table,))


def _ranged(row: Any, name: str, unit: str) -> str:
    value, low, high = (float(getattr(row, name + end)) for end in ("", "_lower", "_upper"))
    text = f"{wording.number(value)} {unit}".strip()
    if np.isfinite(low) and np.isfinite(high):
        text += f"\n{wording.span(low, high, unit)}".rstrip()
    return text


def _scale_words(row: Any, given: Facts) -> str:
    if row.clock == "hours":
        return _ranged(row, "scale_hours", given.meter_short)
    kind = "idle days" if row.clock == "idle_days" else "days"
    return _ranged(row, "scale_days", kind)


def _basis_words(row: Any) -> str:
    own = float(row.own_data_share)
    mixed = 0.005 < own < 0.995
    share = f"\n{100 * own:.0f} % its own data" if mixed else ""
    return f"{row.basis}{share}"


def recurrence(run: Run) -> Section:
    """Return the days between events of each component, every event counted."""
    gaps = plain(run.table("recurrence_gaps"))
    summary = gap_summary(gaps)
    days = run.info.get("comeback_days")
    within = f"within {wording.count(days, 'day')}" if days is not None else "within days"
    shown = [
        Shown(name="component", heading="component"),
        figure_column("n_units", "machines"),
        figure_column("n_events", "events"),
        figure_column(
            "median_days", "half come again by", "days", write=wording.number,
            missing="not in half the cases",
        ),
    ]  # fmt: skip
    table = html_table(
        summary,
        shown,
        caption="Days from one event of a component on a machine to the next, product-limit "
        "median; machines still waiting are counted as waiting.",
        none="No component came twice on the same machine.",
    )
    sentence = (
        "Here every event counts, so these spans are not the lives of parts above: there, "
        f"comebacks {within} are kept apart, first lives without an install date are left out, "
        "and planned changes are not failures."
    )
    return Section("How soon it comes again", "", (sentence,), (table,))


def provenance(run: Run) -> Section:
    """Return settings, versions, digests, seed and timings."""
    info = run.info
    files = html_table(
        pd.DataFrame(info["inputs"]),
        [Shown(name="name", heading="file"), Shown(name="digest", heading="SHA-256 digest")],
        caption="Input files by content.",
    )
    rows_of = [("as of", info["as_of"]), ("seed", info["seed"])]
    rows_of += [("plan in force", info["plan_in_force"])]
    rows_of += [("confidence level", f"{100 * info['confidence_level']:.0f} %")]
    rows_of += [("horizon", wording.count(info["horizon_months"], "month"))]
    rows_of += [(f"version of {k}", v) for k, v in sorted(info["versions"].items())]
    about = html_table(
        pd.DataFrame(rows_of, columns=["what", "value"]),
        [Shown(name="what", heading="what"), Shown(name="value", heading="value")],
        caption="What a number of this run can depend on.",
    )
    chosen = html_table(
        pd.DataFrame(list(_flat(info["settings"])), columns=["key", "value"]),
        [Shown(name="key", heading="key"), Shown(name="value", heading="value")],
        caption="Settings as given; what is not here has its default.",
        none="All settings have their defaults.",
    )
    timings = [f"{name}: {seconds:.1f} s" for name, seconds in info["stages_seconds"].items()]
    return Section("Settings, versions, digests", "", (), (about, files, chosen, listed(timings)))


def _flat(value: object, key: str = "") -> list[tuple[str, str]]:
    if isinstance(value, dict):
        return [
            pair for k, v in value.items() for pair in _flat(v, f"{key}.{k}" if key else str(k))
        ]
    if isinstance(value, list) and any(isinstance(v, dict) for v in value):
        return [pair for n, v in enumerate(value, 1) for pair in _flat(v, f"{key} {n}")]
    return [(key, value if isinstance(value, str) else json.dumps(value, ensure_ascii=False))]
