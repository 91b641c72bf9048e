"""Whether some parts fail early, apart from the rest: a second, shorter-lived lot in the lives."""

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models.checks import checked_lives
from dutylife.models.fitting import fit_law
from dutylife.models.laws import LifeLaw
from dutylife.models.mixture import TwoLots
from dutylife.models.resample import Watching
from dutylife.wording import count, number

Array = NDArray[np.float64]
FLAGGED = 0.05  # chance of so large a likelihood ratio in plain Weibull lives below which we flag
FEWEST_FAILURES = 5
# drawn at a time; once ENOUGH draws lie beyond the lives' own figure the chance is told well
# enough (Besag and Clifford, Biometrika 78, 1991)
_DRAWN_AT_ONCE = 40
ENOUGH = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlyFailures:
    """A Weibull law of all lives against two lots of one shape, the smaller dying earlier.

    ``share`` of parts are of the early lot, whose scale is ``times_life`` that of the others.
    ``chances`` holds (row, age, chance of being of the early lot) of each failure.
    """

    n_lives: int
    n_failed: int
    plain_shape: float
    plain_scale: float
    share: float
    times_life: float
    shape: float
    scale: float
    likelihood_ratio: float
    p_value: float
    p_value_error: float
    n_simulated: int
    chances: tuple[tuple[int, float, float], ...] = field(repr=False)

    @property
    def flagged(self) -> bool:
        """Whether plain Weibull lives would look so in fewer than 5 of 100 records."""
        return self.p_value < FLAGGED

    @property
    def table(self) -> pd.DataFrame:
        """Rows plain law and two lots: shape, scale, share_early, early_times_life, p_value."""
        return pd.DataFrame(
            {
                "shape": [self.plain_shape, self.shape],
                "scale": [self.plain_scale, self.scale],
                "share_early": [0.0, self.share],
                "early_times_life": [math.nan, self.times_life],
                "p_value": [math.nan, self.p_value],
            },
            index=["plain law", "two lots"],
        )

    @property
    def failures(self) -> pd.DataFrame:
        """Each failure, youngest first: columns row, age, chance_early."""
        frame = pd.DataFrame(list(self.chances), columns=["row", "age", "chance_early"])
        return frame.sort_values(["age", "row"], kind="stable").reset_index(drop=True)

    @property
    def text(self) -> str:
        """One sentence."""
        seen = f"{count(self.n_failed, 'failure')} in {count(self.n_lives, 'life', 'lives')}"
        if not self.flagged:
            return (
                f"{seen}: no sign that some parts fail early apart from the rest (one law would "
                f"look so in {number(100 * self.p_value, 2)} of 100 records)."
            )
        likely = int((self.failures["chance_early"] >= 0.5).sum())
        return (
            f"{seen}: some parts seem to fail early, about {number(100 * self.share, 2)} % of them "
            f"at {number(self.times_life, 2)} of the others' life; {likely} failures most likely "
            f"are such. One law would look so in {number(100 * self.p_value, 2)} of 100 records. "
            f"Without them the shape is {number(self.shape)}, with them in one law "
            f"{number(self.plain_shape)}; look at fitting, batches and mixed causes first."
        )


def early_failures(
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    n_simulated: int = 199,
    seed: int = 0,
) -> EarlyFailures:
    """Test whether a part of the lives ends early, apart from the rest.

    Parameters
    ----------
    exit : array_like, shape (n,)
        Age at the end of each life or of its watching. [one unit for all]
    event : array_like, shape (n,)
        1 where the life ended in failure.
    entry : array_like, shape (n,), optional
        Age at which watching began; 0 by default. Early failures before it are never seen.
    n_simulated : int
        Draws of plain Weibull lives at most; 39 or more.
    seed : int
        Of the draws.

    Returns
    -------
    EarlyFailures

    Raises
    ------
    TooFewFailuresError
        Fewer than 5 failures, or all at one age.
    FitError
        Lives that can't stand, or too few draws.

    Notes
    -----
    Likelihood ratio of two Weibull lots of one shape (3, 10 or 25 % early, at 0.03, 0.1 or 0.3 of
    the others' scale, the best of these) against one. Such a ratio follows no chi-square, so its
    chance comes from plain Weibull lives drawn under the same watching and tested alike (McLachlan,
    Applied Statistics 36, 1987). A flag says that one Weibull law does not hold at young ages; two
    causes, two duties or mistaken ages look the same. The figures of the lots are fitted freely.
    """
    ages, failed, starts, _ = checked_lives(exit, event, entry, None)
    n_failed = int(failed.sum())
    if n_failed < FEWEST_FAILURES:
        raise TooFewFailuresError(
            f"{count(n_failed, 'failure')} can't tell early ones from the rest.",
            "early_failures(event)", f"wait for {FEWEST_FAILURES} failures, or pool like duties",
        )  # fmt: skip
    if n_simulated < _DRAWN_AT_ONCE - 1:
        raise FitError(
            f"{n_simulated} draws can't tell a chance of 0.05.", "early_failures(n_simulated=)",
            f"{_DRAWN_AT_ONCE - 1} draws or more",
        )  # fmt: skip
    law = fit_law("weibull", ages, failed, entry=starts)
    seen = TwoLots(ages[None], failed[None], starts[None])
    ratio, best = seen.ratio()
    rng = np.random.default_rng(seed)
    watching = Watching.of(ages, failed, starts)
    beyond = tried = 0
    while tried < n_simulated and beyond < ENOUGH:
        k = min(_DRAWN_AT_ONCE, n_simulated - tried)
        drawn, ended = (np.array(v) for v in zip(
            *(_carrying(watching, law, rng) for _ in range(k)), strict=True
        ))  # fmt: skip
        told, _ = TwoLots(drawn, ended, np.broadcast_to(starts, drawn.shape)).ratio()
        beyond += int((told >= ratio[0]).sum())
        tried += k
    p = (1.0 + beyond) / (1.0 + tried)
    lots = seen.freed(best[0])
    chance = seen.chance_early(lots)[0]
    rows = np.flatnonzero(failed)
    return EarlyFailures(
        n_lives=len(ages),
        n_failed=n_failed,
        plain_shape=law.shape,
        plain_scale=law.scale,
        share=float(lots[0]),
        times_life=math.exp(lots[1]),
        shape=math.exp(lots[2]),
        scale=math.exp(lots[3]),
        likelihood_ratio=float(ratio[0]),
        p_value=p,
        p_value_error=math.sqrt(p * (1.0 - p) / tried),
        n_simulated=tried,
        chances=tuple((int(i), float(ages[i]), float(chance[i])) for i in rows),
    )


def _carrying(
    watching: Watching, law: LifeLaw, rng: np.random.Generator
) -> tuple[Array, NDArray[np.bool_]]:
    """Drawn lives with failures enough for two figures."""
    for _ in range(100):
        ages, failed = watching.draw(law, rng)
        if len(np.unique(ages[failed])) >= 2:
            return ages, failed
    raise TooFewFailuresError(
        "Lives drawn like these mostly have no two failures.", "early_failures(event)",
        "wait for failures, or pool like duties",
    )  # fmt: skip
