"""Repairs that do not say what was mended: what such repairs were where the text does say."""

from collections.abc import Callable

import pandas as pd

from dutylife.schema import filled_from, joined_by

IsBare = Callable[[str], bool]  # of a work text: it says that something was mended, not what
_MENDED = ("clean", "repair", "adjust")
FEWEST_TOLD = 5  # repairs without a part whose text says what was mended, before others go by them
LIKELIEST = 0.5  # share of these that one component must have
FEWEST_ALIKE = 3  # repairs with the same complaint and parts whose text names the cause
PRIOR_CASES = 2.0  # worth of all such repairs, beside those with the same complaint


def mended_unsaid(
    events: pd.DataFrame, jobs: pd.DataFrame, lines: pd.DataFrame, is_bare: IsBare
) -> pd.DataFrame:
    """Events of repairs of which no line names a component.

    Parameters
    ----------
    events : DataFrame
        Of all other jobs: job, component, activity, finding, reason, confidence, quantity (pieces
        put in, missing where none).
    jobs : DataFrame, by job
        unit_id, ticket, event_date, is_service, is_fault, points_to.
    lines : DataFrame
        job, line_id, line_kind, work_done, complaint.
    is_bare : callable

    Returns
    -------
    DataFrame
        Rows like those of ``events``, one a job; none where the record tells too little.

    Notes
    -----
    Without a part billed something was cleaned, adjusted or mended. The record's own repairs of
    that kind, whose text says what it was, tell how often it is which component: those with the
    same complaint, and all of them as `PRIOR_CASES` more. The likeliest is taken where its share
    is at least `LIKELIEST`; the share is the event's confidence, that it was the cause. A ticket
    that says anything else (a bent frame, no fault found) is none of these.
    """
    parts = events.groupby("job")["quantity"].transform("count")
    told = events[
        events["activity"].isin(_MENDED) & (events["reason"] == "failure") & (parts == 0)
        & events["finding"].isin(["failed", "worn", "over limit"]) & (events["confidence"] == 1)
    ]  # fmt: skip
    silent = jobs[jobs["is_fault"] & ~jobs["is_service"] & ~jobs.index.isin(events["job"])]
    silent = silent[
        silent.index.isin(_say_nothing(lines[lines["job"].isin(silent.index)], silent, is_bare))
    ]
    if len(told) < FEWEST_TOLD or silent.empty:
        return pd.DataFrame()
    cases = pd.DataFrame({"pattern": _pattern(told["points_to"]), "component": told["component"],
                          "activity": told["activity"]}, dtype="object")  # fmt: skip
    overall = cases["component"].value_counts(normalize=True).sort_index()
    same = cases.groupby(["pattern", "component"]).size().unstack(fill_value=0)
    same = same.reindex(columns=overall.index, fill_value=0)
    asked = pd.DataFrame({"pattern": _pattern(silent["points_to"])}, index=silent.index)
    seen = same.reindex(asked["pattern"]).fillna(0.0).set_axis(silent.index)
    share = seen + PRIOR_CASES * overall
    share = share.div(share.sum(axis=1), axis=0)
    best, how_sure = share.idxmax(axis=1), share.max(axis=1)
    activity = cases.groupby("component")["activity"].agg(lambda a: a.mode().min())
    rows = silent.assign(component=best, confidence=how_sure, activity=best.map(activity))
    rows = rows[rows["confidence"] >= LIKELIEST]
    spoken = lines[lines["job"].isin(rows.index) & (lines["line_kind"] != "fee")]
    ids = spoken.sort_values("line_id").groupby("job")["line_id"].agg(";".join)
    rows = rows.assign(
        reason="failure", finding="untested", failure_mode=None, line_ids=ids.reindex(rows.index),
        is_pointed_to=True, job=rows.index,
    )  # fmt: skip
    return rows.reset_index(drop=True)


def mended_beside(
    events: pd.DataFrame, jobs: pd.DataFrame, lines: pd.DataFrame, is_bare: IsBare
) -> pd.DataFrame:
    """Causes that were mended, not billed, in repairs that bill another part and say nothing.

    Parameters
    ----------
    events, jobs, lines, is_bare
        As in `mended_unsaid`; ``events`` also is_told, whether the text says it was the cause.

    Returns
    -------
    DataFrame
        job, component, activity, confidence: one a job, where the record's own repairs with the
        same complaint and the same parts billed, whose text names the cause, had mostly that
        component as cause and mended it without a part (a carburetor cleaned, the plug changed
        along the way). At least `FEWEST_ALIKE` of them, and a share of at least `LIKELIEST`.
    """
    billed = events[events["quantity"].notna()].sort_values(["job", "component"])
    parts = joined_by(billed["job"], billed["component"])
    told = events[events["is_told"]]
    told = told[~told["job"].duplicated(keep=False)]
    mended = told["quantity"].isna() & told["activity"].isin(_MENDED)
    are_told = events.groupby("job")["is_told"].any()
    silent = jobs[jobs["is_fault"] & ~jobs["is_service"] & jobs.index.isin(parts.index)]
    silent = silent[~are_told.reindex(silent.index)]
    silent = silent[
        silent.index.isin(_say_nothing(lines[lines["job"].isin(silent.index)], silent, is_bare))
    ]
    if silent.empty or not mended.any():
        return pd.DataFrame()
    key = _pattern(told["points_to"]) + "|" + filled_from(told["job"].map(parts), "")
    cases = pd.DataFrame({"key": key, "component": told["component"], "mended": mended,
                          "activity": told["activity"]}, dtype="object")  # fmt: skip
    n = cases.groupby("key").size()
    counts = cases[mended].groupby(["key", "component"]).size().rename("n").reset_index()
    counts = counts.sort_values(["key", "n", "component"], ascending=[True, False, True])
    best = counts.drop_duplicates("key").set_index("key")
    best["confidence"] = best["n"] / n.reindex(best.index)
    best = best[(n.reindex(best.index) >= FEWEST_ALIKE) & (best["confidence"] >= LIKELIEST)]
    activity = cases[mended].groupby("component")["activity"].agg(lambda a: a.mode().min())
    own = _pattern(silent["points_to"]) + "|" + parts.reindex(silent.index)
    found = best.reindex(own).set_index(silent.index)[["component", "confidence"]].dropna()
    found = found.assign(activity=found["component"].map(activity))
    return found.rename_axis("job").reset_index()


def _say_nothing(lines: pd.DataFrame, jobs: pd.DataFrame, is_bare: IsBare) -> pd.Index:
    """Jobs whose work text is blank or says only "repaired", and whose complaint is no other's."""
    plain = lines["work_done"].map(
        {text: is_bare(text) for text in lines["work_done"].unique()}
    ).astype(bool)  # fmt: skip
    told = lines["complaint"] != ""
    astray = told & ~lines["job"].map(jobs["points_to"].map(bool)).astype(bool)
    fits = (plain & ~astray).groupby(lines["job"]).all()
    return fits.index[fits]


def _pattern(points_to: pd.Series) -> pd.Series:
    return points_to.map(lambda names: ";".join(sorted(names)))
