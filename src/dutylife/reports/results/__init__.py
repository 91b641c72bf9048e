"""A picture for each frozen result of models, decisions and stock; `drawer_of` finds it."""

from collections.abc import Callable
from typing import Any

from dutylife.reports.results.marks import Units

Drawer = Callable[[Any, Any, Units], None]


def drawers() -> dict[type, Drawer]:
    """Give every kind of result that can be drawn, with the function that draws it."""
    from dutylife.reports.results import (
        coming_year,
        compared,
        costs,
        curves,
        laws,
        recurring,
        shelf,
    )

    found: dict[type, Drawer] = {}
    for module in (curves, laws, compared, recurring, costs, coming_year, shelf):
        found |= module.DRAWN
    return found


def drawer_of(result: object) -> Drawer | None:
    """Give the function that draws a result, None where it is of no such kind."""
    return drawers().get(type(result))


__all__ = ["Drawer", "Units", "drawer_of", "drawers"]
