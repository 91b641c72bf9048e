"""Visits of the record: which machine came in when, by class, for what, hours and days it took."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.stock.bench.season import WEEKS

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
NOT_STATED, OTHER, ALL = "class not stated", "other classes", "all machines"
FEWEST_VISITS = 12  # of a class; those of fewer go together; our proposal
_MIDDLE = pd.Timedelta(days=3)  # Thursday: the year a week mostly lies in


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arrivals:
    """Visits of machines and the whole weeks they fall in.

    ``visits``: unit_id, arrived, equipment_class, is_failure, is_planned, labour_hours, days_there
    (both missing where not recorded), ``row`` of ``classes`` and ``at``, the week. ``mondays`` of
    the record's weeks, the oldest first.
    """

    visits: pd.DataFrame
    classes: list[str]
    mondays: pd.DatetimeIndex
    row_of_class: dict[str, int]

    def weekly(self, some: "pd.Series[bool] | None" = None) -> Array:
        """Visits by class and week, shape (n_classes, n_weeks)."""
        rows = self.visits if some is None else self.visits[some]
        rows = rows[rows["at"] >= 0]
        out = np.zeros((len(self.classes), len(self.mondays)))
        np.add.at(out, (rows["row"].to_numpy(int), rows["at"].to_numpy(int)), 1.0)
        return out

    def row(self, equipment_class: object) -> int:
        """Place of a class of the tables among ``classes``; -1 where the record has none."""
        name = equipment_class if isinstance(equipment_class, str) else NOT_STATED
        return self.row_of_class.get(name, -1)


def parts_of_year(mondays: pd.DatetimeIndex) -> Ints:
    """Part of the year, 0 to 51, of the weeks that begin on some Mondays."""
    day = (mondays + _MIDDLE).day_of_year.to_numpy()
    return np.asarray(np.minimum((day - 1) // 7, WEEKS - 1), dtype=np.int64)


def first_monday(as_of: pd.Timestamp) -> pd.Timestamp:
    """Return the first Monday after a day."""
    return as_of + pd.Timedelta(days=7 - as_of.weekday())


def arrivals_of(
    service_lines: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    units: pd.DataFrame,
    as_of: pd.Timestamp,
) -> Arrivals:
    """Visits of the record's whole weeks.

    A visit is a machine on a ticket (on a day, where tickets have no numbers); lines without a
    machine are sales over the counter and tickets with credits only are no visit. It came in on
    ``received_on``, else on the ticket's first date. Planned: work for prevention and no failure.
    """
    words = ["ticket", "unit_id", "equipment_class", "line_kind"]
    lines = service_lines.astype(dict.fromkeys(words, "object"))
    lines = lines[lines["unit_id"].notna() & (lines["service_date"] <= as_of)]
    job = lines["ticket"].fillna("").astype(str)
    job = job.where(job != "", lines["service_date"].dt.strftime("%Y-%m-%d"))
    is_labour = (lines["line_kind"] == "labour") & (lines["quantity"] > 0)
    lines = lines.assign(
        job=job, hours=lines["quantity"].where(is_labour),
        is_credit=lines["line_kind"] == "credit",
    )  # fmt: skip
    visits = lines.groupby(["job", "unit_id"], sort=True).agg(
        ticket=("ticket", "first"), dated=("service_date", "min"), came=("received_on", "min"),
        ready=("ready_on", "max"), own_class=("equipment_class", "first"),
        is_credit=("is_credit", "all"),
    )  # fmt: skip
    hours = lines.groupby(["job", "unit_id"], sort=True)["hours"].sum(min_count=1)
    visits = visits.assign(labour_hours=hours)[~visits["is_credit"]].reset_index()
    stated = units.astype({"unit_id": "object"}).set_index("unit_id")["equipment_class"]
    named = visits["unit_id"].map(stated.astype("object")).fillna(visits["own_class"])
    there = (visits["ready"] - visits["came"]).dt.days.astype(float)
    reason = _reasons(maintenance_events)
    found = list(zip(visits["unit_id"], visits["ticket"].fillna("").astype(str), strict=True))
    is_failure = np.array([(u, t, "failure") in reason for u, t in found], dtype=bool)
    is_planned = np.array([(u, t, "preventive") in reason for u, t in found], dtype=bool)
    arrived = visits["came"].fillna(visits["dated"])
    visits = visits.assign(
        arrived=arrived.where(arrived <= visits["dated"], visits["dated"]),
        equipment_class=named.fillna(NOT_STATED).astype(str), is_failure=is_failure,
        is_planned=is_planned & ~is_failure, days_there=there.where(there >= 0),
    )  # fmt: skip
    return _in_weeks(visits, as_of)


def _in_weeks(visits: pd.DataFrame, as_of: pd.Timestamp) -> Arrivals:
    end = first_monday(as_of) - pd.Timedelta(days=0 if as_of.weekday() == 6 else 7)
    first = visits["arrived"].min() if len(visits) else end
    # the week the record begins in may be a part of one
    begin = first + pd.Timedelta(days=(7 - first.weekday()) % 7)
    mondays = pd.date_range(begin, end, freq="7D", inclusive="left")
    mondays = mondays[mondays < end]
    at = (visits["arrived"] - begin).dt.days // 7
    inside = (at >= 0) & (at < len(mondays))
    counts = visits["equipment_class"].value_counts()
    own = sorted(str(c) for c, n in counts.items() if n >= FEWEST_VISITS)
    few = sorted(set(counts.index.astype(str)) - set(own))
    names = own + ([OTHER] if few else [])
    row = {c: i for i, c in enumerate(own)} | dict.fromkeys(few, len(own))
    visits = visits.assign(
        at=at.where(inside, -1).astype(int), row=visits["equipment_class"].map(row).astype(int)
    )
    return Arrivals(visits=visits, classes=names, mondays=mondays, row_of_class=row)


def _reasons(maintenance_events: pd.DataFrame) -> set[tuple[str, str, str]]:
    """Machine, ticket and reason of everything done."""
    words = ["unit_id", "ticket", "reason"]
    rows = maintenance_events[words].astype("object").dropna(subset=["unit_id", "reason"])
    rows = rows.assign(ticket=rows["ticket"].fillna("")).drop_duplicates()
    return {(str(u), str(t), str(r)) for u, t, r in rows.itertuples(index=False, name=None)}
