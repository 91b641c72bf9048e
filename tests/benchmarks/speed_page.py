"""The table of speeds and the figure of growth, kept in a folder for people to read."""

from html import escape
from pathlib import Path

import pandas as pd

from dutylife.reports.figures import COLOURS, DASHES

COMMAND = "python tests/benchmarks/ratios.py --write reports/sample/speed"
COLUMNS = ("id", "ratio", "target", "verdict", "lowest", "highest", "load", "said")


def write_speed(folder: Path, ratios: pd.DataFrame, growth: pd.DataFrame, where: str) -> Path:
    """Write ratios.csv, growth.csv, growth.png and a README.md that shows them."""
    folder.mkdir(parents=True, exist_ok=True)
    ratios.to_csv(folder / "ratios.csv", index=False, float_format="%.6g")
    rows = ["| " + " | ".join(COLUMNS) + " |", "|" + " --- |" * len(COLUMNS)]
    for row in ratios[list(COLUMNS)].itertuples(index=False):
        cells = (f"{c:.4g}" if isinstance(c, float) else str(c) for c in row)
        rows.append("| " + " | ".join(escape(c).replace("|", "\\|") for c in cells) + " |")
    text = [
        "# Speeds beside their targets", "",
        f"`{COMMAND}`: {where}.", "",
        "A ratio holds our way against a plain way of the same job in the same process, so that it "
        "means the same on any machine; `lowest` and `highest` are the extremes of the repeats.",
        "", *rows, "",
    ]  # fmt: skip
    if len(growth):
        growth.to_csv(folder / "growth.csv", index=False, float_format="%.6g")
        text += [f"![{draw_growth(growth, folder / 'growth.png')}](growth.png)", ""]
    (folder / "README.md").write_text("\n".join(text), encoding="utf-8")
    return folder


def draw_growth(growth: pd.DataFrame, path: Path) -> str:
    """Draw seconds a row over those at the smallest size; returns what the figure shows."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt
    import seaborn as sns

    of = growth.assign(
        times=growth["size"] / growth.groupby("id")["size"].transform("first"),
        each=growth["seconds"] / growth["size"],
    )
    of["each"] /= of.groupby("id")["each"].transform("first")
    names = list(dict.fromkeys(of["id"]))
    marks = ("o", "s", "^", "D", "v", "P", "X")
    with sns.axes_style("whitegrid", {"grid.color": "#dfe4e1", "axes.edgecolor": "#4a5653"}):
        figure, axes = plt.subplots(figsize=(7.6, 4.4), layout="constrained")
        for i, name in enumerate(names):
            own = of[of["id"] == name]
            what = f"{name.removesuffix('-growth')}, {own['unit'].iloc[0]}"
            sns.lineplot(
                own, x="times", y="each", ax=axes, label=what, color=COLOURS[i % len(COLOURS)],
                linestyle=DASHES[i % len(DASHES)], marker=marks[i % len(marks)], linewidth=2,
                errorbar=None,
            )  # fmt: skip
        axes.axhline(1.0, color="#4a5653", linewidth=1)
        axes.text(1.0, 1.01, "in step with size", color="#4a5653", fontsize=9, va="bottom")
        axes.set_xscale("log")
        axes.set_xticks([1, 5, 25], labels=["1", "5", "25"])
        axes.minorticks_off()
        axes.set(
            xlabel="size, as a multiple of the smallest measured",
            ylabel="time for each, as a multiple", ylim=(0, None),
            title="Time for each row, cell or position as the job grows",
        )  # fmt: skip
        axes.legend(loc="lower left", frameon=False, fontsize=9)
        sns.despine(figure)
        figure.savefig(path, dpi=130, metadata={"Software": None})
        plt.close(figure)
    last = of.groupby("id", sort=False).last()
    told = ", ".join(f"{n} {r.each:.2f} at {r.times:.0f} times" for n, r in last.iterrows())
    return (
        "Time for each row as the job grows, over that of the smallest size measured (1 is in "
        f"step with size): {told}."
    )
