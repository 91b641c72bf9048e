"""How much each machine runs: stated, or from its own meter and from machines like it."""

import numpy as np
import pandas as pd

from dutylife.lives.clocks.paths import MeterPaths
from dutylife.lives.clocks.pooling import PRIOR_SPREAD, pooled_log_rates
from dutylife.lives.clocks.running import RATE_CV
from dutylife.lives.clocks.spread import Spread, spread_of
from dutylife.lives.clocks.standing import Array
from dutylife.settings import Settings

DAYS_PER_WEEK = 7.0
READING_SE = 0.5  # a reading, taken some time on the day of the visit [meter unit]
NOT_KNOWN = "not known"


def usage_of(units: pd.DataFrame, paths: MeterPaths, settings: Settings) -> pd.DataFrame:
    """Use rate of each unit: as stated, else by its own meter and by machines alike.

    Parameters
    ----------
    units : DataFrame
        Columns unit_id, duty, equipment_class, hours_per_week (stated, may be missing).

    Returns
    -------
    DataFrame
        Columns unit_id, hours_per_week, usage_source, rate_cv (standard error of the rate as a
        share of it), stray_days (see `Spread`), season_row (see `Season`).
        [meter unit per week, 1, d, 1]

    Notes
    -----
    The own rate counts by what it is worth: its error is that of the readings and of use that
    strays (see `Spread`), so that a week of readings moves the rate of the duty and class hardly
    and a year makes it the machine's own. The rate is the mean of what is believed, which lies
    above its median. ``usage_source`` is "meter" where the own readings weigh more than machines
    alike, "duty and class" where another machine of the duty tells, else "fleet"; without any
    reading ``[fleet] hours_per_week``.
    """
    out = units[["unit_id", "duty", "equipment_class"]].astype("object").copy()
    stated = units["hours_per_week"].astype(float).where(lambda r: r > 0).to_numpy(np.float64)
    spread, own, error = _own_rates(out["unit_id"], paths)
    is_stated = np.isfinite(stated)
    log_rate = np.where(is_stated, np.log(np.where(is_stated, stated, 1.0)), own)
    variance = np.where(is_stated, RATE_CV**2, error)
    cell, cells = pd.factorize(
        pd.MultiIndex.from_frame(out[["duty", "equipment_class"]].fillna(NOT_KNOWN).astype(str)),
        sort=True,
    )
    duty_of_cell, _ = pd.factorize(cells.get_level_values(0), sort=True)
    mean, left = pooled_log_rates(log_rate, variance, cell, duty_of_cell)
    rate = np.where(is_stated, stated, np.exp(mean + left / 2.0))
    cv = np.where(is_stated, RATE_CV, np.hypot(np.sqrt(np.expm1(left)), spread.drift))
    # of what is believed, the own readings weigh left / variance
    is_own = np.isfinite(own) & (left >= 0.5 * error)
    told = np.bincount(duty_of_cell[cell], np.isfinite(log_rate), minlength=len(cells)) > 0
    source = np.where(told[duty_of_cell[cell]], "duty and class", "fleet")
    source = np.select([is_stated, is_own], ["stated", "meter"], source)
    if not np.isfinite(log_rate).any():
        general = settings.fleet.hours_per_week
        rate = np.full(len(out), np.nan if general is None else general)
        cv = np.full(len(out), np.hypot(PRIOR_SPREAD, spread.drift))
        source = np.full(len(out), "unknown" if general is None else "fleet")
    return pd.DataFrame(
        {
            "unit_id": out["unit_id"],
            "hours_per_week": rate,
            "usage_source": source.astype("object"),
            "rate_cv": cv,
            "stray_days": spread.days,
            "season_row": paths.season.of(out["duty"]),
        },
        index=out.index,
    )


def _own_rates(unit_id: pd.Series, paths: MeterPaths) -> tuple[Spread, Array, Array]:
    """Spread of use; log of each unit's own weekly rate and the variance of its error."""
    machine, days, hours = paths.stretches()
    spread = spread_of(machine, days, hours, len(paths))
    lived = np.bincount(machine, days, minlength=len(paths))
    ran = np.maximum(np.bincount(machine, hours, minlength=len(paths)), READING_SE)
    safe = np.where(lived > 0, lived, 1.0)
    log_rate = np.where(lived > 0, np.log(ran / safe * DAYS_PER_WEEK), np.nan)
    variance = np.where(lived > 0, spread.days / safe + 2.0 * (READING_SE / ran) ** 2, np.inf)
    place = paths.of(unit_id)
    return spread, np.append(log_rate, np.nan)[place], np.append(variance, np.inf)[place]
