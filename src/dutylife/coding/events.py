"""Evidence to maintenance events: one for each component of a job."""

import numpy as np
import pandas as pd

from dutylife.coding.evidence import Evidence
from dutylife.coding.lexicon import Lexicon
from dutylife.coding.mentions import SEVERITY, STRENGTH, Reading
from dutylife.coding.reasons import comebacks, give_reasons
from dutylife.coding.unsaid import IsBare, mended_beside, mended_unsaid
from dutylife.schema import as_table, joined_by
from dutylife.settings import Settings

_KEY = ["job", "component"]


def build_events(
    evidence: Evidence,
    jobs: pd.DataFrame,
    lines: pd.DataFrame,
    lexicon: Lexicon,
    settings: Settings,
    is_bare: IsBare,
) -> tuple[pd.DataFrame, int, int]:
    """Table maintenance_events, and how many jobs share a cause or have one nobody named.

    Parameters
    ----------
    evidence : Evidence
        Nothing ambiguous left in it.
    jobs : DataFrame
        From `job_kinds`, by job.
    lines : DataFrame
        job, line_id, line_kind, work_done, complaint.
    is_bare : callable
        Of a work text: it says that something was mended, not what.
    """
    parts, said = evidence.parts[evidence.parts["job"] >= 0], evidence.said
    net = parts[parts["is_replacing"]].groupby(_KEY)["pieces"].sum()
    bought = net[net > 0]
    sureness = pd.concat([f[[*_KEY, "sureness"]] for f in (parts, said)]).groupby(_KEY)
    by_text = _from_texts(said, lexicon)
    events = by_text.join(bought.rename("quantity"), how="outer")
    if events.empty:
        return as_table("maintenance_events", pd.DataFrame()), 0, 0
    for column in ("activity", "finding", "failure_mode", "stated"):
        words = events[column].astype("object")
        events[column] = words.where(words.notna(), "")
    is_new = events["quantity"].notna()
    events["activity"] = np.where(is_new, "replace", events["activity"])
    worked = events["finding"].isin(["failed", "over limit", "worn"])
    events["is_sure"] = events["is_sure"].astype("object").eq(True)  # noqa: E712
    labour = events["is_labour"].astype("object").eq(True)  # noqa: E712
    unsaid = np.where(worked | labour & (events["finding"] == ""), "repair", "inspect")
    events["activity"] = np.where(events["activity"] == "", unsaid, events["activity"])
    events = events.join(sureness["sureness"].max()).reset_index()
    events = events.join(jobs, on="job")
    points = events["points_to"]
    events["is_pointed_to"] = [c in p for c, p in zip(events["component"], points, strict=True)]
    reasons = give_reasons(events, settings.coding.default_reason)
    n_shared = int(events.loc[reasons["is_shared"], "job"].nunique())
    events = events.assign(
        reason=reasons["reason"], confidence=reasons["confidence"] * events["sureness"]
    )
    events = events.join(_numbers(parts), on=_KEY).join(_line_ids(parts, said), on=_KEY)
    events["is_told"] = (events["reason"] == "failure") & (
        events["finding"].isin(["failed", "worn", "over limit"]) & (events["confidence"] == 1)
    )
    events, n_unsaid = _with_unsaid(events, jobs, lines, is_bare)
    at_service = events["is_service"] & ~events["is_fault"]
    events["found_at_service"] = at_service & (events["reason"] == "failure")
    events["is_comeback"] = comebacks(events, settings.coding.comeback_days)
    events["finding"] = events["finding"].replace("", "untested")
    events["failure_mode"] = events["failure_mode"].mask(events["failure_mode"] == "")
    return as_table("maintenance_events", events), n_shared, n_unsaid


def _with_unsaid(
    events: pd.DataFrame, jobs: pd.DataFrame, lines: pd.DataFrame, is_bare: IsBare
) -> tuple[pd.DataFrame, int]:
    """Events with those of repairs that do not say what was mended, and how many these are."""
    beside = mended_beside(events, jobs, lines, is_bare)
    added = [mended_unsaid(events, jobs, lines, is_bare)]
    if len(beside):
        share = events["job"].map(beside.set_index("job")["confidence"])
        cause = share.notna() & (events["reason"] == "failure")
        left = events["confidence"] * (1.0 - share)
        events = events.assign(confidence=events["confidence"].mask(cause, left))
        ids = events.groupby("job")["line_ids"].first()
        rows = beside.join(jobs, on="job").assign(
            reason="failure", finding="untested", failure_mode=None, is_pointed_to=True,
            line_ids=beside["job"].map(ids),
        )  # fmt: skip
        added.append(rows)
    kept = [f.reindex(columns=events.columns).astype(events.dtypes) for f in added if len(f)]
    if kept:
        events = pd.concat([events, *kept]).sort_values(_KEY, kind="stable", ignore_index=True)
    return events, sum(map(len, kept))


def job_kinds(
    lines: pd.DataFrame, work: dict[str, Reading], complaints: dict[str, Reading]
) -> pd.DataFrame:
    """Machine, day and kind of each job.

    Returns
    -------
    DataFrame
        By job: unit_id, ticket, event_date (of its first line), is_service, is_fault, points_to
        (set of components the complaint points to).
    """
    mine = lines[lines["job"] >= 0]
    # of its first line; taking the first of each group of texts takes minutes for millions of jobs
    jobs = mine.drop_duplicates("job").set_index("job")[["unit_id", "ticket"]].sort_index()
    jobs["event_date"] = mine.groupby("job", sort=True)["service_date"].min()

    def any_of(column: str, texts: dict[str, Reading], ask: str) -> pd.Series:
        hits = {t for t, r in texts.items() if (r.is_fault if ask == "fault" else ask in r.tickets)}
        return mine[column].isin(hits).groupby(mine["job"]).any()

    kind_service = any_of("ticket_kind", complaints, "preventive")
    kind_repair = any_of("ticket_kind", complaints, "failure")
    said_fault = any_of("complaint", complaints, "fault")
    said_repair = any_of("complaint", complaints, "failure")
    said_service = any_of("complaint", complaints, "preventive")
    text_service = any_of("work_done", work, "preventive")
    spoken = lines["line_kind"].isin(["labour", "note"])
    other = mine["description"].where(spoken.loc[mine.index], "")
    hits = {t for t, r in work.items() if "preventive" in r.tickets}
    text_service |= other.isin(hits).groupby(mine["job"]).any()
    jobs["is_fault"] = kind_repair | said_fault | (said_repair & ~kind_service)
    jobs["is_service"] = ~kind_repair & (
        kind_service | said_service | (text_service & ~jobs["is_fault"])
    )
    told = mine[["job", "complaint"]].drop_duplicates()
    told = told[told["complaint"] != ""]
    # jobs whose complaint is alike share one set: there are millions of jobs
    of_text = {
        text: frozenset({*complaints[text].points_to})
        | {m.component for m in complaints[text].mentions}
        for text in told["complaint"].unique()
    }
    points: dict[int, frozenset[str]] = {}
    for job, text in zip(told["job"], told["complaint"], strict=True):
        points[job] = points[job] | of_text[text] if job in points else of_text[text]
    nothing: frozenset[str] = frozenset()
    jobs["points_to"] = pd.Series(
        [points.get(j, nothing) for j in jobs.index], index=jobs.index, dtype="object"
    )
    return jobs


def _from_texts(said: pd.DataFrame, lexicon: Lexicon) -> pd.DataFrame:
    """Strongest activity, worst finding, first mode and reason said of a job's components."""
    strength = {a: i for i, a in enumerate(STRENGTH)}
    severity = {f: i for i, f in enumerate(SEVERITY)}
    rows = said.assign(
        rank=said["activity"].map(strength).astype("float64"),
        worst=said["finding"].map(severity).astype("float64"),
        mode=[
            _mode(lexicon.modes_of.get(c, {}), m)
            for c, m in zip(said["component"], said["modes"], strict=True)
        ],
    )
    rows["stated"] = rows["stated"].mask(rows["stated"] == "")
    rows["mode"] = rows["mode"].mask(rows["mode"] == "").astype("object")
    # a person's reason stands before what other texts of the job say
    grouped = rows.sort_values("is_sure", ascending=False, kind="stable").groupby(_KEY, sort=True)
    out = grouped.agg(
        rank=("rank", "min"), worst=("worst", "min"), failure_mode=("mode", "first"),
        stated=("stated", "first"), is_labour=("is_labour", "any"),
        is_sure=("is_sure", "any"),
    )  # fmt: skip
    out["activity"] = out["rank"].map(dict(enumerate(STRENGTH)))
    out["finding"] = out["worst"].map(dict(enumerate(SEVERITY)))
    return out.drop(columns=["rank", "worst"])


def _mode(own: dict[str, str], said: tuple[str, ...]) -> str:
    """The component's own name of what was said, else the general one."""
    for word in said:
        if word in own.values():
            return word
    for word in said:
        if word in own:
            return own[word]
    return said[1] if len(said) > 1 else ""


def _numbers(parts: pd.DataFrame) -> pd.DataFrame:
    """Part number fitted: of the line with the most pieces, ties in alphabetical order."""
    fitted = parts[(parts["pieces"] > 0) & parts["is_replacing"] & (parts["part_number"] != "")]
    fitted = fitted.sort_values(["pieces", "part_number"], ascending=[False, True])
    return fitted.groupby(_KEY)[["part_number"]].first()


def _line_ids(parts: pd.DataFrame, said: pd.DataFrame) -> pd.DataFrame:
    both = pd.concat([parts[[*_KEY, "line_id"]], said[[*_KEY, "line_id"]]]).drop_duplicates()
    both = both.sort_values([*_KEY, "line_id"], kind="stable")
    return joined_by(both[_KEY], both["line_id"]).rename("line_ids").to_frame()
