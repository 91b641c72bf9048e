"""Why each thing was done: the part was the cause, it was due, or it was done while there."""

import numpy as np
import pandas as pd

PRIOR_CASES = 0.5  # of each candidate, beside those the record tells; our proposal
_CHANGED = ("replace", "repair", "clean", "adjust")


def give_reasons(events: pd.DataFrame, default_reason: str) -> pd.DataFrame:
    """Reason and confidence of each event.

    In this order, the first that holds stands:

    1. the text says this component failed, was over its limit or was the cause, or found worn what
       the complaint points to: failure;
    2. the text says it was done as a precaution or on schedule: preventive; while apart, with a
       kit: opportunistic; it was found in order: preventive on a service, else opportunistic;
    3. the job is a service: preventive;
    4. the job is a repair (by its kind or its complaint): the cause is sought among what was
       changed, first among what was found worn, then what the complaint points to, then all. One:
       failure. Several share it (`share_by_complaint`). The rest was done while there. If another
       component is the cause by 1, all of it was done while there;
    5. ``default_reason``.

    Parameters
    ----------
    events : DataFrame
        job (number of the ticket on that machine), component, activity, finding, stated (reason
        the text gives), is_sure (that reason is a person's, and stands), is_service, is_fault,
        is_pointed_to (flags), points_to (set of components the job's complaint points to).
    default_reason : str
        Of an event without any evidence. With "failure" that holds for inspections too; otherwise
        an inspection without evidence is opportunistic.

    Returns
    -------
    DataFrame
        reason, confidence (probability that the component was the cause; 1 for other reasons,
        where it means "sure"), is_shared.
    """
    finding, stated = events["finding"], events["stated"]
    changed = events["activity"].isin(_CHANGED)
    is_service = events["is_service"] & ~events["is_fault"]
    is_repair = events["is_fault"] & ~is_service
    told = finding.isin(["failed", "over limit"]) | (stated == "failure")
    told &= ~events["is_sure"] | (stated == "failure")
    told |= ~events["is_sure"] & (finding == "worn") & events["is_pointed_to"] & is_repair
    by_text = pd.Series(
        np.select(
            [told, stated != "", (finding == "ok") & events["is_service"], finding == "ok"],
            ["failure", stated, "preventive", "opportunistic"],
            default="",
        ),
        index=events.index,
        dtype="object",
    )
    open_ = by_text == ""
    has_cause = (told & changed).groupby(events["job"]).transform("any")
    seeks = open_ & changed & is_repair & ~has_cause
    worn = seeks & (finding == "worn")
    pointed = seeks & events["is_pointed_to"]
    any_worn = worn.groupby(events["job"]).transform("any")
    any_pointed = pointed.groupby(events["job"]).transform("any")
    cause = worn.where(any_worn, pointed.where(any_pointed, seeks))
    n_causes = cause.groupby(events["job"]).transform("sum")
    rest = np.where(changed | (default_reason == "failure"), default_reason, "opportunistic")
    reason = pd.Series(
        np.select(
            [~open_, is_service, cause, is_repair & changed],
            [by_text, "preventive", "failure", "opportunistic"],
            default=rest,
        ),
        index=events.index,
        dtype="object",
    )
    return pd.DataFrame(
        {
            "reason": reason,
            "confidence": share_by_complaint(events, told & changed, cause),
            "is_shared": cause & (n_causes > 1),
        }
    )


def share_by_complaint(events: pd.DataFrame, told: pd.Series, cause: pd.Series) -> pd.Series:
    """Probability of each event to be the cause, where several parts were changed for one failure.

    Parameters
    ----------
    events : DataFrame
        job, component, points_to (set of components that the job's complaint points to).
    told : Series of bool
        The text says this one was the cause.
    cause : Series of bool
        Events among which the job's cause is sought.

    Returns
    -------
    Series
        1 where nothing is shared. Else the shares of a job add up to 1, each by how often that
        component was the cause in jobs of this record whose complaint points to the same set and
        whose text names the one cause, `PRIOR_CASES` of each added. To share alike would count
        too many failures of a part that has complaints of its own ("floods"): these are known,
        so that fewer of the doubtful ones are its.
    """
    share = pd.Series(1.0, index=events.index)
    if not cause.any():
        return share
    pattern = events["points_to"].map(lambda names: ";".join(sorted(names)))
    cell = pd.DataFrame({"pattern": pattern, "component": events["component"]}, dtype="object")
    alone = told & (told.groupby(events["job"]).transform("sum") == 1)
    known = cell[alone].value_counts()
    cases = pd.MultiIndex.from_frame(cell[cause])
    weight = known.reindex(cases).fillna(0.0).to_numpy(float) + PRIOR_CASES
    weighed = pd.Series(weight, index=events.index[cause])
    job = events.loc[cause, "job"]
    share.loc[cause] = weighed / weighed.groupby(job).transform("sum")
    return share


def comebacks(events: pd.DataFrame, comeback_days: int) -> pd.Series:
    """Failures within so many days of earlier work on the same component of the same machine.

    Parameters
    ----------
    events : DataFrame
        unit_id, component, event_date, activity, reason.
    comeback_days : int
        0 switches comebacks off. [d]
    """
    none = pd.Series(data=False, index=events.index)
    if comeback_days == 0 or events.empty:
        return none
    work = events[events["activity"].isin(["replace", "repair", "clean"])]
    done = work[["unit_id", "component", "event_date"]].drop_duplicates()
    done = done.assign(earlier_on=done["event_date"]).sort_values("event_date", kind="stable")
    asked = events.reset_index().sort_values("event_date", kind="stable")
    found = pd.merge_asof(
        asked, done, on="event_date", by=["unit_id", "component"], allow_exact_matches=False
    ).set_index("index")
    days = (found["event_date"] - found["earlier_on"]).dt.days
    return ((days <= comeback_days) & (found["reason"] == "failure")).reindex(events.index)
