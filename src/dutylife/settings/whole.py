"""All settings of a run, typed; each key from its own table, else from the default one."""

from pathlib import Path
from typing import Any, TypeVar

from pydantic import Field

from dutylife.settings.exports import Export
from dutylife.settings.section import Section
from dutylife.settings.sections import (
    Coding,
    Compute,
    Cost,
    Customer,
    Duty,
    Fleet,
    Lives,
    Plan,
    PresentSchedule,
    ReplacementPrice,
    Report,
    SeasonOrder,
    Stock,
    Workshop,
)

S = TypeVar("S", bound=Section)
# keys of the contract that are read and checked, but that no stage acts on yet
NO_EFFECT_YET = ("compute.memory_limit",)


class Settings(Section):
    """All settings of a run; ``folder`` is where relative paths start."""

    fleet: Fleet = Fleet()
    exports: list[Export] = []
    coding: Coding = Coding()
    lives: Lives = Lives()
    duty: Duty = Duty()
    customers: dict[str, Customer] = {}
    workshop: Workshop = Workshop()
    present_schedule: dict[str, PresentSchedule] = {}
    plan: Plan = Plan()
    costs: dict[str, Cost] = {}
    replacement_price: dict[str, ReplacementPrice] = {}
    stock: dict[str, Stock] = {}
    season_orders: list[SeasonOrder] = []
    report: Report = Report()
    compute: Compute = Compute()
    folder: Path = Field(default=Path(), exclude=True)
    source: str = Field(default="settings", exclude=True)

    def cost_of(self, component: str) -> Cost:
        """Costs of a component, each key from its own table, else from ``[costs.default]``."""
        return _merged(Cost, self.costs.get("default"), self.costs.get(component))

    def stock_of(self, part_number: str) -> Stock:
        """Stock terms of a part, each key from its own table, else from ``[stock.default]``."""
        return _merged(Stock, self.stock.get("default"), self.stock.get(part_number))


def _merged(kind: type[S], general: S | None, own: S | None) -> S:
    known: dict[str, Any] = {}
    for section in (general, own):
        if section is not None:
            known |= section.model_dump(exclude_none=True)
    return kind(**known)
