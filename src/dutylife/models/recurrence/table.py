"""Whether events of a component on its machines renew or trend: tests, power law, verdict."""

import math
from typing import Any

import numpy as np
import pandas as pd

from dutylife.components import Component, components_of
from dutylife.errors import FitError
from dutylife.models.mean_cumulative import mean_cumulative
from dutylife.models.order_test import order_test
from dutylife.models.power_law import power_law
from dutylife.models.recurrence.spans import length_of, spans_in_a_row
from dutylife.models.trend import trend_tests
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.wording import count, number

FEWEST = 10  # failures in a row with others on their machines, below which nothing is tested
FALSE_FLAGS = 0.05  # share of flags that may be false, over all components and duties tested
RENEWALS, FASTER, SLOWER, TOO_FEW = "renewals", "more often", "less often", "too few"


def recurrence_of(
    failure_events: pd.DataFrame, units: pd.DataFrame, settings: Settings
) -> dict[str, pd.DataFrame]:
    """Test for each component x duty whether its failures trend with the age of the machine.

    Parameters
    ----------
    failure_events : DataFrame, table "failure_events"
        Not recurrence_gaps: these know neither what ended a gap nor the duty.
    units : DataFrame, table "units"
        Tells the age of machines.
    settings : Settings
        Clock of each component, confidence level of bounds.

    Returns
    -------
    dict of DataFrame
        ``recurrence``, a row by component and duty; ``recurrence_curves``, mean failures of a
        position by the machine's age and by calendar time, with robust bounds.

    Notes
    -----
    Which is used where, and why. The laws of the run take each new part as a new start. That is
    tested by `order_test`, which holds whatever the law; ``p_adjusted`` is that chance after
    Benjamini and Hochberg (1995; from memory) over all rows tested, and a row is flagged at 0.05:
    of all flags, about so many are false. ``p_laplace`` and ``p_military_handbook`` are beside it
    for readers who know them: both hold against a steady rate only, and flag plain wear-out too
    (a Weibull law of shape 2 in 98 of 100 records of 100 machines with 2 failures each), so that
    no verdict stands on them. ``power`` is that of a power-law process by the machine's age, each
    machine with its own rate; missing where the ages of machines are not known. No interval and
    no stock number of the run goes by this table.
    """
    spans = spans_in_a_row(failure_events, units)
    known = components_of(settings)
    level = settings.report.confidence_level
    pairs = failure_events[["component", "duty"]].astype("object").drop_duplicates()
    cells = dict(list(spans.groupby(["component", "duty"], sort=True)))
    rows: list[dict[str, Any]] = []
    curves: list[pd.DataFrame] = []
    since = spans["start"].min()
    for component, duty in sorted(map(tuple, pairs.to_numpy())):
        of = cells.get((component, duty), spans.iloc[:0])
        about = known.get(str(component), Component(name=str(component)))
        name = {"component": component, "duty": duty}
        rows.append(name | _cell(of, about.clock, level))
        curves += [c.assign(**name) for c in _curves(of, since, level)]
    table = pd.DataFrame(rows)
    if len(table):
        table = _judged(table)
    drawn = pd.concat(curves, ignore_index=True) if curves else pd.DataFrame()
    return {
        "recurrence": as_table("recurrence", table),
        "recurrence_curves": as_table("recurrence_curves", drawn),
    }


def _cell(of: pd.DataFrame, clock: str, level: float) -> dict[str, Any]:
    """Counts, tests and power law of one component in one duty."""
    seen = of[of["days"] > 0]
    failed = seen[seen["failed"]]
    out: dict[str, Any] = {
        "n_units": of["unit_id"].nunique(), "n_events": int(of["failed"].sum()),
        "n_lives_in_a_row": 0, "n_failed_in_a_row": 0, "clock": "days",
    } | dict.fromkeys(
        ("later_sooner", "p_renewal", "p_laplace", "p_military_handbook", "power", "power_lower",
         "power_upper"), math.nan,
    )  # fmt: skip
    whole = of[of["whole"]]
    out["clock"], length = length_of(whole, clock)
    told = np.isfinite(length)
    try:
        test = order_test(whole["place"][told], length[told], whole["failed"][told])
    except FitError:  # no two lives in a row: said as "too few"
        return out
    out["n_lives_in_a_row"], out["n_failed_in_a_row"] = test.n_lives, test.n_failed
    if test.n_failed < FEWEST:
        return out
    out["later_sooner"], out["p_renewal"] = test.z, test.p_value
    begun = seen.groupby("run")["start"].min()
    ended = seen.groupby("run")["end"].max()
    since = (failed["end"] - failed["run"].map(begun)).dt.days.to_numpy(float)
    steady = trend_tests(since, unit=failed["run"].to_numpy(), end=(ended - begun).dt.days)
    out["p_laplace"] = steady.p_laplace
    out["p_military_handbook"] = 2.0 * min(steady.p_improving, steady.p_deteriorating)
    return out | _power(seen[seen["new_on"].notna()], level)


def _power(seen: pd.DataFrame, level: float) -> dict[str, float]:
    """Power-law process by the age of the machine in days; nothing where it can't be told."""
    seen = seen[seen["start"] >= seen["new_on"]]
    failed = seen[seen["failed"]]
    if len(failed) < FEWEST:
        return {}
    new_on = seen.groupby("run")["new_on"].first()
    start = (seen.groupby("run")["start"].min() - new_on).dt.days
    end = (seen.groupby("run")["end"].max() - new_on).dt.days
    age = (failed["end"] - failed["new_on"]).dt.days.to_numpy(float)
    try:
        law = power_law(
            age, unit=failed["run"].to_numpy(), start=start, end=end, rates="own", level=level
        )
    except FitError:  # spans that begin late and are short tell no power
        return {}
    low, high = law.power_bounds()
    return {"power": law.power, "power_lower": low, "power_upper": high}


def _curves(of: pd.DataFrame, since: pd.Timestamp, level: float) -> list[pd.DataFrame]:
    """Mean failures of a position by machine age and by calendar time."""
    seen = of[of["days"] > 0]
    out = []
    for name, zero in (("machine age", seen["new_on"]), ("calendar", since)):
        exits = (seen["end"] - zero).dt.days
        entry = (seen["start"] - zero).dt.days
        use = (exits.notna() & (entry >= 0)).to_numpy()
        rows = seen[use]
        if not rows["failed"].any():
            continue
        curve = mean_cumulative(
            rows["place"], exits[use], rows["failed"].astype(float), entry=entry[use], level=level
        ).table
        curve = curve.rename(
            columns={"age": "age_days", "lower": "mean_events_lower", "upper": "mean_events_upper"}
        )
        out.append(curve.assign(counted_by=name, n_events=curve["n_events"].astype(int),
                                n_at_risk=curve["at_risk"].astype(int)))  # fmt: skip
    return out


def _judged(table: pd.DataFrame) -> pd.DataFrame:
    """Chances adjusted over all rows tested, the trend and its verdict."""
    from scipy.stats import false_discovery_control

    tested = table["p_renewal"].notna().to_numpy()
    adjusted = np.full(len(table), math.nan)
    if tested.any():
        adjusted[tested] = false_discovery_control(table.loc[tested, "p_renewal"], method="bh")
    out = table.assign(p_adjusted=adjusted)
    flagged = out["p_adjusted"] < FALSE_FLAGS
    faster = np.where(out["later_sooner"] > 0, FASTER, SLOWER)
    out["trend"] = np.where(tested, np.where(flagged, faster, RENEWALS), TOO_FEW)
    out["verdict"] = [_verdict(row) for row in out.to_dict("records")]
    return out


def _verdict(row: dict[Any, Any]) -> str:
    n = row["n_failed_in_a_row"]
    if row["trend"] == TOO_FEW:
        return (
            f"too few to tell: {count(n, 'failure')} in lives that followed each other, "
            f"{FEWEST} are needed; the life law is used"
        )
    chance = number(row["p_adjusted"], 2)
    if row["trend"] == RENEWALS:
        return (
            f"renewals: each new part starts again, as far as {count(n, 'failure')} can tell "
            f"(adjusted chance {chance}); the life law is used"
        )
    return (
        f"the machine's events come {row['trend']} with age (adjusted chance {chance}): the life "
        "law overlooks that; see the mean cumulative function"
    )
