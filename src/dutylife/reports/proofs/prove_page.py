"""The page of a proof: every figure beside its companions, what is not met first."""

from pathlib import Path
from typing import Any

import pandas as pd
from markupsafe import Markup

import dutylife
from dutylife.reports.layout import Section, listed, look
from dutylife.reports.proofs import prove_parts as parts
from dutylife.reports.tables import templates
from dutylife.reports.whole_page import own_css

TITLE = "Made-up fleets: how the method behaves"
LEAD = (
    "Every fleet here is invented, with laws that are known because they were chosen. This page "
    "shows how the method behaves, not that it is right for your shop.",
    "Each fleet's messy export went through the whole chain, and each answer was held against the "
    "truth. Beside every figure stand companions: an oracle (told the true laws, ages and use), a "
    "careful analyst (reads every event perfectly, fits a plain Weibull law to each cell of 3 or "
    "more failures, lets the others fail), naive averages (80 % of the mean age of the failed), "
    "a fixed schedule (the starting intervals), and last year's average for stock.",
    "After a figure, +- gives one standard error, by the seeds of the fleets.",
)
FOOTER = (
    "No figure here is a fact about a real machine, part or shop. For work that can hurt someone, "
    "the maker's manual, local codes and licensed practice stand above any number."
)


def write_prove_page(
    folder: str | Path, tables: dict[str, pd.DataFrame], info: dict[str, Any]
) -> Path:
    """Write DIR/prove.html.

    Parameters
    ----------
    folder : str or Path
        Folder of the proof.
    tables : dict of DataFrame
        The "prove_" tables.
    info : dict
        size, seed, plant, n_fleets, source_digest, versions.

    Returns
    -------
    Path
    """
    words = {name: parts.as_words(frame) for name, frame in tables.items()}
    sections = [
        _not_met(words, info),
        parts.verdict_section(words["prove_verdicts"]),
        parts.sizes_section(words["prove_verdicts"], words["prove_fleets"]),
        *parts.measure_sections(words["prove_figures"]),
        parts.difficulty_section(words["prove_figures"]),
        parts.rank_section(words["prove_calibration"], words["prove_ranks"]),
        parts.instrument_section(words["prove_instrument"]),
        parts.fleets_section(words["prove_fleets"], info),
    ]
    made = f"program {info['source_digest']}, size {info['size']}, seed {info['seed']}"
    return write_proof(Path(folder) / "prove.html", TITLE, LEAD, sections, made)


def write_proof(
    path: Path,
    title: str,
    lead: tuple[str, ...],
    sections: list[Section],
    made: str,
    footer: str = FOOTER,
) -> Path:
    """Write the page of a proof: one file, nothing loaded, all text escaped."""
    text = (
        templates()
        .get_template("prove.html")
        .render(
            title=title,
            css=Markup((look() + own_css()).strip()),
            lead=lead,
            body=Markup("\n").join(Markup(s.html) for s in sections),
            footer=footer,
            stamp=f"Made by dutylife {dutylife.__version__}, {made}.",
        )
    )
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def _not_met(words: dict[str, pd.DataFrame], info: dict[str, Any]) -> Section:
    """What comes first: the aims that are not met, in words."""
    rows = words["prove_verdicts"]
    overall = rows[rows["case"] == parts.ALL_SIZES]
    missed = overall[overall["answer"] != "met"]
    items = [
        f"{row['answer'][0].upper()}{row['answer'][1:]}: {row['aim']} ({row['among']}). "
        f"Found: {parts.figure_text(row['measure'], row['figure'], row['standard_error'])}."
        for row in missed.to_dict("records")
    ]
    answer = (
        "Every aim is met on these fleets."
        if not items
        else f"{len(items)} of {len(overall)} aims are not met."
    )
    sentences = []
    if info["plant"]:
        sentences.append(f"A fault was planted on purpose: {info['plant']}.")
    return Section("What is not met", answer, tuple(sentences), (listed(items, none="Nothing."),))
