"""Work that came back: how often, by kind of job, component, part maker and batch of parts."""

from typing import Any

import numpy as np
import pandas as pd

from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.wording import count, percent

WORK = ("replace", "repair", "clean")  # what a comeback comes back from
FEWEST_JOBS = 5  # below which a maker or a batch is not shown
FALSE_DISCOVERY = 0.05
EVERY = "every component"
_CELL = ["unit_id", "component"]


def comebacks_of(
    maintenance_events: pd.DataFrame,
    service_lines: pd.DataFrame,
    catalogue: pd.DataFrame,
    settings: Settings,
) -> pd.DataFrame:
    """Count work that came back within the comeback window, in groups it may have in common.

    Parameters
    ----------
    maintenance_events, service_lines, catalogue : DataFrame
        The tables of those names.
    settings : Settings
        Comeback days, as-of day, confidence level.

    Returns
    -------
    DataFrame
        Table "comebacks". Groups: kind of job (the export's), work done, component, part maker
        and batch. No person's name is read or shown.

    Notes
    -----
    Work on the last days of the record, whose window is not over, is left out: it can't have
    come back yet. Exports name no lots, so a batch is the parts of one number put in within one
    quarter of a year, which mostly were bought together (our proposal). Makers and batches are
    held against the other work on the same component, so that a component that often comes back
    does not blame its makers. ``p_adjusted`` is the chance that so many of all comebacks or more
    fall on the group's work by luck (hypergeometric, as in Fisher's exact test), by false
    discovery over all groups of a kind; ``expected_back`` is the group's even share of them.
    """
    work = _work(maintenance_events, settings)
    if work.empty:
        return as_table("comebacks", pd.DataFrame())
    work = _with_groups(work, service_lines, catalogue)
    level = settings.report.confidence_level
    parts = [
        _counted(work, "kind of job", "ticket_kind", "", level),
        _counted(work, "work done", "activity", "", level),
        _counted(work, "component", "component", "", level),
        _counted(work, "part maker", "part_maker", "component", level),
        _counted(work, "batch", "batch", "component", level),
    ]
    return as_table("comebacks", pd.concat([p for p in parts if len(p)], ignore_index=True))


def _work(events: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Work on a component of a machine on a day, and whether a failure came back from it."""
    days = settings.coding.comeback_days
    if not days or settings.fleet.as_of is None or events.empty:
        return pd.DataFrame()
    words = [*_CELL, "activity", "ticket", "part_number"]
    known = events.astype(dict.fromkeys(words, "object")).dropna(subset=[*_CELL, "event_date"])
    done = known[known["activity"].isin(WORK)].sort_values("event_date", kind="stable")
    done = done.drop_duplicates([*_CELL, "event_date"])[[*words, "event_date"]]
    done = done.assign(done_on=done["event_date"])
    back = known[known["is_comeback"]].sort_values("event_date", kind="stable")
    came = pd.merge_asof(
        back[[*_CELL, "event_date"]], done[[*_CELL, "event_date", "done_on"]], on="event_date",
        by=_CELL, allow_exact_matches=False,
    )  # fmt: skip
    came = came.dropna(subset=["done_on"])[[*_CELL, "done_on"]].drop_duplicates()
    done = done.merge(came.assign(came_back=True), on=[*_CELL, "done_on"], how="left")
    done["came_back"] = done["came_back"].eq(True)  # noqa: E712
    over = done["done_on"] + pd.Timedelta(days=days) <= pd.Timestamp(settings.fleet.as_of)
    return done[over].reset_index(drop=True)


def _with_groups(
    work: pd.DataFrame, service_lines: pd.DataFrame, catalogue: pd.DataFrame
) -> pd.DataFrame:
    lines = service_lines[["ticket", "ticket_kind"]].astype("object").dropna()
    kind = lines.drop_duplicates("ticket").set_index("ticket")["ticket_kind"]
    told = catalogue[["part_number", "part_maker"]].astype("object").dropna()
    maker = told.drop_duplicates("part_number").set_index("part_number")["part_maker"]
    quarter = work["done_on"].dt.to_period("Q").astype(str).str.replace("Q", " quarter ")
    return work.assign(
        ticket_kind=work["ticket"].map(kind),
        part_maker=work["part_number"].map(maker),
        batch=(work["part_number"] + ", " + quarter).where(work["part_number"].notna()),
    )


def _counted(
    work: pd.DataFrame, grouped_by: str, column: str, within: str, level: float
) -> pd.DataFrame:
    """Comebacks of each group, beside its even share of those of its component (or of all)."""
    from scipy.special import betaincinv
    from scipy.stats import false_discovery_control, hypergeom

    known = work[work[column].notna()]
    if known.empty:
        return pd.DataFrame()
    names = [column] if not within else [within, column]
    by = known.groupby(names, sort=True)["came_back"].agg(["size", "sum"]).reset_index()
    whole = work.groupby(within)["came_back"] if within else None
    n_all = by[within].map(whole.size()) if whole is not None else len(work)
    back_all = by[within].map(whole.sum()) if whole is not None else work["came_back"].sum()
    n, k = by["size"].to_numpy(float), by["sum"].to_numpy(float)
    n_whole, k_whole = (np.asarray(v, float) * np.ones(len(by)) for v in (n_all, back_all))
    expected = np.where(n_whole > n, n * k_whole / n_whole, np.nan)
    kept = n >= (FEWEST_JOBS if within else 1)
    tail = (1 - level) / 2
    # bounds of a share after Clopper and Pearson (1934)
    low = np.where(k > 0, betaincinv(np.maximum(k, 1), n - k + 1, tail), 0.0)
    high = np.where(k < n, betaincinv(k + 1, np.maximum(n - k, 1), 1 - tail), 1.0)
    chance = hypergeom.sf(k - 1, n_whole, k_whole, n)  # so many of these or more, were all alike
    found: dict[str, Any] = {
        "grouped_by": grouped_by, "component": by[within] if within else EVERY,
        "group": by[column].astype(str), "n_jobs": by["size"], "n_comebacks": by["sum"],
        "share_back": k / n, "share_back_lower": low, "share_back_upper": high,
        "expected_back": expected, "p_adjusted": np.nan,
    }  # fmt: skip
    table = pd.DataFrame(found)[kept].reset_index(drop=True)
    tested = table["expected_back"].notna().to_numpy()
    if tested.any():
        table.loc[tested, "p_adjusted"] = false_discovery_control(
            np.clip(chance[kept][tested], 0.0, 1.0), method="bh"
        )
    told = ["n_comebacks", "n_jobs", "expected_back", "p_adjusted"]
    table["verdict"] = [
        _verdict(int(back), int(jobs), expect, chance)
        for back, jobs, expect, chance in table[told].to_numpy(float)
    ]
    return table


def _verdict(n_back: int, n_jobs: int, expected: float, chance: float) -> str:
    told = f"{n_back} of {count(n_jobs, 'job')} came back"
    if not np.isfinite(expected):
        return f"{told}; nothing else to hold it against"
    beside = f"{told}, about {expected:.1f} expected ({percent(expected / n_jobs)})"
    if chance <= FALSE_DISCOVERY:
        return f"{beside}: more than chance explains"
    return f"{beside}: no more than chance explains"
