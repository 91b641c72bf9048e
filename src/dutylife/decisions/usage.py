"""How much a duty and a machine run, to turn hours into days and back."""

import numpy as np
import pandas as pd

from dutylife.settings import Settings

DAYS_PER_WEEK = 7.0


def duty_use(unit_spans: pd.DataFrame, settings: Settings) -> dict[str, float]:
    """Meter units per week of each duty: the median over its machines' spans.

    Parameters
    ----------
    unit_spans : DataFrame, table "unit_spans"
    settings : Settings
        ``fleet.hours_per_week`` fills a duty whose machines have no use known.

    Returns
    -------
    dict of str to float
        [fleet meter unit per week]; a duty of unknown use is left out.
    """
    spans = unit_spans[["duty", "hours_per_week"]].astype({"duty": "object"})
    known = spans[spans["hours_per_week"] > 0].groupby("duty")["hours_per_week"].median()
    out = {str(d): float(h) for d, h in known.items()}
    if settings.fleet.hours_per_week is not None:
        for duty in spans["duty"].dropna().unique():
            out.setdefault(str(duty), settings.fleet.hours_per_week)
    return out


def unit_use(units: pd.DataFrame, unit_spans: pd.DataFrame, settings: Settings) -> pd.Series:
    """Meter units per week of each machine now.

    Its latest span's use, else the machine's, else its duty's, else the fleet's.

    Returns
    -------
    Series, index unit_id
        [fleet meter unit per week]; missing where nothing is known.
    """
    latest = latest_spans(unit_spans)
    names = pd.Index(sorted(set(units["unit_id"].astype(object)) | set(latest.index)), dtype=object)
    use = latest["hours_per_week"].reindex(names)
    own = units.set_index(units["unit_id"].astype(object))["hours_per_week"]
    use = use.fillna(own.reindex(names))
    by_duty = duty_use(unit_spans, settings)
    duty = latest["duty"].reindex(names)
    use = use.fillna(duty.map(by_duty).astype(float))
    use = use.fillna(settings.fleet.hours_per_week or np.nan)
    return use.where(use > 0)


def latest_spans(unit_spans: pd.DataFrame) -> pd.DataFrame:
    """Return the last span of each machine: customer, duty, hours_per_week by unit_id."""
    spans = unit_spans.astype({"unit_id": "object", "duty": "object", "customer": "object"})
    spans = spans.sort_values(["unit_id", "from_date"], kind="stable")
    last = spans.drop_duplicates("unit_id", keep="last").set_index("unit_id")
    return last[["customer", "duty", "hours_per_week", "from_date"]]


def to_days(amount: float, clock: str, use_per_week: float | None) -> float | None:
    """Return an age on a clock as days, None when the use is not known."""
    if clock != "hours":
        return amount
    return None if not use_per_week else amount / use_per_week * DAYS_PER_WEEK


def to_hours(amount: float, clock: str, use_per_week: float | None) -> float | None:
    """Return an age on a clock in meter units, None when the use is not known."""
    if clock == "hours":
        return amount
    return None if not use_per_week else amount / DAYS_PER_WEEK * use_per_week
