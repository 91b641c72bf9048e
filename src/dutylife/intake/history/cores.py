"""Deposits on old parts: never part use; a charge and its credit cancel."""

import pandas as pd

from dutylife.intake.findings import finding, first_few
from dutylife.intake.history.accounts import CORE_NETTED, Account
from dutylife.intake.history.netting import share_out
from dutylife.intake.history.words import pattern, words
from dutylife.intake.names import name_key
from dutylife.intake.values import on_unlike
from dutylife.wording import count


def mark_cores(lines: pd.DataFrame, account: Account) -> pd.DataFrame:
    """Lines that bill a deposit by their text or the end of their number, made of kind core."""
    numbers = lines["part_number"].str.casefold()
    ends = numbers.str.endswith(words("core_endings"))
    told = _asked(lines["description"], "core") | ends
    found = told & lines["line_kind"].isin(["part", "credit"])
    if not found.any():
        return lines
    account.say(
        finding(
            "intake", "note",
            f"{count(int(found.sum()), 'line')} billed as part or credit are deposits on an old "
            f"part by their text ({first_few(sorted(set(lines.loc[found, 'description'])))}); "
            "they count as no part.",
            table="service_lines", key="core",
        )
    )  # fmt: skip
    return lines.assign(line_kind=lines["line_kind"].mask(found, "core"))


def net_cores(lines: pd.DataFrame, account: Account) -> None:
    """Take out core charges that were credited, with their credits; name the rest."""
    cores = lines[lines["line_kind"] == "core"]
    if cores.empty:
        return
    key = name_key(cores["part_number"])
    for ending in words("core_endings"):
        key = key.str.removesuffix(ending.replace(" ", ""))
    text = on_unlike(cores["description"], lambda u: u.map(_what))
    cores = cores.assign(key=key.where(key != "", "text " + text))
    pieces = cores["quantity"].fillna(1.0)
    is_credit = (pieces < 0) | (cores["unit_price"] < 0)
    cores = cores.assign(pieces=pieces.abs())
    cores = cores[cores["pieces"] > 0]
    is_credit = is_credit.reindex(cores.index)
    shares = share_out(cores[is_credit], cores[~is_credit])
    back: dict[int, float] = {}
    for share in shares:
        back[share.sale] = back.get(share.sale, 0.0) + share.pieces
        back[share.credit] = back.get(share.credit, 0.0) + share.pieces
    open_pieces = cores["pieces"] - pd.Series(back, dtype="float64").reindex(cores.index).fillna(0)
    done = open_pieces <= 1e-9
    for index in cores.index[done]:
        account.take(index, CORE_NETTED)
    n_open, n_lone = int((~done & ~is_credit).sum()), int((~done & is_credit).sum())
    rows = cores[~done]
    account.say(
        finding(
            "intake", "note",
            f"{count(len(cores), 'core line')}: {int((done & is_credit).sum())} credits netted "
            f"against their charges, {count(n_open, 'charge')} not credited in the record, "
            f"{count(n_lone, 'credit')} without a charge"
            + (f" (rows {first_few(rows['source_row'])})" if len(rows) else "")
            + ". None counts as a part.",
            table="service_lines", key="core charges",
        )
    )  # fmt: skip


def _asked(texts: pd.Series, name: str) -> pd.Series:
    found = pattern(name)
    return on_unlike(
        texts, lambda u: u.map(lambda t: found.search(t.casefold()) is not None).astype(bool)
    )


def _what(text: str) -> str:
    return " ".join(pattern("core").sub(" ", text.casefold()).split())
