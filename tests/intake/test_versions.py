"""Monthly files that overlap, and a month issued again: each ticket once, in its latest version."""

from pathlib import Path
from typing import Any

import pytest

from dutylife.intake import account, read_exports
from dutylife.settings import settings_from

HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each\n"
COLUMNS = {
    "ticket": "Job", "service_date": "Date", "unit_id": "Unit", "customer": "Cust",
    "part_number": "PN", "description": "Text", "quantity": "Qty", "unit_price": "Each",
}  # fmt: skip


def line(job: int, date: str, number: str = "IC-1", each: str = "9.50") -> str:
    return f"J-{job},{date},WC-{job % 4},Kerb,{number},plug cap,1,{each}\n"


def month(number: int, first: int = 1, last: int = 28, **changed: str) -> str:
    """Two lines a day on one ticket; ``changed`` gives the second line's price of a day."""
    out = ""
    for day in range(first, last + 1):
        date = f"2024-{number:02d}-{day:02d}"
        job = number * 100 + day
        out += line(job, date) + line(job, date, "SP-7", changed.get(f"day_{day}", "4.25"))
    return out


def read(folder: Path, files: dict[str, str], exports: list[dict[str, Any]] | None = None):
    for name, text in files.items():
        (folder / name).write_text(HEADER + text, encoding="utf-8")
    given = exports or [{"path": "*.csv"}]
    settings = settings_from(
        {"exports": [{"columns": COLUMNS, **e} for e in given], "duty": {"all": "paving"}},
        folder=folder,
    )
    found = read_exports(settings)
    account(found)
    return found.tables


def prices(tables, job: int) -> dict[str, float]:
    lines = tables["service_lines"]
    mine = lines[lines["ticket"] == f"J-{job}"]
    assert not mine["part_number"].duplicated().any()
    return dict(zip(mine["part_number"].astype(str), mine["unit_price"], strict=True))


def test_overlapping_months_are_read_once(tmp_path: Path):
    march = month(3)
    april = month(3, first=25) + month(4)
    tables = read(tmp_path, {"2024-03.csv": march, "2024-04.csv": april})
    assert len(tables["service_lines"]) == 2 * 28 * 2
    assert set(tables["set_aside"]["reason"].astype(str)) == {"read already from another file"}
    assert not tables["set_aside"]["needs_person"].any()


@pytest.mark.parametrize(
    "again",
    ["2024-03_reissued.csv", "2024-03 (2).csv", "2024-03-v2.csv", "corrected_2024-03.csv",
     "2024-03b.csv"],
)  # fmt: skip
def test_a_month_issued_again_holds(tmp_path: Path, again: str):
    # April repeats the last days of March as they were first written
    files = {
        "2024-03.csv": month(3, day_5="425.00", day_27="425.00"),
        "2024-04.csv": month(3, first=25, day_27="425.00") + month(4),
        again: month(3),
    }
    tables = read(tmp_path, files)
    assert prices(tables, 305) == {"IC-1": 9.5, "SP-7": 4.25}
    assert prices(tables, 327) == {"IC-1": 9.5, "SP-7": 4.25}
    assert len(tables["service_lines"]) == 2 * 28 * 2
    aside = tables["set_aside"]
    assert (aside["reason"] == "replaced by a later export").sum() == 3
    told = tables["findings"]["message"].str.cat(sep=" ")
    assert "3 lines of 2 tickets stand otherwise in a later export" in told
    assert "J-305, J-327" in told


def test_a_line_taken_off_a_ticket_is_gone(tmp_path: Path):
    kept = month(3).replace(line(305, "2024-03-05", "SP-7", "4.25"), "")
    tables = read(tmp_path, {"2024-03.csv": month(3), "2024-03_v2.csv": kept})
    assert prices(tables, 305) == {"IC-1": 9.5}


def test_a_corrected_date_moves_its_line(tmp_path: Path):
    wrong = month(3).replace("J-305,2024-03-05", "J-305,2014-03-05")
    tables = read(tmp_path, {"2024-03.csv": wrong, "2024-03_v2.csv": month(3)})
    assert prices(tables, 305) == {"IC-1": 9.5, "SP-7": 4.25}
    assert tables["service_lines"]["service_date"].min().year == 2024


def test_each_month_holds_all_months_before(tmp_path: Path):
    first = month(1, day_3="425.00")
    tables = read(
        tmp_path,
        {"to_2024-01.csv": first, "to_2024-02.csv": month(1) + month(2),
         "to_2024-10.csv": month(1) + month(2) + month(10)},
    )  # fmt: skip
    assert prices(tables, 103) == {"IC-1": 9.5, "SP-7": 4.25}
    assert len(tables["service_lines"]) == 3 * 28 * 2


def test_a_ticket_cut_by_the_end_of_a_month_stays_whole(tmp_path: Path):
    march = month(3) + line(999, "2024-03-28")
    april = line(999, "2024-04-01", "SP-7", "4.25") + month(4)
    assert len(prices(read(tmp_path, {"2024-03.csv": march, "2024-04.csv": april}), 999)) == 2


def test_a_number_used_again_in_another_year_is_another_ticket(tmp_path: Path):
    files = {"2023.csv": line(1, "2023-01-05"), "2024.csv": line(1, "2024-01-09", "SP-7", "4.25")}
    tables = read(tmp_path, files)
    assert len(tables["service_lines"]) == 2
    assert tables["set_aside"].empty


def test_parts_and_labour_of_the_same_tickets_in_two_files(tmp_path: Path):
    parts = "".join(line(d, f"2024-03-{d:02d}") for d in range(1, 20))
    labour = "".join(line(d, f"2024-03-{d:02d}", "", "60") for d in range(1, 20))
    tables = read(
        tmp_path, {"parts_used.csv": parts, "labour.csv": labour},
        [{"path": "parts_used.csv"}, {"path": "labour.csv"}],
    )  # fmt: skip
    assert len(tables["service_lines"]) == 38
    assert tables["set_aside"].empty


def test_a_file_given_twice_changes_only_the_count_of_repeats(tmp_path: Path):
    once = read(tmp_path, {"a.csv": month(3)})
    twice = read(tmp_path, {"a.csv": month(3), "b.csv": month(3)})
    assert set(once["service_lines"]["line_id"]) == set(twice["service_lines"]["line_id"])
    assert len(twice["set_aside"]) == 56
