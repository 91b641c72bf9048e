"""Fits a gamma law, or a Weibull law beyond a threshold; tells a likelihood without a maximum."""

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from dutylife.errors import FitError
from dutylife.models.curved import Curved, CurvedLaw, log_density, log_survival
from dutylife.models.likelihood import Maximum, packed, polish

if TYPE_CHECKING:
    from dutylife.models.between import Checked

Array = NDArray[np.float64]
# of a log parameter: second differences of a log-likelihood of size 100 to some 1e-6
STEP = 2e-4
# shapes beyond it are no law: the lives are all alike, or early beyond telling
MOST_LOG_SHAPE = 12.0
NORMAL_ABOVE = 2.0  # shape above which a threshold has normal bounds (Smith, 1985)
_GRID = 48


def fit_curved(law: Curved, seen: "Checked") -> CurvedLaw:
    """Fit by maximum likelihood; called by `fit_law`.

    Raises
    ------
    FitError
        Lives known between two ages, a likelihood without a maximum, or one that rises without
        end as the threshold nears the first failure.
    """
    if seen.has_between:
        raise FitError(
            f"The {law} law takes ages known exactly or cut off, not between two looks.",
            f"fit_law('{law}', lower=, upper=)",
            "fit a weibull, lognormal, log-logistic or exponential law",
        )
    theta, value, covariance, known = (_gamma if law == "gamma" else _threshold)(seen)
    lives = zip(
        seen.exit.tolist(), seen.failed.tolist(), seen.entry.tolist(), seen.weight.tolist(),
        strict=True,
    )  # fmt: skip
    return CurvedLaw(
        law=law,
        scale=math.exp(theta[0]),
        shape=math.exp(theta[1]),
        threshold=float(theta[2]),
        covariance=tuple(tuple(float(v) for v in row) for row in covariance),
        threshold_known=known,
        loglik=value,
        n_lives=len(seen.exit),
        n_failed=int(seen.failed.sum()),
        failures=float(seen.weight[seen.failed].sum()),
        longest_life=float(seen.exit.max()),
        lives=tuple(lives),
    )


def loglik(law: str, seen: "Checked", theta: Array) -> Array:
    """Log-likelihood at rows of (log scale, log shape, threshold), shape (k,); -inf outside."""
    log_scale, log_shape, threshold = (theta[:, i : i + 1] for i in range(3))
    failed, late = seen.failed, seen.entry > 0
    value = np.zeros(len(theta))
    for ages, weight, function in (
        (seen.exit[failed], seen.weight[failed], log_density),
        (seen.exit[~failed], seen.weight[~failed], log_survival),
        (seen.entry[late], -seen.weight[late], log_survival),
    ):
        if not len(ages):
            continue
        past = ages[None, :] - threshold
        inside = past > 0
        told = function(law, np.where(inside, past, 1.0), log_scale, log_shape)
        before = -np.inf if function is log_density else 0.0
        value = value + np.where(inside, told, before) @ weight
    return np.where(np.isnan(value), -np.inf, value)


def _gamma(seen: "Checked") -> tuple[Array, float, Array, bool]:
    # log mean and log shape hardly pull on each other, log scale and log shape do
    def value(at: Array) -> Array:
        return loglik("gamma", seen, _gamma_theta(at))

    mean = math.log(float(seen.weight @ (seen.exit - seen.entry)) / _failures(seen))
    spread = max(float(np.log(seen.exit[seen.failed]).std()), 0.05)
    best, height, hessian = climb(value, np.array([mean, -2.0 * math.log(spread)]), "gamma")
    # log scale = log mean - log shape
    back = np.array([[1.0, -1.0], [0.0, 1.0], [0.0, 0.0]])
    return _gamma_theta(best[None, :])[0], height, back @ np.linalg.inv(-hessian) @ back.T, True


def _gamma_theta(at: Array) -> Array:
    return np.column_stack([at[:, 0] - at[:, 1], at[:, 1], np.zeros(len(at))])


def _failures(seen: "Checked") -> float:
    return float(seen.weight[seen.failed].sum())


def differences(
    value: Callable[[Array], Array], at: Array, step: Array
) -> tuple[float, Array, Array]:
    """Value, slope and second derivatives by central differences, in one batch of points."""
    p = len(at)
    eye = np.eye(p) * step
    pairs = [(i, j) for i in range(p) for j in range(i)]
    points = [np.zeros((1, p)), eye, -eye]
    points += [np.array([s * (eye[i] + t * eye[j])]) for i, j in pairs for s, t in _CORNERS]
    f = value(at + np.concatenate(points))
    middle, up, down = f[0], f[1 : p + 1], f[p + 1 : 2 * p + 1]
    hessian = np.diag((up - 2.0 * middle + down) / step**2)
    for (i, j), c in zip(pairs, f[2 * p + 1 :].reshape(-1, 4), strict=True):
        hessian[i, j] = hessian[j, i] = (c[0] + c[1] - c[2] - c[3]) / (4.0 * step[i] * step[j])
    return float(middle), (up - down) / (2.0 * step), hessian


_CORNERS = ((1.0, 1.0), (-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0))


def climb(
    value: Callable[[Array], Array], start: Array, law: str, steps: int = 100
) -> tuple[Array, float, Array]:
    """Top of a log-likelihood by damped Newton steps of differences.

    Raises
    ------
    FitError
        No maximum was reached.
    """
    step = np.full(len(start), STEP)
    here = start
    height, slope, hessian = differences(value, here, step)
    moved = math.inf
    for _ in range(steps):
        if not (np.isfinite(hessian).all() and np.isfinite(slope).all()):
            break
        down = bool((np.linalg.eigvalsh(hessian) < 0).all())
        way = -np.linalg.solve(hessian, slope) if down else slope / max(abs(slope).max(), 1.0)
        way = way / max(1.0, float(np.abs(way).max()))
        sizes = 0.5 ** np.arange(12)
        reached = value(here + sizes[:, None] * way)
        risen = np.flatnonzero(reached >= height - 1e-12 * abs(height))
        if not len(risen):
            break
        there = here + sizes[risen[0]] * way
        moved = float(np.abs(there - here).max())
        here = there
        height, slope, hessian = differences(value, here, step)
        if moved < 1e-9:
            break
    top = bool(np.isfinite(hessian).all() and (np.linalg.eigvalsh(hessian) < 0).all())
    if not top or moved > 1e-5 or abs(here[1]) > MOST_LOG_SHAPE:
        raise FitError(
            f"The likelihood of the {law} law has no maximum for these lives.",
            f"fit_law('{law}')",
            "few failures with late entry, or failures all but at one age, can do this: pool with "
            "like duties, or fit an exponential or Weibull law",
        )
    return here, height, hessian


def _threshold(seen: "Checked") -> tuple[Array, float, Array, bool]:
    """Best threshold from 0 up to the first failure at which the likelihood has a true top.

    As the threshold nears the first failure with a shape below 1 the likelihood rises without
    end, whatever the lives; what may be reported is a top on the way there, with a shape above 1,
    or a threshold of 0 where the likelihood falls from there.
    """
    from scipy.optimize import minimize_scalar

    first = float(seen.exit[seen.failed].min())
    gaps = first * np.geomspace(1.0, 1e-5, _GRID)
    heights = np.array([_beyond(seen, first - g).value for g in gaps])
    tops = [i for i in range(1, _GRID - 1) if heights[i] >= max(heights[i - 1], heights[i + 1])]
    found = [0.0] if heights[0] >= heights[1] else []
    # a top may lie between 0 and the first step of the grid
    for i in {1, *tops}:
        ends = first - gaps[i - 1], first - gaps[i + 1]
        best = minimize_scalar(
            lambda t: -_beyond(seen, t).value, bounds=ends, method="bounded",
            options={"xatol": 1e-10 * first},
        )  # fmt: skip
        inside = 1e-6 * first < best.x - ends[0] and 1e-6 * first < ends[1] - best.x
        if inside and -best.fun >= max(heights[i - 1], heights[i + 1]):
            found.append(float(best.x))
    fits = [(t, _beyond(seen, t)) for t in found]
    fits = [(t, m) for t, m in fits if m.converged and (t == 0 or m.log_spread < 0)]
    if not fits:
        raise FitError(
            "The likelihood of the three-parameter Weibull law rises without end as the threshold "
            f"nears the first failure at {first:g}: these lives have no such law.",
            "fit_law('three-parameter weibull')",
            "fit a weibull, lognormal or gamma law; more lives may show a threshold",
        )
    threshold, top = max(fits, key=lambda f: f[1].value)
    theta = np.array([top.location, -top.log_spread, threshold])
    known = threshold == 0 or theta[1] <= math.log(NORMAL_ABOVE)
    # the likelihood bends ever more sharply by the threshold near the first failure
    free = slice(0, 2 if known else 3)
    step = np.array([STEP, STEP, STEP * (first - threshold)])[free]

    def value(at: Array) -> Array:
        whole = np.tile(theta, (len(at), 1))
        whole[:, free] = at
        return loglik("three-parameter weibull", seen, whole)

    _, _, hessian = differences(value, theta[free], step)
    covariance = np.zeros((3, 3))
    covariance[free, free] = np.linalg.inv(-hessian)
    return theta, top.value, covariance, known


def _beyond(seen: "Checked", threshold: float) -> Maximum:
    """Best Weibull law of the ages beyond a threshold; lives that ended below it say nothing."""
    used = seen.failed | (seen.exit > threshold)
    lives = packed(
        seen.exit[used] - threshold, seen.failed[used],
        np.clip(seen.entry[used] - threshold, 0.0, None), seen.weight[used],
    )  # fmt: skip
    logs = lives.log_exit[lives.failed]
    spread = max(0.8 * float(logs.std()), 0.05)
    centre = float(np.log(np.mean(np.exp(lives.log_exit)))) + 0.3
    return polish("weibull", centre, math.log(spread), lives)
