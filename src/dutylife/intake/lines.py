"""Lines exports to service lines: each row used once, or set aside with a reason."""

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.errors import ExportError
from dutylife.intake.columns import LINE_COLUMNS, Mapped, require_columns
from dutylife.intake.findings import finding, first_few
from dutylife.intake.line_kinds import known_kinds, line_kinds
from dutylife.intake.names import squeezed
from dutylife.intake.values import coded, is_total_row, no_text, read_dates, unlike_of
from dutylife.intake.versions import REPLACED, later_versions
from dutylife.provenance import numbers_of, scattered
from dutylife.settings import Settings

_TEXTS = [c for c in LINE_COLUMNS if c not in (
    "service_date", "received_on", "ready_on", "meter_hours", "quantity", "unit_price", "line_kind",
    "parts_wait_days",
)]  # fmt: skip
# columns that make two rows of two files the same line, whatever the form of their dates and sums
_CONTENT = (
    "service_date", "ticket", "unit_id", "customer", "complaint", "work_done", "part_number",
    "description", "quantity", "unit_price", "meter_hours",
)  # fmt: skip
# what one ticket has once, though some exports write it on its first line only
_OF_THE_TICKET = ("service_date", "unit_id", "customer")
# a last date more than this after all others is taken for a slip of the pen, if few rows carry it
_FAR_DAYS = 1096
_FAR_SHARE = 0.005
_AT_ONCE = 1 << 14


def read_lines(mapped: Mapped, settings: Settings) -> pd.DataFrame:
    """Lines of one file; rows that can't be used get their reason in ``mapped``.

    Raises
    ------
    SettingsError
        A needed column is not mapped.
    ExportError
        Not one date can be read.
    """
    says_what = ("unit_id", "part_number", "description", "complaint", "work_done")
    require_columns(mapped, ("service_date",), says_what)
    lines = pd.DataFrame({c: mapped.coded(c) for c in _TEXTS})
    for column in ("service_date", "received_on", "ready_on"):
        lines[column] = mapped.dates(column)
    for column in ("quantity", "unit_price", "meter_hours", "parts_wait_days"):
        lines[column] = mapped.numbers(column, settings.fleet.meter_unit)
    lines["source_file"] = mapped.name
    lines["source_row"] = mapped.raw.source_row
    lines = _fill_from_ticket(lines, mapped)
    _mark_unreadable(mapped, lines)
    lines["line_kind"] = line_kinds(lines, _stated_kind(mapped))
    used = lines[mapped.usable]
    text = {c: used[c].astype("object") for c in _TEXTS}
    known = {c: text[c] if c in text else used[c] for c in used}
    return pd.DataFrame({**known, "line_id": _line_ids(used), "record": used.index}, copy=False)


def _mark_unreadable(mapped: Mapped, lines: pd.DataFrame) -> None:
    text = mapped.text
    undated = lines["service_date"].isna()
    blank = text["service_date"] == ""
    # few rows have no date; only they are looked at cell by cell
    dateless = text.index[undated & blank]
    cells = mapped.raw.cells.loc[dateless]
    if len(dateless):
        is_blank = (text.loc[dateless] == "").all(axis=1)
        mapped.set_aside(is_blank.reindex(text.index, fill_value=False), "blank row")
        is_total = is_total_row(cells.astype("object"))
        mapped.set_aside(is_total.reindex(text.index, fill_value=False), "totals row")
    mapped.set_aside(undated & blank, "no date")
    filled = ~blank & mapped.usable
    _check_dates(mapped, undated & filled, filled)
    mapped.set_aside(undated, "date can't be read")
    for column, word in (("quantity", "quantity"), ("unit_price", "price")):
        mapped.set_aside(
            lines[column].isna() & (mapped.coded(column) != ""), f"{word} can't be read"
        )
    mend_date = f"correct the cell, or date_order in {mapped.key}"
    for column in ("received_on", "ready_on"):
        lost = lines[column].isna() & (mapped.coded(column) != "")
        mapped.say_blanked(column, lost, "service_lines", "can't be read as dates", mend_date)
    mapped.say_blanked(
        "meter_hours",
        lines["meter_hours"].isna() & (mapped.coded("meter_hours") != ""),
        "service_lines",
        "can't be read as meter readings",
        f"correct the cell, or decimal, thousands or the column's unit in {mapped.key}",
    )


def _check_dates(mapped: Mapped, lost: pd.Series, filled: pd.Series) -> None:
    """Refuse a file without one readable date; ask when another date order reads more."""
    if not lost.any():
        return
    cells = mapped.text.loc[filled, "service_date"]
    n_read = {o: int(read_dates(cells, o).notna().sum()) for o in ("ymd", "dmy", "mdy")}
    now = mapped.export.date_order
    better = [o for o in n_read if n_read[o] > n_read[now]]
    better.sort(key=lambda o: -n_read[o])
    examples = first_few([repr(c) for c in mapped.text.loc[lost, "service_date"].unique()[:3]])
    if lost.sum() == filled.sum():
        how = " or ".join(f'"{o}" ({n_read[o]} of {len(cells)})' for o in better)
        raise ExportError(
            f"Not one of the {len(cells)} dates in '{mapped.theirs['service_date']}' can be read, "
            f"e.g. {examples}.",
            f'{mapped.name} ({mapped.key}.date_order = "{now}")',
            f"set date_order to {how}, which reads them"
            if better
            else "no date order reads them: map the column that holds the date",
        )
    if better:
        mapped.findings.append(
            finding(
                "intake", "ask",
                f'{mapped.name}: date_order = "{now}" reads {n_read[now]} of {len(cells)} dates, '
                f'"{better[0]}" would read {n_read[better[0]]} (not read: {examples}).',
                mend=f"check date_order in {mapped.key}",
                table="service_lines", key="service_date", source_file=mapped.name,
                source_row=int(mapped.raw.source_row[lost].iloc[0]),
            )
        )  # fmt: skip


def _stated_kind(mapped: Mapped) -> pd.Series:
    cells = mapped.coded("line_kind")
    kinds = known_kinds(cells)
    strange = (kinds == "") & (cells != "") & mapped.usable
    if strange.any():
        words = sorted(cells[strange].unique())
        mapped.findings.append(
            finding(
                "intake", "note",
                f"{mapped.name}: the kind of {int(strange.sum())} lines is not known "
                f"({first_few([repr(w) for w in words])}); it was taken from their text and price.",
                mend=f'add [exports.values] line_kind = {{"{words[0]}" = "part"}} to {mapped.key}',
                table="service_lines", key="line_kind", source_file=mapped.name,
            )
        )  # fmt: skip
    return kinds


def _fill_from_ticket(lines: pd.DataFrame, mapped: Mapped) -> pd.DataFrame:
    """Date, machine and customer of a ticket's other lines, where a line leaves them blank."""
    usable = (lines["ticket"] != "") & mapped.usable
    if not usable.any():
        return lines
    for column in _OF_THE_TICKET:
        empty = lines[column].isna() if column == "service_date" else lines[column] == ""
        if column == "service_date":  # a date that is there but can't be read stays unread
            empty &= mapped.coded(column) == ""
        if not (empty & usable).any():
            continue
        asked = lines["ticket"].isin(lines.loc[empty & usable, "ticket"].unique())
        known = lines.loc[asked & usable & ~empty & lines[column].notna(), ["ticket", column]]
        if known.empty:
            continue
        is_date = column == "service_date"
        known = known.astype(dict.fromkeys(["ticket"] if is_date else ["ticket", column], "object"))
        one = known.groupby("ticket")[column].agg(["first", "nunique"])
        fill = lines["ticket"].astype("object").map(one.loc[one["nunique"] == 1, "first"])
        rows = empty & usable & fill.notna()
        if not rows.any():
            continue
        known_so_far = lines[column] if is_date else lines[column].astype("object")
        lines = lines.assign(**{column: known_so_far.mask(rows, fill)})
        mapped.findings.append(
            finding(
                "intake", "note",
                f"{mapped.name}: {int(rows.sum())} lines without {column} took it from the other "
                f"lines of their ticket (rows {first_few(lines.loc[rows, 'source_row'])}).",
                table="service_lines", key=column, source_file=mapped.name,
                source_row=int(lines.loc[rows, "source_row"].iloc[0]),
            )
        )  # fmt: skip
    return lines


def _line_ids(lines: pd.DataFrame) -> pd.Series:
    """Digest of each line's content and of how often that content stood before it.

    The digest of a line is the sum of one of each cell, and a cell's text is digested once
    however often it stands in its column: a line's own text is never put together.
    """
    if lines.empty:
        return pd.Series(dtype="object", index=lines.index)
    content = np.zeros(len(lines), dtype="uint64")
    for column in _CONTENT:
        cells = lines[column]
        if column in _TEXTS:
            known = coded(cells).cat
            codes, digests = known.codes.to_numpy(), _digests(known.categories.tolist(), column)
        else:
            codes, unlike = unlike_of(cells.round(4) if cells.dtype == "float64" else cells)
            digests = numbers_of(_as_text(unlike), salt=column)
        content += digests.take(codes)
    counted = pd.Series(content)
    again = counted[counted.duplicated(keep=False)]
    occurrence = np.zeros(len(lines), dtype="uint64")
    occurrence[again.index] = again.groupby(again, sort=False).cumcount()
    mixed = scattered(content + scattered(occurrence + np.uint64(1)))
    figures = mixed.astype(">u8").tobytes().hex()
    ids = [figures[start : start + 16] for start in range(0, len(figures), 16)]
    return pd.Series(ids, lines.index, dtype="object")


def _digests(texts: list[str], column: str) -> NDArray[np.uint64]:
    """Digests of texts, the spellings of one name alike.

    Some at once are quicker than each alone, and little of them is twice in memory.
    """
    starts = range(0, len(texts), _AT_ONCE)
    some = [numbers_of(squeezed(texts[at : at + _AT_ONCE]), salt=column) for at in starts]
    return np.concatenate(some)


def _as_text(unlike: Any) -> list[str]:
    """Texts by which two days or numbers are the same."""
    if unlike.dtype == "float64":
        return [str(number) for number in unlike.tolist()]
    return [f"{day:%Y-%m-%d}" for day in pd.DatetimeIndex(unlike)]


def join_files(
    files: list[tuple[Mapped, pd.DataFrame]], as_of: dt.date | None
) -> tuple[pd.DataFrame, dt.date | None, list[dict[str, Any]]]:
    """One table of all files' lines.

    A line in two files is read once; of a ticket in two versions the later one holds; rows after
    the as-of date, and rows dated far after all others where no as-of date is given, are set
    aside in their file.

    Returns
    -------
    tuple
        Lines, the as-of date (None without lines) and findings.
    """
    lines = pd.concat([frame for _, frame in files], ignore_index=True)
    owner = np.repeat(np.arange(len(files)), [len(frame) for _, frame in files])
    reason = pd.Series("", index=lines.index, dtype="object")
    notes: list[dict[str, Any]] = []
    if as_of is None:
        far = _far_after_the_rest(lines["service_date"])
        reason = reason.mask(far, "date far after all others")
        last = lines.loc[~far, "service_date"].max()
        as_of = last.date() if pd.notna(last) else None
    elif len(lines):
        reason = reason.mask(lines["service_date"] > pd.Timestamp(as_of), "after the as-of date")
    replaced, changed = later_versions([m for m, _ in files], lines, owner, reason == "")
    reason = reason.mask(replaced, REPLACED)
    notes += changed
    usable = lines["line_id"].where(reason == "")
    again = usable.duplicated() & usable.notna()
    reason = reason.mask(again, "read already from another file")
    for position, (mapped, _) in enumerate(files):
        mine = (owner == position) & (reason != "")
        mapped.reason.loc[lines.loc[mine, "record"]] = reason[mine].to_numpy()
    if again.any():
        notes.append(
            finding(
                "intake", "note",
                f"{int(again.sum())} lines stand in more than one file and were read once.",
                table="set_aside", key="line_id",
            )
        )  # fmt: skip
    used = no_text(reason)
    return lines if used.all() else lines[used].reset_index(drop=True), as_of, notes


def _far_after_the_rest(dates: pd.Series) -> pd.Series:
    days = np.sort(dates.to_numpy())
    few = int(len(days) * _FAR_SHARE)
    none = pd.Series(data=False, index=dates.index)
    if few < 1:
        return none
    gaps = np.diff(days[-few - 1 :]) > np.timedelta64(_FAR_DAYS, "D")
    if not gaps.any():
        return none
    after: pd.Series = dates > days[-few - 1 :][int(np.argmax(gaps))]
    return after
