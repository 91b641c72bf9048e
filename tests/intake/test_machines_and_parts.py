import math

import pytest

from dutylife.errors import ColumnMissingError, SettingsError, TableError

HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each\n"
ROW = "1,2024-01-05,WC-1,Kerb,IC-1,plug cap,1,9.50\n"
LATER = "2,2024-03-05,WC-1,Quay,IC-1,plug cap,1,9.50\n"
MACHINES = (
    "unit_id,equipment_class,in_service_on,left_on,customer,hours_per_week\n"
    "WC-1,trench pump,2023-05-01,,Kerb,12\n"
    "WC-2,tamper,2023-06-01,2024-02-01,Quay,\n"
)
WITH_MACHINES = [{"path": "m.csv", "kind": "machines"}]


def spans(read) -> list[tuple[str, str, str, str, str]]:
    return [
        (r.unit_id, f"{r.from_date:%Y-%m-%d}", f"{r.to_date:%Y-%m-%d}", r.customer, r.duty)
        for r in read.tables["unit_spans"].itertuples()
    ]


def test_machines_never_seen_are_kept_and_lines_tell_of_the_rest(intake):
    read = intake(
        HEADER + ROW + LATER + ROW.replace("WC-1", "WC-3"),
        files={"m.csv": MACHINES},
        exports=WITH_MACHINES,
        fleet={"as_of": "2024-06-30"},
    )
    units = read.tables["units"].set_index("unit_id")
    assert units.index.tolist() == ["WC-1", "WC-2", "WC-3"]
    assert units["usage_source"].astype("object").fillna("").tolist() == ["stated", "", ""]
    assert f"{units.at['WC-1', 'last_seen']:%Y-%m-%d}" == "2024-03-05"
    assert units.loc[["WC-2"], "first_seen"].isna().all()
    assert spans(read) == [
        ("WC-1", "2023-05-01", "2024-03-04", "Kerb", "not stated"),
        ("WC-1", "2024-03-05", "2024-06-30", "Quay", "not stated"),
        ("WC-2", "2023-06-01", "2024-02-01", "Quay", "not stated"),
        ("WC-3", "2024-01-05", "2024-06-30", "Kerb", "not stated"),
    ]


def test_a_customer_that_left_takes_its_machines_along(intake):
    read = intake(
        HEADER + ROW, fleet={"as_of": "2024-06-30"}, customers={"Kerb": {"left_on": "2024-05-01"}}
    )
    assert f"{read.tables['units']['left_on'].iloc[0]:%Y-%m-%d}" == "2024-05-01"
    assert spans(read)[0][2] == "2024-05-01"


def test_duty_by_machine_beats_customer_beats_column_beats_all(intake):
    text = HEADER + "".join(
        ROW.replace("WC-1", u).replace("Kerb", c).replace("plug cap", t)
        for u, c, t in [("A", "K1", "dry"), ("B", "K1", "dry"), ("C", "K2", "dry"), ("D", "K3", "")]
    )
    duty = {
        "column": "Text", "all": "rest", "by_unit": {"a": "own"}, "by_customer": {"k1": "yard"},
    }  # fmt: skip
    columns = {"service_date": "Date", "unit_id": "Unit", "customer": "Cust"}
    lines = intake(text, export={"columns": columns}, duty=duty).tables["service_lines"]
    by_unit = dict(zip(lines["unit_id"].astype(str), lines["duty"].astype(str), strict=True))
    assert by_unit == {"A": "own", "B": "yard", "C": "dry", "D": "rest"}


def test_duty_from_a_file_and_a_missing_duty_column(intake):
    files = {"duty.csv": "customer,duty\nKerb,stone yard\n"}
    read = intake(HEADER + ROW, files=files, duty={"path": "duty.csv"})
    assert spans(read)[0][4] == "stone yard"
    with pytest.raises(ColumnMissingError, match="Custm.*\n.*duty.column\n.*'Cust'"):
        intake(HEADER + ROW, duty={"column": "Custm"})


def test_one_machine_in_two_spellings_is_one_machine(intake):
    read = intake(HEADER + ROW + LATER.replace("WC-1", "wc-1"), files={"m.csv": MACHINES},
                  exports=WITH_MACHINES)  # fmt: skip
    assert set(read.tables["service_lines"]["unit_id"]) == {"WC-1"}


def test_negative_costs_are_refused_every_row_at_once(intake):
    parts = "part_number,unit_cost,lead_time_days\nA,4,9\nB,-4,9\nC,4,-1\n"
    with pytest.raises(TableError) as caught:
        intake(HEADER + ROW, files={"p.csv": parts}, exports=[{"path": "p.csv", "kind": "parts"}])
    assert "p.csv, row 3: unit_cost = -4, row 4: lead_time_days = -1" in str(caught.value)
    assert len(caught.value.problems) == 2


def test_an_unknown_count_is_not_zero(intake):
    parts = "part_number,on_hand,pack_size\nA,,5\nB,-2,0\nC,0,1\n,3,1\nC,0,1\nC,8,1\n"
    read = intake(
        HEADER + ROW, files={"p.csv": parts}, exports=[{"path": "p.csv", "kind": "parts"}]
    )
    shelf = read.tables["shelf"].set_index("part_number")
    assert shelf["on_hand"].isna().to_dict() == {"A": True, "B": True, "C": False}
    assert shelf.at["C", "on_hand"] == 0
    aside = read.tables["set_aside"]
    assert dict(zip(aside["source_row"], aside["needs_person"], strict=True)) == {
        5: True, 6: False, 7: True,
    }  # fmt: skip


def test_what_a_part_reads_when_new_comes_along_and_may_lie_below_zero(intake):
    parts = (
        "part_number,on_hand,nominal,low_limit,high_limit,unit\n"
        "CAP-5,3,5,,6.25,kOhm\nGAUGE,1,-2.5,-5,,kPa\nOTHER,2,,,,each\n"
    )
    read = intake(
        HEADER + ROW, files={"p.csv": parts}, exports=[{"path": "p.csv", "kind": "parts"}]
    )
    shelf = read.tables["shelf"].set_index("part_number")
    assert shelf.loc["CAP-5", ["nominal", "high_limit", "unit"]].tolist() == [5.0, 6.25, "kOhm"]
    assert shelf.loc["GAUGE", ["nominal", "low_limit"]].tolist() == [-2.5, -5.0]
    assert math.isnan(shelf.at["CAP-5", "low_limit"])
    assert shelf.loc["OTHER", ["nominal", "low_limit", "high_limit"]].isna().all()


def test_columns_of_another_kind_are_refused(intake):
    with pytest.raises(SettingsError, match="unit_cost"):
        intake(HEADER + ROW, export={"columns": {"service_date": "Date", "unit_cost": "Each"}})


def test_a_unit_that_leads_nowhere_is_refused(intake):
    columns = {"service_date": "Date", "unit_id": "Unit",
               "meter_hours": {"column": "Qty", "unit": "km"}}  # fmt: skip
    with pytest.raises(SettingsError, match="'km' can't be used for meter_hours"):
        intake(HEADER + ROW, export={"columns": columns})
