"""What came back makes neither an event nor demand; what did not come back stays."""

import random

import pandas as pd
import pytest

from dutylife import coding
from dutylife.intake import account, read_exports
from dutylife.practice import simulate_fleet, without_difficulties, write_practice
from dutylife.settings import read_settings

HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each\n"
SALE = "J1,2024-03-01,WC-1,Acme,IC-1,plug cap,1,9.00\n"
LABOUR = "J1,2024-03-01,WC-1,Acme,,labour,1,48.00\n"


def credit(job="J2", day="2024-03-09", unit="WC-1", cust="Acme", text="plug cap returned", qty=-1,
           price=9.0, number="IC-1"):  # fmt: skip
    return f"{job},{day},{unit},{cust},{number},{text},{qty},{price}\n"


def parts_of(read):
    lines = read.tables["service_lines"]
    return lines[lines["line_kind"] == "part"]


def reasons(read):
    aside = read.tables["set_aside"]
    return dict(zip(aside["source_row"], aside["reason"], strict=True))


def said(read, key):
    found = read.tables["findings"]
    return " ".join(found.loc[found["key"] == key, "message"])


def test_a_credit_on_another_ticket_cancels_its_sale(intake):
    read = intake(HEADER + SALE + LABOUR + credit())
    assert parts_of(read).empty
    assert read.tables["service_lines"]["line_kind"].tolist() == ["labour"]
    assert reasons(read) == {2: "part sold and returned", 4: "credit of a part returned"}
    assert account(read)[["n_rows", "n_used", "n_set_aside"]].to_numpy().tolist() == [[3, 1, 2]]
    assert not read.tables["set_aside"]["needs_person"].any()
    assert "1 of them on another ticket: 1 sales returned whole" in said(read, "returns")


@pytest.mark.parametrize(
    ("sold", "back", "left"), [("4", -1, 3.0), ("4", -4, None), ("2", -3, None), ("", -1, None)]
)
def test_pieces_that_came_back_are_taken_off(intake, sold, back, left):
    sale = f"J1,2024-03-01,WC-1,Acme,IC-1,plug cap,{sold},9.00\n"
    read = intake(HEADER + sale + LABOUR + credit(qty=back))
    assert parts_of(read)["quantity"].tolist() == ([] if left is None else [left])
    lines = read.tables["service_lines"]
    more = lines.loc[lines["line_kind"] == "credit", "quantity"].tolist()
    assert more == ([-1.0] if (sold, back) == ("2", -3) else [])
    assert account(read)["n_set_aside"].tolist() == [2 if left is None and not more else 1]


@pytest.mark.parametrize(
    ("day", "text", "nets"),
    [
        ("2024-04-30", "plug cap returned", True),  # 60 days
        ("2024-05-01", "plug cap returned", False),
        ("2024-08-01", "returned see J001 cap", True),  # its own text names the invoice
        ("2024-02-28", "plug cap returned", False),  # before it was sold
    ],
)
def test_within_sixty_days_or_by_invoice(intake, day, text, nets):
    sale, labour = (r.replace("J1,", "J001,") for r in (SALE, LABOUR))
    read = intake(HEADER + sale + labour + credit(day=day, text=text))
    assert parts_of(read).empty == nets
    assert ("J2 row 4" in said(read, "credit without sale")) == (not nets)
    assert (read.tables["service_lines"]["line_kind"] == "credit").any() == (not nets)


@pytest.mark.parametrize(
    ("unit", "cust", "nets"),
    [
        ("WC-1", "Acme", True), ("", "Acme", True), ("WC-1", "", True), ("WC-2", "Acme", True),
        ("", "Other", False), ("WC-1", "Other", False), ("", "", False),
    ],
)  # fmt: skip
def test_a_credit_of_another_customer_is_not_netted(intake, unit, cust, nets):
    read = intake(HEADER + SALE + LABOUR + credit(unit=unit, cust=cust))
    assert parts_of(read).empty == nets


def test_the_machines_own_sale_comes_before_the_customers_others(intake):
    other = SALE.replace("J1", "J3").replace("WC-1", "WC-2").replace("03-01", "03-05")
    read = intake(
        HEADER + SALE + LABOUR + other + other.replace("IC-1,plug cap", ",labour") + credit()
    )
    assert parts_of(read)["unit_id"].tolist() == ["WC-2"]


def test_two_machines_that_fit_alike_are_named_not_hidden(intake):
    other = SALE.replace("J1", "J3").replace("WC-1", "WC-2").replace("03-01", "03-05")
    labour = LABOUR.replace("J1", "J3").replace("WC-1", "WC-2")
    read = intake(HEADER + SALE + LABOUR + other + labour + credit(unit=""))
    assert parts_of(read)["unit_id"].tolist() == ["WC-1"]  # the latest sale was taken
    assert "1 credit fitted sales to several machines equally well" in said(read, "returns")
    third = credit(unit="WC-9")
    read = intake(HEADER + SALE + LABOUR + other + labour + third)
    assert len(parts_of(read)) == 2, "which of two other machines gave it back can't be told"
    assert "J2 row 6" in said(read, "credit without sale")


@pytest.mark.parametrize(
    ("text", "qty", "price"),
    [("warranty plug cap", -1, 9.0), ("discount", 1, -2.0), ("plug cap", 1, -3.0)],
)
def test_money_off_leaves_the_part_used(intake, text, qty, price):
    read = intake(HEADER + SALE + LABOUR + credit(text=text, qty=qty, price=price))
    assert len(parts_of(read)) == 1
    lines = read.tables["service_lines"]
    assert lines["line_kind"].tolist().count("fee") == 1
    assert "the part stays used" in said(read, "money off")


def test_a_credit_by_amount_is_a_return_too(intake):
    read = intake(HEADER + SALE + LABOUR + credit(text="plug cap", qty=1, price=-9.0))
    assert parts_of(read).empty


@pytest.mark.parametrize(
    ("sold", "back"),
    [
        (",plug cap", ",plug cap returned unused"), (",Zündkappe", ",Gutschrift Zündkappe"),
        (",plug cap", "IC-1,plug cap returned"), ("IC-1,plug cap", ",plug cap credit for return"),
    ],
)  # fmt: skip
def test_a_side_without_number_goes_by_its_text(intake, sold, back):
    sale = f"J1,2024-03-01,WC-1,Acme,{sold},1,9.00\n"
    back = f"J2,2024-03-05,WC-1,Acme,{back},-1,9.00\n"
    other = "J1,2024-03-01,WC-1,Acme,SP-1,spark plug,1,5.00\n"
    read = intake(HEADER + sale + other + LABOUR + back)
    assert parts_of(read)["part_number"].tolist() == ["SP-1"]


def test_two_numbers_are_two_parts_though_their_texts_are_one(intake):
    read = intake(HEADER + SALE + LABOUR + credit(number="IC-2"))
    assert len(parts_of(read)) == 1


def test_the_only_line_of_a_visit_keeps_its_words(intake):
    header = "Job,Date,Unit,Cust,PN,Text,Qty,Each,work_done,meter_hours\n"
    sale = "J1,2024-03-01,WC-1,Acme,IC-1,plug cap,1,9.00,checked and cleaned carburetor,812\n"
    back = "J2,2024-03-09,WC-1,Acme,IC-1,plug cap returned,-1,9.00,,\n"
    read = intake(header + sale + back)
    lines = read.tables["service_lines"]
    assert lines["line_kind"].tolist() == ["note"]
    assert lines["work_done"].tolist() == ["checked and cleaned carburetor"]
    assert lines["meter_hours"].tolist() == [812.0]
    assert lines[["part_number", "quantity", "unit_price"]].isna().all(axis=None)
    assert account(read)[["n_used", "n_set_aside"]].to_numpy().tolist() == [[1, 1]]


CORE = "J1,2024-03-01,WC-1,Acme,CB-1,core charge,1,20.00\n"


def test_a_core_is_no_part_and_its_credit_takes_no_part_back(intake):
    carburetor = "J1,2024-03-01,WC-1,Acme,CB-1,carburetor,1,80.00\n"
    back = "J2,2024-03-20,WC-1,Acme,CB-1,core return,-1,20.00\n"
    read = intake(HEADER + carburetor + CORE + LABOUR + back)
    assert parts_of(read)["description"].tolist() == ["carburetor"]
    assert reasons(read) == {3: "core charge and its credit", 5: "core charge and its credit"}
    assert "1 credits netted against their charges" in said(read, "core charges")


def test_a_core_not_given_back_counts_as_no_part_and_is_said(intake):
    read = intake(HEADER + CORE + LABOUR + "J5,2024-03-02,WC-3,Bo,CB-1-CORE,deposit,1,20\n")
    assert parts_of(read).empty
    assert (read.tables["service_lines"]["line_kind"] == "core").sum() == 2
    assert "2 charges not credited in the record" in said(read, "core charges")


def test_order_of_rows_changes_nothing(intake):
    rows = [SALE, LABOUR, credit(), credit(job="J7", qty=-2), CORE]
    rows += [SALE.replace("J1", f"J{n}").replace("03-01", f"03-0{n}") for n in range(3, 7)]
    rows += [LABOUR.replace("J1", f"J{n}").replace("03-01", f"03-0{n}") for n in range(3, 7)]
    columns = ["line_id", "line_kind", "quantity"]
    first = intake(HEADER + "".join(rows)).tables["service_lines"][columns]
    assert (first["line_kind"] == "part").sum() == 2
    for seed in range(3):
        random.Random(seed).shuffle(rows)
        again = intake(HEADER + "".join(rows)).tables["service_lines"][columns]
        pd.testing.assert_frame_equal(first, again)


def _coded(folder, strength):
    difficulties = without_difficulties() | {"returns": strength}
    fleet = simulate_fleet(n_units=30, n_years=2, seed=5, difficulties=difficulties)
    settings = read_settings(write_practice(folder, fleet, n_years=2)["settings"])
    read = read_exports(settings)
    filled = settings.fleet.model_copy(update={"as_of": read.as_of})
    tables = coding.code_lines(
        read.tables["service_lines"], read.tables["units"], read.tables["shelf"],
        settings.model_copy(update={"fleet": filled}),
    )  # fmt: skip
    events = tables["maintenance_events"]
    replaced = events[events["activity"] == "replace"]
    keys = replaced[["unit_id", "component", "event_date"]].astype(str)
    return read, set(map(tuple, keys.to_numpy()))


def test_a_fleet_that_returns_parts_has_the_events_of_one_that_does_not(tmp_path):
    _, without = _coded(tmp_path / "a", 0.0)
    read, with_returns = _coded(tmp_path / "b", 1.0)
    n_netted = (read.tables["set_aside"]["reason"] == "credit of a part returned").sum()
    assert n_netted > 10
    # a part sold just before the record ends may come back after it
    open_until = pd.Timestamp(read.as_of) - pd.Timedelta(days=14)
    late = {e for e in with_returns - without if pd.Timestamp(e[2]) >= open_until}
    assert with_returns - without == late
    assert without <= with_returns


def test_one_part_of_a_row_of_two_comes_back_and_the_row_is_counted_once_as_each(intake):
    wide = "Job,Date,Unit,Cust,P1,T1,Q1,P2,T2,Q2,Each\n"
    rows = [
        "J1,2024-03-01,WC-1,Acme,IC-1,plug cap,1,SP-1,spark plug,1,9.00\n",
        "J2,2024-03-05,WC-1,Acme,IC-1,plug cap returned,-1,,,,9.00\n",
        "J3,2024-03-06,WC-1,Acme,AF-1,air filter,1,AF-1,air filter,1,9.00\n",
        "J4,2024-03-07,WC-1,Acme,AF-1,air filter returned,-2,,,,9.00\n",
    ]
    slots = [{"part_number": f"P{n}", "description": f"T{n}", "quantity": f"Q{n}"} for n in (1, 2)]
    columns = {"ticket": "Job", "service_date": "Date", "unit_id": "Unit", "customer": "Cust",
               "unit_price": "Each"}  # fmt: skip
    read = intake(wide + "".join(rows), export={"columns": columns, "parts": slots})
    assert parts_of(read)["part_number"].tolist() == ["SP-1"]
    table = account(read)
    assert table["n_used"].tolist() == [1]
    assert (table["n_rows"] == table["n_used"] + table["n_set_aside"]).all()
    assert sorted(reasons(read)) == [2, 3, 4, 5]
