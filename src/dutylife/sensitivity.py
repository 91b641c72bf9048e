"""Each assumption behind the lives switched in turn: what that does to laws and intervals."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dutylife.components import components_of
from dutylife.decisions import recommend_intervals
from dutylife.errors import DecisionError
from dutylife.lives import build_lives, counter_habits
from dutylife.models import fit_models
from dutylife.provenance import digest_of, seed_of
from dutylife.schema import as_table, empty_table
from dutylife.settings import CodedComponent, Settings
from dutylife.spread import spread
from dutylife.wording import count

MOST_MACHINES = 1000  # a dozen switches of so many take about as long as all else of the run
Tables = dict[str, pd.DataFrame]
Switched = tuple[Settings, Tables]
_CELL = ["component", "duty"]
_NEEDED = ("maintenance_events", "service_lines", "failure_events", "life_models", "intervals",
           "units", "unit_spans", "shelf")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Assumption:
    """What the run takes for true, and what it is switched to.

    ``switch`` gives settings and tables as they would be, None where the record has nothing that
    the assumption touches; ``drop`` leaves lives out of the fits.
    """

    assumed: str
    switched_to: str
    switch: Callable[[Settings, Tables], Switched | None]
    drop: Callable[[pd.DataFrame, Tables], pd.Series] | None = None


def sensitivity(tables: Tables, settings: Settings) -> pd.DataFrame:
    """Intervals with each assumption switched, beside those of the run.

    Parameters
    ----------
    tables : dict of DataFrame
        maintenance_events, service_lines, failure_events, life_models and intervals of the run;
        units and unit_spans as they were before `build_lives` filled them.
    settings : Settings
        With ``fleet.as_of`` filled.

    Returns
    -------
    DataFrame, table "sensitivity"
        A row for each assumption and cell: the renewal task (replace, or run to failure) and its
        interval as assumed and as switched, and the ratio of the characteristic lives, switched
        over assumed. A switch that leaves the lives as they were has no rows.

    Notes
    -----
    Of more than 1000 machines so many are drawn by the seed, and laws and intervals "as assumed"
    are made of their lives alone too (`sampled_note` says so).
    """
    if tables["units"]["unit_id"].nunique() > MOST_MACHINES:
        tables = _of_some(tables, settings)
    base = _cells(tables["life_models"], tables["intervals"])
    out = []
    common = {name: tables[name] for name in _NEEDED if name in tables}, settings
    switched = spread(_switched, common, range(len(ASSUMPTIONS)), settings.compute)
    for assumption, found in zip(ASSUMPTIONS, switched, strict=True):
        if found is None:
            continue
        both = base.merge(found, on=_CELL, suffixes=("", "_switched"), how="left")
        # a switch can leave a cell without any life
        both["n_failed_switched"] = both["n_failed_switched"].fillna(0)
        out.append(both.assign(assumed=assumption.assumed, switched_to=assumption.switched_to))
    rows = pd.concat(out, ignore_index=True) if out else pd.DataFrame()
    if len(rows):
        rows["scale_ratio"] = rows.pop("scale_days_switched") / rows.pop("scale_days")
    return as_table("sensitivity", rows)


def sampled_note(units: pd.DataFrame) -> pd.DataFrame:
    """Table "findings": that the assumptions were switched on a part of the machines."""
    n = units["unit_id"].nunique()
    if n <= MOST_MACHINES:
        return empty_table("findings")
    row = {
        "finding_id": digest_of("assumptions switched", n),
        "stage": "assumptions switched", "kind": "note", "table": "sensitivity",
        "key": "n_machines", "source_row": 0,
        "message": (
            "the assumptions behind the lives were switched on "
            f"{count(MOST_MACHINES, 'machine')} drawn of {count(n, 'machine')}: intervals in this "
            "table, as assumed too, are those of their lives"
        ),
        "mend": "nothing to do; the intervals of the run stand on all machines",
    }  # fmt: skip
    return as_table("findings", pd.DataFrame([row]))


def _of_some(tables: Tables, settings: Settings) -> Tables:
    """Tables of `MOST_MACHINES` machines, with laws and intervals of their own."""
    every = np.sort(tables["units"]["unit_id"].astype("object").unique())
    seed = seed_of(settings.report.seed, "assumptions switched")
    some = set(np.random.default_rng(seed).choice(every, MOST_MACHINES, replace=False))
    names = ("maintenance_events", "service_lines", "units", "unit_spans")
    few = {}
    for name in names:
        unit = tables[name]["unit_id"]
        few[name] = tables[name][unit.isin(some) | unit.isna()].reset_index(drop=True)
    events, lines, units, spans = (few[n] for n in names)
    few["failure_events"] = build_lives(events, lines, units, spans, settings)["failure_events"]
    laws = fit_models(few["failure_events"], few["unit_spans"], settings, with_curves=False)
    decided = recommend_intervals(
        laws["life_draws"], laws["life_models"], few["failure_events"], few["service_lines"],
        few["maintenance_events"], few["unit_spans"], settings, tables.get("shelf"),
    )  # fmt: skip
    few |= {"life_models": laws["life_models"], "intervals": decided["intervals"]}
    return tables | few


def _switched(common: tuple[Tables, Settings], number: int) -> pd.DataFrame | None:
    """Cells under an assumption switched; None where that changes no life."""
    (tables, settings), assumption = common, ASSUMPTIONS[number]
    changed = assumption.switch(settings, tables)
    if changed is None:
        return None
    other, t = changed
    lives = build_lives(
        t["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], other
    )["failure_events"]
    if assumption.drop is not None:
        lives = lives[~assumption.drop(lives, tables)]
    if _same(lives, tables["failure_events"]) and other.coding == settings.coding:
        return None
    laws = fit_models(lives, t["unit_spans"], other, with_curves=False)
    try:
        decided = recommend_intervals(
            laws["life_draws"], laws["life_models"], lives, t["service_lines"],
            t["maintenance_events"], t["unit_spans"], other, t.get("shelf"),
        )  # fmt: skip
    except DecisionError:  # a cell without any usable law under the switch: no interval to compare
        return _cells(laws["life_models"], tables["intervals"].iloc[:0])
    return _cells(laws["life_models"], decided["intervals"])


def _same(lives: pd.DataFrame, before: pd.DataFrame) -> bool:
    """Whether the fits would stand on the same lives."""
    columns = ["unit_id", "component", "life_number", "spell", "entry_days", "exit_days",
               "entry_hours", "exit_hours", "event", "weight", "is_comeback"]  # fmt: skip
    one, two = (f[columns].astype("object").reset_index(drop=True) for f in (lives, before))
    return one.equals(two)


def _cells(life_models: pd.DataFrame, intervals: pd.DataFrame) -> pd.DataFrame:
    """Renewal task, its interval, failures and characteristic life of each cell."""
    laws = life_models[[*_CELL, "scale_days", "n_failed"]].astype(dict.fromkeys(_CELL, "object"))
    renewal = intervals[intervals["task"].isin(["replace", "run to failure"])]
    renewal = renewal[[*_CELL, "task", "interval_days"]].astype(
        dict.fromkeys([*_CELL, "task"], "object")
    )
    # "replace" sorts before "run to failure": one renewal task a cell
    renewal = renewal.sort_values([*_CELL, "task"], kind="stable").drop_duplicates(_CELL)
    return laws.merge(renewal, on=_CELL, how="left")


def _lives_setting(key: str, value: str) -> Callable[[Settings, Tables], Switched | None]:
    def switch(settings: Settings, tables: Tables) -> Switched | None:
        if getattr(settings.lives, key) == value:
            return None
        chosen = settings.lives.model_copy(update={key: value})
        return settings.model_copy(update={"lives": chosen}), tables

    return switch


def _events(
    change: Callable[[pd.DataFrame], pd.DataFrame | None],
) -> Callable[[Settings, Tables], Switched | None]:
    def switch(settings: Settings, tables: Tables) -> Switched | None:
        events = change(tables["maintenance_events"])
        return None if events is None else (settings, tables | {"maintenance_events": events})

    return switch


def _with_comebacks(settings: Settings, tables: Tables) -> Switched | None:
    events = tables["maintenance_events"]
    if not events["is_comeback"].any():
        return None
    coding = settings.coding.model_copy(update={"comeback_days": 0})
    plain = events.assign(is_comeback=False)
    changed = tables | {"maintenance_events": plain}
    return settings.model_copy(update={"coding": coding}), changed


def _shared_in_full(events: pd.DataFrame) -> pd.DataFrame | None:
    shared = (events["reason"] == "failure") & (events["confidence"] < 1)
    return (
        events.assign(confidence=events["confidence"].mask(shared, 1.0)) if shared.any() else None
    )


def _shared_not_at_all(events: pd.DataFrame) -> pd.DataFrame | None:
    shared = (events["reason"] == "failure") & (events["confidence"] < 1)
    if not shared.any():
        return None
    reason = events["reason"].astype("object").mask(shared, "opportunistic")
    return as_table("maintenance_events", events.assign(reason=reason))


def _found_as_failed(events: pd.DataFrame) -> pd.DataFrame | None:
    return events.assign(found_at_service=False) if events["found_at_service"].any() else None


def _not_renewed(settings: Settings, tables: Tables) -> Switched | None:
    """Repair and cleaning of what failed leave the part's age unknown, not new."""
    events = tables["maintenance_events"]
    mended = events["activity"].isin(["repair", "clean"]) & (events["reason"] == "failure")
    known = components_of(settings)
    renewing = {n for n, c in known.items() if c.clean_renews}
    cleaned = (events["activity"] == "clean") & (events["reason"] != "failure")
    cleaned &= events["component"].isin(renewing)
    if not (mended.any() or cleaned.any()):
        return None
    activity = events["activity"].astype("object").mask(mended, "inspect")
    kept = as_table("maintenance_events", events.assign(activity=activity)[~cleaned])
    return settings, tables | {"maintenance_events": kept}


def _all_by_days(settings: Settings, tables: Tables) -> Switched | None:
    if not (tables["life_models"]["clock"] == "hours").any():
        return None
    clocks = dict(settings.coding.components)
    for name in tables["life_models"]["component"].astype("object").unique():
        own = clocks.get(name, CodedComponent())
        clocks[name] = own.model_copy(update={"clock": "days"})
    coding = settings.coding.model_copy(update={"components": clocks})
    return settings.model_copy(update={"coding": coding}), tables


def _as_it_is(settings: Settings, tables: Tables) -> Switched | None:
    habits = counter_habits(tables["maintenance_events"], tables["service_lines"])
    return None if habits.empty else (settings, tables)


def _of_habit(lives: pd.DataFrame, tables: Tables) -> pd.Series:
    habits = counter_habits(tables["maintenance_events"], tables["service_lines"])
    pairs = set(habits[["customer", "component"]].itertuples(index=False, name=None))
    own = lives[["customer", "component"]].astype("object").itertuples(index=False, name=None)
    return pd.Series(np.array([pair in pairs for pair in own], dtype=bool), index=lives.index)


ASSUMPTIONS = (
    Assumption(
        "a machine not seen for a while is there or gone by the gaps between visits",
        "every machine is there to the last day", _lives_setting("still_there", "always"),
    ),
    Assumption(
        "a machine not seen for a while is there or gone by the gaps between visits",
        "every machine is watched to its last visit only",
        _lives_setting("still_there", "last visit"),
    ),
    Assumption(
        "first parts are the machine's own where it was young then",
        "no first part's age is known but of machines new in the record",
        _lives_setting("first_part", "unknown"),
    ),
    Assumption(
        "first parts are the machine's own where it was young then",
        "every first part is as old as its machine", _lives_setting("first_part", "original"),
    ),
    Assumption(
        "a failure soon after work on the same part is a comeback, and no life",
        "it is a failure like any other", _with_comebacks,
    ),
    Assumption(
        "parts changed together for one failure share it",
        "each of them failed", _events(_shared_in_full),
    ),
    Assumption(
        "parts changed together for one failure share it",
        "none of them failed", _events(_shared_not_at_all),
    ),
    Assumption(
        "a failure found at a service happened since the part was last good",
        "it happened on that day", _events(_found_as_failed),
    ),
    Assumption(
        "a part repaired or cleaned after a failure is as new",
        "its age is not known any more", _not_renewed,
    ),
    Assumption(
        "what wears by hours is counted in hours", "all lives are counted in days", _all_by_days
    ),
    Assumption(
        "parts sold over the counter went into other machines",
        "customers who buy that part so are left out of its lives", _as_it_is, _of_habit,
    ),
)  # fmt: skip
