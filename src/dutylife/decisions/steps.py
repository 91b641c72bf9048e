"""The steps a shop writes its intervals in."""

from dutylife.decisions.usage import DAYS_PER_WEEK
from dutylife.settings import Settings


def steps_of(clock: str, settings: Settings) -> tuple[float, ...]:
    """Steps the shop writes intervals in, on a law's clock."""
    shop = settings.workshop
    if clock == "hours":
        return tuple(shop.interval_steps_hours)
    return tuple(DAYS_PER_WEEK * s for s in shop.interval_steps_weeks)
