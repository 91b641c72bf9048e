"""Which of day, month and year comes first: decided by all dates of a file, or not at all."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dutylife.intake.values.cells import filled_unlike
from dutylife.intake.values.dates import EIGHT, THREE, is_counted, read_dates

ORDERS = ("ymd", "dmy", "mdy")
# a few slips of the pen don't overrule hundreds of dates; more than that is a mixed column
_SLIPS = 0.02
_YEARS = (1970, 2100)


@dataclass(frozen=True, slots=True)
class DateEvidence:
    """What the date columns of a file say of the order of day, month and year.

    Parameters
    ----------
    order : str
        ``ymd``, ``dmy`` or ``mdy``; blank where the cells can't decide.
    n_dates : int
        Cells that are a date in one order at least.
    n_deciding : int
        Unlike cells that only this order reads.
    n_against : int
        Unlike cells that only another order reads.
    example : str
        A cell that decides; where none does, one that two orders read differently.
    """

    order: str
    n_dates: int
    n_deciding: int = 0
    n_against: int = 0
    example: str = ""
    reason: str = ""


def date_evidence(columns: list[pd.Series], *, is_typed: bool = False) -> DateEvidence:
    """Decide the date order of a file from all of its date columns at once.

    A cell with a year first, a month in words or a serial number says nothing, since every order
    reads it the same; so do 5/5/2024 and blanks. Where nothing says anything the order is
    ``ymd``, the one that makes no difference.

    Parameters
    ----------
    columns : list of Series of str
    is_typed : bool
        The file tells dates from text: they are ISO whatever the rest says.
    """
    unlike = filled_unlike(columns)
    read = pd.DataFrame({o: read_dates(unlike, o) for o in ORDERS})
    read = read.where(read.apply(lambda c: c.dt.year.between(*_YEARS)))
    is_date = read.notna().any(axis=1)
    n_dates = int(is_date.sum())
    in_figures = unlike.map(lambda c: bool(THREE.fullmatch(c) or EIGHT.fullmatch(c)))
    open_ = is_date & in_figures.astype(bool) & ~is_counted(unlike)
    told = read[open_].reset_index(drop=True)
    texts = unlike[open_].reset_index(drop=True)
    same = ((told.notna().sum(axis=1) > 1) & (told.nunique(axis=1) <= 1)).to_numpy()
    alike = told[same]
    telling, texts = told[~same], texts[~same]
    if telling.empty:
        # 5/5/2024 is no date with its year first
        reads_all = [o for o in ORDERS if alike[o].notna().all()]
        order = reads_all[0] if reads_all else "dmy"
        return DateEvidence(order, n_dates, reason="every order reads these dates the same")
    reads = telling.notna()
    n_read = reads.sum()
    best = int(n_read.max())
    close = [o for o in ORDERS if n_read[o] >= (1 - _SLIPS) * best]
    if len(close) > 1:
        close = _by_years(texts, close)
    if len(close) > 1:
        close = _by_slips(reads, close)
    if len(close) != 1:
        return _undecided(telling, texts, close)
    order = close[0]
    others = [o for o in ORDERS if o != order]
    # cells that the runner-up does not read speak for this order
    rival = max(others, key=lambda o: int(n_read[o]))
    deciding = reads[order] & ~reads[rival]
    against = ~reads[order]
    if is_typed and not deciding.any():
        return DateEvidence("ymd", n_dates, reason="the file itself tells dates from text")
    example = str(texts[deciding.to_numpy()].iloc[0]) if deciding.any() else str(texts.iloc[0])
    n_for = int(deciding.sum())
    reason = f"{n_for} unlike dates such as {example} can be read in this order only"
    if not n_for:
        reason = f"in dates such as {example} the years are the few figures close together"
        n_for = len(texts)  # not one alone: all of them together
    return DateEvidence(order, n_dates, n_for, int(against.sum()), example, reason)


def _by_slips(reads: pd.DataFrame, close: list[str]) -> list[str]:
    """Keep the order with cells of its own, unless another has about as many."""
    own = {
        o: int((reads[o] & ~reads[[x for x in close if x != o]].any(axis=1)).sum()) for o in close
    }
    first = max(close, key=lambda o: own[o])
    rest = sum(own[o] for o in close if o != first)
    if own[first] and rest <= _SLIPS * own[first]:
        return [first]
    return close


def _by_years(texts: pd.Series, close: list[str]) -> list[str]:
    """Two-digit years: the place that holds few unlike figures close together is the year."""
    parts = texts.str.extract(THREE).iloc[:, :3]
    short = parts.notna().all(axis=1) & (parts[0].str.len() <= 2) & (parts[2].str.len() <= 2)
    if not short.any() or "ymd" not in close:
        return close
    figures = parts[short].astype("int64")
    first, last = figures[0], figures[2]
    if len(figures) < 20:
        return close
    spread = [int(np.ptp(first)), int(np.ptp(last))]
    n_unlike = [first.nunique(), last.nunique()]
    if spread[0] > spread[1] and n_unlike[0] >= 2 * n_unlike[1]:
        return [o for o in close if o != "ymd"]
    if spread[1] > spread[0] and n_unlike[1] >= 2 * n_unlike[0]:
        return ["ymd"]
    return close


def _undecided(telling: pd.DataFrame, texts: pd.Series, close: list[str]) -> DateEvidence:
    own = {
        o: telling[o].notna() & telling[[x for x in ORDERS if x != o]].isna().all(axis=1)
        for o in close
    }
    mixed = [o for o in close if own[o].any()]
    if len(mixed) > 1:
        shown = " and ".join(f"{texts[own[o].to_numpy()].iloc[0]} ({o})" for o in mixed[:2])
        return DateEvidence("", len(telling), example=shown, reason=f"both are there: {shown}")
    unlike = telling[close].nunique(axis=1) > 1
    example = str(texts[unlike.to_numpy()].iloc[0]) if unlike.any() else str(texts.iloc[0])
    return DateEvidence(
        "", len(telling), example=example,
        reason=f"no date in it tells; {example} is a date in each order",
    )  # fmt: skip
