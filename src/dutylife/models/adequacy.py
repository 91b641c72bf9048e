"""How far lives lie from a law fitted to them: residuals, plot with bounds, a distance test."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models.curved import CurvedLaw
from dutylife.models.hazard import nelson_aalen
from dutylife.models.laws import LifeLaw, standard_quantile
from dutylife.models.resample import Watching, hazard_at

Array = NDArray[np.float64]
AnyLaw = LifeLaw | CurvedLaw
# of drawn lives to which the law can't be fitted, for each that it can
MOST_REDRAWN = 10


@dataclass(frozen=True, slots=True)
class Residuals:
    """Cumulative hazard of a law at each life's exit and entry: unit exponential if it is right."""

    exit: Array
    entry: Array
    failed: NDArray[np.bool_]

    @classmethod
    def of(cls, law: AnyLaw, exit_: Array, failed: NDArray[np.bool_], entry: Array) -> "Residuals":
        """Cox-Snell residuals of lives under a law."""
        start = np.where(entry > 0, hazard_at(law, np.where(entry > 0, entry, 1.0)), 0.0)
        return cls(hazard_at(law, exit_), start, failed)

    def distance(self) -> float:
        """Anderson-Darling distance of the failures' shares of the total hazard lived [1].

        Each failure stands at the share of all lives' hazard that was lived up to it; were the
        law right, these shares lie evenly between 0 and 1. A failure at 1, the last life of all,
        is sure to be there and says nothing. It takes cut-off and late lives as they are, and is
        the total time on test of an exponential law.
        """
        at = np.sort(self.exit[self.failed])
        share = (_lived(self.exit, at) - _lived(self.entry, at)) / (self.exit - self.entry).sum()
        share = share[share < 1.0 - 1e-12]
        n = len(share)
        if n == 0:
            return 0.0
        share = np.maximum(share, 1e-300)
        odd = 2.0 * np.arange(1, n + 1) - 1.0
        return float(-n - odd @ (np.log(share) + np.log1p(-share[::-1])) / n)

    def widest(self) -> float:
        """Largest standardised gap between the residuals' log cumulative hazard and the law's."""
        at = np.sort(self.exit[self.failed])
        at_risk = len(self.exit) - np.searchsorted(np.sort(self.exit), at, side="left")
        late = np.sort(self.entry[self.entry > 0])
        at_risk = at_risk - (len(late) - np.searchsorted(late, at, side="left"))
        found = np.cumsum(1.0 / at_risk)
        error = np.sqrt(np.cumsum(1.0 / at_risk**2.0)) / found
        with np.errstate(divide="ignore"):
            return float(np.max(np.abs(np.log(found) - np.log(at)) / error))


def _lived(ends: Array, at: Array) -> Array:
    """Sum over lives of the lesser of their end and each of the sorted values ``at``."""
    ordered = np.sort(ends)
    below = np.searchsorted(ordered, at, side="right")
    sums = np.concatenate([[0.0], np.cumsum(ordered)])
    found: Array = sums[below] + at * (len(ordered) - below)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Adequacy:
    """A law with what its own draws say of its distance to the lives.

    ``p_value``: chance of so great a distance were the law right, from ``n_simulated`` draws
    (parametric bootstrap, the law fitted to each anew); ``p_value_error`` its standard error by
    chance of the draws. ``widest`` holds the widest gap on paper of each draw.
    """

    law: AnyLaw
    distance: float
    p_value: float
    p_value_error: float
    n_simulated: int
    n_redrawn: int
    widest: tuple[float, ...] = field(repr=False)

    def residuals(self, level: float = 0.95) -> pd.DataFrame:
        """Nelson-Aalen curve of the Cox-Snell residuals beside what they should be.

        Parameters
        ----------
        level : float
            Confidence level of the pointwise limits. [1]

        Returns
        -------
        DataFrame
            A row by failure: age, residual, cumulative_hazard (equal to ``residual`` but for
            chance, if the law is right), lower, upper.
        """
        exit_, failed, entry = lives_of(self.law)
        told = Residuals.of(self.law, exit_, failed, entry)
        curve = nelson_aalen(told.exit, told.failed, entry=told.entry, level=level).table
        curve = curve[curve["n_events"] > 0].reset_index(drop=True)
        _, first = np.unique(told.exit[failed], return_index=True)
        return pd.DataFrame(
            {
                "age": exit_[failed][first],
                "residual": curve["age"],
                "cumulative_hazard": curve["cumulative_hazard"],
                "lower": curve["lower"],
                "upper": curve["upper"],
            }
        )

    def probability_plot(self, level: float = 0.90) -> pd.DataFrame:
        """Points and bounds to draw on the law's own paper.

        Parameters
        ----------
        level : float
            Level of both kinds of bounds. [1]

        Returns
        -------
        DataFrame
            A row by failure: age, share_failed (exp(-cumulative hazard), Nelson-Aalen), lower and
            upper (pointwise, about the share seen), fitted_share, fitted_lower and fitted_upper
            (simultaneous, about the law: all points lie between them in ``level`` of draws from
            it), log_age and quantile (axes on which the law is a line; for a gamma or threshold
            law the exponential's quantile, and it is a curve).
        """
        told = self.residuals(level)
        error = np.log(told["upper"] / told["lower"]) / (2.0 * _normal(level))
        wide = float(np.quantile(self.widest, level, method="higher"))
        share = -np.expm1(-told["cumulative_hazard"])
        name = self.law.law if isinstance(self.law, LifeLaw) else "exponential"
        return pd.DataFrame(
            {
                "age": told["age"],
                "share_failed": share,
                "lower": -np.expm1(-told["lower"]),
                "upper": -np.expm1(-told["upper"]),
                "fitted_share": -np.expm1(-told["residual"]),
                "fitted_lower": -np.expm1(-told["residual"] * np.exp(-wide * error)),
                "fitted_upper": -np.expm1(-told["residual"] * np.exp(wide * error)),
                "log_age": np.log(told["age"]),
                "quantile": standard_quantile(name, share),
            }
        )


def _normal(level: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(0.5 + level / 2.0))


def lives_of(law: AnyLaw) -> tuple[Array, NDArray[np.bool_], Array]:
    """Exit, failed and entry of the lives a law was fitted to."""
    exit_, failed, entry, _ = (np.array(v) for v in zip(*law.lives, strict=True))
    return exit_, failed.astype(bool), entry


def adequacy(
    law: AnyLaw,
    refit: Callable[[Array, NDArray[np.bool_], Array], AnyLaw],
    seed: int | list[int],
    n_simulated: int,
) -> Adequacy:
    """Hold a law's distance to its lives against that of draws from it.

    Parameters
    ----------
    law : LifeLaw or CurvedLaw
    refit : callable
        Fits the same kind of law to exit, failed, entry.
    seed : int or list of int
    n_simulated : int

    Raises
    ------
    TooFewFailuresError
        Draws of these lives mostly carry no law.
    """
    rng = np.random.default_rng(seed)
    exit_, failed, entry = lives_of(law)
    seen = Residuals.of(law, exit_, failed, entry).distance()
    watching = Watching.of(exit_, failed, entry)
    distances: list[float] = []
    widest: list[float] = []
    redrawn = 0
    while len(distances) < n_simulated:
        ages, ended = watching.draw(law, rng)
        try:
            again = refit(ages, ended, entry)
        except FitError as error:  # too few failures drawn, or all at one age
            redrawn += 1
            if redrawn > MOST_REDRAWN * n_simulated:
                raise TooFewFailuresError(
                    f"Lives drawn from the {law.law} law of {law.n_failed} failures mostly carry "
                    "no law themselves: its distance to the lives can't be judged.",
                    "choose_law(exit, event)", "wait for failures, or pool with like duties",
                ) from error  # fmt: skip
            continue
        drawn = Residuals.of(again, ages, ended, entry)
        distances.append(drawn.distance())
        widest.append(drawn.widest())
    p = (1.0 + sum(d >= seen for d in distances)) / (n_simulated + 1.0)
    return Adequacy(
        law=law,
        distance=seen,
        p_value=p,
        p_value_error=float(np.sqrt(p * (1.0 - p) / n_simulated)),
        n_simulated=n_simulated,
        n_redrawn=redrawn,
        widest=tuple(widest),
    )
