"""Packs of a practice fleet whose customers have hostile names, through the whole chain."""

import csv
import json
from pathlib import Path

import pytest
from leaks import leaked, tokens_in

from dutylife import reports
from dutylife.pipeline import run_stages
from dutylife.practice import make_practice
from dutylife.run_folder import write_info, write_tables

NAMES = {
    "Kerb Store": "../../Zanzibarkontor",
    "Stone Cutting Yard": "<script>Quuxwerk</script>",
    "Setts and Slabs Crew": "=Fnordhof+cmd|' /C calc'!A0",
    "Harbour Maintenance": 'Grault & Søn, "Süd"; \\n',
    "Quay Pump Crew": "Xyzzy Straße",
    "Ferry Slip Crew": "XYZZY STRASSE",
    "Verge Crew East": "שלום Waldo",
    "Verge Crew West": "C:\\Garply\\NUL",
    "Parks Section": "🛠 Plughdienst",
    "Hall Hire Desk": "Corge/Depot/..",
    "Indoor Events Store": "%2e%2e%2fThudhandel",
}


def renamed(settings: Path) -> None:
    """Put the hostile names into the export and its settings."""
    folder = settings.parent
    for name in ("lines.csv", "machines.csv"):
        path = folder / name
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        rows = [[NAMES.get(cell, cell) for cell in row] for row in rows]
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
    text = settings.read_text(encoding="utf-8")
    for old, new in NAMES.items():
        text = text.replace(json.dumps(old), json.dumps(new, ensure_ascii=False))
    settings.write_text(text, encoding="utf-8")


@pytest.mark.slow
def test_nothing_of_another_customer_is_in_any_byte(tmp_path: Path):
    paths = make_practice(tmp_path / "fleet", n_units=60, n_years=2.5, seed=11)
    renamed(paths["settings"])
    settings, tables = run_stages(paths["settings"])
    folder = tmp_path / "run"
    write_tables(tables, folder / "tables")
    info = {
        "fleet": settings.fleet.model_dump(include={"name", "currency", "meter_unit"}),
        "as_of": str(settings.fleet.as_of), "confidence_level": 0.9, "horizon_months": 6,
        "plan_in_force": "as seen",
        "settings": settings.model_dump(mode="json", exclude_unset=True, by_alias=True),
    }  # fmt: skip
    write_info(info, folder)
    packs = reports.write_customer_packs(folder)
    lines = tables["service_lines"].astype({"customer": "object", "unit_id": "object"})
    here = set(tables["machine_tasks"]["customer"].astype(object).dropna())
    assert set(packs) == here
    assert len(here) >= 8
    assert here <= set(NAMES.values())
    root = (folder / "customers").resolve()
    assert {p.resolve().parent for p in packs.values()} == {root}
    assert not (tmp_path / "Zanzibarkontor").exists()
    for customer, pack in packs.items():
        others = lines[lines["customer"] != customer]
        own = lines[lines["customer"] == customer]
        ids = set(others["unit_id"].dropna()) | set(others["ticket"].dropna())
        ids -= set(own["unit_id"]) | set(own["ticket"])
        for path in sorted(p for p in pack.rglob("*") if p.is_file()):
            assert tokens_in(path) & ids == set(), path
            assert leaked(path, sorted(set(NAMES.values()) - {customer})) == [], path
            assert leaked(path, [customer]) == [customer], path
