"""Past complaints and what each turned out to be: one row a job and component at fault."""

import pandas as pd

from dutylife.coding import complaint_signs
from dutylife.coding.complaints import Sign
from dutylife.lives.watch import at_span
from dutylife.schema import filled_from
from dutylife.settings import Settings

_DONE = ("replace", "repair", "clean", "adjust")


def past_cases(
    service_lines: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    units: pd.DataFrame,
    unit_spans: pd.DataFrame,
    settings: Settings,
    asked: tuple[str, ...] = (),
) -> tuple[pd.DataFrame, dict[str, Sign]]:
    """Return the cases of the record, and every complaint as read.

    A case is a job (a ticket on one machine, without a ticket its day) on which a component was
    at fault. Failures found on a job that was a service are no answer to a complaint.

    Parameters
    ----------
    service_lines, maintenance_events, units, unit_spans : DataFrame, the tables of those names
    settings : Settings
    asked : tuple of str
        Complaints asked about.

    Returns
    -------
    cases : DataFrame
        unit_id, component, event_date, ticket, duty, equipment_class, complaint, words (of its
        sign), points_to (joined by ``;``), is_known, is_comeback, weight: share of the job's
        fault, at most 1 for a job in all. [1]
    signs : dict of str to Sign
        Of the record's complaints and those asked about.
    """
    words = ["unit_id", "component", "activity", "reason", "ticket"]
    events = maintenance_events.astype(dict.fromkeys(words, "object"))
    at_fault = (events["reason"] == "failure") & events["activity"].isin(_DONE)
    events = events[at_fault & ~events["found_at_service"]].reset_index(drop=True)
    told = _complaints(service_lines)
    signs = complaint_signs(told.to_numpy(), settings, asked)
    key = _job(events["unit_id"], events["ticket"], events["event_date"])
    complaint = filled_from(key.map(told), "")
    weight = events["confidence"].fillna(1.0)
    share = weight / weight.groupby(key).transform("sum").clip(lower=1.0)
    kinds = units.set_index(units["unit_id"].astype(object))["equipment_class"].astype(object)
    place = at_span(events["unit_id"], events["event_date"], unit_spans)
    read = [signs.get(c, Sign("", (), is_known=False)) for c in complaint]
    cases = events[["unit_id", "component", "event_date", "ticket", "is_comeback"]].assign(
        duty=place["duty"],
        equipment_class=filled_from(events["unit_id"].map(kinds), ""),
        complaint=complaint,
        words=[s.words for s in read],
        points_to=[";".join(s.points_to) for s in read],
        is_known=[s.is_known for s in read],
        weight=share,
    )
    return cases, signs


def _complaints(service_lines: pd.DataFrame) -> pd.Series:
    """First complaint of each job, by job."""
    names = ["unit_id", "ticket", "complaint"]
    lines = service_lines[[*names, "service_date"]].astype(dict.fromkeys(names, "object"))
    lines = lines[
        lines["complaint"].notna() & (lines["complaint"] != "") & lines["unit_id"].notna()
    ]
    key = _job(lines["unit_id"], lines["ticket"], lines["service_date"])
    return lines["complaint"].groupby(key, sort=False).first()


def _job(unit_id: pd.Series, ticket: pd.Series, day: pd.Series) -> pd.Series:
    number = ticket.fillna("")
    by_day = day.dt.strftime("%Y-%m-%d")
    return unit_id + "\x1f" + number.where(number != "", by_day)
