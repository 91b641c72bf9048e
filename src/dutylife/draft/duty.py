"""duty.csv: customers by number of tickets, with a proposed duty and why, to be confirmed."""

import csv
import io
import tomllib
from functools import cache
from importlib import resources
from typing import Any

import pandas as pd

from dutylife.draft.names import folded

COLUMNS = ("customer", "n_tickets", "n_lines", "share_lines", "duty", "reason", "confirmed")
# fewer texts than this say nothing of a customer's work
_FEW_TEXTS = 3
_SHORT = 6
_TEXT_SHARE = 0.02
# hours a week from which the work is called hard (DOMAIN.md 6.2, our proposal)
_HARD_HOURS = 15
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@cache
def _duties() -> dict[str, Any]:
    text = resources.files("dutylife.draft").joinpath("trades.toml").read_text(encoding="utf-8")
    return dict(tomllib.loads(text)["duties"])


def duty_names() -> list[str]:
    """Names of the duties that are proposed; a shop may use any of its own."""
    return list(_duties())


def severe_duties() -> list[str]:
    """Names of the proposed duties that are hard on machines."""
    return [name for name, given in _duties().items() if given["severe"]]


def propose_duties(lines: pd.DataFrame) -> pd.DataFrame:
    """Customers by number of tickets, each with a proposed duty and the reason.

    Parameters
    ----------
    lines : DataFrame
        Text: customer, and as far as there are ticket, unit_id, equipment_class, complaint,
        work_done; ``meter`` (float) and ``date`` (datetime64) tell hours a week.

    Returns
    -------
    DataFrame
        Columns as in `COLUMNS`; ``duty`` is blank where nothing tells.
    """
    known = lines[lines["customer"] != ""]
    if known.empty:
        return pd.DataFrame(columns=list(COLUMNS))
    visit = "ticket" if "ticket" in known else "date"
    rows = []
    for customer, mine in known.groupby("customer", sort=True):
        duty, reason = _proposal(str(customer), mine)
        rows.append(
            {
                "customer": customer, "n_tickets": mine[visit].nunique(), "n_lines": len(mine),
                "share_lines": round(len(mine) / len(lines), 3), "duty": duty, "reason": reason,
                "confirmed": "",
            }
        )  # fmt: skip
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    order = ["n_tickets", "n_lines", "customer"]
    return table.sort_values(order, ascending=[False, False, True], ignore_index=True)


def _proposal(customer: str, lines: pd.DataFrame) -> tuple[str, str]:
    points: dict[str, float] = {}
    why: dict[str, list[str]] = {}

    def add(duty: str, worth: float, reason: str) -> None:
        points[duty] = points.get(duty, 0.0) + worth
        why.setdefault(duty, []).append(reason)

    name = folded(customer)
    for duty, given in _duties().items():
        met = [w for w in given["names"] if any(f" {s}" in f" {name} " for s in _spellings(w))]
        if met:
            add(duty, 2.0 + 0.1 * len(max(met, key=len)), f"the name has '{met[0]}'")
    texts = [lines[c] for c in ("complaint", "work_done") if c in lines]
    if texts:
        said = pd.concat(texts)
        said = " " + said[said != ""].map(folded)
        for duty, given in _duties().items():
            if not len(said):
                break
            hits = {w: int(said.str.contains(_word(w), regex=False).sum()) for w in given["texts"]}
            word = max(hits, key=lambda w: hits[w])
            share = hits[word] / len(said)
            if hits[word] >= _FEW_TEXTS and share >= _TEXT_SHARE:
                add(duty, min(1.5, 10 * share), f"{hits[word]} texts with '{word}'")
    if not points:
        return "", _machines(lines) or "nothing in name or texts tells"
    best = max(points, key=lambda d: (points[d], d))
    extra = [r for r in (_hours(lines), _machines(lines)) if r]
    return best, "; ".join([*why[best], *extra])


def _spellings(word: str) -> set[str]:
    """The word, and as names look whose umlauts have lost their dots."""
    return {word, word.replace("ae", "a").replace("oe", "o").replace("ue", "u")}


def _word(word: str) -> str:
    """A short word counts where a word starts only: the French for salt stands in "gewechselt"."""
    return f" {word}" if len(word) < _SHORT else word


def _machines(lines: pd.DataFrame) -> str:
    if "equipment_class" not in lines:
        return ""
    kinds = lines.loc[lines["equipment_class"] != "", "equipment_class"].value_counts()
    return "machines: " + ", ".join(map(str, kinds.index[:3])) if len(kinds) else ""


def _hours(lines: pd.DataFrame) -> str:
    """Hours a week, the middle one of its machines; only said, never more than a hint."""
    if not {"meter", "date", "unit_id"} <= set(lines.columns):
        return ""
    read = lines[lines["meter"].notna() & lines["date"].notna() & (lines["unit_id"] != "")]
    ends = read.groupby("unit_id").agg(
        low=("meter", "min"), high=("meter", "max"), first=("date", "min"), last=("date", "max")
    )
    weeks = (ends["last"] - ends["first"]).dt.days / 7
    rates = ((ends["high"] - ends["low"]) / weeks)[weeks > 8]
    if rates.empty:
        return ""
    middle = float(rates.median())
    return f"about {middle:.0f} h a week" + (", hard use" if middle >= _HARD_HOURS else "")


def as_csv(table: pd.DataFrame) -> str:
    """Text of duty.csv; a cell that a spreadsheet would run as a formula gets an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in table[list(COLUMNS)].astype("object").itertuples(index=False):
        writer.writerow([_safe(v) for v in row])
    return out.getvalue()


def with_confirmed(text: str, before: pd.DataFrame) -> str:
    """Text of duty.csv with what a person confirmed in an earlier one.

    Parameters
    ----------
    text : str
        A new duty.csv.
    before : DataFrame
        Text cells of the earlier file, which may have been sorted, cut or saved otherwise.
    """
    old = before.rename(columns=lambda c: str(c).casefold())
    if not {"customer", "duty", "confirmed"} <= set(old.columns):
        return text
    said = old[(old["confirmed"] != "") & (old["duty"] != "")]
    kept = {
        str(c).casefold(): (d, yes)
        for c, d, yes in zip(said["customer"], said["duty"], said["confirmed"], strict=True)
    }
    table = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    for row, customer in enumerate(table["customer"]):
        if customer.casefold() in kept:
            table.loc[row, ["duty", "confirmed"]] = kept[customer.casefold()]
    return as_csv(table)


def _safe(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value
