"""Files of readings and contracts, stock, waits for parts: read, checked, kept."""

import pandas as pd
import pytest

from dutylife import pipeline
from dutylife.errors import SettingsError
from dutylife.intake import account
from dutylife.practice import make_practice
from dutylife.settings import KINDS, Export, settings_from

HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each,work_done,received_on,ready_on,parts_wait_days\n"
LINE = "J1,2024-03-01,WC-1,Acme,IC-1,plug cap,1,9.00,,2024-02-20,2024-03-02,6\n"


def read_kind(intake, kind, text):
    return intake(HEADER + LINE, files={"x.csv": text}, exports=[{"path": "x.csv", "kind": kind}])


def test_every_kind_of_the_settings_is_read():
    assert set(Export.model_fields["kind"].annotation.__args__) == set(KINDS)


READINGS = "unit_id,component,read_on,quantity,value,unit\n"


@pytest.mark.parametrize(
    ("row", "value", "unit", "over"),
    [
        ("plug cap,2024-01-05,,9.9,kOhm", 9.9, "kOhm", False),
        ("ignition cap,2024-01-05,resistance,9880,ohm", 9.88, "kOhm", False),
        ("ignition cap,2024-01-05,,9k9,", 9.9, "kOhm", False),
        ("ignition cap,2024-01-05,,OL on 20k,", 20.0, "kOhm", True),
        ("ignition cap,2024-01-05,,OL,kOhm", None, "kOhm", True),
    ],
)
def test_readings_of_a_file_come_in_our_unit(intake, row, value, unit, over):
    table = read_kind(intake, "readings", READINGS + f"WC-1,{row}\n").tables["readings"]
    assert table["component"].tolist() == ["ignition cap"]
    assert table["value"].astype("object").where(table["value"].notna(), None).tolist() == [value]
    assert (table["unit"].tolist(), table["over_range"].tolist()) == ([unit], [over])
    assert table["read_on"].tolist() == [pd.Timestamp("2024-01-05")]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("WC-1,flux box,2024-01-05,,9.9,kOhm", "component not known"),
        ("WC-1,ignition cap,2024-13-05,,9.9,kOhm", "date can't be read"),
        ("WC-1,ignition cap,2024-01-05,,fine,kOhm", "value, unit or quantity can't be read"),
        ("WC-1,ignition cap,2024-01-05,,9.9,bar", "value, unit or quantity can't be read"),
        (",ignition cap,2024-01-05,,9.9,kOhm", "no machine id"),
    ],
)
def test_readings_that_cant_be_used_are_set_aside(intake, row, reason):
    read = read_kind(
        intake, "readings", READINGS + "WC-1,plug cap,2024-01-04,,9,kOhm\n" + row + "\n"
    )
    assert read.tables["set_aside"]["reason"].tolist() == [reason]
    assert len(read.tables["readings"]) == 1
    assert account(read)[["n_rows", "n_used", "n_set_aside"]].to_numpy().tolist() == [
        [1, 1, 0], [2, 1, 1],
    ]  # fmt: skip


def test_readings_of_a_file_stand_beside_those_of_texts(tmp_path):
    (tmp_path / "lines.csv").write_text(
        "ticket,service_date,unit_id,customer,description,quantity,unit_price,work_done\n"
        "J1,2024-03-01,WC-1,Acme,labour,1,48,ignition cap reads 14.5 kohm\n"
    )
    (tmp_path / "readings.csv").write_text(READINGS + "WC-1,ignition cap,2024-01-05,,9.9,kOhm\n")
    given = {
        "exports": [{"path": "lines.csv"}, {"path": "readings.csv", "kind": "readings"}],
        "duty": {"all": "kerb"},
    }
    checked = pipeline.check(settings_from(given, folder=tmp_path))
    assert checked.tables["readings"]["value"].tolist().count(9.9) == 1
    assert checked.tables["readings"]["value"].tolist().count(14.5) == 1


CONTRACTS = "contract,equipment_class,duty,n_machines,from_date,hours_per_week\n"


def test_contracts_are_kept_and_told(intake):
    read = read_kind(intake, "contracts", CONTRACTS + "north road,saw,kerb,12,2024-09-01,25\n")
    row = read.tables["contracts"].iloc[0]
    assert (row["contract"], row["n_machines"], row["hours_per_week"]) == ("north road", 12, 25)
    assert row["from_date"] == pd.Timestamp("2024-09-01")
    told = read.tables["findings"].query("key == 'announced'")["message"].iloc[0]
    assert "1 contract announce 12 machines" in told


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("n,saw,kerb,2.5,2024-09-01,", "number of machines is not a whole number above 0"),
        ("n,saw,kerb,0,2024-09-01,", "number of machines is not a whole number above 0"),
        ("n,,kerb,2,2024-09-01,", "no equipment_class"),
        ("n,saw,kerb,2,soon,", "date can't be read"),
        ("north road,saw,kerb,3,2024-09-01,", "contract listed already, with other data"),
    ],
)  # fmt: skip
def test_contracts_that_cant_be_used_are_set_aside(intake, row, reason):
    first = "north road,saw,kerb,12,2024-09-01,25\n"
    read = read_kind(intake, "contracts", CONTRACTS + first + row + "\n")
    assert read.tables["set_aside"]["reason"].tolist() == [reason]


def test_a_column_that_is_needed_is_named(intake):
    with pytest.raises(SettingsError, match="from_date"):
        read_kind(intake, "contracts", "contract,equipment_class,duty,n_machines\na,b,c,1\n")


def test_the_announced_contract_of_a_practice_fleet_is_read(tmp_path):
    paths = make_practice(tmp_path, n_units=30, n_years=1, seed=3,
                          difficulties={"announced_contract": 1.0})  # fmt: skip
    text = paths["settings"].read_text(encoding="utf-8")
    if 'kind = "contracts"' not in text:
        text += '\n[[exports]]\npath = "contracts.csv"\nkind = "contracts"\n'
        paths["settings"].write_text(text, encoding="utf-8")
    table = pipeline.check(paths["settings"]).tables["contracts"]
    assert table["n_machines"].tolist() == [6]


def test_stock_is_a_file_of_parts(intake):
    read = read_kind(intake, "stock", "part_number,on_hand\nIC-1,4\n")
    assert read.tables["shelf"]["on_hand"].tolist() == [4.0]


def test_days_in_the_shop_and_waits_for_parts_are_kept(intake):
    row = intake(HEADER + LINE).tables["service_lines"].iloc[0]
    assert (row["received_on"], row["ready_on"]) == (
        pd.Timestamp("2024-02-20"), pd.Timestamp("2024-03-02"),
    )  # fmt: skip
    assert row["parts_wait_days"] == 6
    late = LINE.replace("2024-02-20", "2024-03-05")
    found = intake(HEADER + late).tables["findings"]
    assert "1 line ready before it was received" in " ".join(found["message"])
