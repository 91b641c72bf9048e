"""Rows of earlier months that are not what they were: edited, gone, late, or coded otherwise."""

from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd

from dutylife.provenance import digest_of
from dutylife.schema import as_table
from dutylife.wording import count

Tables = dict[str, pd.DataFrame]
Row = dict[str, Any]
_PLACE = ("source_file", "source_row")  # where a row stands may change without the row
_DERIVED = ("first_seen", "last_seen", "usage_source", "meter_unit", "prob_in_service")
_CODED = ("component", "position", "activity", "reason", "finding", "failure_mode", "is_comeback")
_FEWEST_ALIKE = 0.5  # of the cells of two lines of one ticket, for one to be the other, edited


def record_changes(then: Tables, now: Tables, events_now: pd.DataFrame) -> pd.DataFrame:
    """What of the past, as it was known then, reads otherwise today.

    Parameters
    ----------
    then : dict of DataFrame
        service_lines, units and maintenance_events of last month's run.
    now : dict of DataFrame
        service_lines and units of today's exports, read as of that month.
    events_now : DataFrame, table "maintenance_events"
        Today's events up to that month's as-of date.

    Returns
    -------
    DataFrame, table "record_changes"
        A row for each cell that changed; one for a line or machine that went or came late. Events
        are told where their lines are the same and only what was made of them is another.
    """
    lines = _line_changes(then["service_lines"], now["service_lines"])
    units = _unit_changes(then["units"], now["units"])
    kept = set(then["service_lines"]["line_id"]) & set(now["service_lines"]["line_id"])
    coded = _coded_otherwise(then["maintenance_events"], events_now, kept)
    rows = pd.DataFrame([*lines, *units, *coded])
    return as_table("record_changes", rows)


def change_finding(changes: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """Table "findings": how many rows of the past changed, went, came late; none when none did."""
    if changes.empty:
        return as_table("findings", pd.DataFrame())
    rows = changes.astype({"table": "object", "change": "object", "source_file": "object"})
    rows = rows.drop_duplicates(["table", "change", "row_key"])
    edited = rows[rows["change"] != "coded otherwise"]
    counts = {c: int((rows["change"] == c).sum()) for c in ("changed", "went", "came late")}
    told = [f"{n} {change}" for change, n in counts.items() if n]
    n_coded = len(rows) - len(edited)
    parts = []
    if told:
        parts.append(
            f"{count(len(edited), 'row')} of the months up to {as_of:%Y-%m-%d} "
            f"{'is' if len(edited) == 1 else 'are'} not what they were: {', '.join(told)}"
        )
    if n_coded:
        parts.append(
            f"{count(n_coded, 'event')} of those months {'is' if n_coded == 1 else 'are'} coded "
            "otherwise from the same lines"
        )
    first = (edited if len(edited) else rows).iloc[0]
    return as_table(
        "findings",
        pd.DataFrame(
            [
                {
                    "finding_id": digest_of("history", "record changes", f"{as_of:%Y-%m-%d}"),
                    "stage": "history", "kind": "note", "table": "record_changes",
                    "key": str(first["row_key"]), "source_file": first["source_file"],
                    "source_row": int(first["source_row"]),
                    "message": ". ".join(parts) + ".",
                    "mend": "nothing where it was corrected on purpose or booked late; else "
                    "compare the exports, each cell stands in table record_changes",
                }
            ]
        ),
    )  # fmt: skip


def _line_changes(then: pd.DataFrame, now: pd.DataFrame) -> list[Row]:
    """Lines by what they hold (line_id); of one ticket, unlike lines are paired when mostly alike.

    Parts of a line are its cells but for the id and its place in the file.
    """
    gone = _plain(then[~then["line_id"].isin(set(now["line_id"]))])
    come = _plain(now[~now["line_id"].isin(set(then["line_id"]))])
    cells = [c for c in gone.columns if c not in ("line_id", *_PLACE)]
    out: list[Row] = []
    paired: set[str] = set()
    by_ticket = dict(list(come.groupby("ticket", sort=True)))
    for ticket, before in gone.groupby("ticket", sort=True):
        after = by_ticket.get(ticket)
        if after is None or ticket == "":
            continue
        for old, new in _pairs(before, after, cells):
            paired |= {old["line_id"], new["line_id"]}
            out += _cells(old, new, cells, "service_lines", new["line_id"], new["service_date"])
    for change, rows in (("went", gone), ("came late", come)):
        for row in rows[~rows["line_id"].isin(paired)].to_dict("records"):
            what = next((row[c] for c in ("description", "work_done", "complaint") if row[c]), "")
            told = {"went": {"was": what}, "came late": {"is_now": what}}[change]
            out.append(
                _row(_named(row), "service_lines", change, row["line_id"], row["service_date"])
                | {"changed_column": "line"} | told
            )  # fmt: skip
    return out + _said_otherwise(then, now, cells)


def _said_otherwise(then: pd.DataFrame, now: pd.DataFrame, cells: list[str]) -> list[Row]:
    """Lines that hold the same, but of which another file says another duty or class."""
    both = sorted(set(then["line_id"]) & set(now["line_id"]))
    old, new = (_plain(f.set_index("line_id").loc[both].reset_index()) for f in (then, now))
    unlike = np.flatnonzero((old[cells].to_numpy() != new[cells].to_numpy()).any(axis=1))
    out: list[Row] = []
    for one, two in zip(
        old.iloc[unlike].to_dict("records"), new.iloc[unlike].to_dict("records"), strict=True
    ):
        before, after = _named(one), _named(two)
        out += _cells(before, after, cells, "service_lines", after["line_id"],
                      after["service_date"])  # fmt: skip
    return out


def _pairs(before: pd.DataFrame, after: pd.DataFrame, cells: list[str]) -> list[tuple[Row, Row]]:
    from scipy.optimize import linear_sum_assignment

    alike = (before[cells].to_numpy()[:, None] == after[cells].to_numpy()[None]).mean(axis=2)
    one, two = linear_sum_assignment(-alike)
    old, new = before.to_dict("records"), after.to_dict("records")
    return [
        (_named(old[i]), _named(new[j]))
        for i, j in zip(one, two, strict=True)
        if alike[i, j] >= _FEWEST_ALIKE
    ]


def _unit_changes(then: pd.DataFrame, now: pd.DataFrame) -> list[Row]:
    """Machines whose listed cells changed; what follows from the lines is told there."""
    cells = [c for c in then.columns if c not in ("unit_id", *_DERIVED)]
    seen = {str(r["unit_id"]): _named(r) for r in _plain(then).to_dict("records")}
    out: list[Row] = []
    for new in map(_named, _plain(now).to_dict("records")):
        old = seen.pop(new["unit_id"], None)
        if old is not None:
            out += _cells(old, new, cells, "units", new["unit_id"], None)
        elif not new["first_seen"]:
            out.append(_row(new, "units", "came late", new["unit_id"], None)
                       | {"changed_column": "machine"})  # fmt: skip
    for old in seen.values():
        if not old["first_seen"]:
            out.append(_row(old, "units", "went", old["unit_id"], None)
                       | {"changed_column": "machine"})  # fmt: skip
    return out


def _coded_otherwise(then: pd.DataFrame, now: pd.DataFrame, kept: set[str]) -> list[Row]:
    """Events made of the same lines whose words differ, by their lines."""
    before, after = _by_lines(then, kept), _by_lines(now, kept)
    out: list[Row] = []
    for key in sorted(before.keys() | after.keys()):
        old, new = before.get(key, []), after.get(key, [])
        same = [e for e in old if _words(e) in [_words(n) for n in new]]
        gone = [e for e in old if _words(e) not in [_words(s) for s in same]]
        come = [e for e in new if _words(e) not in [_words(s) for s in same]]
        for number in range(max(len(gone), len(come))):
            one = gone[number] if number < len(gone) else None
            two = come[number] if number < len(come) else None
            about = two or one or {}
            row = _row(about, "maintenance_events", "coded otherwise", key, about["event_date"])
            unlike = [
                c
                for c in _CODED
                if one is None or two is None or one[c] != two[c]
            ]  # fmt: skip
            out += [
                row
                | {
                    "changed_column": c if number == 0 else f"{c} ({number + 1})",
                    "was": "" if one is None else one[c], "is_now": "" if two is None else two[c],
                    "component": about["component"],
                }
                for c in unlike
                if (one or {}).get(c, "") != (two or {}).get(c, "")
            ]  # fmt: skip
    return out


def _by_lines(events: pd.DataFrame, kept: set[str]) -> dict[str, list[Row]]:
    out: dict[str, list[Row]] = {}
    rows = _plain(events)
    order = ["component", "position", "activity", "reason"]
    for row in map(_named, rows.sort_values(order, kind="stable").to_dict("records")):
        if row["line_ids"] and set(row["line_ids"].split(";")) <= kept:
            out.setdefault(row["line_ids"], []).append(row)
    return out


def _words(event: Row) -> tuple[str, ...]:
    return tuple(event[c] for c in _CODED)


def _cells(
    old: Row, new: Row, cells: list[str], table: str, key: str, day: object
) -> list[Row]:  # fmt: skip
    row = _row(new, table, "changed", key, day)
    return [
        row | {"changed_column": c, "was": old[c], "is_now": new[c]}
        for c in cells
        if old[c] != new[c]
    ]


def _row(row: Row, table: str, change: str, key: str, day: object) -> Row:
    return {
        "table": table, "change": change, "row_key": key, "was": "", "is_now": "",
        "happened_on": day or None, "unit_id": row.get("unit_id") or None,
        "ticket": row.get("ticket") or None, "component": None,
        "source_file": row.get("source_file") or None,
        "source_row": int(row.get("source_row") or 0),
    }  # fmt: skip


def _named(row: dict[Hashable, Any]) -> Row:
    return {str(key): value for key, value in row.items()}


def _plain(frame: pd.DataFrame) -> pd.DataFrame:
    """Every cell as the text a person would compare; blank where missing."""
    out = {}
    for name in frame.columns:
        cells = frame[name]
        if name == "source_row":
            out[name] = cells
        elif cells.dtype.kind == "M":
            out[name] = cells.dt.strftime("%Y-%m-%d").fillna("")
        elif cells.dtype.kind == "f":
            text = np.array([f"{v:.10g}" for v in cells], dtype=object)
            out[name] = pd.Series(text, index=cells.index).where(cells.notna(), "")
        else:
            plain = cells.astype("object")
            out[name] = plain.where(plain.notna(), "").astype(str)
    return pd.DataFrame(out, index=frame.index)
