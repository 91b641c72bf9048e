"""Parts that came back: their sale and their credit make neither an event nor demand."""

from typing import Any

import pandas as pd

from dutylife.intake.findings import finding, first_few
from dutylife.intake.history.accounts import CREDIT_NETTED, SOLD_AND_RETURNED, Account
from dutylife.intake.history.netting import Share, share_out
from dutylife.intake.history.words import pattern
from dutylife.intake.names import name_key
from dutylife.intake.values import on_unlike
from dutylife.wording import count

# a credit of less than this share of the price is money off, not a part that came back
_MONEY_OFF_BELOW = 0.5


def net_returns(lines: pd.DataFrame, account: Account) -> pd.DataFrame:
    """Lines with returned pieces taken off their sale.

    Parameters
    ----------
    lines : DataFrame
        Service lines of every file, one spelling a name, kits and old numbers settled.
    account : Account
        Takes the sales returned whole, their credits, and the findings.

    Returns
    -------
    DataFrame
        Sales returned in part with the pieces left; credits with the pieces that found no sale;
        money off (warranty, discount) as a fee: the part stays used.
    """
    is_credit = lines["line_kind"] == "credit"
    if not is_credit.any():
        return lines
    out = lines.assign(quantity=lines["quantity"])
    text = on_unlike(lines.loc[is_credit, "description"], lambda u: u.map(_what))
    credits = lines[is_credit].assign(what=text)
    off = credits["description"].map(lambda t: bool(pattern("allowance").search(t.casefold())))
    off = off.astype(bool)
    about_part = (credits["part_number"] != "") | (credits["quantity"] < 0)
    parts = credits[about_part & ~off]
    parts = parts.assign(pieces=parts["quantity"].abs().fillna(1.0))
    parts = parts[parts["pieces"] > 0]
    shares, cheap = _shares(parts, lines)
    money_off = [*credits.index[off], *cheap]
    if money_off:
        out["line_kind"] = out["line_kind"].mask(out.index.isin(money_off), "fee")
        account.say(_say_money_off(lines.loc[money_off]))
    back: dict[int, float] = {}
    for share in shares:
        back[share.sale] = back.get(share.sale, 0.0) + share.pieces
        back[share.credit] = back.get(share.credit, 0.0) + share.pieces
    taken = pd.Series(back, dtype="float64").reindex(lines.index)
    hit = taken.notna()
    had = lines["quantity"].abs().fillna(1.0)
    rest = had - taken.fillna(0.0)
    whole = hit & (rest <= 1e-9)
    for index in lines.index[whole]:
        account.take(index, CREDIT_NETTED if is_credit[index] else SOLD_AND_RETURNED)
    in_part = hit & ~whole
    sign = pd.Series(1.0, index=lines.index).mask(lines["quantity"] < 0, -1.0)
    out["quantity"] = out["quantity"].mask(in_part, rest * sign)
    if shares:
        account.say(_say_netted(shares, lines, whole & ~is_credit, in_part & ~is_credit))
    lone = parts.index[~parts.index.isin(lines.index[whole]) & ~parts.index.isin(cheap)]
    if len(lone):
        account.say(_say_lone(lines.loc[lone]))
    return out


def _shares(parts: pd.DataFrame, lines: pd.DataFrame) -> tuple[list[Share], list[int]]:
    """Shares by part number, then by text where one side has no number; credits too cheap."""
    sales = lines[(lines["line_kind"] == "part") & ~(lines["quantity"] <= 0)]
    sales = sales.assign(pieces=sales["quantity"].fillna(1.0))
    by_number = share_out(
        parts.assign(key=name_key(parts["part_number"])),
        sales.assign(key=name_key(sales["part_number"])),
    )
    prices = lines["unit_price"].abs().to_dict()
    goods_back = (parts["quantity"] < 0).to_dict()
    cheap = [
        s.credit for s in by_number
        if not goods_back[s.credit] and prices[s.credit] < _MONEY_OFF_BELOW * prices[s.sale]
    ]  # fmt: skip
    by_number = [s for s in by_number if s.credit not in set(cheap)]
    # by text: whichever side has a number is left out where the other has one too
    sold = _sum(by_number, "sale").reindex(sales.index).fillna(0.0)
    left = sales.assign(pieces=sales["pieces"] - sold)
    left = left[left["pieces"] > 1e-9]
    got = _sum(by_number, "credit").reindex(parts.index).fillna(0.0)
    open_ = parts.assign(pieces=parts["pieces"] - got)
    open_ = open_[(open_["pieces"] > 1e-9) & ~open_.index.isin(cheap) & (open_["what"] != "")]
    by_text: list[Share] = []
    for has_number in (False, True):
        mine = open_[(open_["part_number"] != "") == has_number]
        theirs = left[(left["part_number"] == "") | (not has_number)]
        what = on_unlike(theirs["description"], lambda u: u.map(_what))
        found = share_out(mine.assign(key=mine["what"]), theirs.assign(key=what))
        by_text += found
        left = left.assign(
            pieces=left["pieces"] - _sum(found, "sale").reindex(left.index).fillna(0.0)
        )
        left = left[left["pieces"] > 1e-9]
    return by_number + by_text, cheap


def _sum(shares: list[Share], side: str) -> pd.Series:
    total: dict[int, float] = {}
    for share in shares:
        index = getattr(share, side)
        total[index] = total.get(index, 0.0) + share.pieces
    return pd.Series(total, dtype="float64")


def _what(text: str) -> str:
    """The text of a credit without the words for a return, as the sale would have it."""
    return " ".join(pattern("returned").sub(" ", text.casefold()).split()).strip(" ,.:-()")


def _say_netted(
    shares: list[Share], lines: pd.DataFrame, whole: pd.Series, in_part: pd.Series
) -> dict[str, Any]:
    other = [s for s in shares if lines.at[s.credit, "ticket"] != lines.at[s.sale, "ticket"]]
    unsure = [s for s in shares if s.n_rivals > 0]
    message = (
        f"{count(len({s.credit for s in shares}), 'credit')} of parts netted against their sale, "
        f"{len({s.credit for s in other})} of them on another ticket: {int(whole.sum())} sales "
        f"returned whole, {int(in_part.sum())} in part. What came back is neither event nor demand."
    )
    if unsure:
        rows = lines.loc[[s.credit for s in unsure], "source_row"]
        message += (
            f" {count(len(unsure), 'credit')} fitted sales to several machines equally well; the "
            f"latest was taken (rows {first_few(rows)})."
        )
    return finding(
        "intake", "note", message,
        mend="to tie a credit to its sale, write the invoice number into its text",
        table="set_aside", key="returns",
    )  # fmt: skip


def _say_lone(lone: pd.DataFrame) -> dict[str, Any]:
    tickets = [t or "(no ticket)" for t in lone["ticket"]]
    named = [f"{t} row {r}" for t, r in zip(tickets, lone["source_row"], strict=True)]
    return finding(
        "intake", "note",
        f"{count(len(lone), 'credit')} of parts without a sale of the part in the 60 days before "
        f"({first_few(named)}): taken off demand, but off no machine's work.",
        mend="write the invoice number of the sale into the credit's text",
        table="service_lines", key="credit without sale",
        source_file=str(lone["source_file"].iloc[0]), source_row=int(lone["source_row"].iloc[0]),
    )  # fmt: skip


def _say_money_off(rows: pd.DataFrame) -> dict[str, Any]:
    return finding(
        "intake", "note",
        f"{count(len(rows), 'credit')} of money only (warranty, discount, less than half of the "
        f"price; rows {first_few(rows['source_row'])}): the part stays used.",
        mend="where the part did come back, let the credit's quantity be negative",
        table="service_lines", key="money off",
    )  # fmt: skip
