"""A draft as the text of a settings file, and written beside its duty.csv."""

import glob
import os
import shutil
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from dutylife.disk import is_file, write_whole
from dutylife.draft.advice import hints, to_confirm
from dutylife.draft.choices import Choice
from dutylife.draft.drafting import draft_exports
from dutylife.draft.duty import (
    as_csv,
    duty_names,
    propose_duties,
    severe_duties,
    with_confirmed,
)  # fmt: skip
from dutylife.draft.settling import DraftedExport
from dutylife.draft.text import comment, export_keys, inline, join_keys, key_of, quoted
from dutylife.errors import ExportError, RunError
from dutylife.intake.columns import COLUMNS_OF
from dutylife.intake.findings import first_few
from dutylife.intake.raw import Place, read_raw
from dutylife.intake.values import blanked, read_dates, read_numbers
from dutylife.schema import filled_from
from dutylife.settings import Export, SourceColumn

_SAMPLES = 3
DUTY_FILE = "duty.csv"
KEPT = ".before"  # what the name of a replaced file ends in, kept beside the new one


@dataclass(frozen=True, slots=True)
class Decided:
    """One column of a file: what it was decided as (blank: nothing), how sure, and why."""

    file: str
    header: str
    ours: str
    confidence: float
    reason: str
    is_sure: bool


@dataclass(frozen=True, slots=True)
class Draft:
    """A proposed settings file.

    Parameters
    ----------
    text : str
        The TOML; a key that is not sure is left out and shown as a comment.
    duty_csv : str
        Text of duty.csv; blank where an export has a duty column, or no customer.
    questions : tuple of str
        What has to be answered before it runs.
    columns : tuple of Decided
        Every column of every file.
    exports : tuple of DraftedExport
    hints : tuple of str
        Columns that are not read, and what the report lacks without those not found.
    to_confirm : str
        What duty.csv asks for; blank without one.
    """

    text: str
    duty_csv: str
    questions: tuple[str, ...]
    columns: tuple[Decided, ...]
    exports: tuple[DraftedExport, ...]
    hints: tuple[str, ...] = ()
    to_confirm: str = ""


def draft_settings(paths: list[str | Path], out_folder: str | Path = ".") -> Draft:
    """Look at exports and propose the settings that read them.

    Parameters
    ----------
    paths : list of str or Path
        Export files, or database addresses (``sqlite:///file.db``).
    out_folder : str or Path
        Where the settings file will stand; paths in it start there.

    Raises
    ------
    ExportError
        A file is missing, damaged, or no table at all.
    """
    folder = Path(out_folder).absolute()
    places = [p for given in paths for p in _places(given)]
    if not places:
        raise ExportError("No export is given.", "draft", "name one file at least")
    exports, passed = draft_exports(places, folder)
    if not exports:
        raise ExportError(
            "None of the files looks like an export that is read.",
            ", ".join(str(p) for p in paths),
            "; ".join(passed) or "give the export of invoices or work orders",
        )
    questions = _asked_once(exports)
    if not any(d.export.kind == "lines" for d in exports):
        questions.append("no file holds lines of work (a date with a machine, part or text)")
    duties = pd.DataFrame() if _has_duty(exports) else _duties(exports)
    columns = tuple(c for d in exports for c in _decided(d))
    text = _text(exports, passed, questions, folder, has_duty_file=not duties.empty)
    return Draft(
        text,
        as_csv(duties) if not duties.empty else "",
        tuple(questions),
        columns,
        tuple(exports),
        tuple(hints(exports)),
        to_confirm(duties) if not duties.empty else "",
    )


def write_draft(draft: Draft, out: str | Path, *, replace: bool = False) -> list[Path]:
    """Write the settings file and duty.csv beside it; what a person filled in is never lost.

    Parameters
    ----------
    replace : bool
        Files there already are replaced. Duties a person confirmed go into the new duty.csv; what
        stood there is kept beside it, its name ending in `KEPT`, where it is not what is written.

    Returns
    -------
    list of Path
        Files written, those kept among them.

    Raises
    ------
    RunError
        A file is there already and ``replace`` is false.
    """
    file = Path(out)
    files = {file: draft.text} | (
        {file.parent / DUTY_FILE: draft.duty_csv} if draft.duty_csv else {}
    )
    there = [p.name for p in files if p.exists()]
    if there and not replace:
        raise RunError(
            f"{' and '.join(there)} {'is' if len(there) == 1 else 'are'} there already.",
            str(file.parent),
            "give another --out, or move the file away",
        )
    file.parent.mkdir(parents=True, exist_ok=True)
    duty = file.parent / DUTY_FILE
    if duty in files and duty.is_file():
        before = read_raw(duty, Export(path=DUTY_FILE), "draft")
        files[duty] = with_confirmed(draft.duty_csv, before.cells.astype("object"))
    written = []
    for path, text in files.items():
        if path.is_file() and path.read_bytes() != text.encode():
            kept = path.with_name(path.name + KEPT)
            shutil.copyfile(path, kept)
            written.append(kept)
        write_whole(path, text)
        written.append(path)
    return written


def _asked_once(exports: list[DraftedExport]) -> list[str]:
    """Questions, each once with the files it is asked of."""
    asked: dict[str, list[str]] = {}
    for one in exports:
        for question in one.questions:
            asked.setdefault(question, []).append(one.table.label)
    return [f"{first_few(labels)}: {question}" for question, labels in asked.items()]


def _places(given: str | Path) -> list[Place]:
    """A file, a database address, or the files a pattern in quotes means."""
    if isinstance(given, str) and "://" in given:
        return [given]
    path = Path(given)
    if is_file(path):
        return [path.absolute()]
    found = sorted(Path(p) for p in glob.glob(str(given)) if is_file(Path(p)))  # noqa: PTH207
    if not found:
        raise ExportError(
            f"The export '{given}' does not exist.", str(path.parent), "correct the path or pattern"
        )
    return [p.absolute() for p in found]


def _has_duty(exports: list[DraftedExport]) -> bool:
    return any("duty" in d.export.columns for d in exports)


def _decided(one: DraftedExport) -> list[Decided]:
    label, mapping = one.table.label, one.mapping
    out = [
        Decided(label, c.header, c.ours, c.confidence, c.reason, c.is_sure) for c in mapping.choices
    ]
    out += [
        Decided(label, h, "", 0.0, mapping.refused.get(h, "no column of ours"), is_sure=False)
        for h in mapping.left_out
    ]
    return out


def _duties(exports: list[DraftedExport]) -> pd.DataFrame:
    """Customers of the lines with a proposed duty; machines files fill customer and class."""
    machines: dict[str, dict[str, str]] = {"customer": {}, "equipment_class": {}}
    for one in exports:
        if one.export.kind == "machines":
            cells = _under_our_names(one, ("unit_id", "customer", "equipment_class"))
            for name, told in machines.items():
                if {"unit_id", name} <= set(cells):
                    told |= dict(zip(cells["unit_id"], cells[name], strict=True))
    lines = [_told_lines(one, machines) for one in exports if one.export.kind == "lines"]
    lines = [cells for cells in lines if "customer" in cells]
    return propose_duties(pd.concat(lines, ignore_index=True)) if lines else pd.DataFrame()


def _told_lines(one: DraftedExport, machines: dict[str, dict[str, str]]) -> pd.DataFrame:
    wanted = (
        "ticket", "unit_id", "customer", "equipment_class", "complaint", "work_done",
        "meter_hours", "service_date",
    )  # fmt: skip
    cells = _under_our_names(one, wanted)
    for name, told in machines.items():
        if told and "unit_id" in cells:
            known = filled_from(cells["unit_id"].map(told), "")
            cells[name] = cells[name].mask(cells[name] == "", known) if name in cells else known
    if "service_date" in cells:
        cells["date"] = read_dates(cells["service_date"], one.export.date_order or "ymd")
    if "meter_hours" in cells:
        cells["meter"] = read_numbers(cells["meter_hours"], one.export)
    if "ticket" not in cells and "date" not in cells:
        cells["date"] = range(len(cells))
        return cells
    # a row of neither day, ticket nor machine is no visit, whatever stands where customers do
    is_visit = pd.Series(data=False, index=cells.index)
    if "date" in cells:
        is_visit |= cells["date"].notna()
    for name in ("ticket", "unit_id"):
        if name in cells:
            is_visit |= cells[name] != ""
    return cells[is_visit]


def _under_our_names(one: DraftedExport, wanted: tuple[str, ...]) -> pd.DataFrame:
    found = {o: one.mapping.header(o) for o in wanted}
    if "customer" in found and not found["customer"]:  # asked about; duty.csv waits for the answer
        near = [c.header for c in one.mapping.choices if c.ours == "customer"]
        found["customer"] = near[0] if near else ""
    records = one.table.records
    return pd.DataFrame({o: blanked(records[h].astype("object")) for o, h in found.items() if h})


def _text(
    exports: list[DraftedExport], passed: list[str], questions: list[str], folder: Path, *,
    has_duty_file: bool,
) -> str:  # fmt: skip
    lines = [
        "# Drafted by `dutylife draft`: proposals from column names and contents. Look at each:",
        "# the figure after it says how sure it is (1: the very name, and the cells agree).",
    ]
    if questions:
        lines += ["#", "# To answer before it runs:", *[comment(q, "#  - ") for q in questions]]
    lines += [
        "", "[fleet]",
        f"name = {quoted(folder.name or 'fleet')}  # the folder's name, as it will stand on every "
        "page: write the shop's here",
        '# currency = "..."  # the word behind every sum, as it should stand on the pages',
    ]  # fmt: skip
    units = {
        d.export.columns["meter_hours"].unit for d in exports if "meter_hours" in d.export.columns
    }
    meter = next((u for u in sorted(units) if u in ("miles", "km")), "hours")
    lines += [f"meter_unit = {quoted(meter)}", ""]
    for one in exports:
        lines += [*_export_text(one), ""]
    lines += [comment(f"passed over: {p}") for p in passed]
    if has_duty_file:
        lines += [
            "", "# No column says what work a machine lives in: confirm the proposals of that file",
            '# (yes in the column confirmed), or all = "..." for every machine. Names proposed:',
            comment(f"{', '.join(duty_names())}; any other name will do."),
            "# severe: the duties that are hard on machines.",
            "[duty]", f"path = {quoted(DUTY_FILE)}",
            "severe = [" + ", ".join(quoted(d) for d in severe_duties()) + "]",
        ]  # fmt: skip
    elif not _has_duty(exports):
        lines += [
            "", "# No column says what work a machine lives in, and none names a customer:",
            '# state it for all, or by machine.', "[duty]", '# all = "..."',
        ]  # fmt: skip
    return "\n".join(lines).rstrip("\n") + "\n"


def _export_text(one: DraftedExport) -> list[str]:
    mapping, raw, records = one.mapping, one.table.raw, one.table.records
    n_faults = int((raw.fault != "").sum())
    lines = [
        comment(f"{one.table.label}: {len(records)} rows"
                + (f", {n_faults} more are totals, page lines or faulty" if n_faults else "")),
    ]  # fmt: skip
    lines += [comment(n) for n in one.notes]
    if raw.titles:
        lines.append(comment("above the header: " + " / ".join(raw.titles[:3])[:200]))
    for row in range(min(_SAMPLES, len(records))):
        cells = " | ".join(str(c)[:40] for c in records.iloc[row])
        lines.append(comment(cells[:400], "#   "))
    lines += export_keys(one.export)
    for join in one.export.join:
        lines += join_keys(join)
    lines.append("[exports.columns]")
    for choice in mapping.choices:
        source = one.export.columns.get(choice.ours)
        if source is not None and choice.is_sure:
            lines.append(f"{choice.ours} = {_source(source)}  {_why(choice)}")
        elif not choice.is_sure:
            lines.append(f"# not sure: {choice.ours} = {quoted(choice.header)}  {_why(choice)}")
    for header, why in mapping.refused.items():
        lines.append(comment(f"refused: {quoted(header)} is {why}"))
    if rest := one.not_read:
        lines.append(comment("left out: " + ", ".join(quoted(h) for h in rest[:60])))
        free = [o for o in COLUMNS_OF[mapping.kind] if o not in one.export.columns]
        lines.append(comment("write one above where it is one of these: " + ", ".join(free)))
    if one.export.values:
        lines.append("[exports.values]")
        lines += [f"{key_of(o)} = {inline(words)}" for o, words in one.export.values.items()]
    return lines


def _source(source: SourceColumn) -> str:
    if source.unit:
        return inline({"column": source.column, "unit": source.unit})
    return quoted(source.column)


def _why(choice: Choice) -> str:
    return comment(f"{choice.confidence:.2f}: {choice.reason}")


def default_out(paths: list[str | Path]) -> Path:
    """Where a draft goes without ``--out``: dutylife.toml in the folder of the first file."""
    first = next((Path(p) for p in paths if "://" not in str(p)), Path())
    return Path(os.path.relpath(first.parent)) / "dutylife.toml"
