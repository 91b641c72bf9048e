"""The page of the proof of the life models: how often their ranges hold the laws they are of."""

import math
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.reports.layout import Section, listed
from dutylife.reports.proofs.prove_page import write_proof
from dutylife.reports.proofs.prove_parts import as_words, share_column
from dutylife.reports.tables import Shown, html_table, whole

TITLE = "Made-up lives: the life models against the laws they were drawn from"
LEAD = (
    "Every life here is invented, drawn from a law that is known because it was chosen. This page "
    "shows how the method behaves, not that it is right for your shop.",
    "A 90 % range is right when it holds the true figure nine times in ten: less often, and it "
    "promises too much; more often, and it is wider than the lives call for.",
)
WHAT = {
    "b10": "age by which 10 % have failed", "b50": "age by which half have failed",
    "shape": "shape", "scale": "scale", "factor": "lives in one duty over another",
}  # fmt: skip
SHORT = {
    "b10": "10 % failed", "b50": "half failed", "shape": "shape", "scale": "scale",
    "factor": "over another",
}  # fmt: skip
NO_AIM, MET = "no aim", "met"
STATED = "laws of the prior, watch blind to them"


def write_prove_models_page(
    folder: str | Path, tables: dict[str, pd.DataFrame], info: dict[str, Any]
) -> Path:
    """Write DIR/models.html.

    Parameters
    ----------
    folder : str or Path
        Folder of the tables.
    tables : dict of DataFrame
        prove_models_own, prove_models_pooled, prove_models_lending, prove_models_factors.
    info : dict
        seed, n_cells, source_digest.

    Returns
    -------
    Path
    """
    own, pooled, lending, factors = (
        as_words(tables[f"prove_models_{n}"]) for n in ("own", "pooled", "lending", "factors")
    )
    sections = [
        _first_screen(own, pooled, lending, factors),
        _own_section(own),
        _pooled_section(pooled[pooled["case"] == STATED]),
        _off_section(pooled[pooled["case"] != STATED]),
        _lending_section(lending),
        _factor_section(factors),
    ]
    made = f"program {info['source_digest']}, {info['n_cells']} cells a size, seed {info['seed']}"
    return write_proof(Path(folder) / "models.html", TITLE, LEAD, sections, made)


def _first_screen(
    own: pd.DataFrame, pooled: pd.DataFrame, lending: pd.DataFrame, factors: pd.DataFrame
) -> Section:
    """Which aims are met, table by table, and each that is not."""
    items, n_aims, n_met = [], 0, 0
    for name, rows, figure in (
        ("by themselves", own, "coverage"), ("pooled", pooled, "coverage"),
        ("what pooling gains", lending, "error_ratio"), ("duty over duty", factors, "coverage"),
    ):  # fmt: skip
        aimed = rows[rows["answer"] != NO_AIM]
        n_aims, n_met = n_aims + len(aimed), n_met + int((aimed["answer"] == MET).sum())
        items += [
            f"{r['answer'][0].upper()}{r['answer'][1:]}: {name}, {WHAT[r['what']]}, "
            f"{r['expected_failures']} expected failures. Aimed at {_aim(r)}, found "
            f"{_found(r, figure)}."
            for r in aimed[aimed["answer"] != MET].to_dict("records")
        ]
    told = (
        "Standard errors stand after +-. Where an aim is missed by no more than two of them, "
        "chance may have done it: too few cells to tell.",
    )
    answer = f"{n_met} of {n_aims} aims are met."
    return Section("What is met", answer, told, (listed(items, none="Nothing is missed."),))


def _own_section(rows: pd.DataFrame) -> Section:
    """Likelihood-ratio ranges of cells by themselves."""
    told = (
        "Cells by themselves, shapes of 0.8 to 4, a third of the lives watched only from some age "
        "on, half of them cut off before they failed. Ranges are likelihood-ratio ranges at 90 %; "
        "the share that holds the truth is over cells whose range has two ends. The likelihood "
        "of few failures leaves a side open or has no top at all, and a cell without failure says "
        "nothing by itself: the shares are beside.",
    )
    shown = [
        *_coverage_columns(),
        share_column("coverage_with_open", "holds it, open ranges counted"),
        share_column("share_open", "a side open"),
        share_column("share_no_top", "no top"),
        share_column("share_no_failure", "no failure"),
    ]
    table = html_table(_named(rows), shown, caption="Likelihood-ratio ranges by expected failures.")
    return Section("Cells by themselves", _worst(rows), told, (table,))


def _pooled_section(rows: pd.DataFrame) -> Section:
    """Pooled ranges where truths come from the stated prior."""
    told = (
        "Components of eight duties each, their laws, how far duties and customers differ all "
        "drawn from the very prior the models state, and watched for times that know nothing of "
        "the laws: over the prior half the lives fail, in a single duty anything from none to "
        "all. Here ranges must hold the truth as often as they say, at every size.",
    )
    table = html_table(
        _named(rows), _coverage_columns(), caption="Pooled ranges, laws drawn from the prior."
    )
    return Section("Pooled cells, laws of the prior", _worst(rows), told, (table,))


def _off_section(rows: pd.DataFrame) -> Section:
    """Pooled ranges where truths do not come from the stated prior."""
    told = (
        "The same where the laws are not those of the prior, or where watching knows the laws: in "
        "each duty half the lives are cut off, however long they live. No prior can promise 90 % "
        "here; the table says what it costs to be wrong about it.",
    )
    parts = [
        html_table(
            _named(rows[rows["case"] == case]),
            [*_coverage_columns(aim=False), Shown(name="duties", heading="duties")],
            caption=f"Pooled ranges: {case}.",
        )
        for case in dict.fromkeys(rows["case"])
    ]
    low = rows.sort_values("coverage", kind="stable").head(1).to_dict("records")
    answer = "".join(
        f"At the lowest, the range of {WHAT[r['what']]} holds the truth in "
        f"{_found(r, 'coverage')} of cells ({r['case']}, {r['duties']}, "
        f"{r['expected_failures']} expected failures)."
        for r in low
    )
    return Section("Pooled cells, laws off the prior", answer, told, tuple(parts))


def _lending_section(rows: pd.DataFrame) -> Section:
    """How much nearer to the truth pooled cells are."""
    told = (
        "Components of eight duties whose shapes lie around 2 (from one component to another by "
        "0.25 in logs), from duty to duty by 0.1, scales by 0.45; half of the lives cut off. The "
        "error is the root mean square of the log of estimate over truth, over cells of two or "
        "more failures that have a law by themselves; pooled over by themselves, below 1 pooling "
        "gains.",
    )
    shown = [
        *_size_columns(),
        _plain("error_pooled", "error, pooled"),
        _plain("error_separate", "error, by themselves"),
        Shown(name="ratio_text", heading="pooled over by themselves", number=True),
        Shown(name="coverage_text", heading="range holds it", number=True),
        Shown(name="aim_text", heading="aim", number=True),
    ]
    named = _named(rows)
    named["ratio_text"] = [_found(r, "error_ratio") for r in named.to_dict("records")]
    b10 = rows[rows["what"] == "b10"].to_dict("records")
    answer = "".join(
        f"At {r['expected_failures']} expected failures the age by which 10 % have failed is off "
        f"{r['error_ratio']:.2f} times as far pooled as by themselves. "
        for r in b10 if r["expected_failures"] == 3
    ).strip()  # fmt: skip
    table = html_table(named, shown, caption="Errors of pooled cells and of cells by themselves.")
    return Section("What pooling gains", answer, told, (table,))


def _factor_section(rows: pd.DataFrame) -> Section:
    """Duty over duty, where customers differ."""
    told = (
        "Four duties of eight customers each, whose parts fail more or less often by a factor of "
        "variance 0.25, and some 40 failures a duty. Where the models are not told whose lives "
        "they are, they take what customers do for what the duty does, and promise too much.",
    )
    columns = _coverage_columns()
    shown = [
        Shown(name="customers", heading="case"),
        *[c for c in columns if c.name != "what_text"],
        _plain("customer_variance", "variance found between customers"),
    ]
    table = html_table(_named(rows), shown, caption="Lives in one duty over those in another.")
    answer = " ".join(
        f"{r['customers'][0].upper()}{r['customers'][1:]}, the range of a duty over another holds "
        f"the truth in {_found(r, 'coverage')} of pairs."
        for r in rows.to_dict("records")
    )
    return Section("One duty over another, where customers differ", answer, told, (table,))


def _worst(rows: pd.DataFrame) -> str:
    """The range furthest below what it promises, among those with an aim."""
    aimed = rows[rows["answer"] != NO_AIM]
    if aimed.empty:
        return ""
    low, high = aimed["coverage"].min(), aimed["coverage"].max()
    return (
        f"Where there is an aim, ranges hold the truth in {100 * low:.1f} to {100 * high:.1f} % of "
        "cells."
    )


def _named(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows in the order of figures, with the texts of compound columns."""
    by = rows["what"].map(list(WHAT).index)
    rows = rows.assign(by=by).sort_values("by", kind="stable").reset_index(drop=True)
    return rows.assign(
        what_text=rows["what"].map(SHORT),
        coverage_text=[_found(r, "coverage") for r in rows.to_dict("records")],
        aim_text=[_aim_and_answer(r) for r in rows.to_dict("records")],
    )


def _size_columns() -> list[Shown]:
    return [
        Shown(name="what_text", heading="figure"),
        Shown(name="expected_failures", heading="expected failures", number=True),
        Shown(name="n_cells", heading="cells", number=True, write=whole),
    ]


def _coverage_columns(*, aim: bool = True) -> list[Shown]:
    last = [Shown(name="aim_text", heading="aim", number=True)]
    return [
        *_size_columns(),
        Shown(name="coverage_text", heading="range holds it", number=True),
        share_column("truth_below", "truth below"),
        share_column("truth_above", "truth above"),
        _plain("middle_ratio", "middle over truth"),
        _plain("width_ratio", "upper over lower"),
        *(last if aim else []),
    ]


def _aim_and_answer(row: dict[Any, Any]) -> str:
    return "none" if row["answer"] == NO_AIM else f"{_aim(row)}\n{row['answer']}"


def _aim(row: dict[Any, Any]) -> str:
    if row["answer"] == NO_AIM:
        return "none"
    if "aim_least" not in row:
        return f"at most {row['aim_most']:g}"
    return f"{100 * row['aim_least']:.0f} to {100 * row['aim_most']:.0f} %"


def _found(row: dict[Any, Any], figure: str) -> str:
    if figure == "coverage":
        return _plus(row[figure], row[f"{figure}_se"], 100.0, " %")
    return _plus(row[figure], row[f"{figure}_se"], 1.0, "")


def _plus(figure: float, error: float, times: float, unit: str) -> str:
    if math.isnan(figure):
        return "no figure"
    places = 1 if times > 1 else 3
    text = f"{times * figure:.{places}f}{unit}"
    return text if math.isnan(error) else f"{text} +- {times * error:.{places}f}"


def _plain(name: str, heading: str) -> Shown:
    return Shown(
        name=name, heading=heading, number=True, missing="none", write=lambda v: f"{v:.3g}"
    )
