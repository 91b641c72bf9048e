"""Terms on which a part is bought and held: its own settings, the shelf file, defaults."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from dutylife.settings import Settings, Stock

# our proposals, where neither the shelf file nor the settings say
PROPOSED = Stock(
    lead_time_days=14.0,
    review_days=30.0,
    service_level=0.95,
    service_measure="fill rate",
    when_short="back order",
    holding_rate=0.25,
    pack_size=1.0,
)
_FROM_SHELF = ("on_hand", "on_order", "unit_cost", "lead_time_days", "pack_size", "supplier")
_LEAD_SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)  # quantiles of a lead time that varies


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """Stock terms of one part; ``on_hand`` None is unknown, never 0."""

    lead_time_days: float
    lead_time_sd_days: float
    review_days: float
    service_level: float
    service_measure: Any
    when_short: Any
    holding_rate: float
    pack_size: float
    minimum_order: float
    shelf_life_days: float | None
    unit_cost: float | None
    order_cost: float | None
    supplier: str | None
    on_hand: float | None
    on_order: float | None

    @property
    def review_whole_days(self) -> int:
        """Days between reviews, at least one."""
        return max(round(self.review_days), 1)

    @property
    def lead_whole_days(self) -> int:
        """Lead time in whole days: a part of a day is one."""
        return math.ceil(self.lead_time_days - 1e-9)

    @property
    def whole_pack(self) -> int:
        """Pieces of a pack, a part of a piece counted as one."""
        return max(math.ceil(self.pack_size - 1e-9), 1)

    @property
    def protection_days(self) -> int:
        """Lead time plus review."""
        return self.lead_whole_days + self.review_whole_days

    @property
    def lead_times(self) -> list[tuple[int, float]]:
        """Whole days of lead time with their shares: of a gamma law where it varies.

        Mean and standard deviation are those stated, but for the whole days.
        """
        if self.lead_time_sd_days <= 0 or self.lead_time_days <= 0:
            return [(self.lead_whole_days, 1.0)]
        from scipy.stats import gamma

        shape = (self.lead_time_days / self.lead_time_sd_days) ** 2
        raw = gamma(shape, scale=self.lead_time_days / shape).ppf(_LEAD_SHARES)
        spread = float(np.std(raw))
        days = self.lead_time_days + (raw - raw.mean()) * self.lead_time_sd_days / spread
        whole = [max(round(d), 0) for d in days]
        return [(d, whole.count(d) / len(whole)) for d in sorted(set(whole))]


def terms_of(number: str, shelf: dict[str, Any], settings: Settings) -> Terms:
    """Terms of a part: its own settings, else the shelf file, else [stock.default], else ours."""
    general = settings.stock.get("default")
    own = settings.stock.get(number)
    counted = shelf.get("counted")
    on_shelf = {k: shelf.get(k) for k in _FROM_SHELF}
    if _is_known(counted):
        on_shelf["on_hand"] = counted
    merged = PROPOSED.model_dump(exclude_none=True)
    merged |= {} if general is None else general.model_dump(exclude_none=True)
    merged |= {k: v for k, v in on_shelf.items() if _is_known(v)}
    merged |= {} if own is None else own.model_dump(exclude_none=True)
    return Terms(
        lead_time_days=float(merged["lead_time_days"]),
        lead_time_sd_days=float(merged.get("lead_time_sd_days", 0.0)),
        review_days=float(merged["review_days"]),
        service_level=float(merged["service_level"]),
        service_measure=merged["service_measure"],
        when_short=merged["when_short"],
        holding_rate=float(merged["holding_rate"]),
        pack_size=float(merged["pack_size"]),
        minimum_order=float(merged.get("minimum_order", 0.0)),
        shelf_life_days=merged.get("shelf_life_days"),
        unit_cost=merged.get("unit_cost"),
        order_cost=merged.get("order_cost"),
        supplier=merged.get("supplier"),
        on_hand=merged.get("on_hand"),
        on_order=merged.get("on_order"),
    )


def _is_known(value: Any) -> bool:
    return value is not None and not (isinstance(value, float) and math.isnan(value))
