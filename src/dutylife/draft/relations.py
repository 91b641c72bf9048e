"""Columns with names of the shop's own, known by how they go with columns that are known."""

from collections.abc import Mapping as Names

import pandas as pd

from dutylife.draft.fits import spoken
from dutylife.draft.names import is_not_ours, name_score
from dutylife.draft.profile import Profile, decides

# what mostly goes with a ticket or machine goes with it but for slips
_MOSTLY = 0.97
# a machine changes its customer now and then
_OFTEN = 0.7
# how much more of one kind of word than of the other a text must hold
_APART = 0.25
_FEW_WORDS = 5


def found_by_relations(
    sure: Names[str, str], open_columns: dict[str, Profile], columns: dict[str, Profile],
    factors: dict[str, tuple[str, str]],
) -> dict[str, tuple[str, str, bool]]:  # fmt: skip
    """Columns of a lines export that no name tells, with why, and whether that is beyond doubt.

    Parameters
    ----------
    sure : dict of str
        Ours -> header, of the columns decided already.
    open_columns : dict of Profile
        Columns that are read as nothing yet.
    columns : dict of Profile
        All of the table.
    factors : dict of tuple of str
        Header of a product -> the two headers it is the product of.

    Returns
    -------
    dict of tuple
        Ours -> header, reason, whether a person need not be asked.
    """
    out: dict[str, tuple[str, str, bool]] = {}
    left = {h: p for h, p in open_columns.items() if not is_not_ours(h)}
    have = dict(sure)

    def take(ours: str, header: str, reason: str, *, is_certain: bool = True) -> None:
        out[ours] = (header, reason, is_certain)
        have[ours] = header
        left.pop(header, None)

    if "quantity" in have and "unit_price" not in have:
        for product, (one, two) in factors.items():
            price = two if one == have["quantity"] else one
            if have["quantity"] in (one, two) and price in left:
                take("unit_price", price, f"quantity times it is '{product}'")
                break
    if "ticket" not in have and (header := _ticket(have, left, columns)):
        take("ticket", header, "each of its numbers goes with one day and one machine")
    if "ticket" not in have:
        return out
    ticket = columns[have["ticket"]].cells
    texts = {
        h: p for h, p in left.items()
        if p.share_words > 0.8 and p.mean_words >= 1.5 and p.n_unlike >= 8
        and p.share_codes < 0.5 and decides(ticket, p.cells) >= _MOSTLY
        and not ("unit_id" in have and decides(columns[have["unit_id"]].cells, p.cells) > _OFTEN)
    }  # fmt: skip
    for ours, header in _visit_texts(texts, have).items():
        take(ours, header, "text that is the same on all lines of a ticket, and its words tell")
    if "customer" not in have and (header := _customer(have, left, columns, ticket)):
        take("customer", header, "one of few names, and each machine mostly goes with one",
             is_certain=False)  # fmt: skip
    return out


def _ticket(have: Names[str, str], left: dict[str, Profile], columns: dict[str, Profile]) -> str:
    """The one column of numbers, each of which goes with one day and one machine."""
    if not {"service_date", "unit_id"} <= set(have):
        return ""
    day, unit = columns[have["service_date"]].cells, columns[have["unit_id"]].cells
    found = [
        h for h, p in left.items()
        if p.share_filled > 0.9 and max(p.share_codes, p.share_figures) > 0.9
        and 0.1 < p.share_unlike < 0.95 and p.share_dates < 0.5
        and decides(p.cells, day) == 1.0 and decides(p.cells, unit) >= _MOSTLY
    ]  # fmt: skip
    return found[0] if len(found) == 1 else ""


def _visit_texts(texts: dict[str, Profile], have: Names[str, str]) -> dict[str, str]:
    """Complaint and work among texts of the visit, by whether their words tell of work done."""
    wanted = [o for o in ("complaint", "work_done") if o not in have]
    if not wanted or not 1 <= len(texts) <= len(wanted):
        return {}
    lean = {}
    for header, column in texts.items():
        told = spoken(column)
        lean[header] = told["work"] - told["complaint"]
    order = sorted(lean, key=lambda h: lean[h])
    if len(order) == 2:
        far = lean[order[1]] - lean[order[0]] >= _APART
        return {"complaint": order[0], "work_done": order[1]} if far else {}
    ours = "work_done" if lean[order[0]] > 0 else "complaint"
    return {ours: order[0]} if abs(lean[order[0]]) >= _APART and ours in wanted else {}


def _customer(
    have: Names[str, str], left: dict[str, Profile], columns: dict[str, Profile], ticket: pd.Series
) -> str:
    """The one column of few names that machines stay with, and that is no kind of machine."""
    if "unit_id" not in have:
        return ""
    unit = columns[have["unit_id"]]
    found = [
        h for h, p in left.items()
        if p.share_words > 0.9 and p.mean_words <= _FEW_WORDS and p.share_codes < 0.5
        and 2 <= p.n_unlike < unit.n_unlike and p.share_filled > 0.5
        and name_score(h, "equipment_class") < 0.4 and name_score(h, "engine_model") < 0.4
        and decides(ticket, p.cells) >= _MOSTLY and decides(unit.cells, p.cells) >= _OFTEN
    ]  # fmt: skip
    return found[0] if len(found) == 1 else ""
