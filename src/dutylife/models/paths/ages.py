"""Ages at which paths drawn from a law reach a limit, and their quantiles as a row."""

from collections.abc import Hashable

import numpy as np
from numpy.typing import NDArray

from dutylife.models.paths.draws import Draws
from dutylife.models.paths.likelihood import own_path
from dutylife.models.paths.rows import Sums

Array = NDArray[np.float64]
NEW_PART = "new part"
AGE_COLUMNS = [
    "part", "n_readings", "last_age", "age_at_limit", "lower", "upper", "share_never",
    "share_over_now",
]  # fmt: skip


def new_ages(sums: Sums, draws: Draws, height: float, seed: int) -> Array:
    """Age at the limit of a new part under each draw of the law, ``inf`` where never."""
    between, mean = draws.between, draws.mean
    return _ages(
        sums, draws, mean[:, 0], mean[:, 1], (between.start, between.both, between.slope), height,
        np.random.default_rng([seed, 1, 0]),
    )  # fmt: skip


def own_ages(sums: Sums, draws: Draws, part: int, height: float, seed: int) -> Array:
    """Age at the limit of a part given its readings, under each draw of the law."""
    start, slope, *variance = own_path(sums, part, draws.between, draws.mean)
    a, b, c = variance
    return _ages(
        sums, draws, start, slope, (a, b, c), height, np.random.default_rng([seed, 1, 1 + part])
    )


def _ages(
    sums: Sums, draws: Draws, start: Array, slope: Array, variance: tuple[Array, Array, Array],
    height: float, generator: np.random.Generator,
) -> Array:  # fmt: skip
    """Draw one path for each draw of the law and follow it to the limit."""
    first, second = generator.standard_normal((2, len(start)))
    root = np.sqrt(variance[0])
    lean = np.where(root > 0, variance[1] / np.where(root > 0, root, 1.0), 0.0)
    rest = np.sqrt(np.maximum(variance[2] - lean**2, 0.0))
    own_start = start + draws.noise * root * first
    own_slope = slope + draws.noise * (lean * first + rest * second)
    goal = (height - sums.centre) / sums.reading_unit
    rises = own_slope > 0
    ages = np.where(rises, (goal - own_start) / np.where(rises, own_slope, 1.0), np.inf)
    found: Array = np.where(own_start >= goal, 0.0, ages) * sums.age_unit
    return found


def age_row(told: tuple[Hashable, int, float], ages: Array, level: float) -> tuple[object, ...]:
    """A row of ``AGE_COLUMNS`` from part, number of readings and last age, and the ages drawn."""
    # by order, not by interpolation: between a finite age and infinity there is no middle
    low, half, high = np.quantile(
        ages, [(1 - level) / 2, 0.5, (1 + level) / 2], method="inverted_cdf"
    )
    over = np.nan if np.isnan(told[2]) else float((ages <= told[2]).mean())
    return (*told, float(half), float(low), float(high), float(np.isinf(ages).mean()), over)
