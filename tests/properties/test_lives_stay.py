"""What must not matter to lives and laws: units of time, names, files, machines without events."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dutylife.intake import read_exports
from dutylife.lives import build_lives
from dutylife.models import fit_law, fit_models
from dutylife.models.cells import lives_on, usable_lives
from dutylife.provenance import digest_of
from dutylife.schema import as_table
from dutylife.settings import Settings, settings_from

DAY_ZERO = pd.Timestamp("2021-01-01")
AS_OF = "2023-12-31"
COMPONENTS = ("ignition cap", "air filter")
DUTIES = ("kerb", "park")


@dataclass(frozen=True)
class Record:
    """Tables of a small fleet."""

    lines: pd.DataFrame
    events: pd.DataFrame
    units: pd.DataFrame
    spans: pd.DataFrame

    def lives(self, settings: Settings) -> pd.DataFrame:
        found = build_lives(self.events, self.lines, self.units, self.spans, settings)
        return found["failure_events"]


def settings_of(**lives: Any) -> Settings:
    return settings_from({"fleet": {"as_of": AS_OF}, "lives": lives})


@st.composite
def records(draw: st.DrawFn) -> Record:
    """Six to twelve machines over three years, some of which are never heard of again."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    lines, events, units, spans = [], [], [], []
    for number in range(draw(st.integers(6, 12))):
        unit = f"P{number}"
        began = DAY_ZERO + pd.Timedelta(int(rng.integers(-400, 300)), "D")
        rate = float(rng.uniform(0.5, 6.0))
        days = np.sort(rng.choice(1000, size=int(rng.integers(2, 12)), replace=False))
        days = days[days > (began - DAY_ZERO).days]
        units.append({"unit_id": unit, "equipment_class": "pump", "in_service_on": began})
        spans.append({"unit_id": unit, "from_date": began, "duty": DUTIES[number % 2],
                      "customer": f"C{number % 3}"})  # fmt: skip
        for visit, day in enumerate(days):
            on = DAY_ZERO + pd.Timedelta(int(day), "D")
            name = f"{unit}-{visit}"
            lines.append(
                {"line_id": name, "source_file": "lines.csv", "source_row": len(lines) + 2,
                 "ticket": name, "unit_id": unit, "service_date": on, "line_kind": "labour",
                 "meter_hours": round(rate * (on - began).days, 1)}
            )  # fmt: skip
            if rng.random() < 0.7:
                events.append(
                    {"unit_id": unit, "component": COMPONENTS[int(rng.random() < 0.4)],
                     "event_date": on, "activity": "replace", "confidence": 1.0, "ticket": name,
                     "reason": "failure" if rng.random() < 0.7 else "preventive",
                     "line_ids": name}
                )  # fmt: skip
    return Record(
        as_table("service_lines", pd.DataFrame(lines)),
        as_table("maintenance_events", pd.DataFrame(events)),
        as_table("units", pd.DataFrame(units)), as_table("unit_spans", pd.DataFrame(spans)),
    )  # fmt: skip


def renamed(frame: pd.DataFrame, name: str, new: dict[str, str]) -> pd.DataFrame:
    unit_id = frame["unit_id"].astype("object").map(new)
    return as_table(name, frame.assign(unit_id=unit_id))


@pytest.mark.slow
@given(records())
def test_renaming_machines_changes_nothing(record: Record) -> None:
    settings = settings_of()
    new = {u: digest_of("other name", u) for u in record.units["unit_id"].astype(str)}
    other = Record(
        renamed(record.lines, "service_lines", new),
        renamed(record.events, "maintenance_events", new),
        renamed(record.units, "units", new), renamed(record.spans, "unit_spans", new),
    )  # fmt: skip
    before, after = record.lives(settings), other.lives(settings)
    back = {n: u for u, n in new.items()}
    again = renamed(after, "failure_events", back)
    key = ["unit_id", "component", "position", "life_number", "spell"]
    one, two = (
        f.astype({c: "object" for c in key}).sort_values(key, ignore_index=True).astype("object")
        for f in (before, again)
    )
    pd.testing.assert_frame_equal(one, two)
    laws = [fit_models(f, record.spans, settings)["life_models"] for f in (before, again)]
    pd.testing.assert_frame_equal(*laws)


@given(records())
def test_hours_given_as_minutes_change_scales_only(record: Record) -> None:
    lives = usable_lives(record.lives(settings_of()), 30)
    in_hours = lives_on(lives[lives["component"] == COMPONENTS[0]], "hours")
    if len(np.unique(in_hours.exit[in_hours.event])) < 3:
        return
    laws = [
        fit_law("weibull", factor * in_hours.exit, in_hours.event, entry=factor * in_hours.entry,
                weights=in_hours.weight)
        for factor in (1.0, 60.0)
    ]  # fmt: skip
    assert np.isclose(laws[0].shape, laws[1].shape, rtol=1e-8)
    assert np.isclose(60.0 * laws[0].scale, laws[1].scale, rtol=1e-8)


@pytest.mark.slow
@given(records(), st.sampled_from(COMPONENTS), st.floats(0.8, 3.5))
def test_a_machine_without_events_never_lowers_the_scale(
    record: Record, component: str, shape: float
) -> None:
    # who is still there is estimated from all machines together, so that is held
    settings = settings_of(still_there="last visit")
    more = {"unit_id": "quiet", "equipment_class": "pump",
            "in_service_on": DAY_ZERO + pd.Timedelta(10, "D")}  # fmt: skip
    span = {"unit_id": "quiet", "from_date": more["in_service_on"], "duty": "kerb"}
    wider = Record(
        record.lines, record.events,
        as_table("units", pd.concat([record.units, pd.DataFrame([more])])),
        as_table("unit_spans", pd.concat([record.spans, pd.DataFrame([span])])),
    )  # fmt: skip
    scales = []
    for each in (record, wider):
        lives = usable_lives(each.lives(settings), 30)
        cell = lives_on(lives[(lives["component"] == component) & (lives["duty"] == "kerb")],
                        "days")  # fmt: skip
        if not cell.failures:
            return
        law = fit_law("weibull", cell.exit, cell.event, entry=cell.entry, weights=cell.weight,
                      shape=shape)  # fmt: skip
        scales.append(law.scale)
    assert scales[1] >= scales[0] * (1 - 1e-9)


@pytest.mark.slow
@given(records(), st.integers(0, 2**32 - 1))
def test_one_export_or_two_give_the_same_lives(
    tmp_path_factory: Any, record: Record, seed: int
) -> None:
    rows = record.lines[["ticket", "service_date", "unit_id", "meter_hours"]].astype("object")
    rows = rows.assign(work="serviced", service_date=record.lines["service_date"].dt.date)
    first = np.random.default_rng(seed).random(len(rows)) < 0.5
    tables = []
    for parts in ([rows], [rows[first], rows[~first]]):
        folder = tmp_path_factory.mktemp("export")
        for i, part in enumerate(parts):
            part.to_csv(folder / f"lines-{i}.csv", index=False)
        columns = {"ticket": "ticket", "service_date": "service_date", "unit_id": "unit_id",
                   "meter_hours": "meter_hours", "work_done": "work"}  # fmt: skip
        settings = settings_from(
            {"fleet": {"as_of": AS_OF}, "duty": {"all": "kerb"},
             "exports": [{"path": f"lines-{i}.csv", "date_order": "ymd", "decimal": ".",
                          "columns": columns} for i, p in enumerate(parts) if len(p)]},
            folder=folder,
        )  # fmt: skip
        read = read_exports(settings).tables
        found = build_lives(
            record.events.assign(line_ids=""), read["service_lines"], record.units, record.spans,
            settings,
        )  # fmt: skip
        tables.append(found["failure_events"])
    pd.testing.assert_frame_equal(*tables)
