"""The weeks ahead at the bench: machines that arrive, hours they ask for, loaners to have."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.components import components_of
from dutylife.errors import DecisionError
from dutylife.provenance import digest_of
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings
from dutylife.stock.bench.arrivals import (
    ALL,
    Arrivals,
    arrivals_of,
    first_monday,
    parts_of_year,
)
from dutylife.stock.bench.fleet import Weeks, failures_by_week, machines_by_week
from dutylife.stock.bench.law import WeeklyLaw, count_quantile, weekly_law
from dutylife.stock.bench.season import WEEKS
from dutylife.stock.bench.work import hours_quantiles, machines_there
from dutylife.stock.comings import contracts_ahead, flow_of
from dutylife.stock.plans import done_share

Array = npt.NDArray[np.float64]
AS_SEEN = "as seen"
# all our proposal
FEWEST_WEEKS = 4  # of record, below which nothing is said
FEWEST_OF_CLASS = 12  # visits with hours or days, below which the fleet's stand for a class
MOSTLY = 0.8  # share of visits with labour lines from which on nothing is said of the others
LONG_WEEKS = 104  # a season can be seen from here on
MOST_SPREAD = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BenchLoad:
    """Table "bench_forecast" and what should be known of it.

    ``law`` is of the machines that no plan brings; ``notes`` are pairs of message and mend.
    """

    table: pd.DataFrame
    notes: list[tuple[str, str]]
    law: WeeklyLaw | None = None

    @property
    def text(self) -> str:
        """The first week in one sentence."""
        if self.table.empty:
            return self.notes[0][0]
        row = self.table[self.table["equipment_class"] == ALL].iloc[0]
        return (
            f"Week of {row['from_date']:%-d %B %Y}: about {row['machines_p50']:.0f} machines, 9 in "
            f"10 such weeks at most {row['machines_p90']:.0f}."
        )

    @property
    def findings(self) -> pd.DataFrame:
        """Notes as rows of table "findings"."""
        rows = [
            {
                "finding_id": digest_of("stock", "bench_forecast", message), "stage": "stock",
                "kind": "note", "table": "bench_forecast", "key": "bench_forecast",
                "source_row": 0, "message": message, "mend": mend,
            }
            for message, mend in self.notes
        ]  # fmt: skip
        return as_table("findings", pd.DataFrame(rows))


def bench_load(tables: Mapping[str, pd.DataFrame], settings: Settings) -> BenchLoad:
    """Machines, labour hours and loaners of each week of the report's horizon.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables of a run behind intervals and visits: service_lines, maintenance_events, units,
        unit_spans, failure_events, life_draws, intervals, visit_plan, costs; "contracts" if any.
    settings : Settings
        ``fleet.as_of`` filled; ``plan.in_force``, ``report.horizon_months``, ``workshop``.

    Returns
    -------
    BenchLoad
        Rows by Monday and class, all machines together last in each week; labour hours blank
        without labour lines and without ``labour_hours`` in the costs, loaners blank without days
        received and ready; each said in ``notes``.

    Raises
    ------
    DecisionError
        ``fleet.as_of`` is not filled.

    Notes
    -----
    Arrivals of a class are in proportion to what brings them: failures that the lives in service
    bring, for visits with a failure; machines there, for others. So growth, leaving, announced
    machines and a wave of wear show ahead. The level, the season and the spread are those of the
    record (`weekly_law`). Planned visits: "as seen" they are among the record's; under the
    recommended plan those of the visit plan, each done with the share of planned work really
    done; under the present schedule the record's services and, where the schedule brings more
    planned replacements than the record had, visits for these.
    """
    if settings.fleet.as_of is None:
        raise DecisionError("The bench needs a day to start from.", "fleet.as_of", "fill it")
    as_of = pd.Timestamp(settings.fleet.as_of)
    seen = arrivals_of(
        tables["service_lines"], tables["maintenance_events"], tables["units"], as_of
    )
    if len(seen.mondays) < FEWEST_WEEKS or seen.visits.empty:
        n = len(seen.mondays)
        note = (
            f"The weeks ahead at the bench: the record has {n} whole "
            f"{'week' if n == 1 else 'weeks'} of visits; at least {FEWEST_WEEKS} are needed.",
            "give a longer record",
        )
        return BenchLoad(table=empty_table("bench_forecast"), notes=[note])
    first = first_monday(as_of)
    end = as_of + pd.DateOffset(months=settings.report.horizon_months)
    mondays = pd.date_range(first, max(end - pd.Timedelta(days=6), first), freq="7D")
    plan = settings.plan.in_force
    weeks = Weeks(past=_days(seen.mondays, as_of), ahead=_days(mondays, as_of))
    exposure, ahead, extra = _exposures(tables, settings, seen, weeks, as_of)
    counted = seen.visits["is_planned"] & False if plan == AS_SEEN else seen.visits["is_planned"]
    if plan == "present_schedule":
        counted &= False
    law = weekly_law(
        seen.weekly(~counted), parts_of_year(seen.mondays), exposure, parts_of_year(mondays),
        ahead,
    )  # fmt: skip
    mean = law.mean.copy()
    mean[:-1] += extra
    mean[-1] += extra.sum(axis=0)
    planned = _planned_visits(tables, settings, seen, mondays)
    notes = _notes_on_record(seen, law)
    hours, told = _hours_of_visits(seen, ~counted, tables["costs"], tables["maintenance_events"])
    stays, told_stays = _days_there(seen)
    notes += told + told_stays
    done = done_share(tables["failure_events"], components_of(settings), settings)
    rows = _rows(seen, mondays, mean, np.minimum(law.spread, MOST_SPREAD), planned, done, hours,
                 stays)  # fmt: skip
    table = pd.DataFrame(rows).assign(
        workshop_hours=settings.workshop.hours_per_week or np.nan
    )
    return BenchLoad(table=as_table("bench_forecast", table), notes=notes, law=law)


def _days(mondays: pd.DatetimeIndex, as_of: pd.Timestamp) -> Array:
    """Return the first days of weeks, the day after as_of being day 0."""
    return ((mondays - as_of).days.to_numpy() - 1).astype(float)


def _exposures(
    tables: Mapping[str, pd.DataFrame], settings: Settings, seen: Arrivals, weeks: Weeks,
    as_of: pd.Timestamp,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """What arrivals are in proportion to, in the record and to come; further planned visits."""
    n = len(seen.classes)
    flow = flow_of(tables["units"], as_of)
    announced = tables.get("contracts")
    contracts = [] if announced is None or announced.empty else contracts_ahead(announced, as_of)
    there, there_ahead = machines_by_week(
        tables["units"], seen.row, n, as_of, weeks, flow, contracts
    )
    lived, due, planned_due = failures_by_week(
        tables, settings, seen.row, n, weeks, flow, contracts
    )
    failed = seen.weekly(seen.visits["is_failure"])
    plan = settings.plan.in_force
    among = plan in (AS_SEEN, "present_schedule")  # planned visits are among the record's
    others = seen.weekly(
        ~seen.visits["is_failure"] & (True if among else ~seen.visits["is_planned"])
    )
    # a class whose lives tell nothing goes by its machines alone
    by_lives = (lived.sum(axis=1) > 0) & (due.sum(axis=1) > 0)
    per_failure = np.where(
        by_lives, failed.sum(axis=1) / np.maximum(lived.sum(axis=1), 1e-9), 0.0
    )[:, None]
    rest = others.sum(axis=1) + np.where(by_lives, 0.0, failed.sum(axis=1))
    no_machines = there.sum(axis=1) <= 0
    there[no_machines], there_ahead[no_machines] = 1.0, 1.0
    per_machine = (rest / there.sum(axis=1))[:, None]
    extra = np.zeros_like(there_ahead)
    if plan == "present_schedule":
        services = seen.weekly(seen.visits["is_planned"]).mean(axis=1)[:, None]
        extra = np.maximum(planned_due / _parts_a_service(tables) - services, 0.0)
    return (
        per_failure * lived + per_machine * there + 1e-9,
        per_failure * due + per_machine * there_ahead,
        extra,
    )


def _parts_a_service(tables: Mapping[str, pd.DataFrame]) -> float:
    """Planned replacements on a planned visit that has any; 1 where the record has none."""
    events = tables["maintenance_events"].astype({"activity": "object", "reason": "object"})
    events = events[(events["activity"] == "replace") & (events["reason"] == "preventive")]
    n = events.groupby(["unit_id", "ticket"], observed=True).size()
    return max(float(n.mean()), 1.0) if len(n) else 1.0


def _planned_visits(
    tables: Mapping[str, pd.DataFrame], settings: Settings, seen: Arrivals,
    mondays: pd.DatetimeIndex,
) -> list[list[Array]]:  # fmt: skip
    """Hours of each planned visit by class and week; none but under the recommended plan."""
    out = [[np.zeros(0) for _ in mondays] for _ in seen.classes]
    plan = tables["visit_plan"]
    if settings.plan.in_force != "recommended" or plan.empty:
        return out
    week = (plan["due_on"] - mondays[0]).dt.days // 7
    week = week.where(week >= 0, 0)  # days before the first Monday fall to it
    rows = [seen.row(c) for c in plan["equipment_class"].astype("object")]
    table = pd.DataFrame(
        {"row": rows, "week": week, "hours": plan["labour_hours"].astype(float).fillna(0.0)}
    )
    for (row, at), own in table.groupby(["row", "week"]):
        if row >= 0 and at < len(mondays):
            out[int(row)][int(at)] = own["hours"].to_numpy(dtype=float)
    return out


def _hours_of_visits(
    seen: Arrivals, counted: "pd.Series[bool]", costs: pd.DataFrame, events: pd.DataFrame
) -> tuple[list[Array], list[tuple[str, str]]]:
    """Hours of past visits of each class; from labour lines, else the costs' labour hours."""
    visits = seen.visits[counted]
    told = visits["labour_hours"].notna()
    notes: list[tuple[str, str]] = []
    if told.any():
        if told.mean() < MOSTLY:
            notes.append(
                (
                    f"Labour hours at the bench: {told.mean():.0%} of the visits have labour "
                    "lines; the others are taken to be like them.",
                    "map the lines of labour",
                )
            )
        return _by_class(seen, visits[told], "labour_hours"), notes
    each = costs[(costs["task"].astype(str) == "replace") & costs["labour_hours"].notna()]
    per_task = each.groupby(each["component"].astype(str))["labour_hours"].mean()
    work = events.astype({"component": "object", "ticket": "object", "unit_id": "object"})
    work = work.assign(hours=work["component"].astype(str).map(per_task))
    sums = work.groupby(["unit_id", "ticket"])["hours"].sum(min_count=1).rename("stated")
    visits = visits.merge(sums.reset_index(), on=["unit_id", "ticket"], how="left")
    if visits["stated"].notna().any():
        note = "Labour hours at the bench: the record has no labour lines; hours are those of the "
        return _by_class(seen, visits[visits["stated"].notna()], "stated"), [
            (note + "tasks done, as the costs state them.", "map the lines of labour")
        ]
    note = "Labour hours at the bench are left blank: the record has no labour lines and the "
    return [], [(note + "costs state no labour_hours.", "map the lines of labour")]


def _days_there(seen: Arrivals) -> tuple[list[Array], list[tuple[str, str]]]:
    visits = seen.visits[seen.visits["days_there"].notna()]
    if visits.empty:
        note = "Loaners are left blank: the record does not say when machines were received and "
        return [], [(note + "ready.", "map received_on and ready_on")]
    notes = []
    share = len(visits) / len(seen.visits)
    if share < MOSTLY:
        notes.append(
            (
                f"Loaners: {share:.0%} of the visits say when the machine was received and ready; "
                "the others are taken to stay as long.",
                "fill received_on and ready_on",
            )
        )
    return _by_class(seen, visits, "days_there"), notes


def _by_class(seen: Arrivals, visits: pd.DataFrame, column: str) -> list[Array]:
    every = visits[column].to_numpy(dtype=float)
    own = [visits.loc[visits["row"] == i, column].to_numpy(float) for i in range(len(seen.classes))]
    return [v if len(v) >= FEWEST_OF_CLASS else every for v in own]


def _notes_on_record(seen: Arrivals, law: WeeklyLaw) -> list[tuple[str, str]]:
    n = len(seen.mondays)
    if n < LONG_WEEKS:
        note = (
            f"The weeks ahead at the bench: {n} weeks of record are too few to see a season "
            f"({LONG_WEEKS} are needed); a spring rush would not show, ranges are stated ones in "
            "part."
        )
        return [(note, "give a longer record")]
    seasonal = [c for c, s in zip(seen.classes, law.seasons, strict=True) if not s.is_flat]
    if not seasonal:
        note = "The weeks ahead at the bench show no season: no week of the year came back from "
        return [(note + "year to year clearly enough to foretell the other years.", "nothing to do")]
    return []


def _rows(
    seen: Arrivals, mondays: pd.DatetimeIndex, mean: Array, spread: Array,
    planned: list[list[Array]], done: float, hours: list[Array], stays: list[Array],
) -> list[dict[str, Any]]:  # fmt: skip
    n_classes, n_weeks = len(seen.classes), len(mondays)
    every = [np.concatenate([p[w] for p in planned]) for w in range(n_weeks)]
    plans = [*planned, every]
    n_planned = done * np.array([[len(v) for v in of] for of in plans], dtype=float)
    there = np.zeros_like(mean)
    if stays:
        for i in range(n_classes):
            there[i] = machines_there(mean[i] + n_planned[i], stays[i])
        there[-1] = there[:-1].sum(axis=0)
    loaners = count_quantile(0.9, there, spread)
    rows = []
    for w in range(n_weeks):
        for i, name in enumerate([*seen.classes, ALL]):
            m, v = float(mean[i, w]), float(spread[i, w])
            one = np.ones(len(plans[i][w]))
            # one machine is one step of the same sum that hours are
            low, middle, high = hours_quantiles(
                (0.1, 0.5, 0.9), m, v, np.ones(1), np.ones(1), one, done
            )
            row = {
                "from_date": mondays[w], "equipment_class": name,
                "machines_mean": m + float(n_planned[i, w]),
                "machines_planned": float(n_planned[i, w]), "machines_p10": low,
                "machines_p50": middle, "machines_p90": high,
                "labour_hours_p50": np.nan, "labour_hours_p90": np.nan,
                "loaners_p90": float(loaners[i, w]) if stays else np.nan,
            }  # fmt: skip
            if hours:
                own, weight = _mixture(hours, mean[:-1, w], i)
                row["labour_hours_p50"], row["labour_hours_p90"] = hours_quantiles(
                    (0.5, 0.9), m, v, own, weight, plans[i][w], done
                )
            rows.append(row)
    return rows


def _mixture(hours: list[Array], mean: Array, row: int) -> tuple[Array, Array]:
    """Hours of past visits and their shares: of a class, or of all by how many of each come."""
    if row < len(hours):
        return hours[row], np.full(len(hours[row]), 1.0 / len(hours[row]))
    share = mean / max(float(mean.sum()), 1e-12)
    weight = [np.full(len(h), s / len(h)) for h, s in zip(hours, share, strict=True)]
    return np.concatenate(hours), np.concatenate(weight)
