import re

import pytest

from dutylife.errors import ExportError
from dutylife.intake import account

HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each\n"
ROW = "1,2024-01-05,WC-1,Kerb,IC-1,plug cap,1,9.50\n"


def reasons(read) -> dict[int, tuple[str, bool]]:
    aside = read.tables["set_aside"]
    return {r.source_row: (str(r.reason), bool(r.needs_person)) for r in aside.itertuples()}


def test_every_row_is_used_or_set_aside_with_a_reason(intake):
    read = intake(
        HEADER
        + ROW
        + "2,2024-13-05,WC-1,Kerb,IC-1,cap,1,9\n"
        + "3,,WC-1,Kerb,IC-1,cap,1,9\n"
        + "4,2024-02-05,WC-1,Kerb,IC-1,cap,one,9\n"
        + "5,2024-02-05,WC-1,Kerb,IC-1,cap,1,nine\n"
        + "\n"
        + "6,2024-02-05,WC-1,Kerb,IC-1,cap,1,9,x\n"
        + HEADER
        + "Total,,,,,,,9999\n"
        + "7,2024-09-05,WC-1,Kerb,IC-1,cap,1,9\n",
        fleet={"as_of": "2024-06-30"},
    )
    assert reasons(read) == {
        3: ("date can't be read", True),
        4: ("no date", True),
        5: ("quantity can't be read", True),
        6: ("price can't be read", True),
        7: ("blank row", False),
        8: ("row has more cells than the header", True),
        9: ("header repeated", False),
        10: ("totals row", False),
        11: ("after the as-of date", False),
    }
    table = account(read)
    assert table[["n_rows", "n_used", "n_set_aside"]].to_numpy().tolist() == [[10, 1, 9]]


def test_a_lost_row_is_a_fault_of_the_program(intake):
    from dataclasses import replace

    from dutylife.errors import RunError

    read = intake(HEADER + ROW)
    files = tuple(replace(f, n_rows=f.n_rows + 1) for f in read.files)
    with pytest.raises(RunError, match="do not add up"):
        account(replace(read, files=files))


def test_like_rows_of_one_file_are_two_lines_of_two_files_one(intake):
    twice = HEADER + ROW + ROW
    other = twice.replace("2024-01-05", "05/01/2024") + ROW.replace("2024-01-05", "05/01/2024")
    columns = {
        "ticket": "Job", "service_date": "Date", "unit_id": "Unit", "customer": "Cust",
        "part_number": "PN", "description": "Text", "quantity": "Qty", "unit_price": "Each",
    }  # fmt: skip
    read = intake(
        twice,
        files={"other.csv": other},
        exports=[{"path": "other.csv", "date_order": "dmy", "columns": columns}],
    )
    lines = read.tables["service_lines"]
    # the larger count holds: two in one file, three in the other
    assert len(lines) == 3
    assert lines["source_file"].astype(str).value_counts().to_dict() == {
        "lines.csv": 2, "other.csv": 1,
    }  # fmt: skip
    assert set(reasons(read).values()) == {("read already from another file", False)}


def test_monthly_files_are_read_by_pattern(intake):
    read = intake(
        HEADER + ROW,
        export={"path": "20*.csv"},
        files={"2024-02.csv": HEADER + ROW.replace("01-05", "02-05"), "2024-01.csv": HEADER + ROW},
    )
    assert [f.name for f in read.files] == ["2024-01.csv", "2024-02.csv"]
    assert read.as_of.isoformat() == "2024-02-05"


def test_all_dates_unreadable_shows_which_order_reads_them(intake):
    text = HEADER + "".join(ROW.replace("2024-01-05", f"{d}/01/2024") for d in (14, 15, 16))
    with pytest.raises(ExportError) as caught:
        intake(text, export={"date_order": "ymd"})
    message = str(caught.value)
    assert "'14/01/2024', '15/01/2024', '16/01/2024'" in message
    assert '"dmy" (3 of 3)' in message
    assert "mdy" not in message
    assert "date_order" in message


def test_a_wrong_order_that_reads_some_dates_is_asked_about(intake):
    text = HEADER + "".join(ROW.replace("2024-01-05", f"{d:02d}/01/2024") for d in range(1, 29))
    read = intake(text, export={"date_order": "mdy"})
    asks = read.tables["findings"].query("kind == 'ask'")
    assert asks["message"].str.contains('"dmy" would read 28').any()


def test_a_year_typed_wrong_does_not_become_the_as_of_date(intake):
    rows = "".join(ROW.replace("1,2024", f"{n},2024") for n in range(300))
    read = intake(HEADER + rows + ROW.replace("2024", "2042"))
    assert read.as_of.isoformat() == "2024-01-05"
    assert reasons(read) == {302: ("date far after all others", True)}


def test_an_unreadable_meter_leaves_its_row_and_one_finding(intake):
    columns = {"service_date": "Date", "unit_id": "Unit", "meter_hours": "Qty"}
    bad = ROW.replace(",1,9.50", ",x,9.50")
    read = intake(HEADER + bad + bad + ROW, export={"columns": columns})
    assert len(read.tables["service_lines"]) == 3
    told = read.tables["findings"].query("key == 'meter_hours'")
    assert len(told) == 1
    assert re.search(r"2 of 3 cells .*rows 2, 3", told["message"].iloc[0])


@pytest.mark.parametrize("word", ["", "nil", "n/a", "-", "????", "null", "none", "NONE"])
def test_words_for_nothing_are_blank(intake, word):
    read = intake(HEADER + f"1,2024-01-05,WC-1,{word},IC-1,plug cap,{word},9\n")
    line = read.tables["service_lines"].iloc[0]
    assert line[["customer", "quantity"]].isna().all()


@pytest.mark.parametrize(
    ("cells", "kind"),
    [
        ("IC-1,plug cap,1,9", "part"),
        ("IC-1,plug cap,-1,9", "credit"),
        ("IC-1,plug cap,1,-9", "credit"),
        (",labour,0.5,48", "labour"),
        (",shop supplies,1,3", "fee"),
        ("FREIGHT,to site,1,3", "fee"),
        (",core charge,1,20", "core"),
        (",customer rang,,", "note"),
        (",plug cap,2,", "part"),
        (",stripped carburetor,,60", "labour"),
    ],
)
def test_the_kind_of_a_line_is_inferred(intake, cells, kind):
    read = intake(HEADER + f"1,2024-01-05,WC-1,K,{cells}\n")
    assert read.tables["service_lines"]["line_kind"].astype(str).tolist() == [kind]


def test_a_mapped_kind_with_the_shops_own_words(intake):
    columns = {"service_date": "Date", "unit_id": "Unit", "line_kind": "Job", "quantity": "Qty"}
    read = intake(
        HEADER + "X,2024-01-05,A,K,,a,1,1\nLabor,2024-01-05,A,K,,b,1,1\nzz,2024-01-05,A,K,,c,1,1\n",
        export={"columns": columns, "values": {"line_kind": {"x": "core"}}},
    )
    lines = read.tables["service_lines"].sort_values("source_row")
    assert lines["line_kind"].astype(str).tolist() == ["core", "labour", "part"]
    assert read.tables["findings"]["message"].str.contains("'zz'").any()


def test_a_ticket_that_names_its_machine_once_names_it_for_all_lines(intake):
    read = intake(HEADER + ROW + "1,,,,SP-1,plug,1,4\n")
    lines = read.tables["service_lines"]
    assert lines["unit_id"].astype(str).tolist() == ["WC-1", "WC-1"]
    assert lines["service_date"].nunique() == 1


def test_order_of_rows_changes_nothing(intake):
    rows = [ROW.replace("1,2024-01", f"{n},2024-{1 + n % 9:02d}") for n in range(30)]
    one = intake(HEADER + "".join(rows)).tables
    two = intake(HEADER + "".join(reversed(rows))).tables
    both = [t["service_lines"].drop(columns="source_row") for t in (one, two)]
    assert both[0].equals(both[1])
    assert one["unit_spans"].equals(two["unit_spans"])
