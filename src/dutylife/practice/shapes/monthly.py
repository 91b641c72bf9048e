"""A file a month that repeats the last days of the month before; one month is issued again."""

import pandas as pd

from dutylife.practice.shapes.form import Form
from dutylife.practice.shapes.month_first import FORM as MONTH_FIRST
from dutylife.practice.shapes.shape import Shape, Tables
from dutylife.practice.shapes.writing import delimited

FORM = Form(
    date_format="%d-%m-%Y",
    delimiter=";",
    decimal=",",
    lines=MONTH_FIRST.lines,
    machines=MONTH_FIRST.machines,
    parts=MONTH_FIRST.parts,
)
OVERLAP_DAYS = 6
# a line of this share of its month is first written with another part
_WRONG_AT = 0.5


def _first_written_wrong(month: pd.DataFrame) -> pd.DataFrame:
    """Return a month with one part line under another part's number, text and price."""
    known = month[(month["Sort"] == "part") & (month["Part no"] != "") & (month["Text"] != "")]
    at = int(len(known) * _WRONG_AT)
    mine = known.iloc[at]
    other = known[known["Part no"] != mine["Part no"]].iloc[0]
    out = month.copy()
    out.loc[mine.name, ["Part no", "Text", "Each"]] = other[["Part no", "Text", "Each"]]
    return out


def _files(tables: Tables) -> dict[str, bytes]:
    whole = tables.whole
    days = pd.to_datetime(whole["Job date"], format="%d/%m/%Y")
    months = days.dt.to_period("M")
    out: dict[str, bytes] = {}
    wanted = sorted(months.unique())
    again = wanted[len(wanted) // 2]
    for month in wanted:
        begins = month.start_time - pd.Timedelta(days=OVERLAP_DAYS)
        mine = whole[(days >= begins) & (months <= month)]
        right = delimited(FORM.written("lines", mine), ";")
        if month == again:
            of_month = whole[months == month]
            wrong = _first_written_wrong(of_month)
            mine = pd.concat([mine[~mine.index.isin(wrong.index)], wrong])
            out[f"invoices {month}.csv"] = delimited(FORM.written("lines", mine), ";")
            out[f"invoices {month} corrected.csv"] = right
        else:
            out[f"invoices {month}.csv"] = right
    out["equipment.csv"] = delimited(FORM.written("machines", tables.machines), ";")
    out["inventory.csv"] = delimited(FORM.written("parts", tables.parts), ";")
    return out


SHAPE = Shape(
    name="monthly",
    about="a file a month that repeats the days before it; one month is issued again, corrected",
    files=_files,
)
