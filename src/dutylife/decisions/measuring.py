"""How often to measure: by the drift of the readings, until one part in ten would be over."""

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from dutylife.components import Component
from dutylife.decisions.cells import Cell
from dutylife.decisions.reading_verdict import judge_readings
from dutylife.errors import DecisionError, FitError
from dutylife.models import PathModel, path_model, readings_by_part
from dutylife.wording import count, number, percent

# parts read twice or more in the duty, before their drift spaces its measurements (our proposal)
ENOUGH_PARTS, ENOUGH_READINGS = 8, 24
# share of the parts that may reach the limit before they are measured again (our proposal)
SHARE_OVER, SHARE_OVER_CAN_HURT = 0.10, 0.01
_LEVELS = (0.998, 0.98, 0.9, 0.8, 0.6, 0.4, 0.2, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuringInterval:
    """Spacing of measurements from the drift of readings.

    ``interval`` is the time in which ``share_over`` of the parts under their limit today reach it,
    in the model's unit of age; ``n_over`` parts are at it or beyond already, and are left out.
    """

    interval: float
    share_over: float
    n_parts: int
    n_over: int
    n_readings: int

    @property
    def table(self) -> pd.DataFrame:
        """One row: interval, share_over, n_parts, n_over, n_readings."""
        names = ("interval", "share_over", "n_parts", "n_over", "n_readings")
        return pd.DataFrame([{n: getattr(self, n) for n in names}])

    @property
    def text(self) -> str:
        """One sentence."""
        over = f"; {count(self.n_over, 'part is', 'parts are')} over it now" if self.n_over else ""
        return (
            f"Measure every {number(self.interval)}: by the drift of "
            f"{count(self.n_readings, 'reading')} on {count(self.n_parts, 'part')} "
            f"{percent(self.share_over)} of those in use reach their limit by then{over}."
        )


def measuring_interval(model: PathModel, *, share_over: float = SHARE_OVER) -> MeasuringInterval:
    """How long until a share of the parts that were read reach the limit of a path model.

    Parameters
    ----------
    model : PathModel
        With a limit.
    share_over : float
        Share of the parts under the limit today that may reach it before the next reading. [1]

    Returns
    -------
    MeasuringInterval

    Raises
    ------
    DecisionError
        A share that is none, no part under the limit, or a drift that does not lead to it.
    FitError
        The model has no limit.

    Notes
    -----
    Each part's chance to reach the limit within a time follows from its readings and from what is
    not known of the law (`PathModel.parts_to_limit`); their mean over the parts is `share_over` at
    the interval. A part counts from its last reading.
    """
    if not 0 < share_over < 1:
        raise DecisionError(f"A share of {share_over} can't be.", "measuring_interval(share_over)")
    ends: list[tuple[float, np.ndarray[Any, Any]]] = []
    over = np.zeros(model.n_parts, dtype=bool)
    for level in _LEVELS:
        told = model.parts_to_limit(level=max(level, 1e-6))
        over = (told["share_over_now"] > 0.5).to_numpy(bool)
        for end, share in (("lower", (1 - level) / 2), ("upper", (1 + level) / 2)):
            ends.append((share, (told[end] - told["last_age"]).to_numpy(float)))
    if over.all():
        raise DecisionError(
            "Every part that was read is over its limit.", "measuring_interval(model)",
            "change them, then measure the new ones",
        )  # fmt: skip
    ends.sort(key=lambda e: e[0])
    shares = np.array([s for s, _ in ends])
    left = np.maximum(np.array([values for _, values in ends])[:, ~over], 0.0)
    finite = left[np.isfinite(left) & (left > 0)]
    if not finite.size:
        raise DecisionError(
            "By their drift no part ever reaches its limit.", "measuring_interval(model)",
            "keep the starting spacing of measurements",
        )  # fmt: skip
    at = np.geomspace(finite.min() / 10, finite.max(), 400)
    mean = np.mean([_share_by(at, left[:, j], shares) for j in range(left.shape[1])], axis=0)
    reached = np.flatnonzero(mean >= share_over)
    if not reached.size:
        raise DecisionError(
            f"By their drift less than {percent(share_over)} of the parts ever reach the limit.",
            "measuring_interval(model)", "keep the starting spacing of measurements",
        )  # fmt: skip
    return MeasuringInterval(
        interval=float(at[reached[0]]), share_over=share_over, n_parts=model.n_parts,
        n_over=int(over.sum()), n_readings=model.n_readings,
    )  # fmt: skip


def _share_by(at: np.ndarray, left: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Chance that a part has reached the limit by each time, from quantiles of its time left."""
    known = np.isfinite(left)
    if not known.any():
        return np.zeros_like(at)
    return np.asarray(
        np.interp(at, left[known], shares[known], left=0.0, right=float(shares[known][-1]))
    )


def measured_cells(
    cells: list[Cell],
    readings: pd.DataFrame | None,
    catalogue: pd.DataFrame | None,
    unit_spans: pd.DataFrame,
    known: dict[str, Component],
    seed: int,
) -> dict[tuple[str, str], MeasuringInterval]:
    """Measuring interval of each cell whose readings tell one, on the cell's clock.

    Readings are taken as shares of the part's own limit, from the catalogue; a part without one
    says nothing. A cell is left out where too few parts were read twice, or they do not drift.
    """
    if readings is None or catalogue is None or readings.empty:
        return {}
    wanted = {c.component.name for c in cells}
    mine = readings[readings["component"].astype(object).isin(wanted)]
    if mine.empty:
        return {}
    judged = judge_readings(mine.reset_index(drop=True), catalogue, known)
    limits = judged[["low_limit", "high_limit"]].astype(float).to_numpy()
    duty_of = _duties(mine, unit_spans)
    out: dict[tuple[str, str], MeasuringInterval] = {}
    for cell in cells:
        chosen = (
            (mine["component"].astype(object) == cell.component.name).to_numpy()
            & (duty_of == cell.duty)
        )  # fmt: skip
        found = _of_cell(mine[chosen], limits[chosen], cell, seed)
        if found is not None:
            out[cell.component.name, cell.duty] = found
    return out


def _of_cell(
    rows: pd.DataFrame, limits: np.ndarray, cell: Cell, seed: int
) -> MeasuringInterval | None:
    clock: Literal["hours", "days"] = "hours" if cell.clock == "hours" else "days"
    share_over = SHARE_OVER_CAN_HURT if cell.component.can_hurt else SHARE_OVER
    best: MeasuringInterval | None = None
    for side, direction in ((1, "up"), (0, "down")):
        has = np.isfinite(limits[:, side]) & (limits[:, side] > 0)
        if has.sum() < ENOUGH_READINGS:
            continue
        shares = rows[has].assign(value=rows.loc[has, "value"] / limits[has, side], unit="1")
        for quantity in sorted(shares["quantity"].astype(object).dropna().unique()):
            found = _drift(shares, cell.component.name, str(quantity), clock, direction,
                           share_over, seed)  # fmt: skip
            if found is not None and (best is None or found.interval < best.interval):
                best = found
    return best


def _drift(
    shares: pd.DataFrame, component: str, quantity: str, clock: Literal["hours", "days"],
    direction: str, share_over: float, seed: int,
) -> MeasuringInterval | None:  # fmt: skip
    try:
        paths = readings_by_part(shares, component, quantity, clock=clock)
    except FitError:  # no reading of this quantity has an age: the starting spacing stays
        return None
    table = paths.table
    twice = table.groupby("part")["age"].nunique()
    if (twice >= 2).sum() < ENOUGH_PARTS or len(table) < ENOUGH_READINGS:
        return None
    try:
        model = path_model(
            table["part"], table["age"], table["reading"], limit=1.0,
            direction="up" if direction == "up" else "down", seed=seed,
        )  # fmt: skip
        found = measuring_interval(model, share_over=share_over)
    except (FitError, DecisionError):  # new parts beyond the limit, or none that drifts to it
        return None
    return found if math.isfinite(found.interval) else None


def _duties(readings: pd.DataFrame, unit_spans: pd.DataFrame) -> np.ndarray:
    """Duty of the machine on the day of each reading, blank where no span holds it."""
    spans = unit_spans[["unit_id", "from_date", "to_date", "duty"]].astype(
        {"unit_id": "object", "duty": "object"}
    )
    rows = readings[["unit_id", "read_on"]].astype({"unit_id": "object"})
    rows = rows.assign(row=np.arange(len(rows)))
    both = rows.merge(spans, on="unit_id")
    inside = both[
        (both["read_on"] >= both["from_date"])
        & (both["to_date"].isna() | (both["read_on"] <= both["to_date"]))
    ].drop_duplicates("row", keep="last")
    duty = pd.Series("", index=np.arange(len(rows)), dtype=object)
    duty.loc[inside["row"].to_numpy()] = inside["duty"].to_numpy()
    return duty.to_numpy()
