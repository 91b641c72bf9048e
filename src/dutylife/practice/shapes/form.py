"""Signs, dates and headings of one form of export, and the plain form itself."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

DATES = ("service_date", "in_service_on", "left_on")
NUMBERS = (
    "meter_hours", "quantity", "unit_price", "on_hand", "on_order", "unit_cost", "lead_time_days",
    "pack_size",
)  # fmt: skip
# what a ticket has once; the rest of its columns belong to each line
OF_TICKET = (
    "ticket", "service_date", "ticket_kind", "unit_id", "customer", "meter_hours", "complaint",
    "work_done",
)  # fmt: skip
OF_LINE = ("line_kind", "part_number", "description", "quantity", "unit_price")
# our column -> heading, in the order of the plain form
LINES_COLUMNS = {
    "ticket": "Job",
    "service_date": "Job date",
    "ticket_kind": "Job kind",
    "unit_id": "Machine",
    "customer": "Customer",
    "meter_hours": "Meter",
    "complaint": "Complaint",
    "work_done": "Work",
    "line_kind": "Sort",
    "part_number": "Part no",
    "description": "Text",
    "quantity": "Qty",
    "unit_price": "Each",
}
MACHINES_COLUMNS = {
    "unit_id": "Machine",
    "equipment_class": "Kind",
    "engine_model": "Engine",
    "in_service_on": "In service",
    "left_on": "Left",
    "customer": "Customer",
}
PARTS_COLUMNS = {
    "part_number": "Part no",
    "description": "Name",
    "on_hand": "On hand",
    "on_order": "On order",
    "unit_cost": "Cost",
    "supplier": "Supplier",
    "lead_time_days": "Lead days",
    "pack_size": "Pack",
}
_OURS = {
    "lines": {heading: name for name, heading in LINES_COLUMNS.items()},
    "machines": {heading: name for name, heading in MACHINES_COLUMNS.items()} | {"Duty": "duty"},
    "parts": {heading: name for name, heading in PARTS_COLUMNS.items()},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """Signs and headings of an export.

    Parameters
    ----------
    delimiter, decimal, thousands : str
    date_format : str
        As of `datetime.date.strftime`.
    lines, machines, parts : mapping
        Our column to the heading in the file; a column of the plain form that is not named is
        left out of the file.
    """

    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    date_format: str = "%d/%m/%Y"
    lines: Mapping[str, str] = field(default_factory=lambda: LINES_COLUMNS)
    machines: Mapping[str, str] = field(default_factory=lambda: MACHINES_COLUMNS)
    parts: Mapping[str, str] = field(default_factory=lambda: PARTS_COLUMNS)

    def columns(self, kind: str) -> Mapping[str, str]:
        """Headings of a kind of file: lines, machines or parts."""
        return {"lines": self.lines, "machines": self.machines, "parts": self.parts}[kind]

    def written(self, kind: str, plain: pd.DataFrame) -> pd.DataFrame:
        """Return a table of the plain form as this one has it, all text, under its headings.

        Parameters
        ----------
        kind : {"lines", "machines", "parts"}
        plain : DataFrame
            Text, with the headings of the plain form.
        """
        own = self.columns(kind)
        out = self.signed(kind, plain)
        return out[[name for name in own if name in out]].rename(columns=dict(own))

    def signed(self, kind: str, plain: pd.DataFrame) -> pd.DataFrame:
        """Return a table of the plain form under our names, dates and figures as written here."""
        out = our_names(kind, plain)
        for name in out.columns:
            if name in DATES:
                out[name] = out[name].map(self.date)
            elif name in NUMBERS:
                out[name] = out[name].map(self.number)
        return out

    def date(self, text: str) -> str:
        """Return a date of the plain form as this one writes it.

        Examples
        --------
        >>> Form(date_format="%m/%d/%Y").date("31/01/2024")
        '01/31/2024'
        """
        return day_of(text).strftime(self.date_format) if text else text

    def number(self, text: str) -> str:
        """Return a plain figure with this form's signs.

        Examples
        --------
        >>> Form(decimal=",", thousands=".").number("-1234.50")
        '-1.234,50'
        """
        if not text:
            return text
        sign, figure = ("-", text[1:]) if text.startswith("-") else ("", text)
        whole, mark, rest = figure.partition(".")
        if self.thousands and len(whole) > 3 and not whole.startswith("0"):
            whole = f"{int(whole):,}".replace(",", self.thousands)
        return sign + whole + (self.decimal + rest if mark else "")


def our_names(kind: str, plain: pd.DataFrame) -> pd.DataFrame:
    """Return a table of the plain form under our names of columns, row numbers from 0."""
    return plain.rename(columns=_OURS[kind]).reset_index(drop=True)


def day_of(text: str) -> dt.date:
    """Return the date of a cell of the plain form."""
    return dt.datetime.strptime(text, "%d/%m/%Y").date()


PLAIN = Form()
