"""What the shop's own lines say a replacement and a failure were billed at."""

import numpy as np
import pandas as pd

from dutylife.settings import Settings

_BILLED = ("part", "labour", "fee")
_CAUSE = 0.5  # an event counts as a failure's cause from this confidence on


def billed_costs(service_lines: pd.DataFrame, maintenance_events: pd.DataFrame) -> pd.DataFrame:
    """Medians of what was billed, by component.

    The billed price is what the customer pays, not what the part costs the shop.

    Parameters
    ----------
    service_lines : DataFrame, table "service_lines"
    maintenance_events : DataFrame, table "maintenance_events"

    Returns
    -------
    DataFrame, index component
        ``part_cost``: median price of a piece times median pieces of a replacement;
        ``labour_cost``: median share of the labour of tickets without a failure;
        ``failure_total``: median total of the tickets in which the component was the cause.
        [currency]; missing where no line says.
    """
    events = maintenance_events.astype({"component": "object", "activity": "object"})
    events = events.assign(reason=events["reason"].astype(object), row=np.arange(len(events)))
    lines = service_lines[["line_id", "ticket", "line_kind", "quantity", "unit_price"]]
    lines = lines.assign(line_kind=lines["line_kind"].astype(object))
    lines = lines.assign(amount=lines["quantity"].fillna(1.0) * lines["unit_price"])
    billed = lines[lines["line_kind"].isin(_BILLED) & (lines["ticket"] != "")]
    totals = ticket_totals(service_lines)
    labour = billed[billed["line_kind"] == "labour"].groupby("ticket")["amount"].sum(min_count=1)
    out = pd.DataFrame(
        {
            "part_cost": _part_cost(events, lines),
            "labour_cost": _labour_cost(events, labour[labour > 0]),
            "failure_total": _failure_total(events, totals),
        }
    )
    return out.reindex(pd.Index(sorted(events["component"].dropna().unique()), dtype=object))


def ticket_totals(service_lines: pd.DataFrame) -> pd.Series:
    """What each ticket came to: parts, labour and fees [currency]; tickets without money left out.

    Parameters
    ----------
    service_lines : DataFrame, table "service_lines"

    Returns
    -------
    Series, index ticket
    """
    kind = service_lines["line_kind"].astype(object)
    ticket = service_lines["ticket"].astype(object).fillna("")
    amount = service_lines["quantity"].fillna(1.0) * service_lines["unit_price"]
    billed = kind.isin(_BILLED) & (ticket != "")
    totals: pd.Series = amount[billed].groupby(ticket[billed]).sum(min_count=1)
    return totals[totals > 0]


def purchase_costs(
    maintenance_events: pd.DataFrame, shelf: pd.DataFrame | None, settings: Settings
) -> dict[str, float]:
    """What the shop itself pays for the part of a replacement, by component.

    Of the part number fitted most often, times its median pieces. A billed price never stands in:
    a component whose part has no purchase cost is left out. [currency]
    """
    bought: dict[str, float] = {}
    if shelf is not None and len(shelf):
        own = shelf.dropna(subset=["unit_cost"])
        bought = dict(zip(own["part_number"].astype(str), own["unit_cost"], strict=True))
    words = dict.fromkeys(["component", "activity", "part_number"], "object")
    events = maintenance_events.astype(words)
    fitted = events[(events["activity"] == "replace") & events["part_number"].notna()]
    out: dict[str, float] = {}
    for component, rows in fitted.groupby("component"):
        number = rows["part_number"].value_counts(sort=False).sort_index().idxmax()
        stated = settings.stock_of(str(number)).unit_cost
        price = stated if stated is not None else bought.get(str(number), 0.0)
        pieces = rows.loc[rows["quantity"] > 0, "quantity"].median()
        if price > 0:
            out[str(component)] = float(price) * (float(pieces) if pieces > 0 else 1.0)
    return out


def event_lines(events: pd.DataFrame) -> pd.DataFrame:
    """One row for each line of each event: the event's ``row`` and the ``line_id``."""
    pairs = events[["row", "line_ids"]].assign(line_id=events["line_ids"].str.split(";"))
    pairs = pairs.explode("line_id")[["row", "line_id"]]
    return pairs[pairs["line_id"].fillna("") != ""]


def _part_cost(events: pd.DataFrame, lines: pd.DataFrame) -> pd.Series:
    replaced = events[events["activity"] == "replace"]
    priced = lines[(lines["line_kind"] == "part") & (lines["unit_price"] > 0)]
    pairs = event_lines(replaced).merge(priced[["line_id", "unit_price"]], on="line_id")
    named = pairs.merge(replaced[["row", "component"]], on="row")
    price = named.groupby("component")["unit_price"].median()
    pieces = replaced[replaced["quantity"] > 0].groupby("component")["quantity"].median()
    return price * pieces.reindex(price.index).fillna(1.0)


def _labour_cost(events: pd.DataFrame, labour: pd.Series) -> pd.Series:
    on_ticket = events[events["ticket"] != ""]
    failed = set(on_ticket.loc[on_ticket["reason"] == "failure", "ticket"])
    service = on_ticket[~on_ticket["ticket"].isin(failed)]
    each = service.drop_duplicates(["component", "ticket"])
    n_on_ticket = each.groupby("ticket")["component"].size()
    share = each["ticket"].map(labour) / each["ticket"].map(n_on_ticket)
    share = share.dropna()
    if share.empty:
        return pd.Series(dtype="float64")
    by_component = share.groupby(each["component"]).median()
    # a component never seen at a service takes the share of the usual one
    return by_component.reindex(sorted(events["component"].dropna().unique())).fillna(
        share.median()
    )


def _failure_total(events: pd.DataFrame, totals: pd.Series) -> pd.Series:
    cause = events[
        (events["reason"] == "failure")
        & (events["ticket"] != "")
        & (events["confidence"].fillna(1.0) >= _CAUSE)
    ].drop_duplicates(["component", "ticket"])
    return cause["ticket"].map(totals).groupby(cause["component"]).median()
