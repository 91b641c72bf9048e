"""Writes the practice fleet's export: lines, machines, parts, their settings file, the truth."""

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from dutylife.errors import DutylifeError
from dutylife.practice.fleet import date_of
from dutylife.practice.mistaken import wrong_duties
from dutylife.practice.pages import readme_text, settings_text
from dutylife.practice.shapes import SHAPES, Tables
from dutylife.practice.streams import Stream
from dutylife.practice.texts import require_phrases
from dutylife.practice.tickets import shop_date, typed_lines
from dutylife.practice.truth import PracticeFleet, simulate_fleet
from dutylife.schema import filled_from

MACHINES_HEADINGS = ("Machine", "Kind", "Engine", "In service", "Left", "Customer")
PARTS_HEADINGS = (
    "Part no", "Name", "On hand", "On order", "Cost", "Supplier", "Lead days", "Pack",
)  # fmt: skip
CONTRACTS_HEADINGS = (
    "contract", "equipment_class", "duty", "n_machines", "from_date", "hours_per_week",
)  # fmt: skip
# of the record, in the first of two files
FIRST_FILE_SHARE = 0.75


def make_practice(
    folder: Path,
    *,
    n_units: int = 120,
    n_years: float = 4,
    seed: int = 7,
    shape: str = "lines",
    settings_file: Path | None = None,
    difficulties: Mapping[str, float] | None = None,
    laws_from: str = "",
    says_duty: bool = True,
) -> dict[str, Path]:
    """Simulate a fleet and write the export a shop would have of it, with its truth beside it.

    Parameters
    ----------
    folder : Path
        Made when missing; files of the same names in it are written over.
    n_units : int
        Machines on the list, 1 to 20 000. [1]
    n_years : float
        Length of the record. [years of 365.25 d]
    seed : int
    shape : str
        Form of the export, one of `shapes.SHAPES`: "lines" is plain. Every shape has the same
        content.
    settings_file : Path, optional
        TOML with keys of practice/scenario.toml to put over the shipped ones.
    difficulties : mapping of str to float, optional
        As of `simulate_fleet`.
    laws_from : str
        As of `simulate_fleet`.
    says_duty : bool
        Whether duties are stated: in the settings file, or for the shapes that are left to
        `dutylife draft`, in the list of machines. False leaves them to be confirmed.

    Returns
    -------
    dict of str to Path
        The files of the export by name without ending (lines, machines, parts in the plain
        shape), laws, lives, demand, readme, and settings for the shapes that have such a file;
        where the difficulties ask for them lines_again (a second file of lines) and contracts
        (machines announced).

    Raises
    ------
    DutylifeError
        There is no such shape.
    SettingsError
        A number is out of range, or the settings file can't be used.
    """
    _require_shape(shape)
    fleet = simulate_fleet(
        n_units=n_units,
        n_years=n_years,
        seed=seed,
        settings_file=settings_file,
        difficulties=difficulties,
        laws_from=laws_from,
    )
    return write_practice(
        folder,
        fleet,
        n_years=n_years,
        shape=shape,
        is_own=settings_file is not None,
        says_duty=says_duty,
    )


def write_practice(
    folder: Path,
    fleet: PracticeFleet,
    *,
    n_years: float,
    shape: str = "lines",
    is_own: bool = False,
    says_duty: bool = True,
) -> dict[str, Path]:
    """Write a fleet made before, as `make_practice` does.

    Parameters
    ----------
    folder : Path
    fleet : PracticeFleet
    n_years : float
        Length of the record, for its README. [years of 365.25 d]
    shape : str
    is_own : bool
        Whether the fleet follows a settings file of the reader's own.
    says_duty : bool
        As of `make_practice`.

    Returns
    -------
    dict of str to Path
        As of `make_practice`.

    Raises
    ------
    DutylifeError
        There is no such shape.
    """
    _require_shape(shape)
    require_phrases(fleet.scenario)
    folder = Path(folder)
    form = SHAPES[shape].form
    lines = lines_files(fleet)
    files = SHAPES[shape].files(export_tables(fleet, says_duty=says_duty and form is None))
    exported = {Path(name).stem: folder / name for name in files}
    tables = {
        "truth/laws.csv": fleet.laws,
        "truth/lives.csv": _as_written(fleet.lives),
        "truth/demand.csv": _as_written(fleet.demand),
    }
    if fleet.announced:
        tables["contracts.csv"] = contracts_list(fleet)
    files |= {
        name: table.to_csv(index=False, lineterminator="\n", sep=_sign(name, shape)).encode()
        for name, table in tables.items()
    }
    page = readme_text(fleet, n_years=n_years, shape=SHAPES[shape], is_own=is_own)
    paths = {**exported, **{Path(name).stem: folder / name for name in tables}}
    files["README.md"], paths["readme"] = page.encode(), folder / "README.md"
    if form is not None:
        text = settings_text(fleet, form, list(lines), says_duty=says_duty)
        files["dutylife.toml"], paths["settings"] = text.encode(), folder / "dutylife.toml"
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return paths


def export_tables(fleet: PracticeFleet, *, says_duty: bool = False) -> Tables:
    """Return the tables of the export in the plain form, which every shape writes in its way.

    Parameters
    ----------
    says_duty : bool
        Whether the machines have a column Duty: the duty of the customer, or the wrong one where
        the fleet is made so.
    """
    lines = lines_files(fleet)
    machines = machines_list(fleet)
    if says_duty:
        wrong = wrong_duties(fleet)
        places = {name: customer.duty for name, customer in fleet.scenario.customers.items()}
        stated = filled_from(machines["Customer"].map(places), "")
        machines["Duty"] = filled_from(machines["Machine"].map(wrong), stated)
    return Tables(
        lines={Path(name).stem: table for name, table in lines.items()},
        whole=typed_lines(fleet),
        machines=machines,
        parts=parts_list(fleet),
        title=fleet.scenario.record.name,
    )


def _sign(name: str, shape: str) -> str:
    """Sign between the cells of a file that is not one of the shape's own."""
    form = SHAPES[shape].form
    return form.delimiter if form is not None and not name.startswith("truth/") else ","


def _require_shape(shape: str) -> None:
    if shape not in SHAPES:
        raise DutylifeError(
            f"There is no export shape '{shape}'.",
            "shape",
            "the shapes there are: " + ", ".join(sorted(SHAPES)),
        )


def lines_files(fleet: PracticeFleet) -> dict[str, pd.DataFrame]:
    """Return the files of lines in the plain form, by name: one, or two of which one repeats."""
    lines = typed_lines(fleet)
    share = fleet.scenario.record.reissued_share
    if share <= 0:
        return {"lines.csv": lines}
    days = pd.to_datetime(lines["Job date"], format="%d/%m/%Y")
    begin, end = (pd.Timestamp(date_of(day)) for day in (fleet.span.start, fleet.span.end - 1.0))
    first_ends = begin + FIRST_FILE_SHARE * (end - begin)
    second_begins = first_ends - share * (first_ends - begin)
    return {
        "lines.csv": lines[days <= first_ends],
        "lines_again.csv": lines[days >= second_begins],
    }


def contracts_list(fleet: PracticeFleet) -> pd.DataFrame:
    """Return the machines announced for after the cut-off: columns `CONTRACTS_HEADINGS`."""
    first = fleet.announced[0]
    row = (
        "announced",
        first.equipment_class,
        first.duty,
        str(len(fleet.announced)),
        date_of(first.in_service).isoformat(),
        f"{fleet.scenario.duties[first.duty].hours_per_week:g}",
    )
    return pd.DataFrame([row], columns=list(CONTRACTS_HEADINGS), dtype="object")


def machines_list(fleet: PracticeFleet) -> pd.DataFrame:
    """Return the shop's list of machines, as text: columns `MACHINES_HEADINGS`."""
    rows = [
        (
            machine.unit_id,
            machine.equipment_class,
            machine.engine,
            shop_date(machine.in_service) if machine.is_in_service_known else "",
            shop_date(machine.leaves)
            if machine.is_leaving_known and machine.leaves < fleet.span.end
            else "",
            machine.customer,
        )
        for machine in sorted(fleet.machines, key=lambda m: m.unit_id)
    ]
    return pd.DataFrame(rows, columns=list(MACHINES_HEADINGS), dtype="object")


def parts_list(fleet: PracticeFleet) -> pd.DataFrame:
    """Return the shop's list of parts, as text: columns `PARTS_HEADINGS`; some counts are blank."""
    scenario = fleet.scenario
    offers: dict[str, tuple[str, float, str, float, int]] = {}
    for name, law in scenario.components.items():
        days = (
            law.lead_time_days if law.lead_time_days is not None else scenario.shop.lead_time_days
        )
        for key, number in law.part_numbers.items():
            label = f"{name}, {key}" if number not in offers else f"{offers[number][0]}, {key}"
            offers[number] = (label, law.unit_cost, law.supplier, days, law.pack_size)
    for number, part in scenario.other_parts.items():
        days = scenario.shop.lead_time_days
        offers[number] = (part.description, part.unit_cost, part.supplier, days, part.pack_size)
    as_of = pd.Timestamp(scenario.record.as_of)
    demand = fleet.demand
    last_year = demand[
        (demand["month"] <= as_of) & (demand["month"] > as_of - pd.Timedelta("365D"))
    ]
    a_month = (last_year.groupby("part_number")["quantity"].sum() / 12.0).to_dict()
    stream = Stream(fleet.seed, 1_000_033, 0)
    rows = []
    for number, (label, cost, supplier, days, pack) in sorted(offers.items()):
        # what a shop holds by habit: a few weeks of some parts, half a year of others
        on_hand = round(a_month.get(number, 0.0) * stream.uniform(0.1, 2.5))
        on_order = pack if stream.chance(0.15) else 0
        if number in scenario.shelf.not_listed:
            continue
        known = "" if number in scenario.shelf.count_unknown else str(on_hand)
        rows.append(
            (number, label, known, str(on_order), f"{cost:.2f}", supplier, f"{days:g}", str(pack))
        )
    return pd.DataFrame(rows, columns=list(PARTS_HEADINGS), dtype="object")


def _as_written(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a table of the truth as its file has it: ISO dates, ages to a hundredth."""
    out = frame.copy()
    for column in out.columns:
        if pd.api.types.is_datetime64_any_dtype(out[column]):
            out[column] = out[column].dt.strftime("%Y-%m" if column == "month" else "%Y-%m-%d")
        elif pd.api.types.is_bool_dtype(out[column]):
            out[column] = out[column].map({True: "true", False: "false"})
        elif pd.api.types.is_float_dtype(out[column]):
            out[column] = out[column].map("{:.2f}".format)
    return out
