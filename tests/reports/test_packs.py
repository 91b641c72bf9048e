"""A customer's pack: that customer's machines alone, in a folder that stays in its place."""

import base64
import io
import json
import os
import re
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from leaks import leaked, texts_in
from made_packs import OTHERS, planted, write_run

from dutylife import reports
from dutylife.errors import SettingsError
from dutylife.reports.packs.behind import OWN, POOLED, WITHHELD, customers_behind
from dutylife.reports.packs.chosen import check_chosen, chosen_customers, without_machines
from dutylife.reports.packs.folders import folder_names
from dutylife.run_folder import write_tables
from dutylife.schema import as_table
from dutylife.settings import settings_from

HOSTILE = [
    "../x", "..", ".", "", "CON", "con.txt", "NUL ", "COM¹", "a/b", "a\\b", "a:b", "/etc/passwd",
    "C:\\Windows", "~root", "name\0null", "line\nbreak", "tab\tname", "ends.", "ends ", " starts",
    "Straße", "STRASSE", "strasse", "Kerb Store", "kerb store", "KERB  STORE", "é", "e\u0301",
    "ﬁrm", "firm", "שלום", "\u202eright", "🛠", "🛠🛠", "x" * 400, "x" * 401, "ü" * 300,
    "customer", "a-b", "a--b", "Kerb Store--12345678", "%2e%2e%2f", "<b>bold</b>", "$(rm)", "-rf",
]  # fmt: skip


def folded(name: str) -> str:
    import unicodedata

    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())


def test_folder_names_stay_in_their_place_and_never_meet(tmp_path: Path):
    names = folder_names(HOSTILE)
    assert set(names) == set(HOSTILE)
    assert len({folded(n) for n in names.values()}) == len(HOSTILE)
    root = tmp_path / "customers"
    for place in names.values():
        path = root / place
        assert path.resolve().parent == root.resolve()
        assert not re.search(r'[<>:"/\\|?*\x00-\x1f]', place)
        assert place == place.strip(" .")
        assert len(os.fsencode(place)) < 255
        stem = place.split(".")[0].strip().casefold()
        assert stem not in {"con", "prn", "aux", "nul", "com1", "com¹", "lpt9"}
        path.mkdir(parents=True)
    assert len(list(root.iterdir())) == len(HOSTILE)


def test_a_plain_name_is_its_own_folder_whatever_the_order():
    assert folder_names(["Kerb Store", "Setts & Co."])["Kerb Store"] == "Kerb Store"
    assert folder_names(HOSTILE) == folder_names(reversed(HOSTILE))


def lives(rows: list[tuple[str, str, str]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["component", "duty", "customer"])
    return frame.assign(exit_days=10.0, exit_hours=5.0)


def models(rows: list[tuple[str, str, float]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["component", "duty", "own_data_share"])


def test_a_pooled_figure_needs_three_customers_behind_it():
    two = [("belt", "wet", "A"), ("belt", "wet", "B")]
    three = [*two, ("belt", "wet", "C")]
    share = models([("belt", "wet", 0.9)])
    assert customers_behind(lives(two), share).source(("belt", "wet"), "A") == WITHHELD
    assert customers_behind(lives(three), share).source(("belt", "wet"), "A") == POOLED
    # nobody's own machines are needed: what stands behind is what counts
    assert customers_behind(lives(three), share).source(("belt", "wet"), "D") == POOLED
    assert customers_behind(lives(two[:1]), share).source(("belt", "wet"), "A") == OWN
    assert customers_behind(lives(two[:1]), share).source(("belt", "wet"), "B") == WITHHELD
    assert customers_behind(lives(three), share).source(("hose", "wet"), "A") == WITHHELD


def test_what_duties_lend_counts_the_customers_that_lend_it():
    rows = [("belt", "wet", "A"), ("belt", "dry", "B"), ("belt", "dry", "C")]
    lent, own = models([("belt", "wet", 0.2)]), models([("belt", "wet", 0.8)])
    assert customers_behind(lives(rows), lent).source(("belt", "wet"), "A") == POOLED
    assert customers_behind(lives(rows), own).source(("belt", "wet"), "A") == OWN
    # mostly A's, and B's alone lend the rest: B could be told from it
    few = customers_behind(lives(rows[:2]), own)
    assert few.source(("belt", "wet"), "A") == WITHHELD
    one_other = lives([*rows, ("belt", "wet", "D")])
    assert customers_behind(one_other, own).source(("belt", "wet"), "A") == WITHHELD


def test_which_customers_get_a_pack():
    tasks = pd.DataFrame({"customer": ["B", "A", "", None, "B"]})
    assert chosen_customers(tasks, "") == ["A", "B"]
    assert chosen_customers(tasks, "B") == ["B"]
    assert chosen_customers(tasks, ["B", "A"]) == ["A", "B"]
    given = settings_from({"report": {"customer": ["A", "Gone"]}})
    told = without_machines(tasks, given)
    assert told["key"].tolist() == ["Gone"]
    spans = pd.DataFrame({"customer": ["Kerb Store", "Quay Crew"]})
    check_chosen(settings_from({"report": {"customer": "Quay Crew"}}), spans)
    with pytest.raises(SettingsError, match=r"'Kerb Stor' \(nearest: 'Kerb Store'\)"):
        check_chosen(settings_from({"report": {"customer": ["Kerb Stor"]}}), spans)


@pytest.fixture(scope="module")
def packs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("packs") / "run"
    settings = {"customers": {n: {"lost_day_cost": 111.0 + i} for i, n in enumerate(OTHERS)}}
    return reports.write_customer_packs(write_run(folder, settings))


def files(pack: Path) -> list[Path]:
    return sorted(p for p in pack.rglob("*") if p.is_file())


def test_each_customer_has_page_calendar_and_cards(packs: dict[str, Path]):
    assert set(packs) == set(OTHERS)
    for pack in packs.values():
        assert [p.name for p in files(pack)] == [
            "maintenance-calendar.ics", "maintenance.html", "wall-cards.html",
        ]  # fmt: skip
        assert pack.parent.name == "customers"


@pytest.mark.parametrize("customer", OTHERS)
def test_nothing_of_another_customer_is_in_any_byte(packs: dict[str, Path], customer: str):
    others = {n: units for n, units in OTHERS.items() if n != customer}
    words = [*others, *(u for units in others.values() for u in units)]
    words += [f"T{u}" for units in others.values() for u in units]
    for path in files(packs[customer]):
        assert leaked(path, words) == [], path.name
        own = [*OTHERS[customer]]
        assert leaked(path, own) == own, path.name
    # the true name stands on the page, escaped
    assert any(customer in t for t in texts_in(packs[customer] / "maintenance.html"))
    assert "<b>&</b> Søn" not in (packs[customer] / "maintenance.html").read_text("utf-8")


def test_a_leak_in_any_wrapping_would_be_seen(tmp_path: Path):
    name = "Zz Plughkontor & Søn"
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/sharedStrings.xml", "<t>Zz Plughkontor &amp; Søn</t>")
    from PIL import Image, PngImagePlugin

    note = PngImagePlugin.PngInfo()
    note.add_itxt("Author", name, zip=True)
    drawn = io.BytesIO()
    Image.new("L", (1, 1)).save(drawn, "png", pnginfo=note)
    svg = f"<svg><metadata>{name}</metadata></svg>"
    wrapped = {
        "plain": name.encode(),
        "entities": b"Zz Plughkontor &amp; S&#248;n",
        "folded": "SUMMARY:Zz Plughk\r\n ontor & Søn".encode(),
        "zip": zipped.getvalue(),
        "png": drawn.getvalue(),
        "png in page": b'<img src="data:image/png;base64,' + base64.b64encode(drawn.getvalue()),
        "svg in page": b'<img src="data:image/svg+xml;base64,' + base64.b64encode(svg.encode()),
        "link": b'<a href="Zz%20Plughkontor%20%26%20S%C3%B8n">',
        "over tags": "Zz Plughkontor <b>&amp;</b> Søn".encode(),
    }  # fmt: skip
    for how, data in wrapped.items():
        path = tmp_path / "file"
        path.write_bytes(data)
        assert leaked(path, [name]) == [name], how


def test_the_money_is_the_customers_never_the_shops(packs: dict[str, Path]):
    for customer, pack in packs.items():
        for path in files(pack):
            told = " ".join(texts_in(path)).replace("\u202f", " ")
            assert "4 321" not in told, (customer, path.name)
            assert "4321" not in told, (customer, path.name)
        page = " ".join(texts_in(pack / "maintenance.html"))
        price = 111 + list(OTHERS).index(customer)
        assert f"A lost day is taken to cost you {price} EUR." in page


def test_two_customers_in_a_duty_see_starting_values_and_are_told_why(packs: dict[str, Path]):
    """ "wet" has four customers behind it, "far" two."""
    for customer, pack in packs.items():
        page = texts_in(pack / "maintenance.html")[0]
        cards = texts_in(pack / "wall-cards.html")[0]
        shown = list(OTHERS).index(customer) < 4
        assert ("123\u00a0h" in page) is shown
        assert ("123\u00a0h" in cards) is shown
        assert ("a closer figure is of fewer than three customers" in page) is not shown
        assert ("you pay" in page.split("Keep, or retire")[0].split("All visits")[0]) is shown
        if not shown:
            # components.toml: air filter, 200 h or yearly
            assert "replace at 200\u00a0h or 12 months" in page


def test_a_machine_that_came_from_another_customer_brings_no_past_along(packs: dict[str, Path]):
    page = texts_in(packs["../../Grault\\Yard"] / "maintenance.html")[0]
    told = page.split("Keep, or retire")[1].split("<h2>")[0]
    row = r'<th scope="row" data-label="machine">(GG-\d+).*?</th>(.*?)</tr>'
    rows = dict(re.findall(row, told, re.DOTALL))
    assert "7 654" not in rows["GG-9"].replace("\u202f", " ")
    assert "7 654" in rows["GG-10"].replace("\u202f", " ")


def test_only_the_customers_asked_for_get_one_and_old_packs_go(tmp_path: Path):
    folder = write_run(tmp_path / "run", {})
    assert len(reports.write_customer_packs(folder)) == len(OTHERS)
    info = json.loads((folder / "run.json").read_text("utf-8"))
    info["settings"] = {"report": {"customer": "Xyzzy Straße"}}
    (folder / "run.json").write_text(json.dumps(info), "utf-8")
    assert list(reports.write_customer_packs(folder)) == ["Xyzzy Straße"]
    assert len(list((folder / "customers").iterdir())) == 1


def test_what_the_shop_pays_is_not_in_the_customers_price_of_a_visit(tmp_path: Path):
    costs = planted()["costs"].astype({"payer": "object"})
    costs.loc[costs["component"] == "spark plug", ["payer", "planned_cost"]] = ["shop", 150.0]
    folder = write_run(tmp_path / "run", {}, costs=as_table("costs", costs))
    visits = planted()["visit_plan"].assign(cost=240.0)  # 50 + 150, and a visit of 40
    write_tables({"visit_plan": visits}, folder / "tables")
    packs = reports.write_customer_packs(folder)
    page = texts_in(packs["Xyzzy Straße"] / "maintenance.html")[0]
    told = page.split("All visits")[1]
    assert "60 EUR" in told  # 50, and a quarter of the visit
    assert "240" not in told


@pytest.mark.slow
def test_a_pack_calendar_keeps_its_names_and_calls_off_what_moved_away(tmp_path: Path):
    from icalendar import Calendar

    def entries(pack: Path) -> dict[str, tuple[str, str]]:
        read = Calendar.from_ical((pack / "maintenance-calendar.ics").read_bytes())
        return {
            str(e["x-dutylife-machine"]): (str(e["uid"]), str(e["status"]))
            for e in read.walk("VEVENT")
        }

    name = "../../Grault\\Yard"
    first = entries(reports.write_customer_packs(write_run(tmp_path / "old", {}))[name])
    visits, tasks = (planted()[n].astype({"customer": "object"}) for n in
                     ("visit_plan", "machine_tasks"))  # fmt: skip
    for table in (visits, tasks):
        table.loc[table["unit_id"] == "GG-9", "customer"] = "Xyzzy Straße"
    folder = write_run(tmp_path / "new", {}, visit_plan=visits, machine_tasks=tasks)
    packs = reports.write_customer_packs(folder, [tmp_path / "old"])
    again = entries(packs[name])
    assert again["GG-10"] == first["GG-10"]
    assert again["GG-9"] == (first["GG-9"][0], "CANCELLED")
    assert entries(packs["Xyzzy Straße"])["GG-9"][1] == "CONFIRMED"
    assert leaked(packs["Xyzzy Straße"] / "maintenance-calendar.ics", [name]) == []
