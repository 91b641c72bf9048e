"""What in the record can't be as it says: two replacements at once, an end before the begin."""

from typing import Any

import pandas as pd

from dutylife.intake.findings import finding, first_few
from dutylife.lives.elsewhere import counter_habits
from dutylife.lives.positions import number_for, stated_numbers
from dutylife.lives.watch import Watch
from dutylife.schema import filled_from
from dutylife.settings import Settings
from dutylife.wording import count

CELL = ["unit_id", "component", "position"]


def faults_of(
    maintenance_events: pd.DataFrame,
    positions: pd.DataFrame,
    service_lines: pd.DataFrame,
    units: pd.DataFrame,
    watch: Watch,
    settings: Settings,
) -> list[dict[str, Any]]:
    """Findings on the record itself, one for each kind of thing, with the rows it stands in.

    Parameters
    ----------
    maintenance_events, service_lines, units : DataFrame
        Tables of these names, nothing after the as-of date.
    positions : DataFrame
        equipment_class, component, position: where there is more than one.
    watch : Watch
        Of these machines.
    """
    where = _Rows(service_lines)
    return [
        *_twice(maintenance_events, where),
        *_more_pieces(maintenance_events, positions, watch, where, settings),
        *_before_new(watch, service_lines, where),
        *_after_leaving(units, service_lines, where),
        *_counter(maintenance_events, service_lines),
    ]


class _Rows:
    """File and row of lines, to be named in a finding."""

    def __init__(self, service_lines: pd.DataFrame) -> None:
        columns = ["line_id", "source_file", "source_row"]
        lines = service_lines[columns].astype({"source_file": "object"})
        self.lines = lines.drop_duplicates("line_id").set_index("line_id")

    def of(self, line_ids: pd.Series) -> tuple[str, str, int]:
        """The rows in words, and file and row of the first."""
        ids = [i for text in line_ids.fillna("").astype(str) for i in text.split(";") if i]
        rows = self.lines.reindex(ids).dropna()
        rows = rows.sort_values(["source_file", "source_row"], kind="stable").drop_duplicates()
        if rows.empty:
            return "", "", 0
        named = [f"{f} row {int(r)}" for f, r in rows.itertuples(index=False)]
        first = rows.iloc[0]
        return first_few(named), str(first["source_file"]), int(first["source_row"])


def _note(
    key: str, message: str, mend: str, where: tuple[str, str, int], table: str
) -> dict[str, Any]:
    text, file, row = where
    said = f"{message} ({text})." if text else f"{message}."
    return finding(
        "lives", "note", said, mend=mend, table=table, key=key, source_file=file, source_row=row
    )


def _twice(events: pd.DataFrame, where: _Rows) -> list[dict[str, Any]]:
    """Two installs on one day: nobody took the first one out again."""
    changed = events[events["activity"] == "replace"].astype({"position": "object"})
    changed = changed.assign(position=changed["position"].fillna(""))
    changed = changed[changed["unit_id"].notna() & changed["component"].notna()]
    many = changed.duplicated([*CELL, "event_date"], keep=False)
    twice = changed[many].sort_values([*CELL, "event_date"], kind="stable")
    if twice.empty:
        return []
    cases = twice.drop_duplicates([*CELL, "event_date"])
    named = first_few(
        f"{r.component} of {r.unit_id} on {r.event_date:%Y-%m-%d}" for r in cases.itertuples()
    )
    return [
        _note(
            "two installs", f"{count(len(cases), 'time')} the same part of a machine was put in "
            f"twice on one day, without being taken out between: {named}; one life is counted",
            "one of the two tickets is a double, or names the wrong machine or part",
            where.of(twice["line_ids"]), "maintenance_events",
        )
    ]  # fmt: skip


def _more_pieces(
    events: pd.DataFrame, positions: pd.DataFrame, watch: Watch, where: _Rows, settings: Settings
) -> list[dict[str, Any]]:
    """More pieces put in on a day than there are places known: they share one life."""
    day = ["unit_id", "component", "event_date"]
    words = {"unit_id": "object", "component": "object", "position": "object"}
    rows = events[events["activity"] == "replace"].dropna(subset=day)
    named = rows[rows["position"].notna() & (rows["position"] != "")].astype(words)
    sides = named.groupby(day)["position"].transform("nunique").reindex(rows.index)
    rows = rows[(rows["quantity"] >= 2) | (sides >= 2)].astype(words)
    several = set(positions[["equipment_class", "component"]].itertuples(index=False, name=None))
    stated = stated_numbers(settings)
    classes = filled_from(rows["unit_id"].map(watch.machines["equipment_class"]), "")
    of = list(zip(classes, rows["component"], strict=True))
    rows = rows[[k not in several and not number_for(stated.get(k[1]), k[0]) for k in of]]
    if rows.empty:
        return []
    rows = rows.drop_duplicates(day)
    by = rows["component"].value_counts().sort_index()
    by = by.sort_values(ascending=False, kind="stable")
    return [
        _note(
            "quantity", f"{count(len(rows), 'replacement')} put in two pieces or more of a part of "
            "which one place is known, and count as one life: "
            + first_few(f"{name} ({n})" for name, n in by.items()),
            'state how many a machine has: [lives.positions] "COMPONENT" = 2, or by class',
            where.of(rows["line_ids"].head(3)), "maintenance_events",
        )
    ]  # fmt: skip


def _before_new(watch: Watch, service_lines: pd.DataFrame, where: _Rows) -> list[dict[str, Any]]:
    """Machines seen before the day they are said to have entered service."""
    late = list(watch.late_start)
    if not late:
        return []
    rows = service_lines[service_lines["unit_id"].isin(late)]
    rows = rows.sort_values(["unit_id", "service_date"], kind="stable").drop_duplicates("unit_id")
    are = "it is" if len(late) == 1 else "they are"
    return [
        _note(
            "in_service_on", f"{count(len(late), 'machine')} came in before the day {are} said to "
            f"have entered service; that day is not used: {first_few(late)}",
            "correct in_service_on in the machines file", where.of(rows["line_id"]), "units",
        )
    ]  # fmt: skip


def _after_leaving(
    units: pd.DataFrame, service_lines: pd.DataFrame, where: _Rows
) -> list[dict[str, Any]]:
    """Machines seen after the day they are said to have left: lives would end before they began."""
    left = units.astype({"unit_id": "object"}).set_index("unit_id")["left_on"]
    on = pd.to_datetime(service_lines["unit_id"].astype("object").map(left))
    rows = service_lines[(service_lines["service_date"] > on).to_numpy(bool)]
    if rows.empty:
        return []
    rows = rows.sort_values(["unit_id", "service_date"], kind="stable").drop_duplicates("unit_id")
    names = rows["unit_id"].astype("object")
    it = "it is" if len(rows) == 1 else "they are"
    return [
        _note(
            "left_on", f"{count(len(rows), 'machine')} came in after the day {it} said to have "
            f"left, and {'is' if len(rows) == 1 else 'are'} watched to the last visit instead: "
            + first_few(names),
            "correct left_on in the machines file, or the date of the ticket",
            where.of(rows["line_id"]), "units",
        )
    ]  # fmt: skip


def _counter(events: pd.DataFrame, service_lines: pd.DataFrame) -> list[dict[str, Any]]:
    habits = counter_habits(events, service_lines)
    if habits.empty:
        return []
    habits = habits.sort_values(["n_counter", "customer"], ascending=[False, True], kind="stable")
    named = first_few(
        f"{r.customer}, {r.component} ({r.n_counter} beside {r.n_fitted} fitted here)"
        for r in habits.itertuples()
    )
    return [
        _note(
            "over the counter", f"{count(habits['customer'].nunique(), 'customer')} also "
            f"{'buys' if habits['customer'].nunique() == 1 else 'buy'} parts without a machine "
            f"named: {named}; where they fit them themselves, lives on their machines look longer "
            "than they were",
            "ask for the machine at the counter; the table of assumptions on the evidence page "
            "shows the intervals without these customers",
            ("", "", 0), "failure_events",
        )
    ]  # fmt: skip
