"""Bad input of every public function of the life models: a message that names the rows."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from dutylife import models
from dutylife.errors import FitError

GOOD = {
    "exit": [5.0, 9.0, 7.0, 12.0, 4.0, 8.0],
    "event": [1, 1, 0, 1, 1, 1],
    "entry": [0.0, 2.0, 0.0, 0.0, 1.0, 0.0],
}
UNITS, BATCHES = list("abcdef"), list("aabbab")
LAWS = ["weibull", "lognormal", "exponential", "log-logistic", "gamma", "three-parameter weibull"]
Given = dict[str, Any]


def law_of(name: str) -> Callable[[Given], Any]:
    return lambda g: models.fit_law(name, g["exit"], g["event"], entry=g["entry"])


def regression(g: Given) -> Any:
    load = pd.DataFrame({"load": np.arange(len(g["exit"])) % 3 * 1.0})
    return models.fit_law("weibull", g["exit"], g["event"], entry=g["entry"], covariates=load)


FITS: dict[str, Callable[[Given], Any]] = {f"fit_law {name}": law_of(name) for name in LAWS} | {
    "fit_law covariates": regression,
    "choose_law": lambda g: models.choose_law(
        g["exit"], g["event"], entry=g["entry"], n_simulated=19
    ),
    "compare_batches": lambda g: models.compare_batches(
        g["exit"], g["event"], BATCHES[: len(g["exit"])], entry=g["entry"], n_simulated=50
    ),
    "early_failures": lambda g: models.early_failures(
        g["exit"], g["event"], entry=g["entry"], n_simulated=39
    ),
    "rank_regression": lambda g: models.rank_regression(g["exit"], g["event"], entry=g["entry"]),
}
CURVES: dict[str, Callable[[Given], Any]] = {
    "kaplan_meier": lambda g: models.kaplan_meier(g["exit"], g["event"], entry=g["entry"]),
    "nelson_aalen": lambda g: models.nelson_aalen(g["exit"], g["event"], entry=g["entry"]),
    "aalen_johansen": lambda g: models.aalen_johansen(g["exit"], g["event"], entry=g["entry"]),
    "mean_cumulative": lambda g: models.mean_cumulative(
        UNITS[: len(g["exit"])], g["exit"], g["event"], entry=g["entry"]
    ),
}
# column, row, bad cell
CELLS = {
    "a negative exit": ("exit", 2, -1.0),
    "an exit at its entry": ("entry", 1, 9.0),
    "an exit before its entry": ("entry", 1, 11.0),
    "a negative entry": ("entry", 4, -3.0),
    "a missing exit": ("exit", 3, math.nan),
    "a missing entry": ("entry", 3, math.nan),
    "an infinite exit": ("exit", 3, math.inf),
    "an infinite entry": ("entry", 3, math.inf),
    "a word for an age": ("exit", 5, "worn"),
}
EVENTS = {"an event of 2": ("event", 0, 2), "a missing event": ("event", 4, math.nan)}


def spoiled(column: str, row: int, cell: object) -> Given:
    given = {name: list(cells) for name, cells in GOOD.items()}
    given[column][row] = cell
    return given


@pytest.mark.parametrize("function", [*FITS, *CURVES])
def test_the_good_rows_stand(function: str) -> None:
    given = GOOD | ({"entry": [0.0] * 6} if function == "rank_regression" else {})
    if function == "fit_law three-parameter weibull":
        with pytest.raises(FitError, match="rises without end"):
            FITS[function](given)
    else:
        (FITS | CURVES)[function](given)


# any word or number is a cause of its own there, a missing one none
SPOILED = [
    (function, fault)
    for function in (*FITS, *CURVES)
    for fault in (*CELLS, *([] if function == "aalen_johansen" else EVENTS))
]


@pytest.mark.parametrize(("function", "fault"), SPOILED)
def test_a_bad_cell_is_told_with_its_row(function: str, fault: str) -> None:
    column, row, cell = (CELLS | EVENTS)[fault]
    with pytest.raises(FitError, match=rf"rows {row}\b"):
        (FITS | CURVES)[function](spoiled(column, row, cell))


@pytest.mark.parametrize("function", FITS)
def test_a_life_of_no_length_carries_no_law(function: str) -> None:
    with pytest.raises(FitError, match=r"rows 2\b"):
        FITS[function](spoiled("exit", 2, 0.0))


@pytest.mark.parametrize("function", [f for f in FITS if f != "fit_law exponential"])
def test_no_failure_carries_no_law_but_the_exponential(function: str) -> None:
    none = GOOD | {"event": [0] * 6, "entry": [0.0] * 6}
    with pytest.raises(FitError, match=r"None of 6 lives|\b0 failures"):
        FITS[function](none)
    law = FITS["fit_law exponential"](none)
    assert law.scale == math.inf
    assert law.bounds("scale", 0.9, "chi-square")[0] == pytest.approx(45.0 / -math.log(0.05))


def test_no_failure_makes_flat_curves_and_no_causes() -> None:
    none = GOOD | {"event": [0] * 6}
    assert (CURVES["kaplan_meier"](none).table["survival"] == 1.0).all()
    assert "no hazard is told" in CURVES["nelson_aalen"](none).text
    for function in ("aalen_johansen", "mean_cumulative"):
        with pytest.raises(FitError, match=r"No life ended|no event"):
            CURVES[function](none)


@pytest.mark.parametrize("function", [f for f in FITS if f != "fit_law exponential"])
def test_one_life_carries_no_law_but_the_exponential(function: str) -> None:
    one = {"exit": [5.0], "event": [1], "entry": [0.0]}
    with pytest.raises(FitError):
        FITS[function](one)
    # its mean is the one life, and its bounds are wide
    law = FITS["fit_law exponential"](one)
    assert law.scale == pytest.approx(5.0)
    low, high = law.bounds("scale", 0.90, "chi-square")
    assert high / low > 50.0


def test_one_life_makes_a_curve_without_a_range() -> None:
    one = {"exit": [5.0], "event": [1], "entry": [0.0]}
    step = CURVES["kaplan_meier"](one).table.iloc[-1]
    assert step["survival"] == 0.0
    assert np.isnan(step[["lower", "upper"]].astype(float)).all()
    # one unit can't tell how units differ: no range, and none of width 0
    mean = CURVES["mean_cumulative"](one).table.iloc[-1]
    assert np.isnan(mean[["standard_error", "lower", "upper"]].astype(float)).all()


@pytest.mark.parametrize("function", [*FITS, *CURVES])
def test_nothing_and_columns_of_unlike_length_are_refused(function: str) -> None:
    fit = (FITS | CURVES)[function]
    with pytest.raises(FitError, match=r"No (lives|rows) were given"):
        fit({"exit": [], "event": [], "entry": []})
    with pytest.raises(FitError, match=r"differ in length|rows of covariates"):
        fit({"exit": [5.0, 6.0], "event": [1], "entry": [0.0]})


@pytest.mark.parametrize("weight", [0.0, -1.0, math.nan, math.inf])
@pytest.mark.parametrize("name", LAWS)
def test_a_weight_that_is_none_is_told(name: str, weight: float) -> None:
    with pytest.raises(FitError, match=r"rows 1\b"):
        models.fit_law(name, GOOD["exit"], GOOD["event"], weights=[1, weight, 1, 1, 1, 1])


@pytest.mark.parametrize(
    ("lower", "upper", "told"),
    [
        ([3.0, -1.0], [5.0, 4.0], r"rows 1\b"),
        ([3.0, 6.0], [5.0, 4.0], r"rows 1\b"),
        ([3.0, math.inf], [5.0, math.inf], r"rows 1\b"),
        ([3.0, "worn"], [5.0, 4.0], r"rows 1\b"),
        ([], [], "No lives"),
        ([3.0], [5.0, 6.0], "differ in length"),
    ],
)
def test_bad_looks_are_told(lower: list, upper: list, told: str) -> None:
    for look in (
        lambda: models.turnbull(lower, upper),
        lambda: models.fit_law("weibull", lower=lower, upper=upper),
    ):
        with pytest.raises(FitError, match=told):
            look()


@pytest.mark.parametrize("cell", [-1.0, 0.0, math.nan, math.inf, "worn"])
@pytest.mark.parametrize("function", [models.power_law, models.trend_tests])
def test_bad_ages_of_repaired_units_are_told(function: Callable[..., Any], cell: object) -> None:
    for end in (20.0, None):
        with pytest.raises(FitError, match=r"rows 2\b"):
            function([3.0, 5.0, cell, 9.0], end=end)
    with pytest.raises(FitError, match=r"1 failure after the end of watching \(rows 3\)"):
        function([3.0, 5.0, 6.0, 30.0], end=20.0)
    with pytest.raises(FitError, match=r"no end of watching \(b\)"):
        function([3.0, 5.0], end={"a": 9.0}, unit=["a", "b"])
    with pytest.raises(FitError):
        function([5.0])
    with pytest.raises(FitError, match="No failure"):
        function([])


@pytest.mark.parametrize("p", [-0.1, 1.5, 10, math.nan])
@pytest.mark.parametrize("name", LAWS[:5])
def test_a_share_that_is_none_has_no_age(name: str, p: float) -> None:
    law = models.fit_law(name, GOOD["exit"], GOOD["event"])
    with pytest.raises(FitError, match="can't be"):
        law.quantile([0.1, p])
    assert law.quantile([0.0, 1.0]).tolist() == [0.0, math.inf]


def test_rows_of_groups_are_those_of_the_whole() -> None:
    given = spoiled("exit", 4, -1.0)
    with pytest.raises(FitError, match=r"rows 4\b"):
        models.fit_law("weibull", given["exit"], given["event"], by=BATCHES)


@pytest.mark.parametrize("n", [0, -3, 2.5, math.nan, math.inf])
def test_ranks_of_no_whole_number_are_refused(n: float) -> None:
    with pytest.raises(FitError, match="No exact ranks"):
        models.median_ranks(n)


@pytest.mark.parametrize("rank", [0.0, -1.0, 5.5, math.nan])
def test_ranks_out_of_range_are_refused(rank: float) -> None:
    with pytest.raises(FitError, match="No exact ranks"):
        models.median_ranks(5, "exact", [1.0, rank])
