"""Pictures of figures held side by side: laws, batches, duties, covariates, corrections."""

import math
from typing import Any

import numpy as np

from dutylife import wording
from dutylife.decisions import LikelyCauses
from dutylife.models import (
    BatchComparison,
    CellFits,
    EarlyFailures,
    LawChoice,
    LifeRegression,
    ShapeFactor,
)
from dutylife.models.pooling import Pooled
from dutylife.reports.figures import COLOURS, DASHES
from dutylife.reports.results.marks import MOST_ROWS, Units, dots, plain_numbers, title

Z_90 = 1.6448536269514722  # normal quantile of a two-sided 90 % range
SHAPE = "Weibull shape, log scale [1]"


def _reference(axes: Any, at: float, label: str) -> None:
    axes.axvline(at, color=COLOURS[4], linestyle=DASHES[4], linewidth=1.4, label=label)


def choice(axes: Any, chosen: LawChoice, units: Units) -> None:
    """Draw Akaike's criterion of each law above the lowest; rejected laws have a diamond."""
    table = chosen.table
    gap = table["aic_difference"].to_numpy()
    names = [
        f"{law} (b10 {wording.number(float(b10))} {units.age})"
        for law, b10 in zip(table["law"], table["b10"], strict=True)
    ]
    missing = np.full(len(table), math.nan)
    dots(
        axes, names, gap, missing, missing, marked=~table["fits"], label="fits",
        marked_label="rejected by its distance test",
    )  # fmt: skip
    _reference(axes, 2.0, "2: can't be told apart below")
    axes.set_xlim(-0.05 * max(gap.max(), 2.5), 1.12 * max(gap.max(), 2.5))
    axes.set(xlabel="Akaike's criterion above the lowest [1]", ylabel="law")
    title(axes, chosen.text)


def early(axes: Any, found: EarlyFailures, units: Units) -> None:
    """Draw the chance of each failure to be of the early lot, by age."""
    rows = found.failures
    axes.set_xscale("log")
    axes.plot(
        rows["age"], rows["chance_early"], linestyle="none", marker="o", color=COLOURS[0],
        markersize=6, alpha=0.8, label="a failure",
    )  # fmt: skip
    axes.axhline(0.5, color=COLOURS[4], linestyle=DASHES[4], linewidth=1.4, label="even chance")
    plain_numbers(axes.xaxis)
    axes.set(xlabel=f"age at failure, log scale [{units.age}]", ylim=(-0.03, 1.03),
             ylabel="chance to be of an early lot [1]")  # fmt: skip
    title(axes, found.text)


def batches(axes: Any, found: BatchComparison, units: Units) -> None:  # noqa: ARG001
    """Draw the lives of each batch over the others', with ranges; flagged ones have a diamond."""
    table = found.table
    axes.set_xscale("log")
    names = [f"{r.batch} ({r.n_failed} of {r.n_lives} failed)" for r in table.itertuples()]
    dots(
        axes, names, table["times_life"], table["lower"], table["upper"],
        marked=table["flag"] != "", label="not told apart", marked_label="lasts unlike",
    )  # fmt: skip
    _reference(axes, 1.0, f"as long as {found.against}")
    low, high = axes.get_xlim()
    axes.set_xlim(min(low, 0.8), max(high, 1.25))
    plain_numbers(axes.xaxis)
    axes.set(xlabel=f"times as long as {found.against}, log scale [1]", ylabel="batch")
    title(axes, found.text)


def cells(axes: Any, fits: CellFits, units: Units) -> None:
    """Draw the shape of each fitted cell with its range; of many cells shape against scale."""
    rows = np.flatnonzero(fits.fitted)
    axes.set_xscale("log")
    if 0 < len(rows) <= MOST_ROWS:
        limits = fits.limits("shape", 0.90)
        names = [f"{fits.cells[int(i)]} ({fits.n_failed[i]} failed)" for i in rows]
        low, high = (limits[c].to_numpy(float)[rows] for c in ("lower", "upper"))
        dots(axes, names, fits.shape[rows], low, high, label="shape, 90 % range")
        _reference(axes, 1.0, "1: no wear")
        left, right = axes.get_xlim()
        axes.set_xlim(min(left, 0.8), max(right, 1.25))
        axes.set(xlabel=SHAPE, ylabel="cell")
    else:
        axes.set_yscale("log")
        axes.plot(
            fits.shape[rows], fits.scale[rows], linestyle="none", marker="o", color=COLOURS[0],
            alpha=0.5, markersize=4, label="a cell",
        )  # fmt: skip
        _reference(axes, 1.0, "1: no wear")
        plain_numbers(axes.yaxis)
        axes.set(xlabel=SHAPE, ylabel=f"scale (63.2 % failed), log scale [{units.age}]")
    plain_numbers(axes.xaxis)
    title(axes, fits.text)


def regression(axes: Any, fitted: LifeRegression, units: Units) -> None:  # noqa: ARG001
    """Draw by how much one more of each covariate multiplies life, with 90 % ranges."""
    rows = fitted.table.drop(index=["log_spread", fitted.names[0]])
    axes.set_xscale("log")
    half = Z_90 * rows["standard_error"]
    dots(
        axes, list(rows.index), rows["times_life"], np.exp(rows["value"] - half),
        np.exp(rows["value"] + half), label="90 % range",
    )  # fmt: skip
    _reference(axes, 1.0, "1: makes no difference")
    low, high = axes.get_xlim()
    axes.set_xlim(min(low, 0.9), max(high, 1.1))
    plain_numbers(axes.xaxis)
    axes.set(xlabel="life is multiplied by, log scale [1]", ylabel="one more of")
    title(axes, fitted.text)


def shape_factor(axes: Any, found: ShapeFactor, units: Units) -> None:  # noqa: ARG001
    """Draw the factor that sets a shape right, with the error of its simulation."""
    half = Z_90 * found.standard_error
    name = f"{found.n_failed} failures in {found.n_lives} lives"
    dots(
        axes, [name], [found.factor], [found.factor - half], [found.factor + half],
        label="factor" + (", 90 % range of its simulation" if half else ""),
    )  # fmt: skip
    _reference(axes, 1.0, "1: no correction")
    axes.set_xlim(min(0.0, found.factor), max(1.1, 1.1 * found.factor))
    axes.set(xlabel=f"factor for a {found.unbiased}-unbiased shape [1]", ylabel="record")
    title(axes, found.text)


def pooled(axes: Any, found: Pooled, units: Units) -> None:  # noqa: ARG001
    """Draw the shape of each duty with its range, and how much of it is the duty's own."""
    spans = np.array([c.range_of("shape", 0.90) for c in found.cells])
    shares = [found.own_share(i) for i in range(len(found.cells))]
    names = [f"duty {i + 1} ({100 * s:.0f} % its own lives)" for i, s in enumerate(shares)]
    axes.set_xscale("log")
    dots(axes, names, spans[:, 1], spans[:, 0], spans[:, 2], label="median, 90 % range")
    _reference(axes, 1.0, "1: no wear")
    low, high = axes.get_xlim()
    axes.set_xlim(min(low, 0.8), max(high, 1.25))
    plain_numbers(axes.xaxis)
    axes.set(xlabel=SHAPE, ylabel="duty, in the order given")
    least = 1 + int(np.argmin(shares))
    title(
        axes,
        f"{wording.count(len(shares), 'duty', 'duties')} of one component lend to each other: "
        f"duty {least} leans most on the others.",
    )


def likely_causes(axes: Any, found: LikelyCauses, units: Units) -> None:  # noqa: ARG001
    """Draw the chance of each component with its range, in the order of the checks."""
    rows = found.table.iloc[::-1]
    place = np.arange(len(rows))
    low, high = rows["probability_lower"], rows["probability_upper"]
    axes.hlines(place, low, high, color=COLOURS[0], linewidth=4, alpha=0.4, label="range")
    axes.plot(rows["probability"], place, linestyle="none", marker="o", color=COLOURS[1],
              label="chance")  # fmt: skip
    axes.set_yticks(place, rows["component"].astype(str))
    axes.set(xlabel="chance that it is the cause [1]", xlim=(0, 1.02),
             ylabel="component, the first check on top")  # fmt: skip
    axes.legend(loc="lower right")
    title(axes, found.text)


DRAWN = {
    LikelyCauses: likely_causes,
    LawChoice: choice,
    EarlyFailures: early,
    BatchComparison: batches,
    CellFits: cells,
    LifeRegression: regression,
    ShapeFactor: shape_factor,
    Pooled: pooled,
}
