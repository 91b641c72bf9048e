"""The table and figure of how a run grows with its lines, kept in a folder for people to read."""

from collections.abc import Sequence
from math import log
from pathlib import Path

import pandas as pd

from dutylife.reports.figures import COLOURS, DASHES

COMMAND = "python tests/benchmarks/scale_curve.py DIR --write reports/sample/scale"
RUN = (
    "Each size is one `dutylife run` on an invented export, 50 lines a machine, in a process of "
    "its own. Processor seconds say more than those of the clock, since the machine was shared; a "
    "plain read is `pandas.read_csv` of the same file; an exponent of 1 is in step with the lines."
)


def with_exponents(points: pd.DataFrame) -> pd.DataFrame:
    """Processor time a line, multiples of a plain read, and growth since the size before.

    Parameters
    ----------
    points : DataFrame
        A row a size, smallest first: lines, machines, clock_seconds, processor_seconds,
        plain_processor_seconds, peak_mb, plain_peak_mb.
    """
    out = points.assign(
        microseconds_a_line=1e6 * points["processor_seconds"] / points["lines"],
        times_a_plain_read=points["processor_seconds"] / points["plain_processor_seconds"],
        peak_times_a_plain_read=points["peak_mb"] / points["plain_peak_mb"],
    )
    before = points.shift()
    out["exponent"] = [
        log(now / then) / log(many / few) if few == few else float("nan")
        for now, then, many, few in zip(
            points["processor_seconds"], before["processor_seconds"], points["lines"],
            before["lines"], strict=True,
        )
    ]  # fmt: skip
    return out


def write_scale(
    folder: Path, points: pd.DataFrame, stages: pd.DataFrame, where: str,
    notes: Sequence[str] = (), what: str = "whole run", how: str = RUN,
) -> Path:  # fmt: skip
    """Write curve.csv, stages.csv, growth.png and a README.md that shows them.

    ``what`` was measured, and ``how``, where it is not one run a size.
    """
    folder.mkdir(parents=True, exist_ok=True)
    table = with_exponents(points)
    table.to_csv(folder / "curve.csv", index=False, float_format="%.6g")
    stages.to_csv(folder / "stages.csv", index=False, float_format="%.6g")
    text = [
        f"# How a {what} grows with its lines", "",
        f"`{COMMAND}` makes this page; here: {where}.", "",
        how, "",
        *_rows(table), "",
        f"![{draw(table, folder / 'growth.png', what)}](growth.png)", "",
        "Seconds of each stage:", "",
        *_rows(stages), "", *(f"{note}\n" for note in notes),
    ]  # fmt: skip
    (folder / "README.md").write_text("\n".join(text).rstrip() + "\n", encoding="utf-8")
    return folder


def _rows(table: pd.DataFrame) -> list[str]:
    out = ["| " + " | ".join(c.replace("_", " ") for c in table) + " |",
           "|" + " --- |" * len(table.columns)]  # fmt: skip
    for row in table.itertuples(index=False):
        out.append("| " + " | ".join(_told(c) for c in row) + " |")
    return out


def _told(cell: object) -> str:
    if isinstance(cell, str):
        return cell
    value = float(str(cell))
    if value != value:
        return "not measured"
    return f"{value:,.0f}".replace(",", " ") if abs(value) >= 100 else f"{value:.3g}"


def draw(points: pd.DataFrame, path: Path, what: str = "whole run") -> str:
    """Draw processor time and memory over lines, powers of ten; returns what the figure shows."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt
    import seaborn as sns

    lines = points["lines"]
    with sns.axes_style("whitegrid", {"grid.color": "#dfe4e1", "axes.edgecolor": "#4a5653"}):
        figure, both = plt.subplots(1, 2, figsize=(9.6, 4.2), layout="constrained")
        for axes, ours, plain, unit in (
            (both[0], "processor_seconds", "plain_processor_seconds", "processor seconds"),
            (both[1], "peak_mb", "plain_peak_mb", "peak memory [MB]"),
        ):
            for i, (column, name) in enumerate(((ours, what), (plain, "plain read"))):
                axes.loglog(
                    lines, points[column], marker="os"[i], color=COLOURS[i], linestyle=DASHES[i],
                    linewidth=2, label=name,
                )  # fmt: skip
            first = points[ours].iloc[-1] / lines.iloc[-1]
            axes.loglog(lines, first * lines, color="#4a5653", linewidth=1, linestyle=":",
                        label="in step with the last size")  # fmt: skip
            axes.set(xlabel="service lines", ylabel=unit)
            axes.legend(frameon=False, fontsize=9)
        figure.suptitle(f"What a {what} takes as its export grows")
        sns.despine(figure)
        figure.savefig(path, dpi=130, metadata={"Software": None})
        plt.close(figure)
    told = "; ".join(
        f"{r.lines:,} lines {r.processor_seconds:,.0f} s and {r.peak_mb:,.0f} MB"
        for r in points.itertuples()
    )
    return f"Processor time and peak memory of a {what} over its lines: {told}."
