"""The duty of each line and machine, and the spans a machine spent in one duty at one customer."""

import datetime as dt
import difflib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.disk import is_file
from dutylife.errors import ColumnMissingError, ExportError, SettingsError
from dutylife.intake.columns import COLUMNS_OF
from dutylife.intake.findings import finding, first_few
from dutylife.intake.layout import RawTable
from dutylife.intake.names import name_key
from dutylife.intake.raw import read_raw
from dutylife.schema import as_table, days_at, filled_from
from dutylife.settings import Export, Settings, SourceColumn

NOT_STATED = "not stated"
_YES = ("yes", "y", "x", "ok", "true", "1", "ja", "j", "oui", "o", "si", "s\u00ed", "confirmed")


@dataclass(frozen=True, slots=True)
class Duties:
    """Stated duties: by machine and by customer (keys without case and spaces), and for all."""

    by_unit: dict[str, str]
    by_customer: dict[str, str]
    for_all: str


def with_duty_column(
    settings: Settings, raws: list[RawTable], keys: list[str]
) -> tuple[list[Export], str]:
    """Exports with ``[duty] column`` mapped as our ``duty``.

    Parameters
    ----------
    settings : Settings
        Its ``duty.column`` may be a column of an export, or one of ours that is mapped.
    raws : list of RawTable
        The files read, in the order of ``keys``.
    keys : list of str
        ``exports.N`` of each file.

    Returns
    -------
    tuple
        The exports (one for each of ``raws``), and the column of ours that holds the duty:
        ``duty``, or another one that is mapped already.

    Raises
    ------
    ColumnMissingError
        No export has that column.
    """
    numbers = [int(k.split(".")[1]) - 1 for k in keys]
    exports = [settings.exports[n] for n in numbers]
    column = settings.duty.column
    if not column:
        return exports, "duty"
    out: list[Export] = []
    found = any("duty" in e.columns for e in exports)
    ours = ""
    for export, raw in zip(exports, raws, strict=True):
        headers = {str(h).casefold(): str(h) for h in raw.cells.columns}
        header = headers.get(" ".join(column.split()).casefold())
        already = {s.column.casefold(): o for o, s in export.columns.items()}
        if "duty" in export.columns or "duty" not in COLUMNS_OF.get(export.kind, ()):
            out.append(export)
        elif column in export.columns or column.casefold() in already:
            ours = column if column in export.columns else already[column.casefold()]
            out.append(export)
        elif header:
            found = True
            mapped = {**export.columns, "duty": SourceColumn(column=header)}
            out.append(export.model_copy(update={"columns": mapped}))
        else:
            out.append(export)
    if not found and not ours:
        have = sorted({str(h) for raw in raws for h in raw.cells.columns})
        near = difflib.get_close_matches(column, have, n=1, cutoff=0.5)
        raise ColumnMissingError(
            f"No export has a column '{column}'.",
            f"{settings.source}: duty.column",
            (f"did you mean '{near[0]}'? " if near else "") + "The files have: " + ", ".join(have),
        )
    return out, ours or "duty"


def stated_duties(settings: Settings) -> Duties:
    """Duties of the settings: by machine, by customer, the duty file, one for all.

    Raises
    ------
    SettingsError
        A customer has two duties.
    ExportError
        The duty file can't be used.
    """
    by_unit: dict[str, str] = {}
    by_customer: dict[str, str] = {}
    if settings.duty.path:
        by_unit, by_customer = _duty_file(settings)
    by_unit |= {_key(u): d for u, d in settings.duty.by_unit.items()}
    by_customer |= {_key(c): d for c, d in settings.duty.by_customer.items()}
    for name, customer in settings.customers.items():
        if not customer.duty:
            continue
        other = settings.duty.by_customer.get(name, customer.duty)
        if other != customer.duty:
            raise SettingsError(
                f"Customer '{name}' has two duties: '{other}' and '{customer.duty}'.",
                f'{settings.source}: duty.by_customer."{name}" and customers."{name}".duty',
                "keep one of them",
            )
        by_customer[_key(name)] = customer.duty
    return Duties(by_unit, by_customer, settings.duty.all)


def _key(name: str) -> str:
    return "".join(name.casefold().split())


def _duty_file(settings: Settings) -> tuple[dict[str, str], dict[str, str]]:
    path: Path = settings.folder / settings.duty.path
    where = f"{settings.source}: duty"
    if not is_file(path):
        raise ExportError(
            f"The duty file '{settings.duty.path}' does not exist.",
            f"{where}.path",
            "correct the path; it starts at the settings file's folder",
        )
    cells = read_raw(path, Export(path=settings.duty.path), where).cells
    cells.columns = pd.Index([str(c).casefold() for c in cells.columns])
    if "duty" not in cells or not {"unit_id", "customer"} & set(cells.columns):
        raise ColumnMissingError(
            "The duty file needs a column duty and a column unit_id or customer.",
            path.name,
            "it has: " + ", ".join(cells.columns),
        )
    cells = cells[(cells["duty"] != "") & _is_confirmed(cells)]
    names = {c: cells.get(c, pd.Series("", index=cells.index)) for c in ("unit_id", "customer")}
    # draft marks names that a spreadsheet would take for a formula
    names = {c: n.str.replace(r"^'(?=[=+\-@])", "", regex=True) for c, n in names.items()}
    units = names["unit_id"] != ""
    # a row that names both speaks of that machine
    customers = ~units & (names["customer"] != "")
    return (
        dict(zip(name_key(names["unit_id"][units]), cells["duty"][units], strict=True)),
        dict(zip(name_key(names["customer"][customers]), cells["duty"][customers], strict=True)),
    )


def _is_confirmed(cells: pd.DataFrame) -> pd.Series:
    """Rows that a person confirmed; all of them in a file without such a column."""
    if "confirmed" not in cells:
        return pd.Series(data=True, index=cells.index)
    said: pd.Series = cells["confirmed"].str.casefold().str.strip().isin(_YES)
    return said


def ask_duties(settings: Settings, lines: pd.DataFrame) -> list[dict[str, Any]]:
    """Ask while customers have no duty that a person stated; nothing is taken for granted.

    Parameters
    ----------
    lines : DataFrame
        Service lines, duty filled.
    """
    on_machines = lines[lines["unit_id"] != ""]
    without = on_machines[on_machines["duty"] == NOT_STATED]
    if not settings.duty.path or settings.duty.all or without.empty:
        return []
    by_customer = without["customer"].value_counts()
    named = by_customer[by_customer.index != ""]
    share = len(without) / len(on_machines)
    return [
        finding(
            "intake", "ask",
            f"The duty of {len(named)} customers with {share:.0%} of the machines' lines is not "
            f"confirmed, first {first_few(named.index)}: they count as one duty, '{NOT_STATED}'.",
            mend=f"put yes into the column confirmed of {settings.duty.path} (correct duty where "
            'it is wrong), or set [duty] all = "..." for the rest',
            table="units", key="duty",
        )
    ]  # fmt: skip


def duty_of(
    unit_id: pd.Series, customer: pd.Series, column: pd.Series, duties: Duties
) -> pd.Series:
    """Duty by machine, else by customer, else from the export's column, else the one for all."""
    out = name_key(unit_id).map(duties.by_unit)
    out = filled_from(out, name_key(customer).map(duties.by_customer))
    out = filled_from(out, column.mask(column == ""))
    return filled_from(out, duties.for_all or NOT_STATED)


def say_unused(
    settings: Settings, units: pd.Series, customers: pd.Series, duties: Duties
) -> list[dict[str, Any]]:
    """Findings for machines and customers of the settings that no file knows."""
    notes = []
    for what, named, known in (
        ("machine", list(settings.duty.by_unit), units),
        ("customer", [*settings.duty.by_customer, *settings.customers], customers),
    ):
        there = sorted(known[known != ""].unique())
        keys = {_key(k) for k in there}
        for name in dict.fromkeys(n for n in named if _key(n) not in keys):
            near = difflib.get_close_matches(name, there, n=1, cutoff=0.6)
            notes.append(
                finding(
                    "intake", "note", f"The settings name {what} '{name}', which no file holds.",
                    mend=f"did you mean '{near[0]}'?" if near else "correct or remove it",
                    table="units", key=name,
                )
            )  # fmt: skip
    mapped = settings.duty.column or any("duty" in e.columns for e in settings.exports)
    if NOT_STATED not in duties.by_unit.values() and not (
        duties.for_all or duties.by_unit or duties.by_customer or mapped or settings.duty.path
    ):
        notes.append(
            finding(
                "intake", "ask",
                "No duty is stated: every machine counts as one duty, so that hard and light work "
                "are mixed.",
                mend="state [duty] column, by_customer, by_unit, path or all",
                table="units", key="duty",
            )
        )  # fmt: skip
    return notes


def build_spans(
    units: pd.DataFrame,
    lines: pd.DataFrame,
    listed: pd.DataFrame,
    duties: Duties,
    as_of: dt.date,
) -> pd.DataFrame:
    """Runs of one customer and duty of each machine, in time order without holes.

    The first span reaches back to the day the machine entered service, where that is known. The
    last ends on the as-of date or the day the machine left. A machine never seen in the lines has
    one span, from the day it entered service or the start of the record.

    Parameters
    ----------
    units : DataFrame
        Table units.
    lines : DataFrame
        Service lines, duty and customer filled.
    listed : DataFrame
        Customer and duty column of the machines files, by unit_id.
    """
    end = pd.Timestamp(as_of)
    start = lines["service_date"].min() if len(lines) else end
    seen = lines.loc[lines["unit_id"] != "", ["unit_id", "service_date", "customer", "duty"]]
    days = seen.sort_values(["unit_id", "service_date"], kind="stable")
    days = days.drop_duplicates(["unit_id", "service_date"], keep="last")
    by_unit = days["unit_id"]
    customer = days["customer"].mask(days["customer"] == "")
    customer = customer.groupby(by_unit).ffill()
    days["customer"] = filled_from(filled_from(customer, customer.groupby(by_unit).bfill()), "")
    named = days["duty"].mask(days["duty"] == NOT_STATED)
    place = [by_unit, days["customer"]]
    named = named.groupby(place).ffill()
    days["duty"] = filled_from(filled_from(named, named.groupby(place).bfill()), NOT_STATED)
    run = days[["customer", "duty"]].ne(days.groupby("unit_id")[["customer", "duty"]].shift())
    spans = days[run.any(axis=1)].rename(columns={"service_date": "from_date"})
    spans = pd.concat([spans, _never_seen(units, days, listed, duties, start)], ignore_index=True)
    spans = spans.sort_values(["unit_id", "from_date"], kind="stable")
    told = units.assign(unit_id=units["unit_id"].astype("object")).set_index("unit_id")
    is_first = ~spans["unit_id"].duplicated()
    entered = days_at(spans["unit_id"], told["in_service_on"])
    earlier = is_first & (entered < spans["from_date"])
    spans["from_date"] = spans["from_date"].mask(earlier, entered)
    last = told["left_on"].fillna(end)
    last = last.where(last <= end, end)
    # a machine seen after the day it is said to have left was still there
    last = last.where(~(told["last_seen"] > last), told["last_seen"])
    following = spans.groupby("unit_id")["from_date"].shift(-1) - pd.Timedelta(days=1)
    spans["to_date"] = following.fillna(days_at(spans["unit_id"], last))
    spans["to_date"] = spans["to_date"].where(
        spans["to_date"] >= spans["from_date"], spans["from_date"]
    )
    spans["hours_per_week"] = spans["unit_id"].map(told["hours_per_week"])
    return as_table("unit_spans", spans)


def _never_seen(
    units: pd.DataFrame,
    days: pd.DataFrame,
    listed: pd.DataFrame,
    duties: Duties,
    start: pd.Timestamp,
) -> pd.DataFrame:
    rows = units[~units["unit_id"].astype("object").isin(days["unit_id"])]
    ids = rows["unit_id"].astype("object")
    customer = filled_from(ids.map(listed["customer"]), "")
    column = filled_from(ids.map(listed["duty"]), "")
    return pd.DataFrame(
        {
            "unit_id": ids,
            "from_date": rows["in_service_on"].fillna(start),
            "customer": customer,
            "duty": duty_of(ids, customer, column, duties),
        }
    )


def fill_duties(
    lines: pd.DataFrame, listed: pd.DataFrame, duties: Duties, column: str
) -> pd.DataFrame:
    """Lines with customer and duty filled; the machines files speak where a line is silent.

    Parameters
    ----------
    column : str
        The column of ours that holds the export's duty.
    """
    out = lines.copy()
    for name in ("customer", "duty"):
        told = filled_from(out["unit_id"].map(listed[name]), "")
        out[name] = out[name].where(out[name] != "", told)
    told = out[column] if column in out else out["duty"]
    out["duty"] = duty_of(out["unit_id"], out["customer"], told, duties)
    return out
