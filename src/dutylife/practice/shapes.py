"""Forms in which the same lines, machines and parts are written: signs, dates, headings."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

DATES = ("service_date", "in_service_on", "left_on")
NUMBERS = (
    "meter_hours", "quantity", "unit_price", "on_hand", "on_order", "unit_cost", "lead_time_days",
    "pack_size",
)  # fmt: skip
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One form of export.

    Parameters
    ----------
    name : str
    delimiter, decimal, thousands : str
    date_sign : str
        Between day, month and year.
    lines, machines, parts : mapping
        Our column to the heading in the file; a column of the plain form that is not named is
        left out of the file.
    """

    name: str
    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    date_sign: str = "/"
    lines: Mapping[str, str] = field(default_factory=lambda: LINES_COLUMNS)
    machines: Mapping[str, str] = field(default_factory=lambda: MACHINES_COLUMNS)
    parts: Mapping[str, str] = field(default_factory=lambda: PARTS_COLUMNS)

    def columns(self, kind: str) -> Mapping[str, str]:
        """Headings of a kind of file: lines, machines or parts."""
        return {"lines": self.lines, "machines": self.machines, "parts": self.parts}[kind]

    def written(self, kind: str, plain: pd.DataFrame) -> pd.DataFrame:
        """Return a table of the plain form as this one has it, all text.

        Parameters
        ----------
        kind : {"lines", "machines", "parts"}
        plain : DataFrame
            Text, with the headings of the plain form.
        """
        ours = {heading: name for name, heading in PLAIN.columns(kind).items()}
        out = plain.rename(columns=ours)
        own = self.columns(kind)
        out = out[[name for name in own if name in out]].copy()
        for name in out.columns:
            if name in DATES:
                out[name] = out[name].str.replace("/", self.date_sign, regex=False)
            elif name in NUMBERS:
                out[name] = out[name].map(self.number)
        return out.rename(columns=dict(own))

    def number(self, text: str) -> str:
        """Return a plain figure with this form's signs.

        Examples
        --------
        >>> SHAPES["semicolon"].number("-1234.50")
        '-1.234,50'
        """
        if not text:
            return text
        sign, figure = ("-", text[1:]) if text.startswith("-") else ("", text)
        whole, mark, rest = figure.partition(".")
        if self.thousands and len(whole) > 3 and not whole.startswith("0"):
            whole = f"{int(whole):,}".replace(",", self.thousands)
        return sign + whole + (self.decimal + rest if mark else "")


PLAIN = Shape(name="lines")
SEMICOLON = Shape(
    name="semicolon",
    delimiter=";",
    decimal=",",
    thousands=".",
    date_sign=".",
    # no column says what a line bills: its text and figures have to
    lines={
        "service_date": "Date",
        "ticket": "Order",
        "customer": "Account",
        "unit_id": "Fleet no",
        "ticket_kind": "Order type",
        "complaint": "Reported",
        "work_done": "Report",
        "meter_hours": "Hours run",
        "quantity": "Number",
        "part_number": "Article",
        "description": "Item",
        "unit_price": "Price",
    },
    machines={
        "unit_id": "Fleet no",
        "customer": "Account",
        "equipment_class": "Type",
        "engine_model": "Motor",
        "in_service_on": "Bought",
        "left_on": "Gone",
    },
    parts={
        "part_number": "Article",
        "description": "Item",
        "supplier": "From",
        "unit_cost": "Cost price",
        "lead_time_days": "Days to come",
        "pack_size": "Per pack",
        "on_hand": "Counted",
        "on_order": "Ordered",
    },
)
# every form there is, by name
SHAPES: dict[str, Shape] = {shape.name: shape for shape in (PLAIN, SEMICOLON)}
