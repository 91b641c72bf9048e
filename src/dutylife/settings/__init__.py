"""The run's settings file (TOML), typed: every fault at once, the nearest key named."""

from dutylife.settings.exports import KINDS, Export, Join, PartsCell, SourceColumn
from dutylife.settings.reading import read_settings, settings_from
from dutylife.settings.sections import (
    PLANS,
    CodedComponent,
    Cost,
    Duty,
    PresentSchedule,
    SeasonOrder,
    Stock,
    Workshop,
)
from dutylife.settings.whole import NO_EFFECT_YET, Settings

__all__ = [
    "KINDS",
    "NO_EFFECT_YET",
    "PLANS",
    "CodedComponent",
    "Cost",
    "Duty",
    "Export",
    "Join",
    "PartsCell",
    "PresentSchedule",
    "SeasonOrder",
    "Settings",
    "SourceColumn",
    "Stock",
    "Workshop",
    "read_settings",
    "settings_from",
]
