"""Whether a part may stay by one reading: judged against that part's own nominal and limits."""

import math
import re
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from dutylife.components import Component
from dutylife.errors import DecisionError
from dutylife.intake.measures import in_unit, kind_of
from dutylife.wording import number

Verdict = Literal["keep", "reject", "no verdict"]
COLUMNS = [
    "line_id", "unit_id", "component", "position", "quantity", "moment", "value", "unit",
    "over_range", "part_number", "low_limit", "high_limit", "verdict", "text",
]  # fmt: skip
_RECORD = "record the marking on the part, or its nominal value and unit in the catalogue"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingVerdict:
    """What one reading says of one part; limits are those of that part, missing where not known.

    ``why`` is the reason in words; the maker's own limit stands above the verdict.
    """

    verdict: Verdict
    value: float
    low_limit: float
    high_limit: float
    unit: str
    over_range: bool
    why: str

    @property
    def table(self) -> pd.DataFrame:
        """One row: value, unit, over_range, low_limit, high_limit, verdict."""
        names = ("value", "unit", "over_range", "low_limit", "high_limit", "verdict")
        return pd.DataFrame([{name: getattr(self, name) for name in names}])

    @property
    def text(self) -> str:
        """One sentence."""
        head = {"keep": "Keep it", "reject": "Reject it", "no verdict": "No verdict"}[self.verdict]
        return f"{head}: {self.why}. The maker's manual stands above this."


def judge_reading(
    value: float | None,
    nominal: float | None = None,
    *,
    tolerance: float | None = None,
    low_limit: float | None = None,
    high_limit: float | None = None,
    over_range: bool = False,
    unit: str = "",
) -> ReadingVerdict:
    """Judge one reading of one part by that part's own figures.

    Parameters
    ----------
    value : float or None
        The reading; with ``over_range`` the end of the instrument's range, None for open circuit
        or where the range is not told.
    nominal : float, optional
        What this part reads when new, by its marking or the catalogue. [unit of value]
    tolerance : float, optional
        Share of the nominal value allowed to both sides. [1]
    low_limit, high_limit : float, optional
        This part's own limits; each stands above what nominal and tolerance give. [unit of value]
    over_range : bool
        The instrument showed open or over range.
    unit : str
        For the sentence.

    Returns
    -------
    ReadingVerdict
        "keep" within the limits, ends included; "reject" beyond one; "no verdict" where no limit of
        this part is known, there is no reading, or the instrument's range ends below the limit.

    Raises
    ------
    DecisionError
        A tolerance that is no share, or a low limit above the high one.

    Examples
    --------
    >>> [judge_reading(9.9, marked, tolerance=0.25).verdict for marked in (10, 5, None)]
    ['keep', 'reject', 'no verdict']
    >>> judge_reading(9.9, 5, tolerance=0.25, unit="kOhm").why
    'it reads 9.9 kOhm, 3.75 to 6.25 kOhm is allowed for this part'
    """
    if tolerance is not None and not 0 < tolerance < 1:
        raise DecisionError(
            f"A tolerance of {tolerance} can't be.", "judge_reading(tolerance=)",
            "a share of the nominal value above 0 and below 1, e.g. 0.25",
        )  # fmt: skip
    low, high = _limits(nominal, tolerance, low_limit, high_limit)
    if low > high:
        raise DecisionError(
            f"The low limit {number(low)} lies above the high limit {number(high)}.",
            "judge_reading(low_limit=, high_limit=)", "correct the part's limits",
        )  # fmt: skip
    read = math.nan if value is None else float(value)
    verdict, why = _judged(read, nominal, low, high, over_range=over_range, unit=unit)
    return ReadingVerdict(
        verdict=verdict, value=read, low_limit=low, high_limit=high, unit=unit,
        over_range=over_range, why=why,
    )  # fmt: skip


def _known(figure: float | None) -> bool:
    return figure is not None and math.isfinite(figure)


def _limits(
    nominal: float | None, tolerance: float | None, low: float | None, high: float | None
) -> tuple[float, float]:
    lower = upper = math.nan
    if nominal is not None and _known(nominal) and tolerance is not None:
        lower, upper = nominal - abs(nominal) * tolerance, nominal + abs(nominal) * tolerance
    if low is not None and _known(low):
        lower = low
    if high is not None and _known(high):
        upper = high
    return lower, upper


def _judged(
    read: float, nominal: float | None, low: float, high: float, *, over_range: bool, unit: str
) -> tuple[Verdict, str]:
    if math.isnan(low) and math.isnan(high):
        if _known(nominal):
            return "no verdict", "no limit of this part is known; look it up in the maker's manual"
        return "no verdict", f"the nominal value of this part is not known; {_RECORD}"
    said = f"{number(read, 4)} {unit}".rstrip()
    if over_range:
        return _judged_over_range(read, said, low, high, unit)
    if not math.isfinite(read):
        return "no verdict", "there is no reading"
    allowed = _allowed(low, high, unit)
    if read < low or read > high:
        return "reject", f"it reads {said}, {allowed}"
    return "keep", f"it reads {said}, {allowed}"


def _judged_over_range(
    read: float, said: str, low: float, high: float, unit: str
) -> tuple[Verdict, str]:
    """Verdict where the instrument's range was left upwards; ``read`` is its end, if told."""
    shown = "open or over range" if math.isnan(read) else f"above {said}"
    edge = low if math.isnan(high) else high
    if read < edge:
        return "no verdict", (
            f"the instrument ends at {said}, below the limit of {number(edge)}; take a wider range"
        )
    verdict: Verdict = "keep" if math.isnan(high) else "reject"
    return verdict, f"it reads {shown}, {_allowed(low, high, unit)}"


def _allowed(low: float, high: float, unit: str) -> str:
    if math.isnan(low):
        told = f"at most {number(high, 4)}"
    elif math.isnan(high):
        told = f"at least {number(low, 4)}"
    else:
        told = f"{number(low, 4)} to {number(high, 4)}"
    return f"{told} {unit}".rstrip() + " is allowed for this part"


def judge_readings(
    readings: pd.DataFrame, catalogue: pd.DataFrame, components: dict[str, Component]
) -> pd.DataFrame:
    """Judge each reading by the catalogue's figures of the part that was read.

    Parameters
    ----------
    readings : DataFrame
        Table readings; part numbers filled by `lives.age_readings` or the shop.
    catalogue : DataFrame
        Table catalogue: nominal, low_limit, high_limit and their unit by part number. Figures in
        another unit of the same kind are converted.
    components : dict
        From `components_of`: a tolerance stated there ("+/-25 %") applies to the part's own
        nominal value where the catalogue has no limit.

    Returns
    -------
    DataFrame
        A row a reading, in the readings' order: line_id, unit_id, component, position, quantity,
        moment, value, unit, over_range, part_number, low_limit, high_limit, verdict, text.
    """
    parts = catalogue.drop_duplicates("part_number").set_index("part_number")
    rows = []
    for row in readings.to_dict("records"):
        number_ = row["part_number"]
        known = None if pd.isna(number_) or number_ not in parts.index else parts.loc[number_]
        unit = "" if pd.isna(row["unit"]) else str(row["unit"])
        figures = {
            name: None if known is None else _figure(known[name], known["unit"], unit)
            for name in ("nominal", "low_limit", "high_limit")
        }
        found = judge_reading(
            None if pd.isna(row["value"]) else float(row["value"]),
            tolerance=_tolerance(components.get(str(row["component"])), str(row["quantity"])),
            over_range=bool(row["over_range"]) if pd.notna(row["over_range"]) else False,
            unit=unit,
            **figures,
        )
        rows.append(
            row
            | {
                "low_limit": found.low_limit, "high_limit": found.high_limit,
                "verdict": found.verdict, "text": found.text,
            }
        )  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def _figure(value: float, unit: Any, wanted: str) -> float | None:
    """A figure of the catalogue in the reading's unit; None where it is of another kind."""
    if pd.isna(value):
        return None
    given = "" if pd.isna(unit) else str(unit)
    if given.casefold() == wanted.casefold():
        return float(value)
    kind = kind_of(given) if given else None
    if kind is None or kind != kind_of(wanted):
        return None
    # through the kind's own unit: how much of it one, and none, of the given unit is
    none, one = in_unit(0.0, kind, given), in_unit(1.0, kind, given)
    return in_unit((float(value) - none) / (one - none), kind, wanted)


def _tolerance(component: Component | None, quantity: str) -> float | None:
    for task in component.tasks if component else ():
        share = re.search(r"\+/-\s?(\d+)\s?%", task.reject_limit)
        if share and task.measurement == quantity:
            return float(share[1]) / 100.0
    return None
