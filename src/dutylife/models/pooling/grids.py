"""The likelihood of a cell on a grid of log shape and log scale, for each spread of customers."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.models.cells import CellLives
from dutylife.models.checks import Array
from dutylife.models.pooling.priors import CUSTOMER_VARIANCE

SMALLEST_LOG_SHAPE, LARGEST_LOG_SHAPE = math.log(0.15), math.log(14.0)
# a sum over a grid stands for an integral as long as its steps are within 1.2 standard deviations
# of the narrowest factor: those of the priors are 0.05 and 0.1
SHAPE_STEP, SCALE_STEP = 0.06, 0.11
OWN_GRID_FAILURES = 10.0
_WIDE = 7.0  # standard deviations of its likelihood that a grid of a cell's own reaches out


@dataclass(frozen=True, slots=True, eq=False)
class CellGrid:
    """Log-likelihood of shape (n_variances, n_q, n_s), up to a constant, over even steps.

    ``q`` is log shape, ``s`` log scale; ``values`` has the greatest value taken off, ``top``.
    """

    q: Array
    s: Array
    values: NDArray[np.float64]

    @property
    def step(self) -> float:
        """Area that a point stands for."""
        return float((self.q[1] - self.q[0]) * (self.s[1] - self.s[0]))


@dataclass(frozen=True, slots=True)
class Top:
    """Where a cell's own likelihood is highest, with standard deviations; none where missing."""

    q: float
    s: float
    sd_q: float
    sd_s: float


def scale_range(lives: CellLives, start: float) -> tuple[float, float]:
    """Log scales to look at for a component: those its lives allow for shapes of 0.6 to 4.

    ``start`` is taken where nothing failed. Wide enough for duties far from the middle.
    """
    failures = lives.failures
    if failures <= 0:
        return start - 6.0, start + 6.0
    low, high = [], []
    centre = float(np.log(lives.exit.max()))
    for shape in (0.6, 1.0, 1.5, 2.5, 4.0):
        lived = lives.weight @ (lives.exit / math.exp(centre)) ** shape
        lived -= lives.weight @ (lives.entry / math.exp(centre)) ** shape
        scale = centre + math.log(lived / failures) / shape
        width = 4.0 / (shape * math.sqrt(failures))
        low.append(scale - min(width, 3.0))
        high.append(scale + min(width, 4.0))
    return min(low) - 2.5, max(high) + 3.0


def cell_grid(lives: CellLives, top: Top | None, scales: tuple[float, float]) -> CellGrid:
    """Likelihood on a grid: over the component's range, or around the top of a cell that knows.

    Parameters
    ----------
    lives : CellLives
    top : Top or None
    scales : (float, float)
        Log scales to look at for the component.
    """
    q_ends, s_ends = (SMALLEST_LOG_SHAPE, LARGEST_LOG_SHAPE), scales
    q_step, s_step = SHAPE_STEP, SCALE_STEP
    if top is not None and lives.failures >= OWN_GRID_FAILURES:
        n_customers = max(len(np.unique(lives.customers)), 1)
        # few customers leave the scale less certain than its likelihood without them says
        shared = math.sqrt(float(CUSTOMER_VARIANCE[-1]) / n_customers) / math.exp(top.q)
        sd_s = math.hypot(top.sd_s, shared)
        q_ends = (
            max(top.q - _WIDE * top.sd_q, SMALLEST_LOG_SHAPE),
            min(top.q + _WIDE * top.sd_q, LARGEST_LOG_SHAPE),
        )
        s_ends = top.s - _WIDE * sd_s, top.s + _WIDE * sd_s
        q_step, s_step = min(SHAPE_STEP, 0.6 * top.sd_q), min(SCALE_STEP, 0.6 * top.sd_s)
    q = np.linspace(*q_ends, max(int(math.ceil((q_ends[1] - q_ends[0]) / q_step)) + 1, 9))
    s = np.linspace(*s_ends, max(int(math.ceil((s_ends[1] - s_ends[0]) / s_step)) + 1, 9))
    values = log_likelihood(lives, q, s)
    return CellGrid(q, s, values - values.max())


def log_likelihood(lives: CellLives, q: Array, s: Array) -> NDArray[np.float64]:
    """Log-likelihood on the grid for each variance of customers, shape (n_variances, n_q, n_s).

    Notes
    -----
    The parts of a customer fail z times as often as those of others, z of a gamma law of mean 1:
    with d failures and a total cumulative hazard H of the customer, z integrates out to
    (1 + v H)^-(1/v + d), v the variance (Klein & Moeschberger, Survival Analysis, 2nd ed. 2003,
    section 13.3; the formula from memory). A failure found at a service is judged given the other
    rows of its customer: exact for one of them a customer, or where v = 0. Rows of unknown
    customers stand outside.
    """
    out = np.zeros((len(CUSTOMER_VARIANCE), len(q), len(s)))
    if not len(lives.exit):
        return out
    shape, centre = np.exp(q), float(np.log(lives.exit.max()))
    found = lives.found
    known = lives.event & ~found
    names, customer = np.unique(lives.customers, return_inverse=True)
    n = len(names)
    # sums of t^k over the customers' time watched, per log shape; shape (n_customers, n_q)
    sums = _by_customer(
        lives.exit[~found], lives.weight[~found], customer[~found], n, shape, centre
    )
    late = lives.entry > 0
    sums -= _by_customer(lives.entry[late], lives.weight[late], customer[late], n, shape, centre)
    by_scale = np.exp(-shape[:, None] * (s - centre)[None, :])
    hazard = sums[:, :, None] * by_scale[None, :, :]
    d = float(lives.weight[known].sum())
    log_failed = float(lives.weight[known] @ (np.log(lives.exit[known]) - centre))
    core = (d * q + shape * log_failed)[:, None] - d * shape[:, None] * (s - centre)[None, :]
    failures: Array = np.bincount(customer, weights=lives.weight * known, minlength=n).astype(float)
    shares = names >= 0
    looks = _looks(lives, found, shape, centre) if found.any() else None
    for i, v in enumerate(CUSTOMER_VARIANCE):
        if v > 0 and not shares.any():
            out[i] = out[0]
            continue
        spread = np.where(shares, v, 0.0)
        out[i] = core + _shared(hazard, failures, spread)
        if looks is not None:
            who = customer[found]
            power = np.where(spread > 0, 1.0 / np.where(spread > 0, spread, 1.0) + failures, 0.0)
            out[i] += _found_between(
                looks, lives.weight[found], by_scale, hazard, who, spread[who], power[who]
            )
    return out


def _shared(hazard: Array, failures: Array, spread: Array) -> Array:
    """Sum over customers of the log of what their hazards leave, shape (n_q, n_s)."""
    from scipy.special import gammaln

    plain = spread == 0
    out = -hazard[plain].sum(axis=0)
    v, d = spread[~plain], failures[~plain]
    if len(v):
        power = 1.0 / v + d
        constant = gammaln(power) - gammaln(1.0 / v) + d * np.log(v)
        left = power[:, None, None] * np.log1p(v[:, None, None] * hazard[~plain])
        out = out - left.sum(axis=0) + constant.sum()
    return np.asarray(out)


def _by_customer(
    age: Array, weight: Array, customer: NDArray[np.intp], n: int, shape: Array, centre: float
) -> Array:
    """Sum of weight x (age / centre)^shape for each customer and shape."""
    if not len(age):
        return np.zeros((n, len(shape)))
    order = np.argsort(customer, kind="stable")
    with np.errstate(divide="ignore", under="ignore"):
        log_age = np.log(age[order]) - centre
        powers = np.exp(log_age[:, None] * shape[None, :]) * weight[order][:, None]
    starts = np.flatnonzero(np.diff(customer[order], prepend=-1))
    out = np.zeros((n, len(shape)))
    out[customer[order][starts]] = np.add.reduceat(powers, starts, axis=0)
    return out


def _looks(
    lives: CellLives, found: NDArray[np.bool_], shape: Array, centre: float
) -> tuple[Array, Array]:
    """Powers of both ages of the failures found at a service, shape (n_found, n_q) each."""
    assert lives.lower is not None
    with np.errstate(divide="ignore", under="ignore"):
        low, high = np.log(lives.lower[found]) - centre, np.log(lives.exit[found]) - centre
        return np.exp(low[:, None] * shape), np.exp(high[:, None] * shape)


def _found_between(
    looks: tuple[Array, Array], weight: Array, by_scale: Array, hazard: Array,
    customer: NDArray[np.intp], spread: Array, power: Array,
) -> Array:  # fmt: skip
    """Sum over the failures found at a service of log(S(lower) - S(upper)); shape (n_q, n_s)."""
    out = np.empty(by_scale.shape)
    plain = (spread == 0)[:, None]
    v, p = np.where(spread > 0, spread, 1.0)[:, None], power[:, None]
    for i in range(len(by_scale)):
        with np.errstate(under="ignore", over="ignore"):
            low, high = (look[:, i, None] * by_scale[i] for look in looks)
            left = 1.0 + v * hazard[customer, i]
            log_low = np.where(plain, -low, -p * np.log1p(v * low / left))
            log_high = np.where(plain, -high, -p * np.log1p(v * high / left))
            # at least the smallest step, so that a law far off stays finite
            fall = np.maximum(log_low - log_high, 1e-300)
            out[i] = weight @ (log_low + np.log(-np.expm1(-fall)))
    return out
