"""What moved since last month: each changed recommendation with its causes, which add up."""

import math
from typing import Any

import pandas as pd

from dutylife.history.path import Here, Step, new_failures, told_settings
from dutylife.schema import as_table
from dutylife.vocabulary.kinds import WORDS
from dutylife.wording import count, number

Tables = dict[str, pd.DataFrame]
Key = tuple[str, str, str, str]  # recommendation, component, duty, task; or ..., part, "", ""
CAUSES = WORDS["cause"]
_SAME = 1e-9  # of a value: kept and computed figures of the same month differ by less
_RENEWAL = ("replace", "run to failure")


def moved_table(
    steps: list[Step], then: Here, now: Here, made: Tables, changes: pd.DataFrame
) -> pd.DataFrame:
    """Every recommendation that changed, a row for each of its causes.

    Parameters
    ----------
    steps : list of Step
        As `steps_between` gives them.
    then, now : Here
        Last month's inputs and today's.
    made : dict of DataFrame
        Today's tables.
    changes : DataFrame, table "record_changes"

    Returns
    -------
    DataFrame, table "moved"
        Intervals on the clock their part's life is counted by, "run to failure" as no interval;
        order-up-to levels and orders in pieces. ``cause_before`` of the first cause is last
        month's value, ``cause_after`` of the last one today's, and each begins where the one
        before ended; where both are figures, ``cause_change`` is their difference, and the
        differences add up to the whole.
    """
    ways = [_values(step) for step in steps]
    units = _units(steps)
    told = _Evidence(then, now, made, changes)
    rows: list[dict[str, Any]] = []
    for key in sorted({k for way in ways for k in way}):
        values = [_value(way.get(key), units.get(key, "")) for way in ways]
        if _alike(values[0], values[-1]):
            continue
        for step, before, after in zip(steps[1:], values[:-1], values[1:], strict=True):
            if _alike(before, after):
                continue
            rows.append(
                _about(key)
                | {
                    "cause": step.cause, "cause_order": CAUSES.index(step.cause) + 1,
                    "moved_unit": _unit(key, units),
                    "value_before": values[0], "value_after": values[-1],
                    "cause_before": before, "cause_after": after,
                    "cause_change": None if before is None or after is None else after - before,
                    "cause_evidence": told.of(step.cause, key),
                }
            )  # fmt: skip
    return as_table("moved", pd.DataFrame(rows))


def _values(step: Step) -> dict[Key, dict[str, float | None]]:
    """Value of each recommendation by its unit; None where there is none."""
    out: dict[Key, dict[str, float | None]] = {}
    for row in _rows(step.intervals, ("component", "duty", "task")):
        task = "replace" if row["task"] in _RENEWAL else row["task"]
        key = ("interval", row["component"], row["duty"], task)
        own = {
            "meter units": _figure(row["interval_hours"]), "days": _figure(row["interval_days"]),
        }  # fmt: skip
        if key not in out or row["task"] == "replace":
            out[key] = own
    for row in _rows(step.stock_plan, ("part_number",)):
        for name, column in (("order-up-to level", "order_up_to"), ("order now", "order_now")):
            out[name, row["part_number"], "", ""] = {"pieces": _figure(row[column])}
    return out


def _units(steps: list[Step]) -> dict[Key, str]:
    """Unit each interval is told in: that of today's clock, of last month's where it ended."""
    out: dict[Key, str] = {}
    for step in (steps[0], steps[-1]):
        for row in _rows(step.intervals, ("component", "duty", "task", "clock")):
            task = "replace" if row["task"] in _RENEWAL else row["task"]
            unit = "meter units" if row["clock"] == "hours" else "days"
            if _figure(row["interval_hours"]) is None:
                unit = "days"
            if _figure(row[f"interval_{'hours' if unit == 'meter units' else 'days'}"]) is None:
                out.setdefault(("interval", row["component"], row["duty"], task), unit)
                continue
            out["interval", row["component"], row["duty"], task] = unit
    return out


def _unit(key: Key, units: dict[Key, str]) -> str:
    return units[key] if key[0] == "interval" else "pieces"


def _value(values: dict[str, float | None] | None, unit: str) -> float | None:
    if values is None:
        return None
    return values.get(unit or "pieces")


def _about(key: Key) -> dict[str, Any]:
    if key[0] == "interval":
        _, component, duty, task = key
        subject = f"{component}, {duty}: {task}"
        return {"recommendation": key[0], "subject": subject, "component": component,
                "duty": duty, "task": task}  # fmt: skip
    return {"recommendation": key[0], "subject": key[1], "part_number": key[1]}


def _alike(one: float | None, two: float | None) -> bool:
    if one is None or two is None:
        return one is two
    return math.isclose(one, two, rel_tol=_SAME, abs_tol=_SAME)


def _figure(value: Any) -> float | None:
    return None if value is None or pd.isna(value) else float(value)


def _rows(frame: pd.DataFrame, words: tuple[str, ...]) -> list[dict[str, Any]]:
    plain = frame.astype(dict.fromkeys(words, "object"))
    return [{str(k): v for k, v in row.items()} for row in plain.to_dict("records")]


class _Evidence:
    """What each cause is for a recommendation, in words."""

    def __init__(self, then: Here, now: Here, made: Tables, changes: pd.DataFrame) -> None:
        self.settings = _unlike_keys(told_settings(then.settings), told_settings(now.settings))
        self.days = (now.as_of - then.as_of).days
        self.meter = now.settings.fleet.meter_unit
        lives = made["failure_events"].astype({"component": "object", "duty": "object"})
        self.failed = _failed_since(lives, then.as_of)
        self.run = _run_since(lives, then.as_of, now.as_of)
        events = now.tables["maintenance_events"].astype({"component": "object"})
        self.n_failures = events.loc[new_failures(events, then.as_of), "component"].value_counts()
        plan = made["stock_plan"].astype({"part_number": "object", "component": "object"})
        self.component = dict(zip(plan["part_number"], plan["component"], strict=True))
        self.used = _used_since(now.tables["service_lines"], then.as_of)
        self.shelf = _shelf_changes(then.tables["shelf"], now.tables["shelf"])
        rows = changes.astype({"table": "object", "change": "object"})
        self.edited = rows.drop_duplicates(["table", "change", "row_key"])["change"].value_counts()

    def of(self, cause: str, key: Key) -> str:
        """Evidence of a cause."""
        is_part = key[0] != "interval"
        component = self.component.get(key[1]) if is_part else key[1]
        if cause == "program":
            return "last month's inputs, by this version of the program"
        if cause == "settings":
            return "changed: " + (", ".join(self.settings) or "the file of the plan in force")
        if cause == "past rows":
            return ", ".join(f"{n} {c}" for c, n in self.edited.items()) or (
                "shares of failures that several parts may have caused"
            )
        if cause == "new exposure":
            return self._exposure(component, "" if is_part else key[2])
        if cause == "new failures":
            return self._failures(component, "" if is_part else key[2])
        if cause == "past forecasts":
            return "how past forecasts did weighs lives against the part's own series"
        if cause == "calendar":
            return f"machines and their parts are {count(self.days, 'day')} older or renewed since"
        if cause == "parts used":
            return f"{number(self.used.get(key[1], 0.0))} asked for since"
        return self.shelf.get(key[1], "") if is_part else "prices or limits of the parts list"

    def _exposure(self, component: Any, duty: str) -> str:
        own = {d: v for (c, d), v in self.run.items() if c == component and duty in ("", d)}
        hours, days = (sum(v[i] for v in own.values()) for i in (0, 1))
        if not own:
            return "hours and days of other parts and machines"
        served = f"{number(days)} days of service more"
        return f"{number(hours)} {self.meter} in {served}" if hours > 0 else served

    def _failures(self, component: Any, duty: str) -> str:
        here = sum(n for (c, d), n in self.failed.items() if c == component and duty in ("", d))
        everywhere = int(self.n_failures.get(component, 0))
        if not duty:
            return count(everywhere, "failure") + " since"
        elsewhere = sum(n for (c, d), n in self.failed.items() if c == component and d != duty)
        told = f"{count(here, 'failure')} here"
        return told + (f", {elsewhere} in other duties, which lend to it" if elsewhere else "")


def _failed_since(lives: pd.DataFrame, since: pd.Timestamp) -> dict[tuple[str, str], int]:
    rows = lives[(lives["ended_on"] > since) & (lives["event"] == "failed")]
    counts = rows.groupby(["component", "duty"], observed=True).size().rename("n").reset_index()
    return {(str(r["component"]), str(r["duty"])): int(r["n"]) for r in counts.to_dict("records")}


def _run_since(
    lives: pd.DataFrame, since: pd.Timestamp, until: pd.Timestamp
) -> dict[tuple[str, str], tuple[float, float]]:
    """Meter units and days lived since by component and duty, lives of known age."""
    watched = (lives["exit_days"] - lives["entry_days"]).astype(float)
    known = lives[(watched > 0) & (lives["ended_on"] > since)]
    watched = watched[known.index]
    share = (
        (known["ended_on"].where(known["ended_on"] <= until, until) - since).dt.days / watched
    ).clip(0.0, 1.0)
    hours = ((known["exit_hours"] - known["entry_hours"]) * share).fillna(0.0)
    table = known.assign(hours=hours, days=watched * share)
    sums = table.groupby(["component", "duty"], observed=True)[["hours", "days"]].sum()
    return {
        (str(r["component"]), str(r["duty"])): (float(r["hours"]), float(r["days"]))
        for r in sums.reset_index().to_dict("records")
    }


def _used_since(lines: pd.DataFrame, since: pd.Timestamp) -> dict[str, float]:
    rows = lines.astype({"part_number": "object", "line_kind": "object"})
    rows = rows[(rows["service_date"] > since) & rows["line_kind"].isin(["part", "credit"])]
    pieces = rows["quantity"].fillna(1.0).groupby(rows["part_number"]).sum()
    return {str(part): float(n) for part, n in pieces.items()}


def _shelf_changes(then: pd.DataFrame, now: pd.DataFrame) -> dict[str, str]:
    """Cells of the parts list that changed, by part."""
    told = {
        "on_hand": "on hand", "on_order": "on order", "counted": "counted",
        "unit_cost": "unit cost", "lead_time_days": "lead time", "pack_size": "pack",
    }  # fmt: skip
    before, after = (f.astype({"part_number": "object"}).set_index("part_number")[list(told)]
                     for f in (then, now))  # fmt: skip
    out = {}
    for part in after.index:
        if part not in before.index:
            out[str(part)] = "new in the parts list"
            continue
        old, new = before.loc[part], after.loc[part]
        out[str(part)] = ", ".join(
            f"{word} {_said(old[c])} then, {_said(new[c])} now"
            for c, word in told.items()
            if not _alike(_figure(old[c]), _figure(new[c]))
        )
    return out | {str(p): "gone from the parts list" for p in before.index.difference(after.index)}


def _said(value: Any) -> str:
    figure = _figure(value)
    return "not known" if figure is None else number(figure)


def _unlike_keys(then: Any, now: Any, at: str = "") -> list[str]:
    if all(isinstance(value, dict) or value is None for value in (then, now)) and then != now:
        one, two = then or {}, now or {}
        return [
            key
            for name in sorted(one.keys() | two.keys())
            for key in _unlike_keys(one.get(name), two.get(name), f"{at}.{name}" if at else name)
        ]
    return [] if then == now else [at]
