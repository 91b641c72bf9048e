"""Tickets that stand in several files with unlike lines: the later version holds."""

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dutylife.intake.columns import Mapped
from dutylife.intake.findings import finding, first_few
from dutylife.intake.names import name_key
from dutylife.wording import count

REPLACED = "replaced by a later export"
# words in a file's name that say it was issued again
_AGAIN = re.compile(
    r"re-?issue|corr(?:ect|ig)|korr|amend|revis|(?:^|[^a-z])rev\d*(?:[^a-z]|$)|updat|replac"
    r"|ersatz|neu(?:[^a-z]|$)|nieuw|nouveau|nuevo|final|(?:^|[^a-z])v\d+(?:[^a-z]|$)|\(\d+\)$"
)
# a file that covers no more than the days of an earlier one, and most of its tickets, is the same
# period again
_SAME_PERIOD_SHARE = 0.5
# of tickets two files share, this share at least has a line in common, or they hold unlike things
_SAME_LINES_SHARE = 0.1
_FEW_TICKETS = 5


@dataclass(frozen=True, slots=True)
class _File:
    position: int
    rank: tuple[Any, ...]
    first: pd.Timestamp
    last: pd.Timestamp


def later_versions(
    files: list[Mapped], lines: pd.DataFrame, owner: np.ndarray, usable: pd.Series
) -> tuple[pd.Series, list[dict[str, Any]]]:
    """Lines of tickets that a later file holds in another version.

    Only files with the same columns are compared. A later file replaces the lines of a ticket
    that lie in its own days, if both versions share a line or a date: a ticket cut by the end of
    a month, or a number used again in another year, stays whole.

    Parameters
    ----------
    files : list of Mapped
        In the order of the settings.
    lines : DataFrame
        Lines of all files, with line_id.
    owner : ndarray of int
        Position in ``files`` of each line.
    usable : Series of bool
        Lines that are used so far.

    Returns
    -------
    tuple
        Which lines are replaced, and one finding that counts them.
    """
    replaced = np.zeros(len(lines), dtype=bool)
    changed: list[str] = []
    rows = np.flatnonzero((usable & (lines["ticket"] != "")).to_numpy())
    series = _series(files)
    for members in series:
        mine = rows[np.isin(owner[rows], members)]
        known = pd.DataFrame(
            {
                "row": mine,
                "ticket": name_key(lines["ticket"].iloc[mine]).to_numpy(),
                "file": owner[mine],
                "line_id": lines["line_id"].to_numpy()[mine],
                "date": lines["service_date"].to_numpy()[mine],
            }
        )
        ranked = {f.position: f for f in _ranked(files, members, known)}
        unlike = _unlike_versions(known)
        if unlike.empty:
            continue
        apart = _unlike_things(unlike)
        content = _undated(lines, unlike)
        for ticket, versions in unlike.assign(content=content).groupby("ticket", sort=True):
            lost = _lost_lines(versions, ranked, apart)
            if len(lost):
                replaced[lost] = True
                changed.append(str(lines["ticket"].iloc[int(lost[0])] or ticket))
    notes = []
    if changed:
        latest = f"{count(int(replaced.sum()), 'line')} of {count(len(changed), 'ticket')}"
        notes.append(
            finding(
                "intake", "note",
                f"{latest} {'stands' if replaced.sum() == 1 else 'stand'} otherwise in a later "
                f"export, which holds (tickets {first_few(changed)}).",
                mend="the lines replaced are listed in set_aside; if a file is not the later one, "
                "name the files in the order of their issue",
                table="set_aside", key="ticket",
            )
        )  # fmt: skip
    return pd.Series(replaced, index=lines.index), notes


def _series(files: list[Mapped]) -> list[list[int]]:
    """Files of the same columns under the same mapping, two or more."""
    found: dict[tuple[Any, ...], list[int]] = {}
    for position, file in enumerate(files):
        names = tuple(sorted(map(str, file.raw.cells.columns)))
        found.setdefault((names, tuple(sorted(file.theirs.items()))), []).append(position)
    return [members for members in found.values() if len(members) > 1]


def _ranked(files: list[Mapped], members: list[int], known: pd.DataFrame) -> list[_File]:
    """Files from the first issued to the last: issued again ones after the ones they repeat."""
    dates = known.groupby("file")["date"]
    first = {int(str(p)): d for p, d in dates.min().items()}
    last = {int(str(p)): d for p, d in dates.max().items()}
    tickets = {int(str(p)): set(t) for p, t in known.groupby("file")["ticket"]}
    order = sorted(
        (p for p in members if p in first), key=lambda p: (_number(files[p]), _natural(files[p]))
    )
    out = []
    for at, position in enumerate(order):
        mine = tickets[position]
        repeats = any(
            first[p] <= first[position]
            and last[position] <= last[p]
            and len(mine & tickets[p]) >= _SAME_PERIOD_SHARE * len(mine)
            for p in order[:at]
        )
        again = repeats or bool(_AGAIN.search(files[position].raw.path.stem.casefold()))
        out.append(_File(position, (again, at), first[position], last[position]))
    return out


def _number(file: Mapped) -> int:
    digits = re.search(r"exports\.(\d+)", file.key)
    return int(digits[1]) if digits else 0


def _natural(file: Mapped) -> list[tuple[int, int, str]]:
    """Name without its ending, its figures as numbers: 2024-9 before 2024-10."""
    pieces = re.findall(r"\d+|\D+", file.raw.path.with_suffix("").as_posix().casefold())
    return [(0, int(p), "") if p.isdecimal() else (1, 0, p) for p in pieces]


def _unlike_versions(known: pd.DataFrame) -> pd.DataFrame:
    """Lines of tickets that several files hold, not all with the same lines."""
    hashed = pd.util.hash_array(known["line_id"].to_numpy(dtype="object"))
    versions = known.assign(hashed=hashed).groupby(["ticket", "file"])["hashed"].sum()
    several = versions.groupby("ticket").agg(["size", "nunique"])
    names = several.index[(several["size"] > 1) & (several["nunique"] > 1)]
    return known[known["ticket"].isin(names)]


def _undated(lines: pd.DataFrame, rows: pd.DataFrame) -> pd.Series:
    """Content of lines without their date, to find the line a corrected date belongs to."""
    cells = lines.iloc[rows["row"]]
    columns = ("unit_id", "part_number", "description", "quantity", "unit_price", "work_done")
    text = cells["customer"].astype(str)
    for column in columns:
        text = text + "\x1f" + cells[column].astype(str)
    return pd.Series(text.to_numpy(), index=rows.index)


def _unlike_things(unlike: pd.DataFrame) -> set[tuple[int, int]]:
    """Pairs of files whose common tickets share no lines: parts in one, labour in the other."""
    first = unlike.groupby(["ticket", "file"])["line_id"].agg(set).reset_index()
    pairs: dict[tuple[int, int], list[bool]] = {}
    for _, versions in first.groupby("ticket"):
        sets = list(zip(versions["file"], versions["line_id"], strict=True))
        for i, (a, lines_a) in enumerate(sets):
            for b, lines_b in sets[i + 1 :]:
                pairs.setdefault((int(a), int(b)), []).append(bool(lines_a & lines_b))
    return {
        pair
        for pair, shared in pairs.items()
        if len(shared) >= _FEW_TICKETS and np.mean(shared) < _SAME_LINES_SHARE
    }


def _lost_lines(
    versions: pd.DataFrame, ranked: dict[int, _File], apart: set[tuple[int, int]]
) -> np.ndarray:
    """Rows of one ticket that a later version of it no longer holds."""
    by_file = {int(str(p)): v for p, v in versions.groupby("file")}
    order = sorted(by_file, key=lambda p: ranked[p].rank)
    lost: list[np.ndarray] = []
    for at, position in enumerate(order):
        old = by_file[position]
        gone = np.zeros(len(old), dtype=bool)
        for later in order[at + 1 :]:
            if (min(position, later), max(position, later)) in apart:
                continue
            new = by_file[later]
            is_same = old["line_id"].isin(new["line_id"]).to_numpy()
            moved = old["content"].isin(new["content"]).to_numpy()
            if not (is_same.any() or moved.any() or old["date"].isin(new["date"]).any()):
                continue
            inside = old["date"].between(ranked[later].first, ranked[later].last).to_numpy()
            gone |= ~is_same & (inside | moved)
        lost.append(old["row"].to_numpy()[gone])
    return np.concatenate(lost) if lost else np.array([], dtype="int64")
