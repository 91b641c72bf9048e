"""The sections of a run's settings but for its exports."""

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from dutylife.settings.memory import bytes_of
from dutylife.settings.section import Days, Money, Number, Positive, Section, Share, Week


class Fleet(Section):
    """``[fleet]``: name, last day of the record, currency, meter unit."""

    name: str = "fleet"
    as_of: dt.date | None = None
    currency: str = ""
    meter_unit: Literal["hours", "miles", "km", "starts"] = "hours"
    hours_per_week: Positive | None = None


class CodedComponent(Section):
    """``[coding.components."NAME"]``: what the shop adds, or a component of its own."""

    words: list[str] = []
    part_numbers: list[str] = []
    clock: Literal["hours", "days", "idle_days"] | None = None
    can_hurt: str | None = None
    maker_limit_hours: Positive | None = None
    maker_limit_days: Positive | None = None
    # share of time a hidden function may be found failed on average
    allowed_unavailability: Annotated[float, Field(gt=0, le=0.5)] | None = None
    # chance that one look finds a defect that is there
    look_detection: Annotated[float, Field(gt=0, le=1)] | None = None


class Coding(Section):
    """``[coding]``: lexicon and what the text can't say."""

    lexicon: str = ""
    corrections: str = ""
    # a proposal of the text model is used from this confidence on; 1 switches proposals off
    guess_from: Annotated[float, Field(gt=0, le=1)] = 0.8
    default_reason: Literal["failure", "preventive", "opportunistic"] = "opportunistic"
    comeback_days: Annotated[int, Field(ge=0)] = 30
    merge_alternates: bool = False
    components: dict[str, CodedComponent] = {}


class Lives(Section):
    """``[lives]``: what of the parts' lives the record can't say.

    ``first_part``: how far a first part may be taken for the machine's original one.
    ``still_there``: how long a machine that was not seen for a while counts as watched.
    ``positions``: how many of a component (short name or alias) a machine has, or by equipment
    class.
    """

    first_part: Literal["by age", "original", "unknown"] = "by age"
    still_there: Literal["by gaps", "always", "last visit"] = "by gaps"
    positions: dict[str, Number | dict[str, Number]] = {}


class Duty(Section):
    """``[duty]``: where a machine's duty comes from; ``severe`` names the hard ones."""

    column: str = ""
    all: str = ""
    by_customer: dict[str, str] = {}
    by_unit: dict[str, str] = {}
    path: str = ""
    severe: list[str] = []


class Customer(Section):
    """``[customers."NAME"]``."""

    duty: str = ""
    left_on: dt.date | None = None
    blackout_weeks: list[Week] = []
    lost_day_cost: Money | None = None


class Workshop(Section):
    """``[workshop]``; a visit is one machine's, or one of a customer with all his machines."""

    hours_per_week: Positive | None = None
    labour_rate: Money | None = None
    visit_cost: Money | None = None
    # intervals are whole multiples of these, inside what costs nearly the same; [] rounds nothing
    interval_steps_hours: list[Positive] = [5, 10, 25, 50, 100, 250, 500, 1000, 2500, 5000, 10000]
    interval_steps_weeks: list[Positive] = [1, 2, 4, 13, 26]
    visit_cost_per: Literal["machine", "customer"] = "machine"


class PresentSchedule(Section):
    """``[present_schedule."COMPONENT"]``: the schedule followed today."""

    hours: Positive | None = None
    months: Positive | None = None


PLANS = ("as seen", "none", "present_schedule", "recommended")


class Plan(Section):
    """``[plan]``: the maintenance the stock forecast assumes.

    ``in_force``: one of `PLANS`, or a file of components with their ages; ``from``: the day it
    starts, before which the planned share in the record goes on; ``together_days``: what a plan
    has due so soon after other planned work on the machine is done at the same visit. [d]
    """

    in_force: str = "as seen"
    from_: dt.date | None = Field(default=None, alias="from")
    together_days: Days = 14.0


class Cost(Section):
    """``[costs.default]`` and ``[costs."COMPONENT"]``: all-in cost of one replacement."""

    planned_cost: Money | None = None
    failure_cost: Money | None = None
    labour_hours: Money | None = None
    lost_days_per_failure: Money | None = None
    payer: Literal["contractor", "shop"] | None = None


class ReplacementPrice(Section):
    """``[replacement_price."CLASS"]``: what a new machine costs, and for how many years."""

    price: Positive
    years: Positive


class Stock(Section):
    """``[stock.default]`` and ``[stock."PART-NO"]``."""

    lead_time_days: Money | None = None
    lead_time_sd_days: Money | None = None
    review_days: Money | None = None
    service_level: Share | None = None
    service_measure: Literal["fill rate", "ready rate"] | None = None
    when_short: Literal["back order", "lost sale"] | None = None
    unit_cost: Money | None = None
    holding_rate: Money | None = None
    order_cost: Money | None = None
    pack_size: Positive | None = None
    minimum_order: Money | None = None
    shelf_life_days: Positive | None = None
    supplier: str | None = None
    on_hand: Money | None = None
    on_order: Money | None = None


class SeasonOrder(Section):
    """``[[season_orders]]``: one order that a supplier takes ahead of a season.

    ``price_cut`` is the share off the unit cost, ``short_cost`` what a piece that is asked for in
    the season costs beyond its price where it was not bought ahead.
    """

    name: str = "season"
    order_by: dt.date
    from_date: Annotated[dt.date, Field(alias="from")]
    until_date: Annotated[dt.date, Field(alias="until")]
    supplier: str | None = None
    price_cut: Annotated[float, Field(ge=0, lt=1)] = 0.0
    short_cost: Money = 0.0

    @model_validator(mode="after")
    def _brings_something(self) -> "SeasonOrder":
        if not self.order_by <= self.from_date <= self.until_date:
            raise ValueError("order_by, from and until follow one another")
        if (self.until_date - self.from_date).days > 365:
            raise ValueError("a season is a year at most: set until")
        if not (self.price_cut or self.short_cost):
            raise ValueError(
                "nothing is gained by ordering ahead: give price_cut (0.1 is 10 % off) or "
                "short_cost (money a piece)"
            )
        return self


class Report(Section):
    """``[report]``."""

    horizon_months: Annotated[int, Field(ge=1, le=36)] = 6
    confidence_level: Share = 0.90
    seed: Annotated[int, Field(ge=0)] = 20260101
    history: str = ""
    customer: str | list[str] = ""


class Compute(Section):
    """``[compute]``; ``memory_limit`` (such as "8 GiB") is the most memory a run may take."""

    workers: Annotated[int, Field(ge=1)] = 1
    memory_limit: str = ""
    scheduler: str = ""

    @field_validator("memory_limit")
    @classmethod
    def _is_size(cls, size: str) -> str:
        bytes_of(size)
        return size
