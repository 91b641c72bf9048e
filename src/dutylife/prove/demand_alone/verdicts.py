"""What the demand forecast is aimed at in each world, and whether it is met."""

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.prove.demand_alone.scores import N_BINS
from dutylife.prove.demand_alone.stock import FILL
from dutylife.prove.demand_alone.worlds import PLAN
from dutylife.prove.scores import ORACLE, OURS
from dutylife.prove.verdicts import MET, NOT_MET, TOO_FEW
from dutylife.wording import count

Array = npt.NDArray[np.float64]
LOSS, COST = "pinball loss", "stock cost at equal fill"
ENOUGH, CLOSED, WORSE = 0.03, 0.70, 0.01  # gain of the oracle from which on the gap counts; aims
PLAN_LOSS, PLAN_COST = 0.50, 0.51
WITHIN = 0.03
FLAT = 0.01  # p value below which ranks are not flat


def figures_of(sums: pd.DataFrame, stock: pd.DataFrame) -> pd.DataFrame:
    """Table "prove_demand": each method's loss and cost, and its gain on the best series method.

    Parameters
    ----------
    sums : DataFrame, table "prove_demand_sums"
    stock : DataFrame, table "prove_demand_stock"

    Returns
    -------
    DataFrame
        ``figure``: pinball loss a piece asked for, mean over the spans; cost [currency a fleet and
        year] where 95 % are given at once. ``gain`` on the best series method of that world, taken
        in hindsight, with its standard error over fleets (jackknife).
    """
    rows: list[dict[str, Any]] = []
    for measure, table, of in ((LOSS, sums, _loss), (COST, stock, _cost)):
        for (case, among), own in table.groupby(["case", "among"], sort=False, observed=True):
            whole = of(own)
            best = best_series(whole)
            without = _without(own, of)
            for method, figure in whole.items():
                gains = np.array([1 - w[method] / w[best] for w in without])
                rows.append(
                    {
                        "case": case, "among": among, "measure": measure, "method": method,
                        "figure": figure, "gain": 1 - figure / whole[best],
                        "gain_se": _jackknife(gains), "n_fleets": own["fleet"].nunique(),
                        "is_best_series": method == best,
                    }
                )  # fmt: skip
    return pd.DataFrame(rows)


def verdicts_of(sums: pd.DataFrame, stock: pd.DataFrame) -> pd.DataFrame:
    """Table "prove_demand_verdicts": each aim of each world beside what was found."""
    rows: list[dict[str, Any]] = []
    for case in dict.fromkeys(sums["case"]):
        own = sums[sums["case"] == case]
        for among in dict.fromkeys(own["among"]):
            head = {"case": case, "among": among}
            here = own[own["among"] == among]
            found = [_gap(LOSS, here, _loss, case)]
            costs = stock[(stock["case"] == case) & (stock["among"] == among)]
            if len(costs):
                found.append(_gap(COST, costs, _cost, case))
            found += _coverage(here) + _flat(here)
            n = here["fleet"].nunique()
            rows += [head | row | {"n_fleets": n} for row in found]
    return pd.DataFrame(rows)


def best_series(figures: dict[str, float]) -> str:
    """Series method of the lowest figure, known only afterwards."""
    return min((m for m in figures if m not in (OURS, ORACLE)), key=lambda m: figures[m])


def _loss(table: pd.DataFrame) -> dict[str, float]:
    total = table.groupby(["method", "months"], observed=True)[["pinball_sum", "asked"]].sum()
    each = (total["pinball_sum"] / total["asked"]).groupby("method", observed=True).mean()
    return {str(m): float(v) for m, v in each.items()}


def _cost(table: pd.DataFrame) -> dict[str, float]:
    """Cost where `FILL` is given at once; of a method that never fills so much, at its most."""
    costs = ["held_cost", "ordering_cost", "waiting_cost"]
    n = table["fleet"].nunique()
    out = {}
    for method, own in table.groupby("method", observed=True):
        total = own.groupby(["quantile", "times"])[["asked", "given", *costs]].sum().sort_index()
        fill = np.maximum.accumulate((total["given"] / total["asked"]).to_numpy())
        cost = total[costs].sum(axis=1).to_numpy() / n
        out[str(method)] = float(np.interp(FILL, fill, cost))
    return out


def _without(
    table: pd.DataFrame, of: Callable[[pd.DataFrame], dict[str, float]]
) -> list[dict[str, float]]:
    fleets = list(dict.fromkeys(table["fleet"]))
    return [of(table[table["fleet"] != f]) for f in fleets] if len(fleets) > 1 else []


def _jackknife(values: Array) -> float:
    n = len(values)
    return float(np.sqrt((n - 1) / n * np.sum((values - values.mean()) ** 2))) if n > 1 else np.nan


def _gap(
    measure: str, table: pd.DataFrame, of: Callable[[pd.DataFrame], dict[str, float]], case: str
) -> dict[str, Any]:
    whole, without = of(table), _without(table, of)
    best = best_series(whole)

    def gain(figures: dict[str, float], method: str) -> float:
        return 1 - figures[method] / figures[best]

    ours, oracle = gain(whole, OURS), gain(whole, ORACLE)
    if case == PLAN:
        least = PLAN_LOSS if measure == LOSS else PLAN_COST
        said, figure = f"{measure}: at least {least:.0%} lower than the best series method", ours
        each = [gain(w, OURS) for w in without]
    elif oracle >= ENOUGH:
        said, least = f"{measure}: at least {CLOSED:.0%} of the gap to the oracle closed", CLOSED
        figure = ours / oracle
        each = [gain(w, OURS) / gain(w, ORACLE) for w in without]
    else:
        said, least = f"{measure}: at most {WORSE:.0%} worse than the best series method", -WORSE
        figure, each = ours, [gain(w, OURS) for w in without]
    return {
        "measure": measure, "aim": said.replace("%", " %"), "aim_least": least, "figure": figure,
        "standard_error": _jackknife(np.array(each)), "gain": ours,
        "gain_oracle": oracle, "best_method": best, "answer": _answer(least - figure),
    }  # fmt: skip


def _answer(missed_by: float) -> str:
    """Met or not, however few the fleets: the standard error stands beside it."""
    return MET if missed_by <= 0 else NOT_MET


def _coverage(table: pd.DataFrame) -> list[dict[str, Any]]:
    own = table[table["method"] == OURS]
    rows = []
    for name in ("p80", "p95"):
        each = own.groupby("fleet", observed=True)[
            ["n_spans", f"n_under_{name}", f"told_under_{name}"]
        ].sum()
        apart = (each[f"n_under_{name}"] - each[f"told_under_{name}"]).to_numpy()
        n = each["n_spans"].to_numpy()
        figure = float(apart.sum() / n.sum())
        left = (apart.sum() - apart) / np.maximum(n.sum() - n, 1)
        rows.append(
            {
                "measure": f"under {name}", "figure": figure, "aim_least": -WITHIN,
                "aim": f"share at or under {name} within 3 points of the chance told",
                "aim_most": WITHIN, "standard_error": _jackknife(left),
                "answer": _answer(abs(figure) - WITHIN),
            }
        )  # fmt: skip
    return rows


def _flat(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Chi-square test of even ranks, of each span; parts of a fleet count as independent."""
    from scipy.stats import chisquare

    own = table[table["method"] == OURS]
    rows = []
    for months, spans in own.groupby("months"):
        counts = spans[[f"rank_{i}" for i in range(N_BINS)]].sum().to_numpy()
        few = counts.sum() < 5 * N_BINS
        span = count(float(str(months)), "month")
        p = float(chisquare(counts).pvalue)
        rows.append(
            {
                "measure": f"even ranks, {months:g} months", "figure": p, "aim_least": FLAT,
                "aim": f"what came in {span} lies evenly, p {FLAT:g} or more",
                "answer": TOO_FEW if few else MET if p >= FLAT else NOT_MET,
            }
        )  # fmt: skip
    return rows
