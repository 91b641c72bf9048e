"""Figures: data on the axes, units on the labels, told apart without colour, same bytes again."""

import matplotlib
import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from dutylife.errors import RunError
from dutylife.provenance import Run
from dutylife.reports import figures, plot
from dutylife.reports.evidence import law_figures
from dutylife.reports.facts import facts_of, plain, records

matplotlib.use("agg")
CELL = {"component": "carburetor", "duty": "landscape"}


def of_cell(table: pd.DataFrame) -> pd.DataFrame:
    rows = plain(table)
    return rows[(rows["component"] == CELL["component"]) & (rows["duty"] == CELL["duty"])]


def test_survival_shows_the_steps_and_the_law(run: Run):
    axes = Figure().subplots()
    curve, model = of_cell(run.table("survival_curves")), of_cell(run.table("life_models"))
    draws = of_cell(run.table("life_draws"))
    alt = law_figures.draw_survival(axes, curve, draws, records(model)[0], facts_of(run))
    assert "9 failures in 14 lives" in alt
    assert axes.get_xlabel().endswith("[h]")
    assert axes.get_ylabel().endswith("[1]")
    seen, law = axes.lines[2], axes.lines[3]
    assert seen.get_xdata()[0] == 0
    assert seen.get_ydata()[-1] == 0
    at = np.interp(420.0, law.get_xdata(), law.get_ydata())
    assert at == pytest.approx(np.exp(-1), abs=2e-3)  # 63 % have failed by the scale
    assert seen.get_linestyle() != law.get_linestyle()


def test_costs_show_advice_flat_stretch_and_running_to_failure(run: Run):
    axes = Figure().subplots()
    row = next(r for r in records(of_cell(run.table("intervals"))) if r.task == "replace")
    curve = of_cell(run.table("cost_curves"))
    alt = figures.draw_costs(axes, curve, row, "EUR", facts_of(run))
    assert "advised at 210 h" in alt
    assert axes.get_ylabel() == "EUR per 1000 h"
    by_label = {line.get_label(): line for line in axes.lines}
    assert by_label["advised"].get_xdata()[0] == 210.0
    low, high = by_label["within 5 % of the cheapest"].get_xdata()
    cost = curve.set_index("age")["cost_per_1000_hours"]
    assert cost[low] <= 1.05 * cost.min()
    assert cost[high] <= 1.05 * cost.min()
    assert (cost[cost.index > high] > 1.05 * cost.min()).all()


def test_demand_shows_mean_and_range_of_each_month(run: Run):
    axes = Figure().subplots()
    rows = plain(run.table("demand_forecast"))
    rows = rows[
        (rows["part_number"] == "P-100") & (rows["plan"] == "as seen") & (rows["months"] == 1)
    ]
    alt = figures.draw_demand(axes, rows, "P-100")
    assert "6 calendar months" in alt
    assert "[pieces a month]" in axes.get_ylabel()
    assert list(axes.lines[0].get_ydata()) == pytest.approx([3.2] * 6)
    assert [tuple(s[:, 1]) for s in axes.collections[0].get_segments()] == [(3.0, 6.0)] * 6


def test_the_same_figure_has_the_same_bytes_and_words_beside_it():
    def draw(axes):
        axes.plot([0, 1], [0, 1])
        return 'a "line" <b>'

    first, second = figures.as_figure(draw), figures.as_figure(draw)
    assert first == second
    assert 'alt="a &#34;line&#34; &lt;b&gt;"' in first


def test_the_law_of_a_lognormal_has_half_left_at_its_scale():
    assert figures.law_survival(np.array([0.0, 80.0]), "lognormal", 1.7, 80.0) == pytest.approx(
        [1.0, 0.5]
    )


def test_lines_differ_in_dash_as_well_as_colour():
    assert len(set(figures.DASHES)) == len(set(figures.COLOURS)) == 5


@pytest.mark.parametrize(
    ("name", "which"),
    [
        ("survival_curves", {"component": "carburetor"}),
        ("cost_curves", {"component": "carburetor", "duty": "landscape"}),
        ("demand_forecast", {"part_number": "P-101"}),
        ("failure_events", {}),
    ],
)
def test_a_table_plots_itself(run: Run, name: str, which: dict[str, str]):
    import matplotlib.pyplot as plt

    axes = plot(run.table(name), **which)
    assert axes.get_xlabel()
    assert axes.has_data()
    plt.close("all")


@pytest.mark.parametrize(
    ("name", "which", "says"),
    [
        ("units", {}, "No figure fits"),
        ("survival_curves", {}, "15 curves are too many"),
        ("survival_curves", {"part": "x"}, "no column 'part'"),
        ("survival_curves", {"component": "no such"}, "No row is left"),
    ],
)
def test_what_can_not_be_plotted_says_why(run: Run, name: str, which: dict[str, str], says: str):
    with pytest.raises(RunError, match=says):
        plot(run.table(name), **which)
