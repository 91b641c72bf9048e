"""Machines under other names, in the text, several on a ticket; rosters."""

import pandas as pd
import pytest

from dutylife.intake import account
from dutylife.intake.history.names_in_text import NameFinder

HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each,work_done\n"
MACHINES = "unit_id,customer\nWC-01,Acme\nWC-02,Acme\nTP-07,Bo\n"
LISTED = {"path": "machines.csv", "kind": "machines"}


def line(unit="", job="J1", text="plug cap", work="", cust="Acme", number="IC-1", day="2024-03-01"):
    return f"{job},{day},{unit},{cust},{number},{text},1,9.00,{work}\n"


def read_with(intake, lines, aliases="", machines=MACHINES):
    files = {"machines.csv": machines}
    exports = [LISTED]
    if aliases:
        files["aliases.csv"] = "alias,unit_id,confirmed\n" + aliases
        exports.append({"path": "aliases.csv", "kind": "aliases"})
    return intake(HEADER + lines, files=files, exports=exports)


def machines_of(read):
    lines = read.tables["service_lines"].sort_values("source_row")
    return lines["unit_id"].astype("object").fillna("").tolist()


def said(read, key):
    found = read.tables["findings"]
    return " ".join(found.loc[found["key"] == key, "message"])


def proposals(read):
    table = read.tables["aliases"]
    table = table[table["confirmed"].isna()]
    return {(r.alias, r.unit_id): r.detail for r in table.itertuples()}


@pytest.mark.parametrize(
    ("name", "machine", "why"),
    [
        ("WC01", "WC-01", "same letters"), ("wc 1", "WC-01", "same letters and figures"),
        ("WC-O1", "WC-01", "signs that look alike"), ("TP-07 blue pump", "TP-07", "holds"),
        ("the red one", "TP-07", "only machine of its customer"),
    ],
)  # fmt: skip
def test_near_names_are_proposed_and_never_merged(intake, name, machine, why):
    read = read_with(intake, line(name, cust="Bo") + line("WC-02", "J2"))
    assert machines_of(read) == [name, "WC-02"]
    found = proposals(read)
    assert list(found) == [(name, machine)]
    assert why in found[name, machine]
    assert f"'{name}' for {machine}" in said(read, "proposed")
    assert read.tables["findings"].query("key == 'proposed'")["kind"].tolist() == ["note"]


@pytest.mark.parametrize("name", ["WC-03", "WC-11", "XX-01", "the red one", "WC-10"])
def test_names_that_may_be_machines_of_their_own_are_not_proposed(intake, name):
    assert proposals(read_with(intake, line(name) + line("WC-02", "J2"))) == {}


def test_two_figures_swapped_in_a_serial_of_one_customer(intake):
    machines = "unit_id,customer\nSN4711082,Acme\nSN5511033,Bo\n"
    swapped = line("SN4711028", cust="Acme") + line("SN5511303", "J2", cust="Acme")
    read = read_with(intake, swapped, machines=machines)
    assert list(proposals(read)) == [("SN4711028", "SN4711082")]


def test_without_a_list_a_rare_name_is_near_a_frequent_one(intake):
    often = "".join(line("PUMP-4", f"J{n}", day=f"2024-03-{n:02d}") for n in range(1, 6))
    read = intake(HEADER + often + line("PMUP-4", "J9") + line("PUMP-5", "J10"))
    assert list(proposals(read)) == [("PMUP-4", "PUMP-4")]


def test_confirmed_aliases_are_applied_refused_ones_not_proposed_again(intake):
    aliases = "the red one,tp-07,yes\nWC-O1,WC-01,no\nold blue,WC-02,\n"
    lines = line("The Red One", cust="Bo") + line("WC-O1", "J2") + line("old blue", "J3")
    read = read_with(intake, lines, aliases)
    assert machines_of(read) == ["TP-07", "WC-O1", "old blue"]
    assert "TP-07" in set(read.tables["units"]["unit_id"])
    assert "The Red One" not in set(read.tables["units"]["unit_id"])
    assert proposals(read) == {("old blue", "WC-02"): "said by the shop"}
    table = read.tables["aliases"].set_index("alias")
    assert table["n_lines"].to_dict() == {"the red one": 1, "WC-O1": 1, "old blue": 1}
    assert "1 line under 1 confirmed alias" in said(read, "confirmed")


def test_the_proposed_table_is_read_back_as_it_is(intake):
    read = read_with(intake, line("WC01") + line("WC-02", "J2"))
    table = read.tables["aliases"].assign(confirmed="yes")
    rows = table[["alias", "unit_id", "confirmed"]].to_csv(index=False, header=False)
    again = read_with(intake, line("WC01") + line("WC-02", "J2"), rows)
    assert machines_of(again) == ["WC-01", "WC-02"]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("x1,WC-01,perhaps", "confirmed is neither yes nor no"), (",WC-01,yes", "no alias"),
        ("x1,,yes", "no machine id"), ("red,WC-02,yes", "alias confirmed already for another"),
    ],
)  # fmt: skip
def test_aliases_that_cant_be_used_are_set_aside(intake, row, reason):
    read = read_with(intake, line("WC-01"), f"red,WC-01,yes\n{row}\n")
    aside = read.tables["set_aside"]
    assert [reason in r for r in aside["reason"]] == [True]
    assert account(read)["n_set_aside"].tolist() == [0, 0, 1]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("replaced cap on WC-01", "WC-01"), ("wc1: new cap", "WC-01"), ("WC 001 new cap", "WC-01"),
        ("unit 4711 no spark", "4711"), ("Maschine 4711 kein Funke", "4711"), ("4711 hrs", ""),
        ("new cap 4711", ""), ("WC-012 new cap", ""), ("AWC-01", ""),
        ("cap for wc-01 and tp-07", ""),
        ("TP-07.", "TP-07"), ("#4711 cap", "4711"), ("unit 4711,5", ""), ("WC-01A", ""),
    ],
)  # fmt: skip
def test_the_one_machine_a_text_names_is_taken(intake, text, found):
    machines = MACHINES + "4711,Acme\n"
    read = read_with(intake, line(work=f'"{text}"', cust=""), machines=machines)
    assert machines_of(read) == [found]


def test_a_name_the_text_may_mean_twice_names_nobody():
    assert NameFinder(["WC-07", "WC7"], {}).machines("wc 7") == ()
    assert NameFinder(["pump"], {}).machines("pump cap") == ()
    assert NameFinder([], {"the green one": "WC-07"}).machines("The Green One: cap") == ("WC-07",)


def test_all_lines_of_the_ticket_take_the_machine_its_text_names(intake):
    lines = line(work="WC-02 no spark") + line(number="", text="labour") + line("", "J2")
    read = read_with(intake, lines)
    assert machines_of(read) == ["WC-02", "WC-02", ""]
    assert "2 lines without a machine took the one their texts name" in said(
        read, "unit_id in the text"
    )


def test_the_customer_tells_which_of_two_named_machines_is_meant(intake):
    both = "WC-01 like TP-07"
    read = read_with(intake, line(work=both, cust="Bo") + line("", "J2", work=both, cust=""))
    assert machines_of(read) == ["TP-07", ""]
    assert "(rows 3)" in said(read, "several machines in the text")


def test_a_number_of_another_customers_machine_is_no_name(intake):
    machines = MACHINES + "47110,Bo\n"
    read = read_with(intake, line(work="job 47110", cust="Acme"), machines=machines)
    assert machines_of(read) == [""]


@pytest.mark.parametrize("cell", ["WC-01/WC-02", "WC-01 & WC-02", "WC-01/02", "WC-01 und WC-02"])
def test_lines_of_several_machines_go_to_the_one_they_name(intake, cell):
    lines = line(cell, text="plug cap WC-02") + line(cell, text="spark plug", number="SP-1")
    read = read_with(intake, lines)
    assert machines_of(read) == ["WC-02", ""]
    kinds = read.tables["service_lines"]["line_kind"].tolist()
    assert kinds == ["part", "part"], "both count for demand"
    assert cell not in set(read.tables["units"]["unit_id"])
    assert "1 name theirs in their text, 1 count for demand" in said(read, "several machines")


def test_a_part_line_that_names_another_machine_is_that_machines(intake):
    lines = line("WC-01") + line("WC-01", text="plug cap for WC-02", number="IC-2")
    read = read_with(intake, lines)
    assert machines_of(read) == ["WC-01", "WC-02"]
    assert "(rows 3)" in said(read, "unit_id in the line")


ROSTER = "unit_id,customer,left_on,in_service_on\nWC-01,Acme,,2022-01-01\nWC-02,Acme,2024-04-01,\n"


def test_a_roster_tells_of_machines_that_never_failed_and_of_those_that_left(intake):
    lines = line("WC-01") + line("TP-07", "J2", cust="Bo", day="2024-05-01")
    read = intake(
        HEADER + lines,
        files={"roster.csv": ROSTER + "WC-05,Acme,,\n"},
        exports=[{"path": "roster.csv", "kind": "roster"}],
    )
    units = read.tables["units"].astype({"unit_id": "object"}).set_index("unit_id")
    assert sorted(units.index) == ["TP-07", "WC-01", "WC-02", "WC-05"]
    assert units.loc["WC-05", ["first_seen", "last_seen"]].isna().all()
    assert units["prob_in_service"].fillna(-1).to_dict() == {
        "WC-01": 1, "WC-02": -1, "WC-05": 1, "TP-07": -1,
    }  # fmt: skip
    spans = read.tables["unit_spans"].astype({"unit_id": "object"}).set_index("unit_id")
    assert spans.loc["WC-02", "to_date"] == pd.Timestamp("2024-04-01")
    assert spans.loc["WC-05", "to_date"] == pd.Timestamp("2024-05-01")
    assert "The roster lists 3 machines: 2 never came in" in said(read, "roster")
    assert "1 machine in the exports are not on the roster (TP-07)" in said(
        read, "not on the roster"
    )
