"""Where a run's folder lies."""

from pathlib import Path

from dutylife import history
from dutylife.errors import SettingsError
from dutylife.settings import Settings


def history_places(settings: Settings) -> list[Path]:
    """Where the calendars of earlier runs are, by ``[report] history``."""
    if not settings.report.history:
        return []
    place = settings.folder / settings.report.history
    if not place.exists():
        raise SettingsError(
            f"There is nothing at '{settings.report.history}'.",
            f"{settings.source}: report.history",
            "make the folder if the months are to be kept there from now on, name the one of "
            "earlier runs or a maintenance-calendar.ics, or take the key out",
        )
    return [place]


def folder_of(settings: Settings, out: str | Path | None) -> Path:
    """The run's DIR."""
    if out:
        return Path(out).absolute()
    # the day is blank before the exports are read
    day = "" if settings.fleet.as_of is None else f"{settings.fleet.as_of:%Y-%m-%d}"
    return (fleet_folder(settings) / (day or "day")).absolute()


def fleet_folder(settings: Settings) -> Path:
    """Return where the runs of a fleet lie when no other place is given."""
    return Path("reports") / history.slug_of(settings.fleet.name)
