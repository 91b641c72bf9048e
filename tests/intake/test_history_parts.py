"""Kits and packs taken apart, old numbers chained, equals kept apart."""

import pytest

from dutylife.errors import TableError
from dutylife.intake import account

HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each\n"
KIT_LINE = "J1,2024-03-01,WC-1,Acme,KIT-1,service kit,2,30.00\n"
OTHER = "J1,2024-03-01,WC-1,Acme,,labour,1,48.00\n"
PARTS = "part_number,description,on_hand,unit_cost,replaces,replaced_by,alternate_of\n"
KITS = {"path": "kits.csv", "kind": "kits"}
SHELF = {"path": "parts.csv", "kind": "parts"}


def lines_of(read):
    lines = read.tables["service_lines"].astype({"part_number": "object", "description": "object"})
    return lines[lines["line_kind"].isin(["part", "credit"])].sort_values("part_number")


def said(read, key):
    found = read.tables["findings"]
    return " ".join(found.loc[found["key"] == key, "message"])


def with_kits(intake, lines, kits, parts=""):
    files = {"kits.csv": "kit_number,part_number,quantity\n" + kits}
    exports = [KITS]
    if parts:
        files["parts.csv"] = PARTS + parts
        exports.append(SHELF)
    return intake(HEADER + lines, files=files, exports=exports)


def test_a_kit_is_its_parts(intake):
    read = with_kits(intake, KIT_LINE + OTHER, "KIT-1,AF-1,1\nKIT-1,SP-1,2\n")
    lines = lines_of(read)
    assert lines["part_number"].tolist() == ["AF-1", "SP-1"]
    assert lines["quantity"].tolist() == [2.0, 4.0]
    # two kits at 30 are 60, by piece where no cost is known
    assert (lines["quantity"] * lines["unit_price"]).sum() == pytest.approx(60.0)
    assert lines["unit_price"].tolist() == pytest.approx([10.0, 10.0])
    assert lines["description"].isna().all(), "the kit's text describes none of its parts"
    assert lines["source_row"].tolist() == [2, 2]
    assert lines["line_id"].is_unique
    assert account(read)[["n_rows", "n_used"]].to_numpy().tolist() == [[2, 2], [2, 2]]
    assert read.tables["kits"]["quantity"].tolist() == [1.0, 2.0]
    assert "1 line of 1 kit or pack (KIT-1) taken apart into 2 lines" in said(read, "kit_number")


def test_the_price_of_a_kit_is_shared_by_what_its_parts_cost(intake):
    parts = "AF-1,air filter,,20,,,\nSP-1,spark plug,,5,,,\nKIT-1,service kit,3,,,,\n"
    read = with_kits(intake, KIT_LINE + OTHER, "KIT-1,AF-1,1\nKIT-1,SP-1,2\n", parts)
    lines = lines_of(read)
    assert lines["unit_price"].tolist() == pytest.approx([20.0, 5.0])
    assert lines["description"].tolist() == ["air filter", "spark plug"]
    assert "1 kit on the shelf are not counted as their parts" in said(read, "kit_number")


def test_a_pack_of_ten_is_ten_pieces(intake):
    pack = "J1,2024-03-01,WC-1,Acme,SP-1-10,plugs box,2,40.00\n"
    lines = lines_of(with_kits(intake, pack + OTHER, "sp-1-10,SP-1,10\n"))
    assert lines["part_number"].tolist() == ["SP-1"]
    assert (lines["quantity"].tolist(), lines["unit_price"].tolist()) == ([20.0], [4.0])


def test_a_kit_in_a_kit_and_a_returned_kit(intake):
    kits = "BIG-1,KIT-1,2\nBIG-1,SP-1,1\nKIT-1,AF-1,1\nKIT-1,SP-1,2\n"
    big = KIT_LINE.replace("KIT-1", "BIG-1").replace(",2,30", ",1,30")
    lines = lines_of(with_kits(intake, big + OTHER, kits))
    assert dict(zip(lines["part_number"], lines["quantity"], strict=True)) == {"AF-1": 2, "SP-1": 5}
    back = "J2,2024-03-05,WC-1,Acme,KIT-1,service kit returned,-1,30.00\n"
    lines = lines_of(with_kits(intake, KIT_LINE + OTHER + back, kits))
    assert dict(zip(lines["part_number"], lines["quantity"], strict=True)) == {"AF-1": 1, "SP-1": 2}
    one = "J2,2024-03-05,WC-1,Acme,SP-1,plug returned,-1,5.00\n"
    lines = lines_of(with_kits(intake, KIT_LINE + OTHER + one, kits))
    assert dict(zip(lines["part_number"], lines["quantity"], strict=True)) == {"AF-1": 2, "SP-1": 3}


def test_kits_that_hold_themselves_are_refused_all_at_once(intake):
    with pytest.raises(TableError, match=r"2 kits hold themselves") as caught:
        with_kits(intake, OTHER, "A-1,B-1,1\nB-1,A-1,1\nC-1,C-1,1\nKIT-1,AF-1,1\n")
    assert "A-1 > B-1 > A-1" in str(caught.value)
    assert "kits.csv" in str(caught.value)


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("KIT-1,AF-1,0", "pieces in the kit can't be read or are not above 0"),
        ("KIT-1,AF-1,some", "pieces in the kit can't be read or are not above 0"),
        (",AF-1,1", "no kit number"), ("KIT-1,,1", "no part number"),
        ("KIT-1,SP-1,3", "part listed already in this kit, with another quantity"),
    ],
)  # fmt: skip
def test_rows_of_kits_that_cant_be_used_are_set_aside(intake, row, reason):
    read = with_kits(intake, OTHER, f"KIT-1,SP-1,2\n{row}\n")
    aside = read.tables["set_aside"]
    assert aside["reason"].tolist() == [reason]
    assert aside["needs_person"].all()
    assert len(read.tables["kits"]) == 1


def with_parts(intake, lines, parts, **settings):
    return intake(HEADER + lines, files={"parts.csv": PARTS + parts}, exports=[SHELF], **settings)


def line(number, day="2024-03-01"):
    return f"J1,{day},WC-1,Acme,{number},cap,1,9.00\n"


def test_old_numbers_are_chained_to_the_one_in_use(intake):
    parts = "IC-3,plug cap,4,6,IC-2,,\nIC-2,plug cap,2,6,ic-1; IC-0,,\nXX-1,old cap,1,6,,IC-3,\n"
    rows = "".join(map(line, ("IC-0", "IC-1", "ic-2", "IC-3", "XX-1", "SP-1")))
    read = with_parts(intake, rows, parts)
    assert lines_of(read)["part_number"].tolist() == ["IC-3"] * 5 + ["SP-1"]
    shelf = read.tables["shelf"]
    assert shelf["part_number"].tolist() == ["IC-3"]
    assert shelf["on_hand"].tolist() == [7.0], "what is left of the old numbers is still there"
    assert "4 lines under 4 old part numbers" in said(read, "replaces")


def test_an_unknown_count_of_the_current_number_stays_unknown(intake):
    read = with_parts(intake, line("IC-1"), "IC-2,plug cap,,6,IC-1,,\nIC-1,plug cap,2,6,,,\n")
    assert read.tables["shelf"]["on_hand"].isna().all()
    read = with_parts(intake, line("IC-1"), "IC-1,plug cap,2,6,,IC-2,\n")
    assert read.tables["shelf"][["part_number", "on_hand"]].to_numpy().tolist() == [["IC-2", 2.0]]


def test_a_credit_under_the_new_number_finds_the_sale_under_the_old(intake):
    back = "J2,2024-03-05,WC-1,Acme,IC-2,cap returned,-1,9.00\n"
    read = with_parts(intake, line("IC-1") + OTHER + back, "IC-2,plug cap,4,6,IC-1,,\n")
    assert lines_of(read).empty


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        ("IC-1,cap,,,IC-2,,\nIC-2,cap,,,IC-1,,\n", "IC-1 > IC-2 > IC-1 goes round"),
        ("IC-1,cap,,,IC-3,,\nIC-2,cap,,,IC-3,,\n", "'IC-3' is replaced by IC-1 and by IC-2"),
    ],
)
def test_chains_that_lead_nowhere_are_refused(intake, parts, told):
    with pytest.raises(TableError, match="can't be chained") as caught:
        with_parts(intake, line("IC-1"), parts)
    assert told in str(caught.value)
    assert "parts.csv" in str(caught.value)


def test_a_number_that_replaces_itself_is_no_chain(intake):
    read = with_parts(intake, line("IC-1"), "IC-1,cap,1,,ic 1,,\n")
    assert read.tables["shelf"]["part_number"].tolist() == ["IC-1"]


def test_equals_of_other_makes_are_kept_apart_unless_the_shop_says_so(intake):
    parts = "IC-1,cap,1,6,,,\nQQ-9,cap,2,5,,,IC-1\n"
    rows = line("IC-1") + line("QQ-9")
    read = with_parts(intake, rows, parts)
    assert lines_of(read)["part_number"].tolist() == ["IC-1", "QQ-9"]
    assert "1 part said to be equal to another make's (QQ-9) are kept apart" in said(
        read, "alternate_of"
    )
    read = with_parts(intake, rows, parts, coding={"merge_alternates": True})
    assert lines_of(read)["part_number"].tolist() == ["IC-1", "IC-1"]
    assert read.tables["shelf"]["on_hand"].tolist() == [3.0]


def test_settings_that_name_an_old_number_are_asked_about(intake):
    read = with_parts(
        intake, line("IC-1"), "IC-2,cap,1,6,IC-1,,\n",
        coding={"components": {"ignition cap": {"part_numbers": ["IC-1"]}}},
        stock={"IC-1": {"lead_time_days": 3}},
    )  # fmt: skip
    asks = read.tables["findings"].query("kind == 'ask' and key == 'IC-1'")
    assert len(asks) == 2
    assert asks["mend"].str.contains("IC-2").all()
