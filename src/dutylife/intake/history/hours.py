"""Meter readings from texts, where the meter's own cell is blank; conflicts are named."""

import pandas as pd

from dutylife.intake.findings import finding, first_few
from dutylife.intake.history.accounts import Account, visit_keys
from dutylife.intake.history.hours_in_text import meter_in_text
from dutylife.intake.values import on_unlike
from dutylife.wording import count

_SHARE_APART = 0.01  # cell and text further apart than this share, and than one unit, conflict
_TEXTS = ("work_done", "complaint", "description")


def fill_hours(lines: pd.DataFrame, meter_unit: str, account: Account) -> pd.DataFrame:
    """Lines with the meter that a text of their visit states, where no cell of it does.

    Parameters
    ----------
    lines : DataFrame
        Service lines, machines settled.
    meter_unit : str
        The fleet's.
    """
    mine = lines["unit_id"] != ""
    found = [_read(lines[c].where(mine, ""), meter_unit) for c in _TEXTS]
    stated = pd.concat(found)
    if stated.empty:
        return lines
    visit = visit_keys(lines)
    rows = stated.to_frame("meter").assign(visit=visit.reindex(stated.index).to_numpy())
    of_visit = rows.groupby("visit")["meter"].agg(["min", "max"])
    one = _alike(of_visit["min"], of_visit["max"])
    several = of_visit.index[~one]
    text = visit.map(of_visit.loc[one, "max"])
    cell = lines["meter_hours"].groupby(visit).transform("max")
    fill = mine & text.notna() & cell.isna()
    out = lines.assign(meter_hours=lines["meter_hours"].mask(fill, text))
    unlike = mine & text.notna() & cell.notna() & ~_alike(text, cell)
    first = ~visit.duplicated()
    if fill.any():
        account.say(
            finding(
                "intake", "note",
                f"{count(visit[fill].nunique(), 'visit')} without a meter reading took the one "
                f"that a text states (rows {first_few(lines.loc[fill & first, 'source_row'])}).",
                table="service_lines", key="meter_hours in the text",
            )
        )  # fmt: skip
    if unlike.any():
        told = [
            f"row {r}: {c:g} against {t:g}"
            for r, c, t in zip(
                lines.loc[unlike & first, "source_row"], cell[unlike & first],
                text[unlike & first], strict=True,
            )
        ]  # fmt: skip
        account.say(
            finding(
                "intake", "note",
                f"{count(visit[unlike].nunique(), 'visit')} with another meter reading in the text "
                f"than in the meter's cell ({first_few(told)}); the cell stands.",
                mend="correct the one that is wrong",
                table="service_lines", key="meter_hours against the text",
            )
        )  # fmt: skip
    if len(several):
        at = visit.isin(several) & first
        account.say(
            finding(
                "intake", "note",
                f"{count(len(several), 'visit')} whose texts state several meter readings "
                f"(rows {first_few(lines.loc[at, 'source_row'])}); none was taken.",
                table="service_lines", key="several meter readings",
            )
        )  # fmt: skip
    return out


def _read(texts: pd.Series, meter_unit: str) -> pd.Series:
    """One row for each reading of each text; the index repeats where a text states several."""
    has_figure = on_unlike(texts, lambda u: u.str.contains(r"\d", regex=True).astype(bool))
    some = texts[has_figure.astype(bool)]
    if some.empty:
        return pd.Series(dtype="float64")
    read = on_unlike(
        some, lambda u: pd.Series([meter_in_text(t, meter_unit) for t in u], dtype="object")
    )
    told: pd.Series = read[read.map(len) > 0].explode().astype("float64")
    return told


def _alike(one: pd.Series, other: pd.Series) -> pd.Series:
    apart = (one - other).abs()
    return (apart <= 1.0) | (apart <= _SHARE_APART * other.abs())
