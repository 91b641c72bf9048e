"""From when to when each machine is watched, and how sure it is that it is still there."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from dutylife.errors import SettingsError
from dutylife.lives.meter import days_of
from dutylife.lives.presence import Gaps, Presence, stays_of
from dutylife.schema import days_at, spans_of_days
from dutylife.settings import Settings

NO_DUTY = "not stated"
STILL_THERE = 0.5  # from this probability on a machine counts as watched to the as-of date


@dataclass(frozen=True, slots=True)
class Watch:
    """Machines as watched: one row a unit, indexed by unit_id.

    ``machines`` has equipment_class, in_service_on, first_seen, last_seen, left_on,
    prob_in_service, observed_from, observed_to, ends (running or lost), and the duty and customer
    at the end;
    ``late_start`` lists the units whose in-service date lies after their first evidence.
    """

    machines: pd.DataFrame
    record_start: pd.Timestamp
    as_of: pd.Timestamp
    presence: Presence
    late_start: tuple[str, ...]


def watch_machines(
    evidence: pd.DataFrame, units: pd.DataFrame, unit_spans: pd.DataFrame, settings: Settings
) -> Watch:
    """Observation of each machine.

    Parameters
    ----------
    evidence : DataFrame
        unit_id, service_date: one row for each day a machine is seen, nothing after the as-of date.
    units, unit_spans : DataFrame, tables "units", "unit_spans"

    Notes
    -----
    Begin: the in-service date or the record's first day, whichever is later, where the in-service
    date is known; else the machine's first evidence. End: the day it left where known; the as-of
    date where it is believed a customer's still; else its last evidence and the days it is likely
    to have stayed on since. An in-service date after the first evidence is not believed. Who is
    there goes by ``[lives] still_there``: "by gaps", where the probability is at least
    `STILL_THERE`; "always"; "last visit", nobody beyond it.
    """
    as_of = last_day(settings)
    seen = evidence.groupby("unit_id")["service_date"].agg(["min", "max"])
    known = units.astype({"unit_id": "object"}).set_index("unit_id")
    names = sorted({*known.index, *seen.index})
    known = known.reindex(names)
    out = pd.DataFrame(index=pd.Index(names, name="unit_id", dtype="object"))
    out["equipment_class"] = known["equipment_class"].astype("object")
    out["first_seen"] = _earliest(seen["min"].reindex(names), known["first_seen"], as_of)
    out["last_seen"] = seen["max"].reindex(names).fillna(out["first_seen"])
    late = known["in_service_on"].notna() & (out["first_seen"] < known["in_service_on"])
    out["in_service_on"] = known["in_service_on"].where(~late & (known["in_service_on"] <= as_of))
    record_start = evidence["service_date"].min() if len(evidence) else as_of
    begin = out["in_service_on"].where(out["in_service_on"] > record_start, record_start)
    out["observed_from"] = begin.where(out["in_service_on"].notna(), out["first_seen"])
    where = at_span(out.index.to_series(), pd.Series(as_of, out.index), unit_spans)
    out["duty"], out["customer"] = where["duty"].to_numpy(), where["customer"].to_numpy()
    out["left_on"] = _left_on(known["left_on"], out, settings)
    # known from the machines file alone, without a date: its parts are there, their age is not
    not_yet = known["in_service_on"] > as_of
    only_named = out["observed_from"].isna() & ~not_yet
    out["observed_from"] = out["observed_from"].mask(only_named, out["left_on"].fillna(as_of))
    probability, stay, presence = _presence(out, evidence, as_of)
    # a roster says who is there: that ends the guess
    stated = known["prob_in_service"].astype(float)
    out["prob_in_service"] = probability.where(stated.isna(), stated)
    gone = out["left_on"].notna()
    believed = {
        "by gaps": out["prob_in_service"] >= STILL_THERE,
        "always": pd.Series(data=True, index=out.index),
        "last visit": pd.Series(data=False, index=out.index),
    }[settings.lives.still_there]
    there = ~gone & believed
    evident = out["last_seen"].fillna(out["observed_from"])
    stayed = evident
    if settings.lives.still_there == "by gaps":
        stayed = evident + spans_of_days(stay.round())
    end = out["left_on"].where(gone, stayed.mask(there, as_of))
    end = end.where(~(end < evident), evident)
    out["observed_to"] = end
    out["ends"] = np.where(there, "running", "lost")
    out = out[out["observed_from"].notna() & (out["observed_from"] <= out["observed_to"])]
    return Watch(out, record_start, as_of, presence, tuple(known.index[late]))


def last_day(settings: Settings) -> pd.Timestamp:
    """Last day the run knows of.

    Raises
    ------
    SettingsError
        It is not filled yet.
    """
    if settings.fleet.as_of is None:
        raise SettingsError(
            "The last day of the record is not known.",
            f"{settings.source}: fleet.as_of",
            "set it, or run the stage before this one, which takes it from the lines",
        )
    return pd.Timestamp(settings.fleet.as_of)


def at_span(unit_id: pd.Series, dates: pd.Series, unit_spans: pd.DataFrame) -> pd.DataFrame:
    """Duty and customer of units on given days: those of the span begun last, else of the first.

    Returns
    -------
    DataFrame
        duty (`NO_DUTY` where no span tells) and customer, index as ``unit_id``.
    """
    spans = unit_spans[["unit_id", "from_date", "duty", "customer"]].astype(
        {"unit_id": "object", "duty": "object", "customer": "object"}
    )
    spans = spans.dropna(subset=["from_date"]).sort_values(["from_date", "unit_id"], kind="stable")
    asked = pd.DataFrame({"unit_id": unit_id.astype("object").to_numpy(),
                          "day": dates.to_numpy(dtype="datetime64[ns]"),
                          "row": np.arange(len(unit_id))})  # fmt: skip
    asked = asked.sort_values(["day", "row"], kind="stable")
    if spans.empty or asked.empty:
        found = asked.assign(duty=None, customer=None)
    else:
        found = pd.merge_asof(asked, spans, left_on="day", right_on="from_date", by="unit_id")
        first = spans.drop_duplicates("unit_id").set_index("unit_id")
        before = found["from_date"].isna()
        for name in ("duty", "customer"):
            found[name] = found[name].mask(before, found["unit_id"].map(first[name]))
    found = found.sort_values("row", kind="stable").set_index(unit_id.index)
    duty = found["duty"].where(found["duty"].notna(), NO_DUTY)
    return pd.DataFrame({"duty": duty, "customer": found["customer"]}, index=unit_id.index)


def _earliest(seen: pd.Series, stated: pd.Series, as_of: pd.Timestamp) -> pd.Series:
    """First evidence: the record's, or an earlier one the units table knows of."""
    stated = stated.where(stated <= as_of)
    return seen.where(~(stated < seen) & seen.notna(), stated)


def _left_on(stated: pd.Series, machines: pd.DataFrame, settings: Settings) -> pd.Series:
    """Day a machine left, stated or by its customer; a day after the as-of date is not yet."""
    by_customer = {
        name: pd.Timestamp(c.left_on) for name, c in settings.customers.items() if c.left_on
    }
    of_customer = pd.to_datetime(machines["customer"].map(by_customer))
    left = pd.to_datetime(stated).fillna(of_customer)
    return left.where(left <= last_day(settings))


def _presence(
    machines: pd.DataFrame, evidence: pd.DataFrame, as_of: pd.Timestamp
) -> tuple[pd.Series, pd.Series, Presence]:
    """Probability that each machine is a customer's on the as-of date, and days since last seen.

    The second are the mean days that it stayed after its last visit. A machine of the list that
    was never seen has waited since it entered service, and goes by the same model; where that day
    is not known either, since the record began, if there are machines enough for the model, else
    it is taken to be there unless it left.
    """
    began = machines["in_service_on"].notna() | machines["last_seen"].notna()
    first = evidence["service_date"].min() if len(evidence) else as_of
    start_on = machines["observed_from"].where(began, first)
    last_on = machines["last_seen"].fillna(start_on)
    visits = evidence.drop_duplicates().groupby("unit_id").size().reindex(machines.index).fillna(0)
    # the list may say first seen on a day without a visit: then no visit is the begin itself
    came_in = evidence.groupby("unit_id")["service_date"].min().reindex(machines.index)
    began_with_visit = (start_on == came_in) & (machines["observed_from"] == start_on)
    left = machines["left_on"].notna()
    start = days_of(start_on)
    found, stay, presence = stays_of(
        np.maximum(visits.to_numpy(float) - began_with_visit.to_numpy(float), 0.0),
        np.maximum(days_of(last_on) - start, 0.0),
        np.maximum(days_of(machines["left_on"].fillna(as_of)) - start, 0.0),
        left.to_numpy(bool),
        _gaps(evidence, start_on, began_with_visit),
    )
    asked = np.ones(len(machines), dtype=bool) if presence.is_fitted else began.to_numpy()
    probability = np.where(asked, found, np.where(left, 0.0, 1.0))
    stayed = np.where(began, stay, 0.0)
    index = machines.index
    return pd.Series(probability, index), pd.Series(stayed, index), presence


def _gaps(evidence: pd.DataFrame, start_on: pd.Series, began_with_visit: pd.Series) -> Gaps:
    """Gaps between the days a machine was seen, from the begin of watching on."""
    days = evidence.drop_duplicates().sort_values(["unit_id", "service_date"], kind="stable")
    days = days[days["service_date"] >= days_at(days["unit_id"], start_on)]
    gap = days.groupby("unit_id")["service_date"].diff().dt.days.dropna().astype(float)
    of = days.loc[gap.index, "unit_id"]
    sums = pd.DataFrame({"n": 1.0, "days": gap, "log_days": np.log(gap)}).groupby(of).sum()
    sums = sums.reindex(start_on.index).fillna(0.0)
    return Gaps(
        n=sums["n"].to_numpy(), days=sums["days"].to_numpy(), log_days=sums["log_days"].to_numpy(),
        began_with_visit=began_with_visit.to_numpy(bool),
    )  # fmt: skip
