"""The warning time a cell's looks go by: from the record where it tells one, else as stated."""

from dutylife.decisions.cells import Cell
from dutylife.decisions.looks_seen import LooksSeen, delay_from_looks
from dutylife.decisions.measuring import MeasuringInterval
from dutylife.decisions.starting import WarningTime, warning_of
from dutylife.settings import Settings
from dutylife.wording import count, every


def warning_used(cell: Cell, seen: LooksSeen, settings: Settings) -> WarningTime | None:
    """Time from first sign to failure: by the record where looks tell it, else as stated.

    What can hurt takes the shorter of the two.
    """
    stated = warning_of(cell.component, severe=cell.severe)
    if not seen.tells_delay:
        return stated
    delay = delay_from_looks(
        seen.n_found, seen.n_failed, seen.spacing_days,
        detection=cell.component.look_detection,
        confidence_level=settings.report.confidence_level,
    )  # fmt: skip
    told = WarningTime(
        hours=None, days=delay.mean, mark="", stated=True,
        source=f"the record: {seen.n_found} found at looks {seen.spacing_days:.0f} days apart, "
        f"{seen.n_failed} failed between",
    )  # fmt: skip
    if cell.component.can_hurt and stated is not None:
        ours, theirs = cell.sooner(told.hours, told.days), cell.sooner(stated.hours, stated.days)
        if ours is None or (theirs is not None and theirs < ours):
            return stated
    return told


def sign_words(
    cell: Cell, seen: LooksSeen, measured: MeasuringInterval | None, settings: Settings
) -> str:
    """What warns before a failure, how early, and how that is known."""
    if measured is not None:
        return (
            f"readings drift towards the limit ({count(measured.n_readings, 'reading')} on "
            f"{count(measured.n_parts, 'part')})"
        )
    warning = warning_used(cell, seen, settings)
    if warning is None or not warning.stated:
        return (
            "time from first sign to failure is not known, twice the starting spacing is taken "
            "(our proposal)"
        )
    time = every(warning.hours, warning.days, "", settings.fleet.meter_unit)
    return f"first sign to failure {time} ({warning.source or warning.mark})"
