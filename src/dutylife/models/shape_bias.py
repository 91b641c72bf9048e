"""How much too high a Weibull shape comes out in a small sample, and the factor that mends it."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from dutylife.errors import FitError
from dutylife.wording import count, number

Array = NDArray[np.float64]
Unbiased = Literal["mean", "median"]
_BLOCK = 2_000_000  # lives simulated at once
_STEPS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class ShapeFactor:
    """Factor that a maximum likelihood shape is multiplied by; ``standard_error`` is its own.

    ``unbiased`` says what the corrected shape gets right: its mean ("mean") or its median
    ("median"). The standard error is that of simulation, 0 for the formula.
    """

    n_lives: int
    n_failed: int
    unbiased: str
    factor: float
    standard_error: float
    n_samples: int

    @property
    def table(self) -> pd.DataFrame:
        """One row: n_lives, n_failed, unbiased, factor, standard_error, n_samples."""
        names = ("n_lives", "n_failed", "unbiased", "factor", "standard_error", "n_samples")
        return pd.DataFrame([{name: getattr(self, name) for name in names}])

    @property
    def text(self) -> str:
        """One sentence."""
        way = "on average" if self.unbiased == "mean" else "more often than not"
        end = "right on average" if self.unbiased == "mean" else "as often too high as too low"
        return (
            f"With {count(self.n_failed, 'failure')} in "
            f"{count(self.n_lives, 'life', 'lives')} a Weibull shape is too high {way}; "
            f"multiplied by {number(self.factor)} it is {end}."
        )


def shape_factor(n_lives: int) -> ShapeFactor:
    """Mean-unbiasing factor of a Weibull shape by formula: (n - 2) / (n - 0.68).

    Parameters
    ----------
    n_lives : int
        Lives, all of which failed.

    Raises
    ------
    FitError
        Fewer than 3 lives.

    Notes
    -----
    Ross (1994), after Makalic and Schmidt (arXiv 2209.14567); within 0.005 of simulation from 5
    lives on. For complete samples only: with censored lives use `simulated_shape_factor`.
    """
    n = int(n_lives)
    if n < 3:
        raise FitError(
            f"No factor for {count(n, 'life', 'lives')}.", "shape_factor(n_lives)", "3 or more"
        )
    return ShapeFactor(
        n_lives=n, n_failed=n, unbiased="mean", factor=(n - 2.0) / (n - 0.68),
        standard_error=0.0, n_samples=0,
    )  # fmt: skip


def simulated_shape_factor(
    n_lives: int,
    n_failed: int | None = None,
    *,
    unbiased: Unbiased = "mean",
    n_samples: int = 100_000,
    seed: int = 0,
) -> ShapeFactor:
    """Unbiasing factor of a Weibull shape by simulation, 1 / E(shape found / shape).

    The law of shape found / shape is the same for every Weibull law, so that lives of shape and
    scale 1 tell it (Thoman, Bain and Antle, 1969).

    Parameters
    ----------
    n_lives : int
        Lives in a sample.
    n_failed : int, optional
        Stop each sample at that failure, the other lives still working (type II censoring); all
        fail by default. Other ways of stopping have factors of their own.
    unbiased : {"mean", "median"}
        "mean": the corrected shape is right on average, 1 / mean. "median": it is as often too
        high as too low, 1 / median; the milder correction.
    n_samples : int
    seed : int

    Raises
    ------
    FitError
        Fewer than 3 failures (the mean does not exist for 2), more failures than lives, fewer than
        100 samples, or an option that is not known.

    Notes
    -----
    The standard error is by the delta method; that of a median takes the density there from the
    order statistics about it.
    """
    n, failed = int(n_lives), int(n_lives if n_failed is None else n_failed)
    if failed < 3 or failed > n or n_samples < 100 or unbiased not in ("mean", "median"):
        raise FitError(
            f"No {unbiased} factor for {count(failed, 'failure')} in {count(n, 'life', 'lives')} "
            f"by {n_samples} samples.",
            "simulated_shape_factor(n_lives, n_failed, unbiased=, n_samples=)",
            "3 failures or more, no more than lives; 'mean' or 'median'; 100 samples or more",
        )
    generator = np.random.default_rng(seed)
    block = max(_BLOCK // n, 1)
    sizes = [min(block, n_samples - done) for done in range(0, n_samples, block)]
    ratio = np.concatenate([_shapes(generator, size, n, failed) for size in sizes])
    if unbiased == "mean":
        middle, error = float(ratio.mean()), float(ratio.std() / math.sqrt(n_samples))
    else:
        # one standard error of the rank to both sides of the middle
        half = 0.5 / math.sqrt(n_samples)
        low, middle, high = np.quantile(ratio, [0.5 - half, 0.5, 0.5 + half])
        middle, error = float(middle), float(high - low) / 2.0
    return ShapeFactor(
        n_lives=n, n_failed=failed, unbiased=unbiased, factor=1.0 / middle,
        standard_error=error / middle**2, n_samples=n_samples,
    )  # fmt: skip


def _shapes(generator: np.random.Generator, size: int, n: int, failed: int) -> Array:
    """Maximum likelihood shapes of ``size`` samples of lives with shape 1."""
    log_age = np.log(generator.standard_exponential((size, n)))
    if failed < n:
        log_age.partition(failed - 1, axis=1)
        log_age = log_age[:, :failed]
    top = log_age.max(axis=1)
    below = log_age - top[:, None]
    mean = below.mean(axis=1)
    shape: Array = 1.28 / below.std(axis=1)
    open_ = np.arange(size)
    for _ in range(_STEPS):
        own, k = below[open_], shape[open_]
        weight = np.exp(k[:, None] * own)
        # lives still working stand at the last failure, whose log is 0 here
        total = weight.sum(axis=1) + (n - failed)
        first = (weight * own).sum(axis=1) / total
        second = (weight * own**2).sum(axis=1) / total
        slope = first - 1.0 / k - mean[open_]
        # Newton's step on log shape, on which the slope is near straight
        step = -slope / (k * (second - first**2) + 1.0 / k)
        shape[open_] = k * np.exp(np.clip(step, -1.0, 1.0))
        open_ = open_[np.abs(step) > 1e-10]
        if not len(open_):
            return shape
    raise FitError(
        f"{len(open_)} of {size} simulated shapes did not settle.", "simulated_shape_factor",
        "take another seed",
    )  # fmt: skip
