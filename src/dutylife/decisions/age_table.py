"""Millions of best replacement ages at once: a table of what the small-age law leaves out."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]
# log (shape - 1) and log (failure / planned - 1) of the table; outside it each age is solved
_LOG_WEAR = (-4.6, 4.0)
_LOG_RATIO = (-4.6, 7.0)
_WEAR_STEP, _RATIO_STEP = 0.08, 0.06
# above this cumulative hazard hardly a part is left: what survives no longer matters
_ALL_GONE = 20.0
_BLOCK = 65536


@dataclass(frozen=True, slots=True)
class _Table:
    wear: Array
    ratio: Array
    cubics: npt.NDArray[np.float64]


def optimal_ages(
    shape: npt.ArrayLike, cost_ratio: npt.ArrayLike, scale: npt.ArrayLike = 1.0
) -> npt.NDArray[np.float64]:
    """Best replacement age of each Weibull law, to a relative error of 5e-6.

    Parameters
    ----------
    shape : array_like, shape (n_cells, n_draws)
        A row for each cell. [1]
    cost_ratio : array_like, shape (n_cells,)
        Cost of a failure over that of planned work, above 1. [1]
    scale : array_like, shape (n_cells, n_draws) or scalar
        Characteristic life. [age]

    Returns
    -------
    ndarray, shape (n_cells, n_draws)
        ``inf`` where shape is 1 or less: no planned age is best. [age]

    Raises
    ------
    DecisionError
        A ratio of 1 or less, or shapes that are no table of cells and draws.

    Notes
    -----
    With H the cumulative hazard at the best age, H ** (1 - 1 / k) Gamma(1 / k) P(1 / k, H) +
    exp(-H) = r / (r - 1). Small H gives H = 1 / ((k - 1) (r - 1)); the log of what that leaves out
    is smooth in log (k - 1) and log (r - 1) and is read from a table by cubics. Where all have
    failed (H above 20) the equation has a closed root.

    Examples
    --------
    >>> optimal_ages([[2.0, 1.0]], [5.0], 100.0).round(2).tolist()
    [[51.07, inf]]
    """
    k = np.asarray(shape, dtype=float)
    r = np.asarray(cost_ratio, dtype=float)
    if k.ndim != 2 or r.shape != (len(k),):
        raise DecisionError(
            f"Shapes of {k.shape} and cost ratios of {r.shape} do not go together.",
            "optimal_ages(shape, cost_ratio)", "a row of draws and one ratio for each cell",
        )  # fmt: skip
    if not (np.all(np.isfinite(r)) and np.all(r > 1)):
        raise DecisionError(
            "A failure must cost more than planned work.", "optimal_ages(cost_ratio)",
            "failure over planned cost, above 1",
        )  # fmt: skip
    eta = np.broadcast_to(np.asarray(scale, dtype=float), k.shape)
    out, solve = np.empty(k.shape), np.empty(k.shape, dtype=bool)
    rows = max(_BLOCK // max(k.shape[1], 1), 1)
    for start in range(0, len(k), rows):
        part = slice(start, start + rows)
        _read_table(k[part], r[part], out[part], solve[part])
    if solve.any():
        out[solve] = _solved(k[solve], np.broadcast_to(r[:, None], k.shape)[solve]) / k[solve]
    with np.errstate(over="ignore", invalid="ignore"):
        ages = np.exp(out, out=out)
        ages *= eta
    ages[~(k > 1)] = np.inf
    return ages


def _read_table(k: Array, r: Array, log_age: Array, solve: npt.NDArray[np.bool_]) -> None:
    """Log age over scale, and where it has to be solved, into arrays of the shapes' own shape."""
    table = _table()
    log_ratio = np.log(r - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_wear = np.log(k - 1)
    cubics = _cubics(table, log_ratio)
    n_places = cubics.shape[2]
    place = log_wear - table.wear[0]
    place *= 1 / _WEAR_STEP
    # a shape of 1 or less has no place; it is answered at the end
    np.fmin(np.fmax(place, 1.0, out=place), n_places - 1e-9, out=place)
    at = place.astype(np.int32)
    place -= at
    at += (np.arange(len(k), dtype=np.int32) * n_places)[:, None]
    cubics[3].take(at, out=log_age, mode="clip")
    for power in (2, 1, 0):
        log_age *= place
        log_age += cubics[power].take(at)
    log_age -= log_wear
    log_age -= log_ratio[:, None]
    with np.errstate(invalid="ignore"):
        np.greater(log_age, np.log(_ALL_GONE) - 0.2, out=solve)
        solve |= log_wear <= table.wear[1]
        solve |= log_wear >= table.wear[-2]
        log_age /= k
    solve[(log_ratio <= table.ratio[1]) | (log_ratio >= table.ratio[-2])] = True
    solve &= k > 1


def _cubics(table: _Table, log_ratio: Array) -> npt.NDArray[np.float64]:
    """Cubics in log (k - 1) for each cell's ratio, shape (4 powers, n_cells, n_places)."""
    place = np.clip((log_ratio - table.ratio[0]) / _RATIO_STEP, 1, len(table.ratio) - 3)
    at = np.minimum(place.astype(int), len(table.ratio) - 3)
    weights = _lagrange(place - at)
    out = np.empty((4, len(at), table.cubics.shape[2]))
    for power in range(4):
        rows = table.cubics[power]
        np.multiply(rows.take(at - 1, axis=0), weights[0][:, None], out=out[power])
        for j in (1, 2, 3):
            out[power] += rows.take(at + j - 1, axis=0) * weights[j][:, None]
    return out


def _lagrange(u: Array) -> tuple[Array, Array, Array, Array]:
    """Weights of the values at -1, 0, 1 and 2 for a cubic through them, at ``u`` of 0 to 1."""
    return (
        -u * (u - 1) * (u - 2) / 6,
        (u + 1) * (u - 1) * (u - 2) / 2,
        -(u + 1) * u * (u - 2) / 2,
        (u + 1) * u * (u - 1) / 6,
    )


@cache
def _table() -> _Table:
    wear = np.arange(_LOG_WEAR[0], _LOG_WEAR[1] + _WEAR_STEP / 2, _WEAR_STEP)
    ratio = np.arange(_LOG_RATIO[0], _LOG_RATIO[1] + _RATIO_STEP / 2, _RATIO_STEP)
    a, b = np.meshgrid(wear, ratio, indexing="ij")
    solved = _solved(1 + np.exp(a).ravel(), 1 + np.exp(b).ravel()).reshape(a.shape)
    value = (solved + a + b).T
    # the cubic of place j runs through the values at j - 1, j, j + 1 and j + 2; 0 is never asked
    value = np.concatenate([value[:, :1], value], axis=1)
    p0, p1, p2, p3 = value[:, :-3], value[:, 1:-2], value[:, 2:-1], value[:, 3:]
    cubics = np.array(
        [p1, -p0 / 3 - p1 / 2 + p2 - p3 / 6, (p0 + p2) / 2 - p1, (p3 - p0) / 6 + (p1 - p2) / 2]
    )
    return _Table(wear, ratio, cubics)


def _solved(k: Array, r: Array) -> Array:
    """Log cumulative hazard at the best age, by Newton on the log of the equation's two sides."""
    from scipy.special import gammainc, gammaln

    more = np.log1p(1 / (r - 1))  # log of the right side
    with np.errstate(over="ignore"):
        gone = (more - gammaln(1 / k)) * k / (k - 1)
    log_hazard = np.where(gone > np.log(_ALL_GONE), gone, 0.0)
    near = np.flatnonzero(gone <= np.log(_ALL_GONE))
    if not near.size:
        return log_hazard
    kk, goal, constant = k[near], 1 / (r[near] - 1), gammaln(1 / k[near])
    x = np.minimum(-np.log(kk - 1) - np.log(r[near] - 1), gone[near] + 0.5)
    for _ in range(60):
        hazard = np.exp(x)
        lived = np.exp((1 - 1 / kk) * x + constant) * gammainc(1 / kk, hazard)
        off = lived + np.expm1(-hazard)
        # d/dx: (1 - 1/k) of the first term; what the two exponentials gain cancels
        step = np.log(off / goal) * off / ((1 - 1 / kk) * lived)
        x = x - np.clip(step, -2, 2)
        if np.all(np.abs(step) < 1e-13 * np.maximum(np.abs(x), 1)):
            break
    log_hazard[near] = x
    return log_hazard
