"""`dutylife draft` on files nobody here wrote: each column against what a person says it is.

The truth was written from the data's own READMEs. A column is right when it was decided as what
it is (or left out where no column of ours fits), asked when it is shown as not sure or is in a
question, missed when it was left out though it fits, and wrong when it was decided as something
else: that may never happen. Held back while the words were written: wales, usa and
belgium_netherlands of the repair intake, and the bus odometer.
"""

from dataclasses import dataclass
from pathlib import Path

import pytest

from dutylife.draft import Draft, draft_settings
from dutylife.intake import Intake, read_exports
from dutylife.settings import Settings, settings_from

pytestmark = pytest.mark.shared

INTAKE = {
    "id": "ticket", "product_category": "equipment_class", "event_date": "service_date",
    "problem": "complaint description",
}  # fmt: skip
# of each file: the columns that are one of ours; every other column is none
TRUTH = {
    "excavator_work_orders/excavator_work_orders.csv": {
        "BscStartDate": "service_date", "Asset": "unit_id", "PMType": "ticket_kind",
        "OriginalShorttext": "description work_done complaint", "id": "ticket",
    },
    "city_fleet_orders/fact_work_orders_sample.csv city_fleet_orders/dim_asset.csv "
    "city_fleet_orders/dim_job_type.csv city_fleet_orders/dim_location.csv": {
        "work_order_id": "ticket", "date_id": "service_date", "asset_id": "unit_id",
        "job_type": "ticket_kind", "repair_reason_desc": "complaint",
        "department_name": "duty customer",
    },
    "messy_exports/vehicle_complaints_100_no_header.txt": {
        "column 2": "ticket", "column 8": "service_date", "column 15": "unit_id",
        "column 18": "meter_hours", "column 20": "complaint description",
    },
    "repair_intake_multilingual/germany_schema_v0.3_2023.csv": INTAKE,
    "repair_intake_multilingual/wales_schema_v0.3_2025.csv": INTAKE,
    "repair_intake_multilingual/usa_schema_v0.3_2025.csv": INTAKE,
    "repair_intake_multilingual/belgium_netherlands_schema_v0.3_2025.csv": INTAKE,
    "repair_intake_multilingual/netherlands_schema_v0.1_2019.csv": {
        "id": "ticket", "product_category": "equipment_class", "date": "service_date",
        "problem": "complaint description",
    },
}  # fmt: skip
# a column that may also be taken for the same thing
ALSO = {"partner_product_category": "equipment_class", "column 1": "ticket"}


@dataclass
class Score:
    right: int
    asked: int
    missed: list[str]
    wrong: list[str]
    n_questions: int

    @property
    def share_right(self) -> float:
        n = self.right + self.asked + len(self.missed) + len(self.wrong)
        return self.right / n


def score(draft: Draft, truth: dict[str, str]) -> Score:
    out = Score(0, 0, [], [], len(draft.questions))
    asked = " ".join(draft.questions)
    for column in draft.columns:
        header = column.header.rpartition(".")[2] if "." in column.header else column.header
        is_one = truth.get(header, "").split()
        decided = column.ours if column.is_sure else ""
        if decided and decided not in [*is_one, *ALSO.get(header, "").split()]:
            out.wrong.append(f"{header} as {decided}")
        elif decided or not is_one:
            out.right += 1
        elif column.ours in is_one or f"'{header}'" in asked:
            out.asked += 1
        else:
            out.missed.append(header)
    return out


def drafted(files: str, shared: Path, tmp_path: Path) -> Draft:
    return draft_settings([shared / "data" / f for f in files.split()], tmp_path)


def settings_of(draft: Draft, folder: Path) -> Settings:
    import tomllib

    data = tomllib.loads(draft.text) | {"duty": {"all": "one"}}
    return settings_from(data, folder=folder, source="drafted")


def read(draft: Draft, folder: Path) -> Intake:
    return read_exports(settings_of(draft, folder))


@pytest.mark.slow
@pytest.mark.parametrize("files", TRUTH)
def test_columns_are_right_or_asked_and_never_wrong(files: str, shared: Path, tmp_path: Path):
    result = score(drafted(files, shared, tmp_path), TRUTH[files])
    print(files, result)
    assert result.wrong == []
    assert result.share_right >= 0.8
    assert result.n_questions <= 3


def test_the_running_time_that_is_no_meter_is_refused(shared: Path, tmp_path: Path):
    draft = drafted("excavator_work_orders/excavator_work_orders.csv", shared, tmp_path)
    (lies,) = [c for c in draft.columns if c.header == "RunningTime"]
    assert lies.ours == ""
    assert "falls in" in lies.reason
    assert 'refused: "RunningTime"' in draft.text


def test_excavator_orders_are_counted_as_published(shared: Path, tmp_path: Path):
    draft = drafted("excavator_work_orders/excavator_work_orders.csv", shared, tmp_path)
    lines = read(draft, tmp_path).tables["service_lines"]
    assert lines["unit_id"].value_counts().to_dict() == {
        "D": 2374, "B": 1017, "C": 992, "E": 951, "A": 151,
    }  # fmt: skip
    assert f"{lines['service_date'].min():%F} {lines['service_date'].max():%F}" == (
        "2001-07-05 2012-12-13"
    )
    hose = lines[lines["description"].astype(str).str.casefold().str.contains("hose")]
    assert len(hose) == 441
    assert len(hose.drop_duplicates(["unit_id", "service_date"])) == 361


def test_repair_intake_is_read_whole(shared: Path, tmp_path: Path):
    draft = drafted("repair_intake_multilingual/netherlands_schema_v0.1_2019.csv", shared, tmp_path)
    lines = read(draft, tmp_path).tables["service_lines"]
    assert len(lines) == 13315
    assert lines["service_date"].notna().all()
    # 2,602 blank as published, and words for "nothing there" in Dutch and English
    problems = _column(shared, "netherlands_schema_v0.1_2019.csv", "problem")
    assert problems.count("") == 2602
    nothing = {"", "onbekend", "unknown", "nvt", "n.v.t", "n.v.t.", "-", "..."}
    expected = sum(p.casefold() in nothing or not p.strip("?") for p in problems)
    assert int((lines["complaint"].astype("object").fillna("") == "").sum()) == expected


def _column(shared: Path, file: str, name: str) -> list[str]:
    import csv

    path = shared / "data" / "repair_intake_multilingual" / file
    with path.open(encoding="utf-8", newline="") as lines:
        return [" ".join(row[name].split()) for row in csv.DictReader(lines)]


def test_damaged_city_costs_are_told(shared: Path, tmp_path: Path):
    files = "city_fleet_orders/fact_work_orders_sample.csv"
    found = read(drafted(files, shared, tmp_path), tmp_path).tables["findings"]
    told = " ".join(found["message"])
    assert "'work_order_year' holds years that a number format damaged" in told
    assert "'labor_cost' has nothing above 999" in told


@pytest.mark.parametrize(
    "file",
    [
        "parts_demand/car_parts_monthly_sales.csv",
        "bus_engine_odometer/derived/odometer_monthly.csv",
        "lifetimes_classic/valve_seat.csv", "lifetimes_classic/locomotive_braking_grid.csv",
    ],
)  # fmt: skip
def test_a_file_that_is_no_service_history_is_asked_about(file: str, shared: Path, tmp_path: Path):
    draft = drafted(file, shared, tmp_path)
    assert 1 <= len(draft.questions) <= 3
    assert not any(c.ours == "service_date" and c.is_sure for c in draft.columns)
