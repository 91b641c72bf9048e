"""Whether a column is a meter: it may not fall, nor run more than 24 hours a day, for a machine."""

from dataclasses import dataclass

import pandas as pd

# a few slips of the pen, and meters that were replaced, are in every record
_FALLS = 0.12
_TOO_FAST = 0.12
_FEW = 8


@dataclass(frozen=True, slots=True)
class MeterCheck:
    """What a would-be meter does between two visits of one machine."""

    n_pairs: int
    share_falls: float
    share_too_fast: float
    refusal: str
    rises: bool


def check_meter(
    values: pd.Series, dates: pd.Series, machines: pd.Series, *, unit: str = "hours"
) -> MeterCheck:
    """Tell a meter from a number that only is called one.

    Parameters
    ----------
    values : Series of float
        The column, NaN where blank.
    dates : Series of datetime64
    machines : Series of str
        Blank where no machine is named.
    unit : str
        "hours" allows 24 a day; for distances and starts only falling is looked at.
    """
    frame = pd.DataFrame({"value": values, "date": dates, "machine": machines})
    frame = frame[frame["value"].notna() & frame["date"].notna() & (frame["machine"] != "")]
    frame = frame.sort_values(["machine", "date", "value"], kind="stable")
    # lines of one visit repeat the reading
    frame = frame.drop_duplicates(["machine", "date", "value"])
    steps = frame.groupby("machine")[["value"]].diff()
    days = frame.groupby("machine")["date"].diff().dt.days
    known = days > 0
    n_pairs = int(known.sum())
    if n_pairs < _FEW:
        return MeterCheck(n_pairs, 0.0, 0.0, "", rises=False)
    rise = steps["value"][known]
    falls = float((rise < 0).mean())
    fast = float((rise > 24 * (days[known] + 1)).mean()) if unit == "hours" else 0.0
    why = []
    if falls > _FALLS:
        why.append(f"falls in {falls:.0%} of {n_pairs} steps from visit to visit of one machine")
    if fast > _TOO_FAST:
        why.append(f"grows by more than 24 a day in {fast:.0%} of {n_pairs} steps")
    return MeterCheck(
        n_pairs, falls, fast, " and ".join(why), rises=not why and float((rise > 0).mean()) > 0.5
    )
