"""A plan of maintenance given as a file: at which age a component is replaced, duty by duty."""

import pandas as pd

from dutylife.components import components_of, short_name
from dutylife.disk import is_file
from dutylife.errors import ColumnMissingError, ExportError, SettingsError
from dutylife.intake.raw import read_raw
from dutylife.schema import as_table
from dutylife.settings import PLANS, Export, Settings
from dutylife.vocabulary.spans import DAYS_PER_MONTH

NEEDS = "a column component, and a column hours or months"


def stated_plan(settings: Settings, duties: set[str]) -> pd.DataFrame:
    """Read the plan that ``plan.in_force`` names as a file.

    Parameters
    ----------
    settings : Settings
        ``plan.in_force``; a path starts at the settings file's folder.
    duties : set of str
        Duties that machines have.

    Returns
    -------
    DataFrame
        Table "stated_plan"; without rows where the plan in force is one of `PLANS`. A row without
        a duty becomes one for every duty that has no row of its own.

    Raises
    ------
    SettingsError
        ``plan.in_force`` is neither a plan nor a file.
    ColumnMissingError
        The file has no component, or neither hours nor months.
    ExportError
        Rows can't be used: every fault at once.
    """
    plan = settings.plan.in_force
    if plan in PLANS:
        return as_table("stated_plan", pd.DataFrame())
    path = settings.folder / plan
    where = f"{settings.source}: plan.in_force"
    if not is_file(path):
        raise SettingsError(
            f"The plan in force '{plan}' is neither a plan nor a file.", where,
            "one of: " + ", ".join(PLANS) + "; or the path of a file with " + NEEDS,
        )  # fmt: skip
    raw = read_raw(path, Export(path=plan), where)
    cells, numbers = raw.cells.astype("object"), raw.source_row.tolist()
    cells.columns = pd.Index([str(c).casefold().strip() for c in cells.columns])
    if "component" not in cells or not {"hours", "months"} & set(cells.columns):
        raise ColumnMissingError(
            f"The plan needs {NEEDS}.", path.name, "it has: " + ", ".join(cells.columns)
        )
    known = components_of(settings)
    faults, rows = [], []
    seen: set[tuple[str, str]] = set()
    told_rows = zip(numbers, cells.fillna("").to_dict("records"), strict=True)
    for number, cell in told_rows:
        if not any(str(v).strip() for v in cell.values()):
            continue
        given = str(cell["component"]).strip()
        duty = str(cell.get("duty", "")).strip()
        told = {c: str(cell.get(c, "")).strip() for c in ("hours", "months")}
        figures = {c: _figure(v) for c, v in told.items()}
        wrong = [f"{c} '{told[c]}' is no number above 0" for c, v in figures.items()
                 if v is None and told[c]]  # fmt: skip
        name = short_name(given, known)
        if name is None:
            wrong.append(f"component '{given}' is not known")
            name = given
        if duty and duty not in duties:
            wrong.append(f"no machine has the duty '{duty}'")
        if not any(told.values()):
            wrong.append("neither hours nor months")
        if (name, duty) in seen:
            wrong.append(f"{name} {duty} is stated before".replace("  ", " "))
        seen.add((name, duty))
        faults += [f"row {number}: {w}" for w in wrong]
        months = figures["months"]
        rows.append(
            {"component": name, "duty": duty, "interval_hours": figures["hours"],
             "interval_days": None if months is None else months * DAYS_PER_MONTH}
        )  # fmt: skip
    if faults:
        raise ExportError(
            f"{len(faults)} fault{'s' if len(faults) > 1 else ''} in the plan in force.",
            f"{path.name}: " + "; ".join(faults), "correct these rows",
        )  # fmt: skip
    own = {(r["component"], r["duty"]) for r in rows}
    every = [
        row | {"duty": duty}
        for row in rows
        for duty in ([row["duty"]] if row["duty"] else sorted(duties))
        if row["duty"] or (row["component"], duty) not in own
    ]
    return as_table("stated_plan", pd.DataFrame(every))


def _figure(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if 0 < value < float("inf") else None
