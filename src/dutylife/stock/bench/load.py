"""The weeks ahead at the bench: machines that arrive, hours they ask for, loaners to have."""

from collections.abc import Mapping
from dataclasses import dataclass

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
from dutylife.stock.bench.exposure import counted_visits, exposures, planned_visits
from dutylife.stock.bench.fleet import Weeks
from dutylife.stock.bench.law import WeeklyLaw, weekly_law
from dutylife.stock.bench.rows import rows_of
from dutylife.stock.bench.visits import days_there, hours_of_visits
from dutylife.stock.plans import plan_record

Array = npt.NDArray[np.float64]
# all our proposal
FEWEST_WEEKS = 4  # of record, below which nothing is said
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
            f"Week of {row['from_date'].day} {row['from_date']:%B %Y}: about "
            f"{row['machines_p50']:.0f} machines, 9 in 10 such weeks at most "
            f"{row['machines_p90']:.0f}."
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
        Rows by Monday and class, and for all machines together; labour hours blank
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
    done; under the present schedule or one of a file the record's services and, where it brings
    more planned replacements than the record had services, visits for these. Before the plan's
    first day planned work goes on as the record has it.
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
    exposure, ahead, extra = exposures(tables, settings, seen, weeks, as_of)
    counted = counted_visits(seen, plan)
    law = weekly_law(
        seen.weekly(counted), parts_of_year(seen.mondays), exposure, parts_of_year(mondays),
        ahead,
    )  # fmt: skip
    mean = law.mean.copy()
    mean[:-1] += extra
    mean[-1] += extra.sum(axis=0)
    planned = planned_visits(tables, settings, seen, mondays)
    notes = _notes_on_record(seen, law)
    hours, told = hours_of_visits(seen, counted, tables["costs"], tables["maintenance_events"])
    stays, told_stays = days_there(seen)
    notes += told + told_stays
    done = plan_record(
        tables["failure_events"], components_of(settings), settings, tables.get("stated_plan")
    ).done
    rows = rows_of(seen, mondays, mean, np.minimum(law.spread, MOST_SPREAD), planned, done, hours,
                 stays)  # fmt: skip
    table = pd.DataFrame(rows).assign(workshop_hours=settings.workshop.hours_per_week or np.nan)
    return BenchLoad(table=as_table("bench_forecast", table), notes=notes, law=law)


def _days(mondays: pd.DatetimeIndex, as_of: pd.Timestamp) -> Array:
    """Return the first days of weeks, the day after as_of being day 0."""
    return ((mondays - as_of).days.to_numpy() - 1).astype(float)


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
        note = "The weeks ahead at the bench show no season: no part of the year came back clearly "
        return [(note + "enough to foretell the other years.", "nothing to do")]
    return []
