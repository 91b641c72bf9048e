import pandas as pd
import pytest


def table(coded) -> pd.DataFrame:
    return coded["maintenance_events"].set_index("component")


CAP = {"part_number": "IC-1", "description": "ignition cap"}
PLUG = {"part_number": "SP-1", "description": "spark plug"}
FUEL = {"part_number": "FF-1", "description": "fuel filter"}


def reasons(coded) -> dict[str, tuple[str, float]]:
    events = coded["maintenance_events"]
    return {e.component: (str(e.reason), round(e.confidence, 4)) for e in events.itertuples()}


def test_the_only_part_changed_on_a_repair_is_the_cause(code):
    assert reasons(code(CAP | {"complaint": "won't start"})) == {"ignition cap": ("failure", 1.0)}


def test_what_the_complaint_points_to_is_the_cause(code):
    told = {"complaint": "surging"}
    coded = code({"part_number": "CB-1", "description": "carburetor"} | told, PLUG | told)
    assert reasons(coded) == {"carburetor": ("failure", 1.0), "spark plug": ("opportunistic", 1.0)}


def test_a_failure_nobody_explains_is_shared(code):
    told = {"complaint": "won't start"}
    coded = code(CAP | told, PLUG | told, FUEL | told)
    assert set(reasons(coded).values()) == {("failure", 0.3333)}
    assert coded["findings"]["message"].str.contains("1 repair ticket").any()


def test_what_the_text_says_beats_the_complaint(code):
    told = {"complaint": "no spark", "work_done": "plug insulator cracked, renewed"}
    assert reasons(code(CAP | told, PLUG | told)) == {
        "ignition cap": ("opportunistic", 1.0), "spark plug": ("failure", 1.0),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ({"ticket_kind": "service"}, "preventive"),
        ({"complaint": "half yearly service"}, "preventive"),
        ({"work_done": "half yearly service"}, "preventive"),
        ({"complaint": "no spark", "work_done": "new cap as a precaution"}, "preventive"),
        ({"complaint": "no spark", "work_done": "new cap while in there"}, "opportunistic"),
        ({"ticket_kind": "service", "complaint": "no spark"}, "failure"),
        ({"ticket_kind": "repair"}, "failure"),
        ({}, "opportunistic"),
    ],
)
def test_reasons(code, line, reason):
    assert reasons(code(CAP | line))["ignition cap"][0] == reason


def test_default_reason_failure_holds_for_every_event_without_other_evidence(code):
    coded = code({"work_done": "cap"}, default_reason="failure")
    assert reasons(coded) == {"ignition cap": ("failure", 1.0)}
    coded = code({"work_done": "cap checked ok"}, default_reason="failure")
    assert reasons(coded)["ignition cap"][0] == "opportunistic"


@pytest.mark.parametrize(
    ("back", "n_events"),
    [({"quantity": -1.0}, 0), ({"quantity": 1.0, "unit_price": -9.5}, 0), ({"quantity": -2.0}, 0)],
)
def test_a_returned_part_replaces_nothing(code, back, n_events):
    coded = code(CAP, CAP | back | {"line_kind": "credit"})
    assert len(coded["maintenance_events"]) == n_events


def test_a_partly_returned_part_still_replaces(code):
    coded = code(CAP | {"quantity": 3.0}, CAP | {"quantity": -1.0, "line_kind": "credit"})
    assert table(coded)["quantity"].to_dict() == {"ignition cap": 2.0}
    assert table(coded)["line_ids"].to_dict() == {"ignition cap": "L0;L1"}


def test_a_part_line_that_was_only_cleaned(code):
    coded = code(PLUG | {"description": "spark plug, cleaned only"}, PLUG | {"unit_id": None})
    assert table(coded)["activity"].astype(str).to_dict() == {"spark plug": "clean"}


def test_counter_sales_are_no_events(code):
    assert code(CAP | {"unit_id": None})["maintenance_events"].empty


def test_lines_of_one_ticket_merge_and_days_without_ticket_are_jobs(code):
    work = {"work_done": "cap cracked, renewed", "ticket": ""}
    coded = code(CAP | work, {"description": "labour"} | work, CAP | work | {
        "service_date": "2024-05-01"})  # fmt: skip
    events = coded["maintenance_events"]
    assert len(events) == 2
    assert events["quantity"].tolist() == [1.0, 1.0]


def test_comebacks_and_how_to_switch_them_off(code):
    lines = [
        CAP | {"ticket": f"J{n}", "service_date": day, "complaint": "no spark"}
        for n, day in enumerate(["2024-03-01", "2024-03-31", "2024-05-15"])
    ]
    flags = code(*lines, comeback_days=30)["maintenance_events"].sort_values("event_date")
    assert flags["is_comeback"].tolist() == [False, True, False]
    assert not code(*lines, comeback_days=0)["maintenance_events"]["is_comeback"].any()


def test_part_numbers_get_their_component_from_the_column_and_the_shelf(code):
    coded = code(
        {"part_number": "X-1", "description": "plug cap"},
        {"part_number": "X-1", "description": "spark plug cap"},
        {"part_number": "X-1", "description": "spark plug", "ticket": "J2"},
        {"part_number": "X-1", "ticket": "J3"},
        {"part_number": "X-2", "ticket": "J4"},
        {"part_number": "X-3", "description": "plug", "ticket": "J5"},
        shelf=[{"part_number": "X-2", "description": "FILTER, FUEL", "supplier": "first",
                "pack_size": 10, "nominal": 5.0, "high_limit": 6.25, "unit": "kOhm",
                "source_row": 2}],
        components={"carburetor": {"part_numbers": ["x-3"]}},
    )  # fmt: skip
    catalogue = coded["catalogue"].set_index("part_number")
    assert catalogue["component"].astype(str).to_dict() == {
        "X-1": "ignition cap", "X-2": "fuel filter", "X-3": "carburetor",
    }  # fmt: skip
    assert catalogue.at["X-2", "supplier"] == "first"
    # what it reads when new, for the verdict of a reading
    read = catalogue.loc["X-2", ["nominal", "high_limit", "unit"]].tolist()
    assert read == [5.0, 6.25, "kOhm"]
    events = coded["maintenance_events"].set_index("ticket")["component"].astype(str)
    assert events.to_dict() == {
        "J1": "ignition cap", "J2": "ignition cap", "J3": "ignition cap", "J4": "fuel filter",
        "J5": "carburetor",
    }  # fmt: skip


def test_a_shared_name_is_not_guessed_unless_a_number_decides(code):
    belt = {"description": "v-belt", "part_number": "VB-1"}
    coded = code(belt)
    assert coded["maintenance_events"].empty
    assert coded["not_understood"]["text"].astype(str).tolist() == ["ambiguous: v-belt"]
    own = {"drive belt (compactor)": {"part_numbers": ["VB-1"]}}
    coded = code(belt | {"work_done": "belt snapped, renewed"}, components=own)
    assert reasons(coded) == {"drive belt (compactor)": ("failure", 1.0)}


def test_what_is_not_understood_is_listed_and_counted(code):
    coded = code(
        {"part_number": "Q-1", "description": "frobnicator"},
        {"part_number": "Q-1", "description": "frobnicator"},
        {"part_number": "Q-2", "description": "grease"},
        CAP,
    )
    rows = coded["not_understood"]
    assert list(zip(rows["text"].astype(str), rows["n_lines"], rows["line_id"], strict=True)) == [
        ("frobnicator", 2, "L0")
    ]
    assert coded["findings"]["message"].str.contains(r"2 of 4 part lines \(50.0%\)").any()


@pytest.mark.parametrize(
    ("text", "row"),
    [
        ("cap 8.4 kohm", ("ignition cap", "resistance end to end", 8.4, "kOhm", False)),
        ("cap reads 8400 ohms", ("ignition cap", "resistance end to end", 8.4, "kOhm", False)),
        ("cap 8.4k", ("ignition cap", "resistance end to end", 8.4, "kOhm", False)),
        ("plug gap 0.7 mm", ("spark plug", "electrode gap", 0.7, "mm", False)),
        ("battery 12.4 v", ("battery", "rest voltage", 12.4, "V", False)),
        ("brushes 6,5 mm", ("generator brushes and slip rings", "brush length", 6.5, "mm", False)),
        ("insulation 40 mohm", None),
        ("cap o.l., renewed", ("ignition cap", "resistance end to end", None, "kOhm", True)),
        ("carburetor 12 v", None),
        ("12 mm spanner for cap", None),
    ],
)
def test_readings(code, text, row):
    found = code({"work_done": text})["readings"]
    rows = [
        (str(r.component), str(r.quantity), None if pd.isna(r.value) else r.value, str(r.unit),
         bool(r.over_range))
        for r in found.itertuples()
    ]  # fmt: skip
    assert rows == ([row] if row else [])


def test_order_of_lines_changes_no_event(code):
    lines = [
        CAP | {"ticket": f"J{n % 5}", "unit_id": f"U{n % 3}", "line_id": f"K{n}",
               "service_date": f"2024-0{1 + n % 9}-05", "complaint": "no spark"}
        for n in range(20)
    ]  # fmt: skip
    one, two = code(*lines), code(*reversed(lines))
    assert one["maintenance_events"].equals(two["maintenance_events"])
