"""The machine of a line: named only in the text, or one of several on a ticket."""

import re
from typing import Any

import pandas as pd

from dutylife.intake.findings import finding, first_few
from dutylife.intake.history.accounts import Account
from dutylife.intake.history.names_in_text import NameFinder
from dutylife.intake.values import on_unlike
from dutylife.wording import count

_JOINS = re.compile(r"[,;/&+|\n]|\s(?:and|und|et|y|en|e)\s")
# "WC-07/08": the second machine is named by its last figures only
_LAST_FIGURES = re.compile(r"(?P<stem>.*?\D)?(?P<first>\d+)(?P<rest>(?:\s*[,;/&+]\s*\d+)+)")
_TEXTS = ("work_done", "complaint", "description")


def name_machines(
    lines: pd.DataFrame, machines: pd.DataFrame, aliases: dict[str, str], account: Account
) -> pd.DataFrame:
    """Lines with the machine their texts name.

    Parameters
    ----------
    lines, machines : DataFrame
        One spelling a name.
    aliases : dict
        Machine by confirmed alias.

    Returns
    -------
    DataFrame
        A line without a machine takes the one that its ticket's texts name, where just one fits;
        of a ticket of several machines a line keeps the one its own text names, else none: it
        counts for demand, not for lives.
    """
    listed = set(machines["unit_id"]) - {""}
    cells = set(lines["unit_id"]) - {""}
    joined = {c for c in cells - listed if _JOINS.search(c)}
    numbers = set(lines["part_number"])
    finder = NameFinder(sorted((cells | listed) - joined - numbers), aliases)
    out = lines.assign(unit_id=lines["unit_id"])
    several = {c for c in joined if len(_in_cell(c, finder)) > 1}
    is_several = lines["unit_id"].isin(several)
    needs = is_several | (lines["unit_id"] == "")
    is_part = lines["line_kind"].isin(["part", "credit", "core"]) & (lines["description"] != "")
    own = _named(lines["description"].where(needs | is_part, ""), finder)
    if is_several.any():
        allowed = {c: set(_in_cell(c, finder)) for c in several}
        one = [
            o[0] if len(o) == 1 and o[0] in allowed[c] else ""
            for o, c in zip(own[is_several], lines.loc[is_several, "unit_id"], strict=True)
        ]
        out.loc[is_several, "unit_id"] = one
        account.say(_say_several(lines[is_several], out.loc[is_several, "unit_id"]))
    blank = lines["unit_id"] == ""
    if blank.any():
        found, unsure = _from_ticket(lines, blank, own, finder, _customers(lines, machines))
        out.loc[found.index, "unit_id"] = found
        account.say(*_say_named(lines, found, unsure))
    other = own[is_part & ~needs]
    lone = other[other.map(len) == 1].map(lambda o: o[0])
    lone = lone[lone != lines.loc[lone.index, "unit_id"]]
    if len(lone):
        out.loc[lone.index, "unit_id"] = lone
        account.say(
            finding(
                "intake", "note",
                f"{count(len(lone), 'part line')} name another machine than their ticket's and "
                f"were given to it (rows {first_few(lines.loc[lone.index, 'source_row'])}).",
                table="service_lines", key="unit_id in the line",
            )
        )  # fmt: skip
    return out


def _in_cell(cell: str, finder: NameFinder) -> tuple[str, ...]:
    short = _LAST_FIGURES.fullmatch(cell)
    if short:
        rest = re.findall(r"\d+", short["rest"])
        spelled = [f"{short['stem'] or ''}{figures}" for figures in (short["first"], *rest)]
        found = [finder.machines(s) for s in spelled]
        if all(len(f) == 1 for f in found):
            return tuple(sorted({f[0] for f in found}))
    return finder.machines(cell)


def _named(texts: pd.Series, finder: NameFinder) -> pd.Series:
    return on_unlike(
        texts, lambda u: pd.Series([finder.machines(t) for t in u], dtype="object", index=u.index)
    )


def _from_ticket(
    lines: pd.DataFrame,
    blank: pd.Series,
    own: pd.Series,
    finder: NameFinder,
    customers: dict[str, set[str]],
) -> tuple[pd.Series, pd.Series]:
    """Machine of lines without one; and the lines whose texts name several, or a stranger's."""
    rows = lines[blank]
    names = pd.Series([set(o) for o in own[blank]], index=rows.index, dtype="object")
    told = [_named(rows[c], finder) for c in ("work_done", "complaint")]
    everything = [set(a).union(*b) for a, b in zip(names, zip(*told, strict=True), strict=True)]
    spoken = pd.Series(everything, index=rows.index, dtype="object")
    # a number may be another job's in another file
    tickets = (rows["ticket"] + "\x1f" + rows["source_file"]).where(rows["ticket"] != "", "")
    by_ticket: dict[str, set[str]] = {}
    for ticket, found in zip(tickets, spoken, strict=True):
        if ticket:
            by_ticket.setdefault(ticket, set()).update(found)
    machine: dict[int, str] = {}
    unsure: list[int] = []
    for index, ticket, customer in zip(rows.index, tickets, rows["customer"], strict=True):
        fits: set[str] = set()
        for candidates in (names[index], by_ticket.get(ticket, spoken[index])):
            fits = candidates
            if len(fits) > 1:
                fits = {m for m in fits if customer and customer in customers.get(m, set())} or fits
            if len(fits) == 1:
                break
        theirs = customers.get(min(fits), set()) if fits else set()
        strange = bool(customer and theirs and customer not in theirs)
        if len(fits) == 1 and not (strange and min(fits).isdigit()):
            machine[index] = min(fits)
        elif fits:
            unsure.append(index)
    return pd.Series(machine, dtype="object"), rows.loc[unsure, "source_row"]


def _customers(lines: pd.DataFrame, machines: pd.DataFrame) -> dict[str, set[str]]:
    both = pd.concat([lines[["unit_id", "customer"]], machines[["unit_id", "customer"]]])
    both = both[(both["customer"] != "") & (both["unit_id"] != "")].drop_duplicates()
    out: dict[str, set[str]] = {}
    for name, customer in zip(both["unit_id"], both["customer"], strict=True):
        out.setdefault(name, set()).add(customer)
    return out


def _say_several(rows: pd.DataFrame, machine: pd.Series) -> dict[str, Any]:
    n_told = int((machine != "").sum())
    tickets = sorted(set(rows["ticket"]) - {""})
    return finding(
        "intake", "note",
        f"{count(len(rows), 'line')} stand on tickets of several machines "
        f"({first_few(tickets or rows['source_row'])}): {n_told} name theirs in their text, "
        f"{len(rows) - n_told} count for demand but for no machine's life.",
        mend="name the machine in each line's text, or write a ticket for each machine",
        table="service_lines", key="several machines",
        source_file=str(rows["source_file"].iloc[0]), source_row=int(rows["source_row"].iloc[0]),
    )  # fmt: skip


def _say_named(lines: pd.DataFrame, found: pd.Series, unsure: pd.Series) -> list[dict[str, Any]]:
    notes = []
    if len(found):
        rows = lines.loc[found.index, "source_row"]
        notes.append(
            finding(
                "intake", "note",
                f"{count(len(found), 'line')} without a machine took the one their texts name, "
                f"{count(found.nunique(), 'machine')} in all (rows {first_few(rows)}).",
                table="service_lines", key="unit_id in the text",
            )
        )  # fmt: skip
    if len(unsure):
        notes.append(
            finding(
                "intake", "note",
                f"{count(len(unsure), 'line')} without a machine have texts that name several, or "
                f"another customer's (rows {first_few(unsure)}): they count for demand but for no "
                "machine's life.",
                mend="name the machine in each line's text, or write a ticket for each machine",
                table="service_lines", key="several machines in the text",
            )
        )  # fmt: skip
    return notes
