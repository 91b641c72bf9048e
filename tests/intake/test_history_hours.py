"""Meter readings in texts: taken where the cell is blank, never made of something else."""

import pytest

from dutylife.intake.history.hours_in_text import meter_in_text

HEADER = "Job,Date,Unit,Cust,PN,Text,Qty,Each,work_done,complaint,meter_hours\n"


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("@ 6369 hrs", 6369), ("6,369 h on the clock", 6369), ("Std 1250", 1250),
        ("hour meter 812", 812), ("cap replaced @ 6369", 6369), ("hrs: 4512, new plug", 4512),
        ("meter reads 6369 h", 6369), ("serviced at 812.5 hours", 812.5), ("@6369hrs.", 6369),
        ("clock 2210 - no start", 2210), ("Betriebsstunden: 3.450", 3450), ("hourmeter=81", 81),
        ("Ölwechsel bei 1.250 Std", 1250), ("compteur 1200 h", 1200), ("horómetro 987", 987),
        ("urenstand 2345", 2345), ("hours 1 234", 1234), ("6369 hrs; new cap", 6369),
        ("1250 Std auf der Uhr", 1250), ("unit at 3,105 hrs, cap cracked", 3105),
        ("2 hrs labour, @ 6369 hrs", 6369), ("replaced at 300 hrs", 300), ("Hours: 350", 350),
        ("CHANGE OUT MAIN PUMP @ 4792 HRS", 4792), ("HRS 6369 plug fouled", 6369),
        ("in for noise at 6369 hrs", 6369), ("clock says 6369", 6369), ("Zähler 1250 Std", 1250),
        ("next service due 6500 h. Now @ 6369 hrs", 6369),
    ],
)  # fmt: skip
def test_a_meter_in_a_text(text, hours):
    assert meter_in_text(text, "hours") == (hours,)


@pytest.mark.parametrize(
    "text",
    [
        "every 100 h", "good for 200 hrs", "2 hrs labour", "labour 2.5 hrs @ 48.00", "2 @ 19.55",
        "3 @ 120", "next service at 6500 h", "due @ 6500 hrs", "replace after 300 hrs", "cap 9.9k",
        "500 hr service", "lasted 250 hrs", "ran 200 h since new", "labour hours 2.5", "100 hrs",
        "Arbeit 2 Std", "alle 250 Std", "toutes les 100 h", "labour 1.5 h", "price @ 1250",
        "idle 3600 rpm", "meter 12.6 v", "meter reads 9.9k", "1 hr bench test at 3600 rpm",
        "compression 120 psi @ 600 rpm", "1000 h warranty", "service interval 500 hrs",
        "cada 200 horas", "4 h @ 65", "Std 2", "runs 8 hrs per day", "@ 1200 rpm", "@ 250 USD",
        "change oil at 100 hours", "replace at 300 hrs", "recommend cap at 7000 hrs",
        "qty 4 @ 1250", "invoice 6369", "hrs since overhaul 1200", "3 x 120 h", "up to 2000 h", "",
        "more than 1200 hrs", "after approx 300 h", "main d'oeuvre 2000 h", "meter 1200 rpm",
        "good for another 1200 hrs on the clock", "ran @ 6369 rpm",
    ],
)  # fmt: skip
def test_what_is_no_meter(text):
    assert meter_in_text(text, "hours") == ()


def test_other_meters_and_none_of_starts():
    assert meter_in_text("odo 102,300 miles", "miles") == (102300.0,)
    assert meter_in_text("45.000 km op de teller", "km") == (45000.0,)
    assert meter_in_text("@ 6369 hrs", "km") == ()
    assert meter_in_text("@ 6369 starts", "starts") == ()
    assert meter_in_text("@ 6369 hrs, clock 6400", "hours") == (6369.0, 6400.0)


def line(job="J1", work="", meter="", number="IC-1", unit="WC-1", said=""):
    return f"{job},2024-03-01,{unit},Acme,{number},cap,1,9.00,{work},{said},{meter}\n"


def meters(read):
    lines = read.tables["service_lines"].sort_values("source_row")
    return lines["meter_hours"].fillna(-1).tolist()


def notes(read, key):
    found = read.tables["findings"]
    return " ".join(found.loc[found["key"] == key, "message"])


def test_a_blank_meter_takes_the_one_of_the_visits_text(intake):
    rows = line(work="new cap @ 6369 hrs") + line(number="SP-1") + line("J2") + line(unit="WC-2")
    read = intake(HEADER + rows)
    assert meters(read) == [6369, 6369, -1, -1]
    assert "1 visit without a meter reading took the one that a text states (rows 2)" in notes(
        read, "meter_hours in the text"
    )


def test_the_cell_stands_against_the_text_and_the_conflict_is_said(intake):
    rows = line(work="@ 6369 hrs", meter="6269") + line("J2", "@ 812 hrs", "812.4")
    read = intake(HEADER + rows)
    assert meters(read) == [6269, 812.4]
    told = notes(read, "meter_hours against the text")
    assert "1 visit" in told
    assert "row 2: 6269 against 6369" in told


def test_a_cell_on_another_line_of_the_visit_is_the_visits(intake):
    read = intake(HEADER + line(work="@ 6369 hrs") + line(number="SP-1", meter="6369"))
    assert meters(read) == [-1, 6369]


def test_texts_that_state_two_meters_fill_nothing(intake):
    read = intake(HEADER + line(work="@ 6369 hrs", said="clock 7000"))
    assert meters(read) == [-1]
    assert "1 visit whose texts state several meter readings" in notes(
        read, "several meter readings"
    )


def test_a_line_without_machine_takes_none(intake):
    assert meters(intake(HEADER + line(work="@ 6369 hrs", unit=""))) == [-1]
