"""Sections of the practice fleet's scenario, typed: laws, duties, classes, customers, parts."""

import datetime as dt
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]


class Section(BaseModel):
    """A table of the scenario: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Record(Section):
    """``[record]``: the fleet's name, the record's end, presence, use and meters."""

    name: str
    currency: str
    as_of: dt.date
    future_months: Annotated[int, Field(ge=0)]
    history_years: NotNegative
    share_before_record: Share
    leaving_per_year: NotNegative
    share_leaving_known: Share
    share_never_in: Share
    share_in_service_unknown: Share
    use_spread: NotNegative
    use_wobble: NotNegative
    share_without_meter: Share
    share_meter_missing: Share
    season_power: NotNegative
    moves_per_year: NotNegative
    reissued_share: Share


class Visits(Section):
    """``[visits]``: what brings a machine or a customer in, and how it is typed."""

    arrival_days_at_most: Annotated[int, Field(ge=0)]
    comeback_share: Share
    checks_per_year: NotNegative
    other_per_year: NotNegative
    service_days: Positive
    service_attendance: Share
    renew_after_days: NotNegative
    counter_per_week_per_100: NotNegative
    counter_per_week_least: NotNegative
    return_share: Share
    visit_return_share: Share
    vague_share: Share
    vague_complaint_share: Share
    blank_share: Share
    no_number_share: Share
    fee_share: Share
    slip_share: Share
    reading_share: Share


class Shop(Section):
    """``[shop]``: rates, and the terms of stock."""

    hours_per_week: Positive
    labour_rate: Positive
    visit_cost: NotNegative
    lost_day_cost: NotNegative
    lead_time_days: NotNegative
    review_days: NotNegative
    service_level: Annotated[float, Field(gt=0, lt=1)]
    holding_rate: NotNegative
    order_cost: NotNegative


class DutyPlace(Section):
    """``[duties."NAME"]``: running hours a week, months' factors, what machines work there."""

    hours_per_week: Positive
    severe: bool = False
    season: Annotated[list[Positive], Field(min_length=12, max_length=12)] = [1.0] * 12
    classes: dict[str, Positive]


class Buyer(Section):
    """``[customers."NAME"]``."""

    duty: str
    weight: Positive = 1.0
    serviced: bool = False


class MachineClass(Section):
    """``[classes."NAME"]``: letters of the unit's name, engine, parts of the driven end.

    ``price`` of a new one and the ``years`` it is kept are stated in the settings where above 0.
    """

    prefix: str
    engine: str
    driven: list[str] = []
    price: NotNegative = 0.0
    years: NotNegative = 6.0


class Engine(Section):
    """``[engines."NAME"]``: ``oil_part`` is filled where the engine has an oil of its own."""

    oil_part: str = ""


class Law(Section):
    """``[components."NAME"]``: true law by duty, and the part's money and numbers.

    ``shape`` and ``scale`` are those of a Weibull law. A lognormal law stands in for it with the
    same mean and spread of the log life.
    """

    on_engine: bool = False
    distribution: Literal["weibull", "lognormal"] = "weibull"
    shape: Positive
    shape_by_duty: dict[str, Positive] = {}
    scale: Positive
    factor: dict[str, Positive] = {}
    clean_share: Share = 0.0
    price: Positive
    unit_cost: Positive
    labour_hours: Positive
    lost_days: NotNegative
    quantity: Annotated[int, Field(ge=1)] = 1
    supplier: str
    lead_time_days: NotNegative | None = None
    pack_size: Annotated[int, Field(ge=1)] = 1
    part_numbers: dict[str, str]

    def shape_in(self, duty: str) -> float:
        """Weibull shape in a duty."""
        return self.shape_by_duty.get(duty, self.shape)

    def scale_in(self, duty: str) -> float:
        """Characteristic life in a duty, on the component's own clock."""
        return self.scale * self.factor.get(duty, 1.0)


class OtherPart(Section):
    """``[other_parts."PART-NO"]``: sold beside the components with laws."""

    description: str
    component: str
    price: Positive
    unit_cost: Positive
    supplier: str
    pack_size: Annotated[int, Field(ge=1)] = 1


class Shelf(Section):
    """``[shelf]``: gaps of the list of parts."""

    not_listed: list[str] = []
    count_unknown: list[str] = []


class MeterFaults(Section):
    """``[meter_faults]``: what happens to meters, and to readings as they are typed."""

    replaced_per_year: NotNegative
    stopped_per_year: NotNegative
    stopped_days: Annotated[list[Positive], Field(min_length=2, max_length=2)]
    rolling_share: Share
    rolls_at_hours: Positive
    mistyped_share: Share


class Shotgun(Section):
    """``[shotgun]``: share of repairs at which a whole group is changed for one failure."""

    share: Share
    groups: list[Annotated[list[str], Field(min_length=3, max_length=3)]]


class SecondMode(Section):
    """``[second_mode]``: a law every component also fails by; scale times its first one's."""

    shape: Positive
    scale_factor: Positive
    strength: Share = 0.0


class EarlyBatch(Section):
    """``[early_batch]``: parts fitted within some days of the record, of which some fail early.

    ``from_share`` and ``to_share`` are shares of the record's length.
    """

    components: list[str]
    from_share: Share
    to_share: Share
    share: Share
    shape: Positive
    scale_factor: Positive


class Spread(Section):
    """``[spread]``: gamma variance of the risk of failing, machine to machine and so on."""

    machine_variance: NotNegative
    customer_variance: NotNegative


class Announced(Section):
    """``[announced]``: machines promised at the cut-off, as a share of the fleet."""

    share_of_fleet: NotNegative


class Arrivals(Section):
    """``[arrivals]``: new machines a year as a share of the fleet, before and after the cut-off."""

    share_of_fleet_a_year: NotNegative = 0.0


class PlanAge(Section):
    """``[plan.ages."COMPONENT"]``: the age at which the plan replaces it."""

    hours: Positive | None = None
    months: Positive | None = None

    @model_validator(mode="after")
    def _one_of_both(self) -> "PlanAge":
        if (self.hours is None) == (self.months is None):
            raise ValueError("give either hours or months")
        return self


class Plan(Section):
    """``[plan]``: what is followed from the cut-off on; ``share`` of the parts due under it."""

    share: Share
    ages: dict[str, PlanAge]


class ScheduledAge(Section):
    """``[schedule."COMPONENT"]``: the age the shop says it replaces it at; which comes first."""

    hours: Positive
    months: Positive


class Stated(Section):
    """``[stated]``: what the settings file beside the export states wrongly."""

    wrong_duty_share: Share
    failure_cost_factor: Annotated[float, Field(ge=1)]
