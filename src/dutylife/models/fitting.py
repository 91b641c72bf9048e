"""Fits a law of life by maximum likelihood, or along the ranks of the failures."""

import math
from typing import Any, Literal, get_args, overload

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models.between import Checked, checked_rows
from dutylife.models.curved import Curved, CurvedLaw
from dutylife.models.curved_fit import fit_curved
from dutylife.models.exact import exact_or_censored, no_maximum
from dutylife.models.general import climb
from dutylife.models.laws import Law, LifeLaw
from dutylife.models.ranks import rank_regression
from dutylife.models.regression import LifeRegression, fit_regression
from dutylife.wording import count, number

Array = NDArray[np.float64]
Method = Literal["maximum likelihood", "rank regression"]
LAWS = get_args(Law) + get_args(Curved)
Fitted = dict[object, LifeLaw | CurvedLaw | LifeRegression]


@overload
def fit_law(
    law: Curved,
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
) -> CurvedLaw: ...


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
    law: Law | Curved,
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
) -> Fitted: ...


def fit_law(
    law: Law | Curved,
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
) -> LifeLaw | CurvedLaw | LifeRegression | Fitted:
    """Fit a law to lives watched over (entry, exit], or known to have ended in (lower, upper].

    Parameters
    ----------
    law : {"weibull", "lognormal", "exponential", "log-logistic", "gamma", \
"three-parameter weibull"}
        The last two take ages known exactly or cut off, without covariates.
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
    LifeLaw, or CurvedLaw for the last two laws, or LifeRegression with covariates, or a dict of
    them with ``by``

    Raises
    ------
    TooFewFailuresError
        For a law of two parameters or more: no failure, or all failures at one age. An
        exponential law without failures has an infinite scale and a lower bound of it
        (``bounds("scale", level, "chi-square")``).
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
    columns = {
        "exit": exit, "event": event, "entry": entry, "lower": lower, "upper": upper,
        "weights": weights,
    }  # fmt: skip
    if by is not None:
        return _by_group(law, by, shape, method, covariates, columns)
    return _one_law(law, shape, method, covariates, columns)


def _one_law(
    law: Law | Curved,
    shape: float | None,
    method: Method,
    covariates: pd.DataFrame | None,
    columns: dict[str, Any],
) -> LifeLaw | CurvedLaw | LifeRegression:
    seen = _checked(columns, covariates)
    plain = covariates is None and method == "maximum likelihood"
    _require_failures(law, seen, held=shape is not None, bounded=plain)
    if law == "gamma" or law == "three-parameter weibull":
        return fit_curved(law, seen)
    if method == "rank regression":
        return rank_regression(seen.exit, seen.failed, entry=seen.entry).law(law)
    if covariates is not None:
        return fit_regression(law, seen, shape)
    if law == "log-logistic" or shape is not None or seen.has_between:
        return _general(law, seen, shape)
    return exact_or_censored(law, seen.exit, seen.failed, seen.entry, seen.weight)


def _checked(columns: dict[str, Any], covariates: pd.DataFrame | None) -> Checked:
    exit_, event, entry, lower, upper, weights = (
        columns.get(k) for k in ("exit", "event", "entry", "lower", "upper", "weights")
    )
    return checked_rows(exit_, event, entry, lower, upper, weights, covariates)


def _require(law: str, shape: float | None, method: str, covariates: object) -> None:
    faults = []
    curved = law in get_args(Curved)
    if law not in LAWS:
        faults.append((f"'{law}' is not a law", "one of: " + ", ".join(LAWS)))
    if curved and covariates is not None:
        faults.append((f"the {law} law takes no covariates", "use the weibull or lognormal law"))
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


def _require_failures(law: str, seen: Checked, *, held: bool, bounded: bool) -> None:
    n_failed = int(seen.failed.sum())
    if n_failed == 0 and (law != "exponential" or not bounded):
        raise TooFewFailuresError(
            f"None of {count(len(seen.exit), 'life', 'lives')} ended in failure: the record gives "
            "a lower bound of life, no law.",
            "fit_law(event)",
            "wait for failures, pool with like duties, use a starting value, or fit an exponential "
            "law (by maximum likelihood, without covariates) for its lower bound",
        )
    ages = np.unique(seen.exit[seen.failed])
    if law == "three-parameter weibull" and len(ages) < 3:
        raise TooFewFailuresError(
            f"{count(n_failed, 'failure')} at {count(len(ages), 'age')} can't tell three figures.",
            "fit_law(exit, event)",
            "3 failures or more at unlike ages, or a weibull law",
        )
    spread_seen = len(ages) > 1 or seen.has_between
    if law != "exponential" and not held and not spread_seen:
        raise TooFewFailuresError(
            f"All {count(n_failed, 'failure')} lie at age {number(float(ages[0]))}: the spread "
            "of lives can't be told.",
            "fit_law(exit, event)",
            "fit an exponential law, or wait for a failure at another age",
        )


def _by_group(
    law: Law | Curved,
    by: ArrayLike,
    shape: float | None,
    method: Method,
    covariates: pd.DataFrame | None,
    columns: dict[str, ArrayLike | None],
) -> Fitted:
    groups = np.asarray(by, dtype=object)
    arrays = {k: np.asarray(v) for k, v in columns.items() if v is not None}
    unlike = [f"{k} {len(v)}" for k, v in arrays.items() if len(v) != len(groups)]
    if covariates is not None and len(covariates) != len(groups):
        unlike.append(f"covariates {len(covariates)}")
    if unlike or pd.isna(groups).any():
        raise FitError(
            f"{len(groups)} groups for {', '.join(unlike) or 'as many rows, some missing'}.",
            "fit_law(by=)",
            "give the group of each row",
        )
    # all rows at once, so that messages name rows of what was given and not of a group
    _checked(columns, covariates)
    out: Fitted = {}
    for group in sorted(set(groups), key=lambda g: (str(type(g)), g)):
        rows = np.flatnonzero(groups == group)
        given: dict[str, Any] = {k: v[rows] for k, v in arrays.items()}
        try:
            part = None if covariates is None else covariates.iloc[rows]
            out[group] = _one_law(law, shape, method, part, given)
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
