"""What each thing that happens costs, takes and uses, by cell: whose money is kept apart."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.components import components_of
from dutylife.decisions.comparison.standing import Standing
from dutylife.decisions.costs import lost_day_costs, stated_cost
from dutylife.settings import Settings

Array = npt.NDArray[np.float64]
NAN = float("nan")
_CAUSE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class CellTerms:
    """Costs of one cell; missing where not known.

    ``planned_cost`` and ``failure_cost`` are all-in, in the money of ``payer``; ``lost_cost`` is
    the part of a failure's cost that is lost days. ``purchase_cost`` is what the part costs the
    shop. ``part_share``: share of failures that take a part.
    """

    payer: str
    planned_cost: float
    failure_cost: float
    lost_cost: float
    lost_days: float
    labour_hours: float
    look_hours: float
    look_cost: float
    part_share: float
    purchase_cost: float
    lost_is_priced: bool = False  # the duty's price of a lost day is in ``failure_cost``


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """Terms of every cell, the price of a visit (None: none is stated) and what was assumed."""

    cells: Mapping[tuple[str, str], CellTerms]
    visit_cost: float | None
    labour_rate: float | None
    no_purchase_cost: tuple[str, ...] = ()
    no_money: tuple[str, ...] = ()
    no_labour: tuple[str, ...] = ()
    no_lost_days: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())
    lost_day_cost: Mapping[str, float] = field(default_factory=dict)  # by customer who states it
    duty_lost_day_cost: Mapping[str, float] = field(default_factory=dict)  # as in failure costs

    def lost_beyond(self, key: tuple[str, str], customers: Sequence[str]) -> Array:
        """What a failure costs each customer beyond ``failure_cost``, by their own lost day.

        Parameters
        ----------
        key : tuple
            Component and duty.
        customers : sequence of str

        Returns
        -------
        ndarray, shape (n,)
            [currency]; 0 where no price of a lost day is in the cost, or the customer states none.
        """
        t, middle = self.cells[key], self.duty_lost_day_cost.get(key[1], NAN)
        if not t.lost_is_priced or t.payer == "shop" or not np.isfinite(middle):
            return np.zeros(len(customers))
        own = np.array([self.lost_day_cost.get(c, middle) for c in customers], dtype=float)
        return np.asarray(t.lost_days * (own - middle))


def terms_of(
    standing: Standing, tables: Mapping[str, pd.DataFrame], settings: Settings
) -> Terms:  # fmt: skip
    """Read the terms of every cell of the fleet.

    Parameters
    ----------
    standing : Standing
    tables : mapping of str to DataFrame
        "costs", "maintenance_events"; where there, "shelf" (what parts cost the shop) and
        "service_lines" (how long failed machines stood).
    settings : Settings
        ``[costs]``, ``[customers]`` lost_day_cost, ``[workshop]``, ``[stock]`` unit_cost.

    Notes
    -----
    A billed price is what the customer pays; it never stands in for what a part costs the shop.
    The lost days' share of a failure is lost days times their price where both are known, else
    what a failure costs beyond the planned work and a visit.
    """
    known = components_of(settings)
    rows = tables["costs"].astype(dict.fromkeys(["component", "duty", "task", "payer"], "object"))
    by_key = {
        (str(r["component"]), str(r["duty"]), str(r["task"])): r for r in rows.to_dict("records")
    }
    share = _share_using_part(tables["maintenance_events"])
    purchase = _purchase_costs(tables, settings)
    seen_days = _days_stood(tables)
    lost_price = _lost_day_price(standing, settings)
    visit = settings.workshop.visit_cost
    cells: dict[tuple[str, str], CellTerms] = {}
    relative: set[str] = set()
    days_from_record = False
    for cell in standing.cells:
        name, duty = cell.key
        row = by_key.get((name, duty, "replace"))
        money = row is not None and not bool(row["is_relative"])
        if not money:
            relative.add(name)
        planned = float(row["planned_cost"]) if row is not None and money else NAN
        failure = float(row["failure_cost"]) if row is not None and money else NAN
        stated = stated_cost(settings, name, known)
        lost_days = stated.lost_days_per_failure
        if lost_days is None and np.isfinite(seen_days):
            lost_days, days_from_record = seen_days, True
        price = lost_price.get(duty, NAN)
        premium = failure - planned - (visit or 0.0)
        lost = price * lost_days if lost_days is not None and np.isfinite(price) else premium
        looks = [r for (c, d, t), r in by_key.items() if (c, d) == (name, duty) and t != "replace"]
        payer = row["payer"] if row is not None and isinstance(row["payer"], str) else ""
        cells[cell.key] = CellTerms(
            payer=payer or stated.payer or "contractor",
            planned_cost=planned,
            failure_cost=failure,
            lost_cost=float(min(max(lost, 0.0), max(failure - planned, 0.0))) if money else NAN,
            lost_days=NAN if lost_days is None else float(lost_days),
            labour_hours=_first(row["labour_hours"] if row is not None else None),
            look_hours=_first(*(r["labour_hours"] for r in looks)),
            look_cost=_first(*(r["planned_cost"] for r in looks)) if money else NAN,
            part_share=share.get(name, 1.0),
            purchase_cost=purchase.get(name, NAN),
            lost_is_priced=money and stated.failure_cost is None
            and stated.lost_days_per_failure is not None,
        )  # fmt: skip
    unsaid = not any(c.payer for c in settings.costs.values())
    notes = ["whose costs [costs] states is not said (payer): taken as the contractor's"] * unsaid
    if days_from_record:
        notes.append(
            f"lost days per failure: {seen_days:.3g}, the median days that failed machines stood"
        )
    return Terms(
        cells=cells,
        visit_cost=visit,
        labour_rate=settings.workshop.labour_rate,
        no_purchase_cost=_names(cells, "purchase_cost"),
        no_money=tuple(sorted(relative)),
        no_labour=_names(cells, "labour_hours"),
        no_lost_days=_names(cells, "lost_days"),
        notes=tuple(notes),
        lost_day_cost={
            n: c.lost_day_cost for n, c in settings.customers.items() if c.lost_day_cost is not None
        },
        duty_lost_day_cost=lost_day_costs(tables["unit_spans"], settings),
    )


def _names(cells: Mapping[tuple[str, str], CellTerms], figure: str) -> tuple[str, ...]:
    """Components of which a figure is not known."""
    return tuple(sorted({k[0] for k, c in cells.items() if not np.isfinite(getattr(c, figure))}))


def _first(*values: object) -> float:
    found = [float(str(v)) for v in values if v is not None and np.isfinite(float(str(v)))]
    return found[0] if found else NAN


def _share_using_part(maintenance_events: pd.DataFrame) -> dict[str, float]:
    """Share of the failures of a component that took a part; the rest was cleaned or adjusted."""
    events = maintenance_events.astype(
        dict.fromkeys(["unit_id", "component", "position", "activity", "reason"], "object")
    )
    events = events[events["reason"] == "failure"]
    events = events.drop_duplicates(["unit_id", "component", "position", "event_date", "activity"])
    taken = (events["activity"] == "replace").astype(float).groupby(events["component"]).mean()
    return {str(name): float(value) for name, value in taken.items()}


def _purchase_costs(tables: Mapping[str, pd.DataFrame], settings: Settings) -> dict[str, float]:
    """What the parts of one replacement cost the shop: the most used number of known cost."""
    cost = {n: s.unit_cost for n, s in settings.stock.items() if s.unit_cost is not None}
    shelf = tables.get("shelf")
    if shelf is not None:
        for number, unit_cost in zip(shelf["part_number"].astype(object), shelf["unit_cost"],
                                     strict=True):  # fmt: skip
            if np.isfinite(unit_cost):
                cost.setdefault(str(number), float(unit_cost))
    events = tables["maintenance_events"].astype(
        dict.fromkeys(["component", "activity", "part_number"], "object")
    )
    events = events[(events["activity"] == "replace") & events["part_number"].notna()]
    used = events.groupby(["component", "part_number"]).agg(
        n=("activity", "size"), pieces=("quantity", "mean")
    )
    used = used.reset_index().assign(cost=lambda f: f["part_number"].map(cost).astype(float))
    used = used.dropna(subset="cost").sort_values(
        ["component", "n", "part_number"], ascending=[True, False, True]
    )
    best = used.drop_duplicates("component")
    each = best["cost"] * best["pieces"].fillna(1.0).clip(lower=1.0)
    return dict(zip(best["component"].astype(str), each.astype(float), strict=True))


def _days_stood(tables: Mapping[str, pd.DataFrame]) -> float:
    """Median days from received to ready over the tickets of failures, missing if not recorded."""
    lines = tables.get("service_lines")
    if lines is None or "received_on" not in lines:
        return NAN
    events = tables["maintenance_events"]
    failed = events[(events["reason"].astype(object) == "failure") & (events["ticket"] != "")]
    tickets = lines[lines["ticket"].isin(set(failed["ticket"]))].groupby("ticket")
    days = (tickets["ready_on"].max() - tickets["received_on"].min()).dt.days.dropna()
    days = days[days >= 0]
    return float(days.median()) if len(days) else NAN


def _lost_day_price(standing: Standing, settings: Settings) -> dict[str, float]:
    """Mean price of a lost day over the customers of each duty who state one."""
    stated = {name: c.lost_day_cost for name, c in settings.customers.items()}
    found: dict[str, list[float]] = {}
    for customer, duty in sorted(set(zip(standing.customer, standing.duty, strict=True))):
        price = stated.get(customer)
        if price is not None:
            found.setdefault(duty, []).append(price)
    return {duty: float(np.mean(prices)) for duty, prices in found.items()}
