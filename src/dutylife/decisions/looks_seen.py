"""What the record says of looks: how many, how far apart, what they found, what failed between."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dutylife.errors import DecisionError
from dutylife.wording import count, number, percent

ENOUGH = 5  # found at looks, and failed between them, before the record's own delay time is used
LOOKED = ("inspect", "test", "clean", "adjust")
DEFECT = ("worn", "over limit", "failed")


@dataclass(frozen=True, slots=True, kw_only=True)
class DelayTime:
    """Mean time from the first sign to failure, by what looks found and what failed between them.

    ``mean``, ``lower`` and ``upper`` in the unit of ``spacing``.
    """

    mean: float
    lower: float
    upper: float
    n_found: int
    n_failed: int
    spacing: float
    detection: float

    @property
    def table(self) -> pd.DataFrame:
        """One row: mean, lower, upper, n_found, n_failed, spacing, detection."""
        names = ("mean", "lower", "upper", "n_found", "n_failed", "spacing", "detection")
        return pd.DataFrame([{n: getattr(self, n) for n in names}])

    @property
    def text(self) -> str:
        """One sentence."""
        return (
            f"About {number(self.mean, 2)} from first sign to failure ({number(self.lower, 2)} to "
            f"{number(self.upper, 2)}): looks {number(self.spacing, 2)} apart found "
            f"{count(self.n_found, 'defect')}, {count(self.n_failed, 'failure')} came between."
        )


def delay_from_looks(
    n_found: int,
    n_failed: int,
    spacing: float,
    *,
    detection: float = 1.0,
    confidence_level: float = 0.90,
) -> DelayTime:
    """Delay time at which as many defects fail before a look as the record shows.

    Parameters
    ----------
    n_found, n_failed : int
        Defects found at looks, failures between them.
    spacing : float
        Time between two looks. [age]
    detection : float
        Chance that one look finds a defect that is there. [1]
    confidence_level : float
        Level of the range, by exact binomial limits of the share that fails. [1]

    Returns
    -------
    DelayTime

    Raises
    ------
    DecisionError
        A spacing that is not positive, or nothing found or nothing failed: then the delay time has
        no upper or no lower end.

    Notes
    -----
    Defects arise evenly, the delay is exponential: the root of `share_failing_before_look`.

    References
    ----------
    Christer & Waller (1984); estimation by the share failing as in Baker & Christer (1994), from
    memory.

    Examples
    --------
    >>> round(delay_from_looks(6321, 3679, 20.0).mean, 1)
    20.0
    """
    from scipy.stats import beta

    if not 0 < spacing < math.inf:
        raise DecisionError(f"A spacing of {spacing} can't be.", "delay_from_looks(spacing)")
    if n_found < 1 or n_failed < 1:
        raise DecisionError(
            f"{n_found} found and {n_failed} failed tell no delay time.",
            "delay_from_looks(n_found, n_failed)",
            "at least one of each; record what inspections find",
        )
    tail = (1 - confidence_level) / 2
    share = n_failed / (n_failed + n_found)
    low = float(beta.ppf(tail, n_failed, n_found + 1))
    high = float(beta.ppf(1 - tail, n_failed + 1, n_found))
    return DelayTime(
        mean=_root(share, spacing, detection),
        lower=_root(high, spacing, detection),
        upper=_root(low, spacing, detection),
        n_found=n_found, n_failed=n_failed, spacing=spacing, detection=detection,
    )  # fmt: skip


def _root(share: float, spacing: float, detection: float) -> float:
    """Delay time at which that share fails before a look."""
    from scipy.optimize import brentq

    from dutylife.decisions.looks import share_failing_before_look

    def off(log_delay: float) -> float:
        delay = math.exp(log_delay)
        return float(share_failing_before_look(spacing, delay, detection=detection)[0]) - share

    middle = math.log(spacing)
    return math.exp(brentq(off, middle - 12, middle + 12, xtol=1e-10))


@dataclass(frozen=True, slots=True, kw_only=True)
class LooksSeen:
    """Looks at a component: in a duty their number, of all duties what they found and missed."""

    n_looks: int = 0
    n_found: int = 0
    n_failed: int = 0
    spacing_days: float = math.nan

    @property
    def tells_delay(self) -> bool:
        """Enough was found and enough failed between looks of a known spacing."""
        return (
            min(self.n_found, self.n_failed) >= ENOUGH
            and math.isfinite(self.spacing_days)
            and self.spacing_days > 0
        )

    @property
    def text(self) -> str:
        """Looks in words."""
        if not self.n_looks:
            return "no look is on record"
        found = f", {percent(self.n_found / (self.n_found + self.n_failed))} of the trouble found"
        return count(self.n_looks, "look") + (found if self.n_found else "")


def looks_seen(
    maintenance_events: pd.DataFrame, unit_spans: pd.DataFrame
) -> dict[tuple[str, str], LooksSeen]:
    """Looks of each component in each duty.

    Parameters
    ----------
    maintenance_events, unit_spans : DataFrame, the tables of those names

    Returns
    -------
    dict of (component, duty) to LooksSeen
        A look is an inspection, test, cleaning or setting, or a part found worn, over its limit or
        failed at a service. ``n_found``, ``n_failed`` and ``spacing_days`` (median days between
        two looks at one machine's component) are of all duties: a delay is the part's own.
    """
    words = dict.fromkeys(["unit_id", "component", "activity", "reason", "finding"], "object")
    events = maintenance_events.astype(words)
    found_here = events["found_at_service"].fillna(value=False).astype(bool)
    failure = events["reason"] == "failure"
    defect = events["finding"].isin(DEFECT) & (found_here | ~failure)
    look = (events["activity"].isin(LOOKED) & (found_here | ~failure)) | defect
    events = events.assign(defect=defect, look=look, in_use=failure & ~found_here)
    if events.empty:
        return {}
    looks = events[look].sort_values("event_date", kind="stable")
    apart = looks.groupby(["unit_id", "component"])["event_date"].diff().dt.days
    spacing = apart[apart > 0].groupby(looks["component"]).median()
    totals = events.groupby("component")[["defect", "in_use"]].sum().astype(int)
    n_found, n_failed = totals["defect"].to_dict(), totals["in_use"].to_dict()
    by_duty = _with_duty(looks, unit_spans).groupby(["component", "duty"]).size()
    names = set(by_duty.index)
    duties = set(unit_spans["duty"].astype(object).dropna())
    names |= {(c, d) for c in totals.index for d in duties}
    return {
        (str(c), str(d)): LooksSeen(
            n_looks=int(by_duty.get((c, d), 0)),
            n_found=n_found[c],
            n_failed=n_failed[c],
            spacing_days=float(spacing.get(c, np.nan)),
        )
        for c, d in sorted(names)
    }


def _with_duty(looks: pd.DataFrame, unit_spans: pd.DataFrame) -> pd.DataFrame:
    """Looks with the duty their machine was in that day."""
    spans = unit_spans[["unit_id", "from_date", "to_date", "duty"]].astype(
        {"unit_id": "object", "duty": "object"}
    )
    both = looks[["unit_id", "component", "event_date"]].merge(spans, on="unit_id")
    inside = (both["event_date"] >= both["from_date"]) & (
        both["to_date"].isna() | (both["event_date"] <= both["to_date"])
    )
    return both[inside]
