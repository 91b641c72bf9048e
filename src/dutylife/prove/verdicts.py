"""The aims, in one table, and whether each is met."""

import math
from dataclasses import dataclass

import pandas as pd

from dutylife.practice.scenario import read_scenario
from dutylife.prove.demand import BUSY_PARTS
from dutylife.prove.figures import ALL_SIZES
from dutylife.prove.jobs import SIZE
from dutylife.prove.laws import ALL_CELLS, MANY_FAILURES
from dutylife.prove.scores import OURS
from dutylife.schema import as_table

MET, NOT_MET, TOO_FEW = "met", "not met", "too few fleets"
ERRORS_ALLOWED = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """A measure of ours, and what it has to lie in; ``by_error``: at most 2 standard errors."""

    measure: str
    among: str
    said: str
    least: float = -math.inf
    most: float = math.inf
    by_error: bool = False


def aims() -> list[Aim]:
    """Return every aim, in the order of the page."""
    target = read_scenario().shop.service_level
    out = [Aim(measure="fleets run", among="all", said="every fleet runs to the end", least=1.0)]
    for among in (MANY_FAILURES, ALL_CELLS):
        for what in ("scale", "shape"):
            said = f"90 % bounds of {what} hold the truth in 85 to 95 % of cells"
            out.append(
                Aim(measure=f"{what} covered", among=among, said=said, least=0.85, most=0.95)
            )
    for what, share in (("scale", 0.03), ("shape", 0.05)):
        out.append(
            Aim(
                measure=f"{what} log ratio", among=MANY_FAILURES,
                said=f"{what} right on average within {share:.0%}".replace("%", " %"),
                least=-math.log1p(share), most=math.log1p(share),
            )
        )  # fmt: skip
    out.append(
        Aim(
            measure="money lost beyond careful", among="all", by_error=True,
            said="loses no more money than a careful analyst (2 standard errors allowed)",
        )
    )  # fmt: skip
    for among in (ALL_CELLS, BUSY_PARTS):
        out.append(
            Aim(
                measure="under p95", among=among, least=0.90, most=0.98,
                said="90 to 98 % of months stay at or under the 95 % forecast",
            )
        )  # fmt: skip
    out.append(
        Aim(
            measure="fill rate", among="all", least=target - 0.02, most=target + 0.02,
            said=f"fill rate within 2 points of the {100 * target:.0f} % asked for",
        )
    )  # fmt: skip
    return out


def verdicts_of(figures: pd.DataFrame) -> pd.DataFrame:
    """Judge our figures of each size, and of all sizes together.

    Parameters
    ----------
    figures : DataFrame, table "prove_figures"

    Returns
    -------
    DataFrame
        Table "prove_verdicts". An aim without a figure is "too few fleets", never met.
    """
    words = dict.fromkeys(["fleet_kind", "case", "measure", "method", "among"], "object")
    own = figures.astype(words)
    own = own[(own["method"] == OURS) & (own["fleet_kind"] == SIZE)]
    found = own.set_index(["case", "measure", "among"])[["figure", "standard_error", "n_fleets"]]
    rows = []
    cases = sorted(set(own["case"]) | {ALL_SIZES})
    for case in cases:
        for aim in aims():
            key = (case, aim.measure, aim.among)
            row = {"case": case, "measure": aim.measure, "among": aim.among, "aim": aim.said}
            if key not in found.index:
                rows.append(row | {"answer": TOO_FEW, "n_fleets": 0})
                continue
            figure, error = found.loc[key, "figure"], found.loc[key, "standard_error"]
            most = ERRORS_ALLOWED * error if aim.by_error else aim.most
            rows.append(
                row
                | {
                    "aim_least": aim.least, "aim_most": most, "figure": figure,
                    "standard_error": error, "n_fleets": found.loc[key, "n_fleets"],
                    "answer": _answer(float(figure), aim.least, float(most)),
                }
            )  # fmt: skip
    frame = pd.DataFrame(rows)
    bounds = ["aim_least", "aim_most"]
    for bound in bounds:
        frame[bound] = frame[bound].where(frame[bound].abs() < math.inf)
    return as_table("prove_verdicts", frame)


def _answer(figure: float, least: float, most: float) -> str:
    if math.isnan(most):
        return TOO_FEW
    return MET if least - 1e-12 <= figure <= most + 1e-12 else NOT_MET
