"""Sections of the proof page: tables of figures beside their companions, in words and numbers."""

import math
from typing import Any

import pandas as pd

from dutylife.reports.layout import Section
from dutylife.reports.tables import Shown, html_table, text_of

ALL_SIZES = "all sizes"
SIZE, DIFFICULTY, NO_DIFFICULTY = "size", "difficulty", "none"
OURS = "dutylife"
METHODS = (
    OURS, "oracle", "careful analyst", "naive averages", "fixed schedule", "run to failure",
    "last year's average",
)  # fmt: skip
MANY = "10 or more failures"
# what is shown of each measure: heading, what it tells, measures with the group they are over
_MEASURES: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Events",
        "Of what the shop truly did to components: found on the right machine and day, and of "
        "those coded with the right activity and reason. Made up: of the chain's own events.",
        (("events found", "all"), ("events rightly coded", "all"), ("events made up", "all")),
    ),
    (
        "Life models: right on average?",
        "Fitted over true, as a geometric mean over cells (one component in one duty); half life "
        "is the age by which half have failed.",
        tuple(
            (f"{what} log ratio", among)
            for among in (MANY, "all") for what in ("shape", "scale", "half life")
        ),
    ),
    (
        "Life models: do the 90 % bounds hold the truth?",
        "Share of cells whose bounds hold the true value; 90 % is what they claim.",
        tuple(
            (f"{what} covered", among)
            for among in (MANY, "all") for what in ("shape", "scale", "half life")
        ),
    ),
    (
        "Money lost by intervals",
        "True long-run cost of each decision to replace at an age or to run to failure, above that "
        "of perfect knowledge, weighted by what the machines of each cell run in a year.",
        (("money lost", "all"),),
    ),
    (
        "Demand of the next six months",
        "Mean pinball loss at the 50, 80, 90 and 95 % forecasts of a part's month, over the pieces "
        "that were asked for (lower is better), and share of months at or under the 80 and 95 % "
        "forecast. Pieces are whole, so that slow parts lie under more often than the share says.",
        tuple(
            (measure, among)
            for among in ("all", "1 or more a month")
            for measure in ("pinball loss", "under p80", "under p95")
        ),
    ),
    (
        "Stock replayed day by day",
        "Six months of the true future at each method's levels, every part starting at its reorder "
        "point: share of pieces given at once, and cost of holding and ordering for each piece "
        "asked for [currency].",
        (("fill rate", "all"), ("stock cost", "all")),
    ),
)  # fmt: skip
# beside the careful analyst on the same fleets, so that what both lose alike cancels
BEYOND_CAREFUL = "money lost beyond careful"
ERRORS_ALLOWED = 2.0
_DIFFICULTY_COLUMNS = (
    ("scale log ratio", MANY, OURS, "scale, fitted over true"),
    ("half life log ratio", MANY, OURS, "half life, fitted over true"),
    ("scale covered", "all", OURS, "scale bounds hold"),
    ("half life covered", "all", OURS, "half life bounds hold"),
    ("events rightly coded", "all", OURS, "events rightly coded"),
    ("money lost", "all", OURS, "money lost"),
    ("money lost", "all", "careful analyst", "money lost, careful analyst"),
    (BEYOND_CAREFUL, "all", OURS, "money lost beyond the careful analyst"),
    ("under p95", "all", OURS, "months under 95 %"),
    ("fill rate", "all", OURS, "fill rate"),
    ("fleets run", "all", OURS, "runs to the end"),
)


def as_words(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a table with its word columns as plain text."""
    words = [c for c in frame if isinstance(frame[c].dtype, pd.CategoricalDtype)]
    return frame.astype(dict.fromkeys(words, "object"))


def figure_text(measure: str, figure: float, error: float = math.nan) -> str:
    """Return a figure as it is read: a share as per cent, a log ratio as a ratio.

    Examples
    --------
    >>> figure_text("scale covered", 0.915, 0.012)
    '91.5 % +- 1.2'
    >>> figure_text("scale log ratio", 0.0)
    '1.000'
    """
    if not math.isfinite(figure):
        return "no figure"
    known = math.isfinite(error)
    if measure.endswith("log ratio"):
        ratio = math.exp(figure)
        return f"{ratio:.3f}" + (f" +- {ratio * error:.3f}" if known else "")
    if measure in ("pinball loss", "stock cost"):
        return f"{figure:.2f}" + (f" +- {error:.2f}" if known else "")
    return f"{100 * figure:.1f} %" + (f" +- {100 * error:.1f}" if known else "")


def verdict_section(verdicts: pd.DataFrame) -> Section:
    """Every aim over all sizes together."""
    rows = verdicts[verdicts["case"] == ALL_SIZES].copy()
    rows["found"] = [
        figure_text(m, f, e)
        for m, f, e in zip(rows["measure"], rows["figure"], rows["standard_error"], strict=True)
    ]
    shown = [
        Shown(name="aim", heading="aim"),
        Shown(name="among", heading="over"),
        Shown(name="found", heading="found", number=True),
        Shown(name="answer", heading="verdict"),
    ]
    table = html_table(rows, shown, caption="Aims over all sizes together.")
    return Section("Aims", parts=(table,))


def sizes_section(verdicts: pd.DataFrame, fleets: pd.DataFrame) -> Section:
    """The same aims at each size."""
    rows = verdicts[verdicts["case"] != ALL_SIZES].copy()
    rows["cell"] = [
        f"{answer}\n{figure_text(measure, figure, error)}"
        for answer, measure, figure, error in zip(
            rows["answer"], rows["measure"], rows["figure"], rows["standard_error"], strict=True
        )
    ]
    rows["row"] = rows["aim"] + " (" + rows["among"] + ")"
    wide = rows.pivot(index="row", columns="case", values="cell")
    order = rows.drop_duplicates("row")["row"]
    cases = _in_order(fleets, SIZE)
    wide = wide.reindex(order)[[c for c in cases if c in wide]].reset_index()
    shown = [Shown(name="row", heading="aim")] + [Shown(name=c, heading=c) for c in cases]
    table = html_table(wide, shown, caption="Verdict and figure at each size.")
    return Section("Aims by size", parts=(table,))


def measure_sections(figures: pd.DataFrame) -> list[Section]:
    """One section for each measure, methods side by side; all sizes, then each."""
    out = []
    rows = figures[figures["fleet_kind"] == SIZE]
    cases = sorted(set(rows["case"]), key=_size_order)
    for title, told, measures in _MEASURES:
        tables = []
        for measure, among in measures:
            part = rows[(rows["measure"] == measure) & (rows["among"] == among)]
            methods = [m for m in METHODS if m in set(part["method"])]
            if not methods:
                continue
            wide = _wide(part, measure, methods).reindex(cases).reset_index()
            shown = [Shown(name="case", heading="size")]
            shown += [Shown(name=m, heading=m, number=True, missing="none") for m in methods]
            name = measure.replace(" log ratio", ", fitted over true")
            over = "" if among == "all" else f" ({among})"
            caption = f"{name[0].upper()}{name[1:]}{over}."
            tables.append(html_table(wide, shown, caption=caption))
        out.append(Section(title, "", (told,), tuple(tables)))
    return out


def difficulty_section(figures: pd.DataFrame) -> Section:
    """Each difficulty alone at full strength, beside a fleet without any."""
    rows = figures[figures["fleet_kind"] == DIFFICULTY]
    title = "Each difficulty alone, at full strength"
    if rows.empty:
        return Section(title, "The practice fleet has no switches for its difficulties yet.")
    found: dict[str, dict[str, tuple[float, float]]] = {}
    for measure, among, method, name in _DIFFICULTY_COLUMNS:
        part = rows[
            (rows["measure"] == measure) & (rows["among"] == among) & (rows["method"] == method)
        ]
        for case, figure, error in zip(
            part["case"], part["figure"], part["standard_error"], strict=True
        ):
            found.setdefault(case, {})[name] = (figure, error)
    names = [NO_DIFFICULTY, *sorted(set(found) - {NO_DIFFICULTY})]
    table = []
    for case in names:
        row = {"case": case.replace("_", " ")}
        for measure, _, _, name in _DIFFICULTY_COLUMNS:
            figure, error = found.get(case, {}).get(name, (math.nan, math.nan))
            row[name] = figure_text(measure, figure, error)
            if case != NO_DIFFICULTY:
                row[name] += _cost(measure, figure, found.get(NO_DIFFICULTY, {}).get(name))
        table.append(row)
    shown = [Shown(name="case", heading="difficulty")]
    shown += [Shown(name=n, heading=n, number=True) for _, _, _, n in _DIFFICULTY_COLUMNS]
    told = (
        "Under each figure: how far it moved from the fleets without any difficulty. What full "
        "strength means stands in dutylife.practice.DIFFICULTIES."
    )
    caption = "What each difficulty costs; same fleets otherwise."
    body = html_table(pd.DataFrame(table), shown, caption=caption)
    return Section(title, _against_careful(rows), (told,), (body,))


def _against_careful(rows: pd.DataFrame) -> str:
    """Which difficulties make the chain worse than the careful analyst, in one sentence."""
    beyond = rows[
        (rows["measure"] == BEYOND_CAREFUL) & (rows["among"] == "all") & (rows["method"] == OURS)
    ]
    if beyond["standard_error"].isna().all():
        return "One fleet of each gives no standard error: no verdict against the careful analyst."
    worse = beyond[beyond["figure"] > ERRORS_ALLOWED * beyond["standard_error"]]
    names = ", ".join(sorted(case.replace("_", " ") for case in worse["case"]))
    if not names:
        return (
            "With none of them alone does the chain lose more money than the careful analyst by "
            "more than 2 standard errors."
        )
    return (
        "The chain loses more money than the careful analyst, by more than 2 standard errors, "
        f"under: {names}. DEVELOPERS.md says why."
    )


def rank_section(calibration: pd.DataFrame, ranks: pd.DataFrame) -> Section:
    """Rank histograms of the truth among the draws, and whether they are even."""
    title = "Ranks of the truth among the draws"
    if calibration.empty:
        return Section(title, "No ranks were counted.")
    told = (
        "Even bars are what right draws give: a hump is too wide, a bowl too narrow. Shapes are "
        "drawn from the prior the models state; scales about the scenario's, log standard "
        "deviation 0.5, while the models' own prior is about a starting interval: so a lean of "
        "the scale where the basis is a starting value is no fault of the draws."
    )
    rows = calibration.copy()
    rows["bars"] = [
        _bars(ranks, case, what, basis, n_bins)
        for case, what, basis, n_bins in zip(
            rows["case"], rows["what"], rows["basis"], rows["n_bins"], strict=True
        )
    ]
    rows["p"] = [f"{p:.3g}" for p in rows["p_value"]]
    shown = [
        Shown(name="what", heading="parameter"),
        Shown(name="basis", heading="basis of the law"),
        Shown(name="n_cells", heading="cells", number=True),
        Shown(name="bars", heading="cells in each bin of ranks, low to high"),
        Shown(name="p", heading="chi-square p", number=True),
    ]
    table = html_table(rows, shown, caption="Ranks of the true parameter among a cell's draws.")
    return Section(title, "", (told,), (table,))


def instrument_section(instrument: pd.DataFrame) -> Section:
    """Whether the simulated lives follow their own laws."""
    title = "The instrument"
    if instrument.empty:
        return Section(title, "No cell had enough failures to check the simulated lives.")
    smallest, limit = instrument["ks_p"].min(), 0.01 / len(instrument)
    word = "met" if smallest >= limit else "not met"
    many = instrument[instrument["n_lives"] >= 25_000]
    far = instrument.loc[instrument["n_lives"].idxmax()]
    sentences = [
        f"Simulated lives against their laws, {len(instrument)} Kolmogorov-Smirnov tests: "
        f"smallest p {smallest:.3g}, at least {limit:.2g} asked for: {word}.",
        f"Largest cell: {int(far['n_lives'])} lives of {far['component']} in {far['duty']}; a fit "
        f"to the true lives gives shape {far['shape_ratio']:.4f} and scale "
        f"{far['scale_ratio']:.4f} of the truth "
        f"({far['shape_errors']:+.1f} and {far['scale_errors']:+.1f} standard errors).",
        f"{len(many)} laws have 25 000 lives here; the test of all of them is run by hand.",
    ]
    return Section(title, "", tuple(sentences))


def fleets_section(fleets: pd.DataFrame, info: dict[str, Any]) -> Section:
    """Which fleets, so that any one can be made again."""
    counts = fleets.groupby(["fleet_kind", "case"]).agg(
        n=("fleet", "size"), n_units=("n_units", "first"), n_years=("n_years", "first"),
        seeds=("seed", _seeds),
    ).reset_index()  # fmt: skip
    wrong = fleets[fleets["went_wrong"] != ""]
    sentences = [
        f"{row['fleet']} was refused by the chain: {row['went_wrong']}"
        for row in wrong.head(10).to_dict("records")
    ]
    shown = [
        Shown(name="case", heading="case"),
        Shown(name="fleet_kind", heading="kind"),
        Shown(name="n", heading="fleets", number=True),
        Shown(name="n_units", heading="machines", number=True),
        Shown(name="n_years", heading="years", number=True, write=lambda v: f"{v:g}"),
        Shown(name="seeds", heading="seeds"),
    ]
    table = html_table(counts, shown, caption="Fleets; a seed goes to dutylife practice --seed.")
    return Section("Fleets", f"{info['n_fleets']} fleets.", tuple(sentences), (table,))


def _seeds(seeds: pd.Series) -> str:
    found = sorted(int(s) for s in set(seeds))
    shown = " ".join(map(str, found[:6]))
    return shown if len(found) <= 6 else f"{shown} and {len(found) - 6} more (table prove_fleets)"


def _cost(measure: str, figure: float, base: tuple[float, float] | None) -> str:
    if base is None or not (math.isfinite(figure) and math.isfinite(base[0])):
        return ""
    if measure.endswith("log ratio"):
        return f"\nx {math.exp(figure - base[0]):.3f}"
    return f"\n{100 * (figure - base[0]):+.1f} points"


def _wide(part: pd.DataFrame, measure: str, methods: list[str]) -> pd.DataFrame:
    texts = [
        figure_text(measure, f, e)
        for f, e in zip(part["figure"], part["standard_error"], strict=True)
    ]
    wide = part.assign(text=texts).pivot(index="case", columns="method", values="text")
    return wide[methods]


def _size_order(case: str) -> tuple[int, float, str]:
    numbers = [float(w) for w in case.split() if w.replace(".", "").isdigit()]
    return (int(numbers[0]), numbers[1], case) if len(numbers) == 2 else (0, 0.0, case)


def _in_order(fleets: pd.DataFrame, kind: str) -> list[str]:
    return sorted(set(fleets.loc[fleets["fleet_kind"] == kind, "case"]), key=_size_order)


def _bars(ranks: pd.DataFrame, case: str, what: str, basis: str, n_bins: int) -> str:
    rows = ranks[(ranks["case"] == case) & (ranks["what"] == what) & (ranks["basis"] == basis)]
    at = ((rows["rank"] + 0.5) / (rows["n_draws"] + 1) * n_bins).astype(int)
    counts = rows["n_cells"].groupby(at).sum().reindex(range(n_bins), fill_value=0)
    return text_of(" ".join(str(int(c)) for c in counts))


def percent_of(share: float) -> str:
    """Return a share to a tenth of a percent: it tells an aim that is met from one that is not."""
    return f"{100 * share:.1f} %"


def share_column(name: str, heading: str) -> Shown:
    """Return a column of shares, to a tenth of a percent."""
    return Shown(name=name, heading=heading, number=True, missing="none", write=percent_of)
