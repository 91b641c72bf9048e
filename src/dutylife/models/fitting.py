"""Fits a law of life by maximum likelihood, or along the ranks of the failures."""

import math
import warnings
from typing import Any, Literal, get_args, overload

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models.between import Checked, checked_rows
from dutylife.models.general import climb
from dutylife.models.laws import Law, LifeLaw
from dutylife.models.likelihood import Lives, packed, polish
from dutylife.models.ranks import rank_regression
from dutylife.models.regression import LifeRegression, fit_regression
from dutylife.wording import count, number

Array = NDArray[np.float64]
Method = Literal["maximum likelihood", "rank regression"]
FEW_FAILURES = 5


@overload
def fit_law(
    law: Law,
    exit: ArrayLike | None = ...,  # noqa: A002
    event: ArrayLike | None = ...,
    *,
    entry: ArrayLike | None = ...,
    lower: ArrayLike | None = ...,
    upper: ArrayLike | None = ...,
    weights: ArrayLike | None = ...,
    by: None = ...,
    covariates: None = ...,
    shape: float | None = ...,
    method: Method = ...,
) -> LifeLaw: ...


@overload
def fit_law(
    law: Law,
    exit: ArrayLike | None = ...,  # noqa: A002
    event: ArrayLike | None = ...,
    *,
    entry: ArrayLike | None = ...,
    lower: ArrayLike | None = ...,
    upper: ArrayLike | None = ...,
    weights: ArrayLike | None = ...,
    by: None = ...,
    covariates: pd.DataFrame,
    shape: float | None = ...,
    method: Method = ...,
) -> LifeRegression: ...


@overload
def fit_law(
    law: Law,
    exit: ArrayLike | None = ...,  # noqa: A002
    event: ArrayLike | None = ...,
    *,
    entry: ArrayLike | None = ...,
    lower: ArrayLike | None = ...,
    upper: ArrayLike | None = ...,
    weights: ArrayLike | None = ...,
    by: ArrayLike,
    covariates: pd.DataFrame | None = ...,
    shape: float | None = ...,
    method: Method = ...,
) -> dict[object, LifeLaw | LifeRegression]: ...


def fit_law(
    law: Law,
    exit: ArrayLike | None = None,  # noqa: A002  (the word of the field)
    event: ArrayLike | None = None,
    *,
    entry: ArrayLike | None = None,
    lower: ArrayLike | None = None,
    upper: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    by: ArrayLike | None = None,
    covariates: pd.DataFrame | None = None,
    shape: float | None = None,
    method: Method = "maximum likelihood",
) -> LifeLaw | LifeRegression | dict[object, LifeLaw | LifeRegression]:
    """Fit a law to lives watched over (entry, exit], or known to have ended in (lower, upper].

    Parameters
    ----------
    law : {"weibull", "lognormal", "exponential", "log-logistic"}
    exit : array_like, shape (n,)
        Age at the end of each life or of its watching. [one unit for all]
    event : array_like, shape (n,)
        1 where the life ended in failure.
    entry : array_like, shape (n,), optional
        Age at which watching began; the likelihood is divided by the survival there.
    lower, upper : array_like, shape (n,), optional
        Ages between which a life is known to have failed; lower 0 where it was never seen to
        work; equal for an age known exactly; upper ``inf`` where it had not failed at lower.
        Given together with ``exit`` and ``event``, a row with both missing goes by those.
    weights : array_like, shape (n,), optional
        Share of each row; 1 by default.
    by : array_like, shape (n,), optional
        Group of each row: a law for each, and a dict of them is returned.
    covariates : DataFrame, shape (n, p), optional
        Log age shifts by a sum over these columns (accelerated life); numbers as they are,
        words as the difference to the first word in order.
    shape : float, optional
        Hold the shape (Weibull, log-logistic) instead of fitting it.
    method : {"maximum likelihood", "rank regression"}
        The second draws a line of log age on the median ranks (Benard) of the failures.

    Returns
    -------
    LifeLaw, or LifeRegression with covariates, or a dict of them with ``by``

    Raises
    ------
    TooFewFailuresError
        No failure, or for a two-parameter law all failures at one age.
    FitError
        Ages that can't stand, or a likelihood without a maximum.

    Notes
    -----
    Newton steps of our own end at 1e-9, in a millisecond; where they do not settle, or below 5
    failures with late entry, they climb again from where lifelines ends (near 1e-6) and the
    better maximum stands. Small samples bias the shape upward; nothing is corrected here. The
    log-likelihood is that of ages, not of log ages.
    """
    _require(law, shape, method, covariates)
    if by is not None:
        return _by_group(
            law, by, shape, method, covariates,
            {"exit": exit, "event": event, "entry": entry, "lower": lower, "upper": upper,
             "weights": weights},
        )  # fmt: skip
    seen = checked_rows(exit, event, entry, lower, upper, weights, covariates)
    _require_failures(law, seen, held=shape is not None)
    if method == "rank regression":
        return rank_regression(seen.exit, seen.failed, entry=seen.entry).law(law)
    if covariates is not None:
        return fit_regression(law, seen, shape)
    if law == "log-logistic" or shape is not None or seen.has_between:
        return _general(law, seen, shape)
    return _exact_or_censored(law, seen.exit, seen.failed, seen.entry, seen.weight)


def _require(law: str, shape: float | None, method: str, covariates: object) -> None:
    faults = []
    if law not in get_args(Law):
        faults.append((f"'{law}' is not a law", "one of: " + ", ".join(get_args(Law))))
    if method not in get_args(Method):
        faults.append((f"'{method}' is not a method", "one of: " + ", ".join(get_args(Method))))
    if shape is not None and not (math.isfinite(shape) and shape > 0):
        faults.append((f"a shape of {shape} can't be held", "give one above 0"))
    if shape is not None and law not in ("weibull", "log-logistic"):
        faults.append((f"the {law} law has no shape to hold", "weibull or log-logistic have"))
    if method == "rank regression" and (
        shape is not None or covariates is not None or law not in ("weibull", "lognormal")
    ):
        faults.append(
            ("rank regression is for a free Weibull or lognormal law", "use maximum likelihood")
        )
    if faults:
        raise FitError(
            "; ".join(what for what, _ in faults) + ".",
            "fit_law(law, shape=, method=)",
            "; ".join(mend for _, mend in faults),
        )


def _require_failures(law: str, seen: Checked, *, held: bool) -> None:
    n_failed = int(seen.failed.sum())
    if n_failed == 0:
        raise TooFewFailuresError(
            f"None of {count(len(seen.exit), 'life', 'lives')} ended in failure: the record gives "
            "a lower bound of life, no law.",
            "fit_law(event)",
            "wait for failures, pool with like duties, or use a starting value",
        )
    ages = np.unique(seen.exit[seen.failed])
    spread_seen = len(ages) > 1 or seen.has_between
    if law != "exponential" and not held and not spread_seen:
        raise TooFewFailuresError(
            f"All {count(n_failed, 'failure')} lie at age {number(float(ages[0]))}: the spread "
            "of lives can't be told.",
            "fit_law(exit, event)",
            "fit an exponential law, or wait for a failure at another age",
        )


def _by_group(
    law: Law,
    by: ArrayLike,
    shape: float | None,
    method: Method,
    covariates: pd.DataFrame | None,
    columns: dict[str, ArrayLike | None],
) -> dict[object, LifeLaw | LifeRegression]:
    groups = np.asarray(by, dtype=object)
    arrays = {k: np.asarray(v) for k, v in columns.items() if v is not None}
    unlike = [f"{k} {len(v)}" for k, v in arrays.items() if len(v) != len(groups)]
    if unlike or pd.isna(groups).any():
        raise FitError(
            f"{len(groups)} groups for {', '.join(unlike) or 'as many rows, some missing'}.",
            "fit_law(by=)",
            "give the group of each row",
        )
    out: dict[object, LifeLaw | LifeRegression] = {}
    for group in sorted(set(groups), key=lambda g: (str(type(g)), g)):
        rows = np.flatnonzero(groups == group)
        given: dict[str, Any] = {k: v[rows] for k, v in arrays.items()}
        try:
            if covariates is None:
                out[group] = fit_law(law, shape=shape, method=method, **given)
            else:
                part = covariates.iloc[rows]
                out[group] = fit_law(law, covariates=part, shape=shape, method=method, **given)
        except FitError as error:
            raise type(error)(f"Group '{group}': {error.what}", error.where, error.mend) from error
    return out


def _general(law: Law, seen: Checked, shape: float | None) -> LifeLaw:
    """A law with a shape held, of log-logistic form, or with lives known between two ages."""
    rows = seen.rows()
    name = "weibull" if law == "exponential" else law
    held = np.array([False, law == "exponential" or shape is not None])
    start = np.array([seen.log_centre(), 0.0 if law == "exponential" else -math.log(shape or 1.5)])
    theta, value, hessian, converged = climb(name, start, rows, held)
    if not converged:
        raise no_maximum(law)
    inverse = np.linalg.inv(-hessian)
    covariance = (float(inverse[0, 0]), 0.0, 0.0)
    if not held[1]:
        covariance = (float(inverse[0, 0]), float(inverse[0, 1]), float(inverse[1, 1]))
    return seen.as_law(
        law, float(theta[0]), math.exp(float(theta[1])), covariance, value,
        shape_held=shape is not None, rows=rows,
    )  # fmt: skip


def no_maximum(law: str) -> FitError:
    """The likelihood rises without end."""
    return FitError(
        f"The likelihood of the {law} law has no maximum for these lives.",
        f"fit_law('{law}')",
        "few failures with late entry or wide intervals can do this: pool with like duties, hold "
        "the shape, or fit an exponential law",
    )


def _exact_or_censored(
    law: Law, ages: Array, failed: NDArray[np.bool_], starts: Array, shares: Array
) -> LifeLaw:
    n_failed = int(failed.sum())
    lives = packed(ages, failed, starts, shares)
    if law == "exponential":
        location = math.log(float(shares @ (ages - starts)) / lives.failures)
        spread, covariance = 1.0, (1.0 / lives.failures, 0.0, 0.0)
        value = -lives.failures * (location + 1.0)
    else:
        location, spread, covariance, value = _two_parameters(law, lives, starts)
    return LifeLaw(
        law=law,
        location=location,
        spread=spread,
        covariance=covariance,
        loglik=value,
        n_lives=len(ages),
        n_failed=n_failed,
        failures=lives.failures,
        longest_life=float(ages.max()),
        lives=tuple(
            zip(ages.tolist(), failed.tolist(), starts.tolist(), shares.tolist(), strict=True)
        ),
    )


def _two_parameters(
    law: str, lives: Lives, starts: Array
) -> tuple[float, float, tuple[float, float, float], float]:
    """Location, spread, covariance of (location, log spread), log-likelihood."""
    best = polish(law, *_own_start(lives), lives)
    # right-censored lives have one maximum; few failures with late entry may have more, or none
    few = lives.failed.sum() < FEW_FAILURES and len(lives.log_entry) > 0
    if few or not best.converged:
        other = polish(law, *_lifelines_start(law, lives, starts), lives)
        if other.converged and (not best.converged or other.value > best.value):
            best = other
    if not best.converged:
        raise no_maximum(law)
    covariance = np.linalg.inv(-best.hessian)
    spread = math.exp(best.log_spread)
    both = (float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1]))
    return best.location, spread, both, best.value


def _own_start(lives: Lives) -> tuple[float, float]:
    """Location and log spread to climb from: an exponential law's scale, the failures' spread."""
    exposure = float(lives.weight @ np.exp(lives.log_exit))
    exposure -= float(lives.entry_weight @ np.exp(lives.log_entry))
    spread = max(float(lives.log_exit[lives.failed].std()) * 0.8, 0.05)
    return math.log(exposure / lives.failures), math.log(spread)


def _lifelines_start(law: str, lives: Lives, starts: Array) -> tuple[float, float]:
    """Location and log spread as lifelines finds them; our own start where it ends nowhere."""
    from lifelines import LogNormalFitter, WeibullFitter
    from lifelines.exceptions import (
        ApproximationWarning,
        ConvergenceError,
        StatisticalWarning,
    )

    fitter = WeibullFitter() if law == "weibull" else LogNormalFitter()
    late = starts if (starts > 0).any() else None
    with warnings.catch_warnings():
        # about its variance (not used) and about weights that are not whole
        warnings.filterwarnings("ignore", category=StatisticalWarning)
        warnings.filterwarnings("ignore", category=ApproximationWarning)
        warnings.filterwarnings("ignore", category=RuntimeWarning)
        try:
            fitter.fit(np.exp(lives.log_exit), lives.failed, entry=late, weights=lives.weight)
        except (ConvergenceError, np.linalg.LinAlgError):
            return _own_start(lives)
    if law == "weibull":
        start = math.log(fitter.lambda_), -math.log(fitter.rho_)
    else:
        start = float(fitter.mu_), math.log(fitter.sigma_)
    return start if all(np.isfinite(start)) and abs(start[1]) < 5 else _own_start(lives)
