"""What a person should know of the lives built: dropped readings, unknown ages, lost machines."""

import difflib
from collections.abc import Mapping
from typing import Any

import pandas as pd

from dutylife.intake.findings import finding, first_few
from dutylife.lives.clock_notes import clock_notes
from dutylife.lives.clocks.paths import MeterPaths
from dutylife.lives.faults import faults_of
from dutylife.lives.watch import Watch
from dutylife.settings import Settings
from dutylife.wording import count


def notes_of(
    failure_events: pd.DataFrame,
    watch: Watch,
    paths: MeterPaths,
    usage: pd.DataFrame,
    maintenance_events: pd.DataFrame,
    positions: pd.DataFrame,
    service_lines: pd.DataFrame,
    units: pd.DataFrame,
    settings: Settings,
) -> pd.DataFrame:
    """Findings of this stage, one row for each kind of thing: a count, then the first few."""
    rows = [
        *faults_of(maintenance_events, positions, service_lines, units, watch, settings),
        *_strange_classes(watch, settings),
        *_meters(paths, usage, settings),
        *clock_notes(paths, settings),
        *_first_parts(failure_events),
        *_presence(watch),
        *_duties(failure_events),
    ]
    return pd.DataFrame(rows, columns=list(_note("", "", "")))


def _note(key: str, message: str, mend: str, table: str = "failure_events") -> dict[str, Any]:
    return finding("lives", "note", message, mend=mend, table=table, key=key)


def _meters(paths: MeterPaths, usage: pd.DataFrame, settings: Settings) -> list[dict[str, Any]]:
    out = []
    dropped = paths.told(paths.n_dropped)
    if dropped:
        total = sum(dropped.values())
        out.append(
            _note(
                "meter_hours",
                f"{count(total, 'meter reading')} on {count(len(dropped), 'machine')} can't stand "
                "beside the others (the meter fell, or rose faster than time allows) and "
                f"{'was' if total == 1 else 'were'} left out: "
                + first_few(f"{u} ({n})" for u, n in dropped.items()) + ".",
                "correct mistyped readings; note a new meter on the ticket",
                "service_lines",
            )
        )  # fmt: skip
    for counts, told, mend in (
        (paths.n_restarts, "started again at 0 (replaced or rolled over)",
         "note a new meter and its first reading on the ticket"),
        (paths.n_stood, "stood still for 21 days or more while the machine came in",
         "note on the ticket whether the meter or the machine stood"),
    ):  # fmt: skip
        of = paths.told(counts)
        if of:
            out.append(
                _note(
                    f"meter_hours, {told.split(' (')[0].split(' for')[0]}",
                    f"The meter of {count(len(of), 'machine')} {told}; the hours run in between go "
                    "by the machine's own rate: "
                    + first_few(f"{u} ({n})" for u, n in of.items()) + ".",
                    mend,
                    "service_lines",
                )
            )  # fmt: skip
    if not len(paths) and not paths.odd:
        out.append(
            _note(
                "meter_hours",
                "No line has a meter reading: all ages go by days, and light and hard use in one "
                "duty look like chance.",
                f"write the {settings.fleet.meter_unit} meter on each ticket, or give each "
                "machine's use in the machines file",
                "service_lines",
            )
        )
    else:
        guessed = usage.loc[usage["usage_source"].isin(["duty and class", "fleet"]), "unit_id"]
        if len(guessed):
            out.append(
                _note(
                    "hours_per_week",
                    f"{count(len(guessed), 'machine')} of {len(usage)} "
                    f"{'has' if len(guessed) == 1 else 'have'} no use rate of "
                    f"{'its' if len(guessed) == 1 else 'their'} own; that of machines like "
                    f"{'it' if len(guessed) == 1 else 'them'} is taken: {first_few(guessed)}.",
                    "write the meter on each ticket, or state the use in the machines file",
                    "units",
                )
            )
    return out


def _first_parts(failure_events: pd.DataFrame) -> list[dict[str, Any]]:
    failure_events = failure_events[failure_events["spell"] == 1]
    first = failure_events[failure_events["life_number"] == 1]
    unknown = int((first["clock_source"] == "unknown").sum())
    out = []
    if unknown:
        out.append(
            _note(
                "installed_on",
                f"{unknown} of {len(first)} first lives have no known age: their parts were on the "
                "machine before the record began. They stay out of the laws.",
                "give in_service_on in the machines file, or set [lives] first_part",
            )
        )
    later = failure_events[failure_events["life_number"] > 1]
    unsure = int((later["clock_source"] == "unknown").sum())
    if unsure:
        out.append(
            _note(
                "installed_on",
                f"{count(unsure, 'life', 'lives')} began after a failure that was looked at, "
                "adjusted or tested but not mended with a new part: "
                f"{'its' if unsure == 1 else 'their'} age is not known.",
                "if a part was put in on those tickets, add its line or its part number",
            )
        )
    return out


def _strange_classes(watch: Watch, settings: Settings) -> list[dict[str, Any]]:
    """Classes with a stated number of positions that no machine is of."""
    there = sorted({str(c) for c in watch.machines["equipment_class"].dropna() if c})
    out = []
    for component, stated in settings.lives.positions.items():
        for name in stated if isinstance(stated, Mapping) else ():
            if name in there:
                continue
            near = difflib.get_close_matches(name, there, n=1, cutoff=0.5)
            known = f"classes of the machines: {first_few(there)}" if there else (
                "no machine has a class: give equipment_class in the machines file, or state one "
                "number for all"
            )  # fmt: skip
            key = f'lives.positions."{component}"."{name}"'
            out.append(
                _note(
                    key, f"The settings state how many of {component} a '{name}' has ({key}), but "
                    "no machine is of that class: the number is not used.",
                    f"did you mean '{near[0]}'?" if near else known, "units",
                )
            )  # fmt: skip
    return out


def _presence(watch: Watch) -> list[dict[str, Any]]:
    out = []
    machines = watch.machines
    lost = machines.index[(machines["ends"] == "lost") & machines["left_on"].isna()]
    if len(lost):
        how = (
            "by the gaps between their visits"
            if watch.presence.is_fitted
            else "not seen within a year; too few machines for more"
        )
        out.append(
            _note(
                "prob_in_service",
                f"{count(len(lost), 'machine')} {'is' if len(lost) == 1 else 'are'} believed gone "
                f"({how}); their lives end some days after the last visit: {first_few(lost)}.",
                "say in the machines file which have left (left_on); a wrong guess moves lives",
                "units",
            )
        )
    return out


def _duties(failure_events: pd.DataFrame) -> list[dict[str, Any]]:
    pairs = failure_events[["duty", "customer"]].astype("object").dropna().drop_duplicates()
    if pairs["duty"].nunique() < 2:
        return []
    customers = pairs.groupby("duty")["customer"].nunique()
    single = sorted(customers.index[customers == 1])
    if not single:
        return []
    return [
        _note(
            "duty",
            f"{count(len(single), 'duty', 'duties')} {'has' if len(single) == 1 else 'have'} one "
            f"customer only ({first_few(single)}): what goes with the duty can't be told from what "
            "goes with that customer.",
            "read such figures as the customer's; another customer in that duty would tell",
        )
    ]
