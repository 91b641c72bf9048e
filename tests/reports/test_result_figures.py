"""Every result draws itself: labels with units, its table's own figures, bounds, a plain title."""

import re

import matplotlib
import numpy as np
import pytest
from made_results import every_result

from dutylife import decisions, models, stock
from dutylife.errors import RunError
from dutylife.reports import plot
from dutylife.reports.results import drawers

matplotlib.use("agg")
# kinds that hold no table to draw: verdicts in words, a way of telling, readings not yet modelled
NOT_DRAWN = {"Life", "ReadingVerdict", "PartReadings", "DemandLaw", "DemandClass"}


@pytest.fixture(scope="module")
def results():
    return every_result()


@pytest.fixture
def drawn(results):
    return lambda name: plot(results[name], age_unit="h", money="EUR")


@pytest.fixture(autouse=True)
def closed():
    import matplotlib.pyplot as plt

    yield
    plt.close("all")


def line(axes, label: str):
    found = [one for one in axes.lines if str(one.get_label()).startswith(label)]
    assert len(found) == 1, [one.get_label() for one in axes.lines]
    return found[0]


def test_no_kind_of_result_is_forgotten():
    public = {
        kind
        for module in (models, decisions, stock)
        for name in module.__all__
        if isinstance(kind := getattr(module, name), type) and name not in NOT_DRAWN
    }
    assert public - set(drawers()) == set()


@pytest.mark.parametrize("kind", drawers(), ids=lambda kind: kind.__name__)
def test_each_is_drawn_with_units_a_title_and_nothing_told_by_colour_alone(results, drawn, kind):
    assert type(results[kind.__name__]) is kind
    axes = drawn(kind.__name__)
    axes.figure.canvas.draw()
    labels = axes.get_xlabel(), axes.get_ylabel()
    words = [tick.get_text() for tick in axes.get_yticklabels()]
    rows_of_names = any(re.search("[a-z]", word) for word in words)
    assert re.search(r"\[.+\]$", labels[0])
    assert re.search(r"\[.+\]$", labels[1]) or (labels[1] and rows_of_names)
    title = axes.figure.get_suptitle()
    assert title.endswith(".")
    assert "None" not in title
    assert axes.has_data()
    told = [one for one in axes.lines if not str(one.get_label()).startswith("_")]
    looks = [(str(x.get_linestyle()), x._dash_pattern, x.get_marker(), x.get_linewidth())
             for x in told]  # fmt: skip
    assert len(set(map(str, looks))) == len(looks), "two lines differ in colour alone"


@pytest.mark.parametrize(
    ("name", "label", "column"),
    [
        ("SurvivalCurve", "as seen", "survival"),
        ("CumulativeHazard", "as seen", "cumulative_hazard"),
        ("MeanCumulative", "mean", "mean_events"),
    ],
)
def test_steps_are_those_of_the_table_with_both_limits(results, drawn, name, label, column):
    axes, table = drawn(name), results[name].table
    curve = line(axes, label)
    assert list(curve.get_xdata()[1:]) == list(table["age"])
    np.testing.assert_array_equal(curve.get_ydata()[1:], table[column])
    dotted = [one for one in axes.lines if one.get_linestyle() == ":"]
    for edge, end in zip(dotted, ("lower", "upper"), strict=True):
        np.testing.assert_array_equal(edge.get_ydata()[1:], table[end])


def test_each_cause_has_its_line_and_limits(results, drawn):
    axes, table = drawn("CauseCurves"), results["CauseCurves"].table
    for cause in ("clogged", "worn"):
        rows = table[table["cause"] == cause]
        curve = line(axes, f"cause {cause}")
        np.testing.assert_array_equal(curve.get_ydata()[1:], rows["incidence"])
    assert len(axes.lines) == 6


def test_where_looks_leave_the_fall_open_there_is_a_box(results, drawn):
    axes, table = drawn("IntervalCurve"), results["IntervalCurve"].table
    boxes = table[table["mass"] > 0]
    assert len(axes.collections) == len(boxes)
    spans = [tuple(c.get_paths()[0].get_extents().intervalx) for c in axes.collections]
    assert spans == list(zip(boxes["lower"], boxes["upper"], strict=True))


@pytest.mark.parametrize("name", ["LifeLaw", "CurvedLaw"])
def test_a_law_passes_through_its_own_figures(results, drawn, name):
    axes, table = drawn(name), results[name].table
    curve = line(axes, results[name].law)
    for what, left in (("b10", 0.9), ("b50", 0.5)):
        at = np.interp(table.loc[what, "value"], curve.get_xdata(), curve.get_ydata())
        assert at == pytest.approx(left, abs=2e-3)
    bars = [list(b.get_xdata()) for b in axes.lines if b.get_marker() == "|"]
    assert bars == [list(table.loc[w, ["lower", "upper"]]) for w in ("b10", "b50")]


def test_failures_at_their_ranks_stand_about_the_line(results, drawn):
    axes, fit = drawn("RankFit"), results["RankFit"]
    points = line(axes, "failures")
    assert len(points.get_xdata()) == len(fit.table)
    # by the definition of the scale: 63.2 % have failed, where the line crosses 0
    ends = line(axes, "line of shape")
    zero = np.interp(0.0, ends.get_ydata(), np.log(ends.get_xdata()))
    assert np.exp(zero) == pytest.approx(fit.scale)


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("LawChoice", lambda r: r.table["aic_difference"]),
        ("BatchComparison", lambda r: r.table["times_life"]),
        ("CellFits", lambda r: r.table["shape"]),
        ("LifeRegression", lambda r: r.table["times_life"].iloc[1:-1]),
        ("ShapeFactor", lambda r: r.table["factor"]),
        ("Pooled", lambda r: [c.range_of("shape", 0.9)[1] for c in r.cells]),
    ],
)
def test_side_by_side_every_row_has_its_dot(results, drawn, name, values):
    axes = drawn(name)
    dots = [d for d in axes.lines if d.get_marker() in ("o", "D")]
    found = sorted(float(x) for d in dots for x in d.get_xdata())
    assert found == pytest.approx(sorted(map(float, values(results[name]))))
    assert len(axes.get_yticks()) == len(found)


def test_bars_of_batches_are_their_bounds(results, drawn):
    axes, table = drawn("BatchComparison"), results["BatchComparison"].table
    bars = [list(b.get_xdata()) for b in axes.lines if len(b.get_xdata()) == 2][: len(table)]
    np.testing.assert_allclose(sorted(bars), sorted(map(list, table[["lower", "upper"]].values)))


def test_a_range_without_end_has_an_arrow():
    """Nothing failed in one batch: its lives have no upper bound."""
    age = np.r_[np.linspace(50, 400, 20), np.full(10, 300.0)]
    failed = np.r_[np.ones(20), np.zeros(10)]
    batch = ["a"] * 20 + ["b"] * 10
    axes = plot(models.compare_batches(age, failed, batch, n_simulated=50))
    assert [m.get_marker() for m in axes.lines].count(">") == 1


def test_early_failures_are_points_by_age(results, drawn):
    points = line(drawn("EarlyFailures"), "a failure")
    assert list(points.get_xdata()) == list(results["EarlyFailures"].failures["age"])


def test_events_that_come_again(results, drawn):
    law = results["PowerLaw"]
    curve = line(drawn("PowerLaw"), f"power {law.power:.3g}, by likelihood (90 % range")
    assert curve.get_ydata()[-1] == pytest.approx(law.expected(law.end))
    order = results["OrderTest"]
    assert line(drawn("OrderTest"), "this record").get_xdata()[0] == order.z
    tests = results["TrendTests"].table.dropna()
    fast = line(drawn("TrendTests"), "comes as fast")
    np.testing.assert_allclose(fast.get_xdata(), np.clip(tests["p_deteriorating"], 1e-4, 1))


def test_readings_have_a_line_for_each_part_and_the_limit(results, drawn):
    axes, model = drawn("PathModel"), results["PathModel"]
    paths = [one for one in axes.lines if one.get_marker() == "."]
    assert len(paths) == model.n_parts
    assert sum(len(one.get_xdata()) for one in paths) == model.n_readings
    assert set(line(axes, "limit").get_ydata()) == {12.0}
    ends = model.time_to_limit().iloc[0]
    assert list(line(axes, "new parts").get_xdata()) == [ends["lower"], ends["upper"]]


@pytest.mark.parametrize(
    ("name", "x", "y"),
    [
        ("AgeReplacement", "age", "cost_rate"),
        ("AgeReplacementDraws", "age", "cost_rate"),
        ("BlockReplacement", "interval", "cost_rate"),
        ("InspectionInterval", "interval", "rate"),
    ],
)
def test_costs_show_the_curve_the_advice_and_doing_without(results, drawn, name, x, y):
    axes, found = drawn(name), results[name]
    curve = line(axes, "long-run")
    np.testing.assert_array_equal(curve.get_xdata(), found.table[x])
    np.testing.assert_array_equal(curve.get_ydata(), found.table[y])
    assert line(axes, "cheapest").get_xdata()[0] == found.interval
    assert axes.get_ylabel().endswith("[EUR per h]")
    assert axes.get_xlim()[1] > found.interval
    assert len([one for one in axes.lines if str(one.get_label()).startswith(("run", "with"))]) == 2


def test_the_other_decisions_draw_their_tables(results, drawn):
    rows = results["FailureFindingInterval"].table.sort_values("availability")
    assert list(line(drawn("FailureFindingInterval"), "spacing").get_ydata()) == list(
        rows["interval"]
    )
    table = results["RenewalFunction"].table
    axes = drawn("RenewalFunction")
    assert list(line(axes, "expected").get_ydata()) == list(table["expected"])
    assert list(line(axes, "line it nears").get_ydata()) == list(table["asymptote"])
    joint, axes = results["JointIntervals"], drawn("JointIntervals")
    done = [one for one in axes.lines if one.get_marker() == "o"]
    assert [one.get_xdata()[0] for one in done] == list(joint.intervals)


def test_stock_answers_draw_their_tables(results, drawn):
    axes, table = drawn("BaseStock"), results["BaseStock"].table
    for label, column in (("pieces given", "fill_rate"), ("nothing", "ready_rate")):
        assert list(line(axes, label).get_ydata()) == list(table[column])
    policy, axes = results["ReorderPolicy"], drawn("ReorderPolicy")
    assert set(line(axes, "on shelf and on order").get_ydata()) == {7.0, 19.0}
    assert set(line(axes, "safety stock").get_ydata()) == {policy.safety_stock}
    bars = [p.get_width() for p in drawn("Newsvendor").patches]
    bought = results["Newsvendor"]
    assert bars == [bought.quantity, bought.left_over, bought.short]
    assert len(drawn("OrderQuantity").patches) == 4
    assert len(drawn("OrderUpToPolicy").patches) == len(results["OrderUpToPolicy"].table)
    steps = results["BudgetAllocation"].table
    assert list(line(drawn("BudgetAllocation"), "no part").get_xdata()) == list(steps["cost"])
    axes, record = drawn("IntermittentForecast"), results["IntermittentForecast"].table
    assert [p.get_height() for p in axes.patches][:20] == list(record["demand"][:20])
    assert list(line(axes, "periods to come").get_ydata()) == list(record["forecast"][20:])
    chances = line(drawn("GammaPoisson"), "what is known").get_ydata()
    assert list(chances) == list(results["GammaPoisson"].table["chance"])


def test_many_cells_are_a_cloud():
    rng = np.random.default_rng(4)
    fits = models.fit_cells(np.repeat(np.arange(60), 15), 100 * rng.weibull(2, 900), np.ones(900))
    axes = plot(fits)
    assert len(line(axes, "a cell").get_xdata()) == 60
    assert axes.get_ylabel().endswith("[age unit]")


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (lambda: plot(object()), "A result of type 'object' can't be plotted"),
        (lambda: plot([1, 2]), "A result of type 'list' can't be plotted"),
        (lambda: plot(models.kaplan_meier([1, 2], [1, 0]), component="x"), "is drawn whole"),
        (
            lambda: plot(models.aalen_johansen([1, 2, 3, 4, 5, 6], list("abcdef"))),
            "6 causes are too many",
        ),
    ],
)
def test_what_can_not_be_drawn_says_what_can(made, told):
    import matplotlib.pyplot as plt

    with pytest.raises(RunError, match=told):
        made()
    assert not plt.get_fignums(), "no empty figure is left in a notebook"
