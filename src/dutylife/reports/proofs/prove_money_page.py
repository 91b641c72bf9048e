"""The page of the proof of replacement ages: what each way to choose one loses on the best."""

from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.reports.layout import Section
from dutylife.reports.proofs.prove_page import write_proof
from dutylife.reports.proofs.prove_parts import as_words, percent_of
from dutylife.reports.tables import Shown, figure_column, html_table

TITLE = "Made-up lives: replacement ages against perfect knowledge"
LEAD = (
    "Every life here is invented, drawn from a law that is known because it was chosen. This page "
    "shows how the method behaves, not that it is right for your shop.",
    "Money lost is the true long-run cost at the age chosen, above that of the best age, as a "
    "share of the latter. A failure costs five planned changes, half of the lives are cut off.",
)


def write_prove_money_page(folder: str | Path, table: pd.DataFrame, info: dict[str, Any]) -> Path:
    """Write DIR/money.html.

    Parameters
    ----------
    folder : str or Path
        Folder of the table.
    table : DataFrame, table "prove_money"
    info : dict
        seed, n_cells, source_digest.

    Returns
    -------
    Path
    """
    rows = as_words(table)
    sections = [
        _met(rows),
        *(_case(rows[rows["case"] == c], c) for c in dict.fromkeys(rows["case"])),
    ]
    made = f"program {info['source_digest']}, {info['n_cells']} cells a size, seed {info['seed']}"
    return write_proof(Path(folder) / "money.html", TITLE, LEAD, sections, made)


def _met(rows: pd.DataFrame) -> Section:
    aimed = rows[rows["answer"] != "no aim"]
    told = tuple(
        f"{r['case'].capitalize()}, {r['expected_failures']} expected failures: "
        f"{percent_of(r['money_lost'])} lost, at most {percent_of(r['aim_most'])} aimed at, "
        f"{r['answer']}. Nine cells in ten lose at most {r['ninth_decile_ratio']:.1f} times the "
        f"mean, the worst tenth on average {r['worst_tenth_ratio']:.1f} times (aim: 3)."
        for r in aimed.to_dict("records")
    )
    n_met = int((aimed["answer"] == "met").sum())
    chance = (
        "Near the best age cost rises with the square of the error. Were errors normal and all "
        "cells alike, nine cells in ten would lose at most 2.7 times the mean and the worst tenth "
        "4.4 times on average: chance alone, whatever the method."
    )
    return Section("What is met", f"{n_met} of {len(aimed)} aims are met.", (*told, chance))


def _case(rows: pd.DataFrame, case: str) -> Section:
    shown = [
        Shown(name="rule", heading="age chosen"),
        figure_column("expected_failures", "expected failures", ""),
        figure_column("money_lost", "money lost", write=percent_of),
        figure_column("money_lost_se", "standard error", write=percent_of),
        figure_column("worst_tenth_ratio", "worst tenth over mean", ""),
        figure_column("ninth_decile_ratio", "nine in ten below, times the mean", ""),
        Shown(name="answer", heading="aim"),
    ]
    return Section(case.capitalize(), parts=(html_table(rows, shown, caption=f"Lives {case}."),))
