"""Which sale a credit belongs to: by invoice, machine, customer and day; pieces shared out."""

from bisect import bisect_left, bisect_right
from typing import NamedTuple

import pandas as pd

from dutylife.intake.names import name_key

NET_DAYS = 60  # DOMAIN 4.2, proposed: net by invoice or part within 60 days
_SAME_PRICE = 0.05  # two prices this near, as a share, are one price


class Share(NamedTuple):
    """Pieces of one sale that one credit takes back; ``n_rivals`` sales fitted as well."""

    credit: int
    sale: int
    pieces: float
    n_rivals: int


class _Row(NamedTuple):
    row: int
    day: int
    ticket: str
    unit: str
    customer: str
    pieces: float
    price: float
    text: str
    line_id: str


def share_out(credits: pd.DataFrame, sales: pd.DataFrame) -> list[Share]:
    """Give each credit's pieces to the sales they were of.

    Parameters
    ----------
    credits, sales : DataFrame
        Service lines with ``key`` (what the two must share, blank where none) and ``pieces``
        (above 0). A credit is of a sale at most `NET_DAYS` days before it, or of the ticket that
        its own text names; of those, the best by invoice, machine and customer, then by price,
        then the latest.

    Returns
    -------
    list of Share
        In order of the credits' days; a credit that finds nothing is not in it.
    """
    of_key: dict[str, list[_Row]] = {}
    wanted = set(credits["key"]) - {""}
    for key, row in _rows(sales[sales["key"].isin(wanted)]):
        of_key.setdefault(key, []).append(row)
    left = {row.row: row.pieces for rows in of_key.values() for row in rows}
    days = {key: [row.day for row in rows] for key, rows in of_key.items()}
    by_ticket: dict[tuple[str, str], list[_Row]] = {}
    for key, rows in of_key.items():
        for row in rows:
            by_ticket.setdefault((key, row.ticket), []).append(row)
    out: list[Share] = []
    for key, credit in _rows(credits):
        open_pieces = credit.pieces
        first = bisect_left(days.get(key, []), credit.day - NET_DAYS)
        last = bisect_right(days.get(key, []), credit.day)
        near = {sale.row: sale for sale in of_key.get(key, [])[first:last]}
        for word in _words(credit.text):
            near |= {sale.row: sale for sale in by_ticket.get((key, word), [])}
        while open_pieces > 1e-9:
            fits = [
                (rank, _unlike_price(credit, sale), -sale.day, sale.line_id, sale)
                for sale in near.values()
                if left[sale.row] > 1e-9 and (rank := _rank(credit, sale)) is not None
            ]
            if not fits:
                break
            best = min(fits, key=lambda f: f[:4])
            machines = {f[4].unit for f in fits if f[:2] == best[:2]}
            if best[0] == _OTHER_MACHINE and len(fits) > 1:
                break  # which of the customer's machines gave it back can't be told
            sale = best[4]
            pieces = min(open_pieces, left[sale.row])
            left[sale.row] -= pieces
            open_pieces -= pieces
            out.append(Share(credit.row, sale.row, pieces, len(machines) - 1))
    return out


def _rows(lines: pd.DataFrame) -> list[tuple[str, _Row]]:
    ordered = lines.sort_values(["service_date", "ticket", "line_id"], kind="stable")
    days = (ordered["service_date"] - pd.Timestamp(1970, 1, 1)).dt.days
    text = ordered["description"] + " " + ordered["work_done"] + " " + ordered["complaint"]
    columns = (
        ordered.index, days, name_key(ordered["ticket"]), ordered["unit_id"],
        ordered["customer"], ordered["pieces"], ordered["unit_price"].abs(), text.str.casefold(),
        ordered["line_id"],
    )  # fmt: skip
    return list(zip(ordered["key"], map(_Row, *columns), strict=True))


_OTHER_MACHINE = 4


def _rank(credit: _Row, sale: _Row) -> int | None:
    """How well a sale fits a credit, 0 best; None where it can't be the one."""
    gap = credit.day - sale.day
    names_it = len(sale.ticket) > 2 and sale.ticket in _words(credit.text)
    if names_it and gap >= 0:
        return 0
    if not 0 <= gap <= NET_DAYS:
        return None
    if sale.ticket and sale.ticket == credit.ticket:
        return 0
    if sale.customer and credit.customer and sale.customer != credit.customer:
        return None
    if sale.unit and sale.unit == credit.unit:
        return 1
    if sale.customer and sale.customer == credit.customer:
        if not sale.unit and not credit.unit:
            return 2
        return 3 if not sale.unit or not credit.unit else _OTHER_MACHINE
    is_cash = not (sale.customer or credit.customer or sale.unit or credit.unit)
    return 5 if is_cash and not _unlike_price(credit, sale) else None


def _words(text: str) -> set[str]:
    return {word.strip(".,;:()#") for word in text.split()}


def _unlike_price(credit: _Row, sale: _Row) -> bool:
    if pd.isna(credit.price) or pd.isna(sale.price):
        return False
    return abs(credit.price - sale.price) > _SAME_PRICE * max(sale.price, 0.01)
