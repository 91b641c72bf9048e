"""The page of the proof of lives: how far their laws are from those of the true lives."""

import math
from pathlib import Path
from typing import Any

import pandas as pd
from markupsafe import Markup

from dutylife.reports.layout import Section, listed
from dutylife.reports.proofs.prove_page import write_proof
from dutylife.reports.proofs.prove_parts import as_words, figure_text, share_column
from dutylife.reports.tables import Shown, html_table, whole

TITLE = "Made-up fleets: the table of lives against the true lives"
LEAD = (
    "Every fleet here is invented, with laws that are known because they were chosen. This page "
    "shows how the method behaves, not that it is right for your shop.",
)
OURS, TRUE = "table", "true lives"
METHODS = {
    OURS: "the table of lives", TRUE: "true lives, known to the day",
    "counted to the export date": "counted to the export date",
    "ended at last visit": "ended at last visit",
    "first lives from the record's start": "first lives from the record's start",
}  # fmt: skip
CASES = {"all on": "every difficulty at once", "none": "no difficulty"}
CLOCKS = {"both": "all components", "hours": "those counted in hours", "days": "those in days"}
AIMS = {"scale": 0.03, "shape": 0.05}  # how far from the true lives' it may be; our proposal
_TOLD = (
    "Scale is the age by which 63 % have failed: above that of the true lives, parts look longer "
    "lived than they were. Shape tells wear (above 1) from chance (1): below that of the true "
    "lives, failures look more like chance than they were.",
    f"Aimed at: scale within {100 * AIMS['scale']:.0f} %, shape within {100 * AIMS['shape']:.0f} % "
    "of those of the true lives of the same fleets. In brackets one standard error, as if table "
    "and truth were of fleets of their own.",
)


def write_prove_lives_page(
    folder: str | Path, tables: dict[str, pd.DataFrame], info: dict[str, Any]
) -> Path:
    """Write DIR/lives.html.

    Parameters
    ----------
    folder : str or Path
        Folder of the tables.
    tables : dict of DataFrame
        prove_lives_laws, prove_lives_found, prove_lives_presence.
    info : dict
        seed, n_units, n_years, source_digest.

    Returns
    -------
    Path
    """
    words = {name: as_words(frame) for name, frame in tables.items()}
    laws, found = words["prove_lives_laws"], words["prove_lives_found"]
    off = distances(laws)
    rest = [c for c in dict.fromkeys(found["case"]) if c not in set(off["case"])]
    cases = [*off["case"], *rest]
    sections = [
        _first_screen(off, rest),
        _law_section(laws, cases),
        _found_section(found, cases),
        _presence_section(words["prove_lives_presence"], cases),
    ]
    made = (
        f"program {info['source_digest']}, fleets of {info['n_units']} machines and "
        f"{info['n_years']:g} years, seed {info['seed']}"
    )
    return write_proof(Path(folder) / "lives.html", TITLE, LEAD, sections, made)


def distances(laws: pd.DataFrame) -> pd.DataFrame:
    """How far scale and shape by the table are from those by the true lives, furthest first.

    Parameters
    ----------
    laws : DataFrame, table "prove_lives_laws"

    Returns
    -------
    DataFrame
        case, n_fleets, scale_off, shape_off (ratio - 1), scale_off_se, shape_off_se (roots of the
        sum of the two squares), times_aim (the larger of the two distances, in aims).
    """
    both = laws[laws["clock"] == "both"].set_index("case")
    pairs = both[both["method"] == OURS].join(both[both["method"] == TRUE], rsuffix="_true")
    out = pairs[["n_fleets"]].copy()
    for what in AIMS:
        ratio = pairs[f"{what}_ratio"] / pairs[f"{what}_ratio_true"]
        squares = pairs[f"{what}_ratio_se"] ** 2 + pairs[f"{what}_ratio_se_true"] ** 2
        out[f"{what}_off"], out[f"{what}_off_se"] = ratio - 1.0, ratio * squares**0.5
    aims = [out[f"{what}_off"].abs() / aim for what, aim in AIMS.items()]
    out["times_aim"] = pd.concat(aims, axis=1).max(axis=1)
    known = out.dropna(subset="times_aim").sort_values("times_aim", ascending=False, kind="stable")
    return known.reset_index()


def _first_screen(off: pd.DataFrame, rest: list[str]) -> Section:
    """In words, case by case; the furthest first."""
    rows = off.to_dict("records")
    items = [
        f"{_case(r['case'])} ({int(r['n_fleets'])} fleets): scale {_away(r['scale_off'])} "
        f"({100 * r['scale_off_se']:.1f}), shape {_away(r['shape_off'])} "
        f"({100 * r['shape_off_se']:.1f}) that of the true lives; {_verdict(r)}."
        for r in rows
    ]
    items += [f"{_case(case)}: too few failures for any law." for case in rest]
    met = sum(r["times_aim"] <= 1 for r in rows)
    answer = "No case has failures enough for a law."
    if rows:
        far = rows[0]
        furthest = (
            f"scale is {_away(far['scale_off'])} and shape {_away(far['shape_off'])} that of the "
            f"true lives ({_case(far['case'])})"
        )
        answer = (
            f"In {met} of {len(rows)} cases scale and shape are as close to those of the true "
            f"lives as aimed at. At the furthest, {furthest}."
            if len(rows) > 1
            else f"{furthest[0].upper()}{furthest[1:]}: {_verdict(far)}."
        )
    return Section("How far from the true lives", answer, _TOLD, (listed(items),))


def _away(off: float) -> str:
    return f"{abs(100 * off):.1f} % {'below' if off < 0 else 'above'}"


def _verdict(row: dict[Any, Any]) -> str:
    missed = [what for what, aim in AIMS.items() if abs(row[f"{what}_off"]) > aim]
    return f"aim not met by {' and '.join(missed)}" if missed else "aim met"


def _case(case: str) -> str:
    return CASES.get(case, case.replace("_", " "))


def _law_section(laws: pd.DataFrame, cases: list[str]) -> Section:
    """Scale and shape over the true law, methods side by side, for each clock."""
    told = (
        "One law a component and duty, fitted to the lives of all fleets of a case together, over "
        "the law they were drawn from: 1 is right. After it, +- one standard error over laws. What "
        "is left for the true lives is chance; the last three are rules by which lives are often "
        "counted."
    )
    parts = [
        _law_table(laws[laws["clock"] == clock], what, f"{what.title()} over true, {name}.", cases)
        for clock, name in CLOCKS.items() for what in AIMS
    ]  # fmt: skip
    return Section("Laws", "", (told,), tuple(parts))


def _law_table(rows: pd.DataFrame, what: str, caption: str, cases: list[str]) -> Markup:
    names = {m: METHODS.get(m, m) for m in [*METHODS, *sorted(set(rows["method"]) - set(METHODS))]}
    cells: dict[str, dict[str, str]] = {}
    for r in rows.to_dict("records"):
        ratio, error = r[f"{what}_ratio"], r[f"{what}_ratio_se"]
        text = figure_text("log ratio", math.log(ratio), error)
        # in lines of their own, so that five of them fit on a printed page
        counts = f"{whole(r['n_failed'])} failures\n{r['n_laws']} laws"
        cells.setdefault(r["case"], {})[r["method"]] = f"{text}\n{counts}"
    wide = pd.DataFrame([{"case": _case(c)} | cells[c] for c in cases if c in cells])
    shown = [Shown(name="case", heading="case")]
    shown += [
        Shown(name=m, heading=heading, number=True, missing="too few failures")
        for m, heading in names.items() if m in wide
    ]  # fmt: skip
    return html_table(wide, shown, caption=caption, none=f"{caption} Too few failures.")


def _found_section(found: pd.DataFrame, cases: list[str]) -> Section:
    """Which true lives the table holds, and how far its ages are off."""
    told = (
        "Of the true lives that ended in the record: how many the table holds within 14 days of "
        "their end, how many of these with the right end, and how far their ages are off. Bounds "
        "are 1.645 standard errors: 90 % is what they claim."
    )
    rows = _in_order(found, cases)
    shown = [
        Shown(name="case", heading="case"),
        Shown(name="clock_source", heading="age from"),
        Shown(name="n_lives", heading="lives", number=True, write=whole),
        share_column("share_found", "found"),
        share_column("share_right_end", "right end"),
        _hours("error_hours_median", "age off, half within", "meter hours"),
        _hours("error_hours_p90", "age off, 9 in 10 within", "meter hours"),
        share_column("share_within_bounds", "ages within bounds"),
        _hours("error_days_median", "age off, half within", "days"),
        _hours("error_days_p90", "age off, 9 in 10 within", "days"),
    ]
    table = html_table(rows, shown, caption="True lives the table holds, by where ages come from.")
    return Section("Lives found", "", (told,), (table,))


def _presence_section(presence: pd.DataFrame, cases: list[str]) -> Section:
    """Who was believed to be a customer's still, against who was."""
    told = (
        "Machines whose leaving nobody stated, by how likely the table held it that they were "
        "still there on the last day. Right beliefs come true as often as they say."
    )
    rows = _in_order(presence, cases)
    rows["belief"] = [
        f"{100 * low:g} to {100 * high:g} %"
        for low, high in zip(rows["from_probability"], rows["to_probability"], strict=True)
    ]
    shown = [
        Shown(name="case", heading="case"),
        Shown(name="belief", heading="believed there"),
        Shown(name="n_units", heading="machines", number=True, write=whole),
        share_column("believed", "mean belief"),
        share_column("there", "truly there"),
        Shown(name="brier_score", heading="Brier score", number=True, write=lambda v: f"{v:.3f}"),
    ]
    table = html_table(rows, shown, caption="Belief that a machine is there, against the truth.")
    return Section("Who is still there", "", (told,), (table,))


def _in_order(rows: pd.DataFrame, cases: list[str]) -> pd.DataFrame:
    """Rows by case, in the order of the first screen, called as there."""
    out = rows.sort_values("case", key=lambda c: c.map(cases.index), kind="stable")
    return out.assign(case=out["case"].map(_case)).reset_index(drop=True)


def _hours(name: str, heading: str, unit: str) -> Shown:
    return Shown(
        name=name, heading=heading, unit=unit, number=True, missing="none",
        write=lambda v: f"{v:.1f}",
    )  # fmt: skip
