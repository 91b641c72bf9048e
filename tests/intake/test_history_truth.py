"""A practice export rewritten the ways shops write gives the coded events of the plain one."""

import pandas as pd
import pytest

from dutylife import coding
from dutylife.intake import read_exports
from dutylife.practice import make_practice
from dutylife.settings import read_settings

KEYS = ["unit_id", "component", "event_date", "activity", "reason", "finding", "part_number"]


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plain")
    paths = make_practice(folder, n_units=25, n_years=2, seed=9, difficulties={"returns": 1.0})
    return paths["settings"], pd.read_csv(folder / "lines.csv", dtype=str, keep_default_na=False)


def coded(settings_path, lines, **files):
    folder = settings_path.parent
    lines.to_csv(folder / "lines.csv", index=False)
    text = settings_path.read_text(encoding="utf-8")
    for name, rows in files.items():
        (folder / f"{name}.csv").write_text(rows, encoding="utf-8")
        text += f'\n[[exports]]\npath = "{name}.csv"\nkind = "{name}"\n'
    own = folder / "own.toml"
    own.write_text(text, encoding="utf-8")
    settings = read_settings(own)
    read = read_exports(settings)
    filled = settings.fleet.model_copy(update={"as_of": read.as_of})
    tables = coding.code_lines(
        read.tables["service_lines"], read.tables["units"], read.tables["shelf"],
        settings.model_copy(update={"fleet": filled}),
    )  # fmt: skip
    return read, tables["maintenance_events"][KEYS].astype(str)


@pytest.fixture(scope="module")
def true_events(plain):
    read, events = coded(*plain)
    assert len(events) > 150
    return read, events


def test_machines_named_in_the_text_alone(plain, true_events):
    path, lines = plain
    named = lines["Machine"] != ""
    work = ("unit " + lines["Machine"] + ": " + lines["Work"]).where(named, lines["Work"])
    read, events = coded(path, lines.assign(Work=work, Machine=""))
    # a machine the text names is the same machine, whatever customer it worked for then
    pd.testing.assert_frame_equal(events, true_events[1])
    assert not read.tables["set_aside"]["needs_person"].any()


def test_meters_typed_into_the_text_alone(plain, true_events):
    path, lines = plain
    typed = lines["Meter"] != ""
    work = (lines["Work"] + ". @ " + lines["Meter"] + " hrs").where(typed, lines["Work"])
    read, _ = coded(path, lines.assign(Work=work, Meter=""))
    columns = ["ticket", "unit_id", "meter_hours"]

    def meters(tables):
        rows = tables["service_lines"][columns].dropna().astype({"unit_id": str})
        return rows.drop_duplicates().sort_values(columns, ignore_index=True)

    assert len(meters(read.tables)) > 100
    pd.testing.assert_frame_equal(meters(read.tables), meters(true_events[0].tables))


def test_parts_sold_as_packs_and_under_old_numbers(plain, true_events):
    path, lines = plain
    numbers = sorted(set(lines["Part no"]) - {""})
    packed, old = numbers[0], numbers[1]
    is_packed = (lines["Part no"] == packed) & (lines["Qty"] == "1")
    rewritten = lines.assign(
        **{"Part no": lines["Part no"].mask(is_packed, "PACK-1").replace(old, "OLD-1")}
    )
    parts = (path.parent / "parts.csv").read_text(encoding="utf-8")
    header, *rows = parts.splitlines()
    rows = [f"{r},OLD-1" if r.startswith(f"{old},") else f"{r}," for r in rows]
    (path.parent / "parts.csv").write_text("\n".join([f"{header},replaces", *rows]) + "\n")
    kits = f"kit_number,part_number,quantity\nPACK-1,{packed},1\n"
    read, events = coded(path, rewritten, kits=kits)
    (path.parent / "parts.csv").write_text(parts, encoding="utf-8")
    used = set(read.tables["service_lines"]["part_number"].dropna())
    assert not used & {"PACK-1", "OLD-1"}
    pd.testing.assert_frame_equal(events, true_events[1])


def test_nicknames_confirmed_are_the_machine_unconfirmed_are_not(plain, true_events):
    path, lines = plain
    counts = lines.loc[lines["Machine"] != "", "Machine"].value_counts()
    machine = counts.index[0]
    half = (lines["Machine"] == machine) & (lines.index % 2 == 0)
    renamed = lines.assign(Machine=lines["Machine"].mask(half, "the old red one"))
    rows = f"alias,unit_id,confirmed\nThe Old Red One,{machine},"
    _, events = coded(path, renamed, aliases=f"{rows}yes\n")
    pd.testing.assert_frame_equal(events, true_events[1])
    read, events = coded(path, renamed, aliases=f"{rows}\n")
    assert "the old red one" in set(events["unit_id"])
    assert "The Old Red One" in set(read.tables["aliases"]["alias"])
