"""How arrivals go up and down over the year, where the record's other years foresee it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
WEEKS = 52  # parts of the year; day 365 and 366 belong to the last
# all our proposal
CLEARLY = 5.0  # log likelihood of the other years that a season must gain; see `season_of`
AGAINST = -1.0  # log likelihood below which a class does not go by the fleet's season
SMOOTH = (0.1, 0.2, 0.4, 0.8)  # standard deviations of a season that turns slowly
ABRUPT = (0.0, 0.05, 0.15)  # of single weeks, for holidays
TURN = 0.5  # of the slow part: weeks two months apart still go half together
LEAST = 0.05  # of the mean week: no week stands quite still
Kind = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Season:
    """Arrivals in each week of the year as a share of the mean week, shape (52,), and how unsure.

    ``variance`` is that of ``shares``; ``gain`` the log likelihood won in years left out.
    """

    shares: Array
    variance: Array
    gain: float

    @property
    def is_flat(self) -> bool:
        """No season was taken."""
        return bool((self.shares == 1.0).all())


def flat_season() -> Season:
    """Every week alike."""
    return Season(shares=np.ones(WEEKS), variance=np.zeros(WEEKS), gain=0.0)


def dispersion(counts: Array) -> float:
    """Variance over mean within weeks, from differences of neighbours; 1 at least.

    Neighbours share level and season, so half their mean squared difference is the variance.
    """
    mean = float(counts.mean()) if counts.size else 0.0
    if counts.size < 2 or mean <= 0:
        return 1.0
    return max(float(np.mean(np.diff(counts) ** 2)) / (2.0 * mean), 1.0)


def season_of(counts: Array, week: Ints, exposure: Array, pool: Season | None = None) -> Season:
    """Season of weekly arrivals, one of a few stated stiffnesses, or none.

    Parameters
    ----------
    counts : ndarray, shape (n_weeks,)
        Arrivals, the oldest week first.
    week : ndarray of int, shape (n_weeks,)
        Part of the year of each week, 0 to 51.
    exposure : ndarray, shape (n_weeks,)
        What arrivals are in proportion to but for the season: machines there, failures expected.
    pool : Season, optional
        Season of the whole fleet: a class goes by it unless its own record speaks against it.

    Notes
    -----
    Shares are normal around 1 (or around the pool's) with a covariance of a slow part, alike over
    neighbouring weeks, and an abrupt one of single weeks; counts vary by their dispersion. Each
    stiffness is fitted with one year left out and scored by the chances it gives to how that
    year's arrivals fell on its weeks, the year's total given, so that growth from year to year
    plays no part. The best is taken where it gains `CLEARLY` over the year without a season
    (or over the pool's); two whole years at least.

    Examples
    --------
    >>> season_of(np.full(104, 5.0), np.arange(104) % 52, np.ones(104)).is_flat
    True
    """
    n_years = len(counts) // WEEKS
    if n_years < 2 or counts.sum() <= 0:
        return flat_season() if pool is None else pool
    use = slice(len(counts) - n_years * WEEKS, None)
    y, at, base = counts[use], week[use], _trended(counts[use], exposure[use])
    year = np.repeat(np.arange(n_years), WEEKS)
    years = [(y[year == k], base[year == k], at[year == k]) for k in range(n_years)]
    by_year = np.array([[_by_week(v, w), _by_week(e, w)] for v, e, w in years])
    phi = dispersion(y)
    centre = np.ones(WEEKS) if pool is None else pool.shares
    stay, start = flat_season(), 0.0
    if pool is not None and not pool.is_flat:
        of_pool = _told(by_year, pool.shares, phi)
        if of_pool > AGAINST:
            stay, start = pool, max(of_pool, 0.0)
    gains = {(s, a): _gain(by_year, centre, (s, a), phi) for s in SMOOTH for a in ABRUPT}
    best = max(gains, key=lambda kind: gains[kind])
    if gains[best] < start + CLEARLY:
        return stay
    shares, variance = _fitted(by_year.sum(axis=0), centre, best, phi)
    return Season(shares=shares, variance=variance, gain=gains[best])


def _gain(by_year: Array, centre: Array, kind: Kind, phi: float) -> float:
    """Log likelihood of each year under the season of the others, over one without a season."""
    total = by_year.sum(axis=0)
    return sum(_told(one[None], _fitted(total - one, centre, kind, phi)[0], phi) for one in by_year)


def _told(by_year: Array, shares: Array, phi: float) -> float:
    flat = np.ones(WEEKS)
    return sum(_log_chance(one, shares) - _log_chance(one, flat) for one in by_year) / phi


def _log_chance(one: Array, shares: Array) -> float:
    """Multinomial log likelihood, but for its constant, of a year's arrivals over its weeks."""
    y, base = one
    expected = np.maximum(base * shares, 1e-12)
    return float(y @ np.log(expected / expected.sum()))


def _fitted(sums: Array, centre: Array, kind: Kind, phi: float) -> tuple[Array, Array]:
    """Mean and variance of the shares given sums of arrivals and of what was expected."""
    y, base = sums
    if base.sum() <= 0 or y.sum() <= 0:
        return centre, np.zeros(WEEKS)
    base = base * y.sum() / max(float(base @ centre), 1e-12)
    prior = _covariance(kind)
    # counts of a week vary by phi times their mean; the prior's mean stands for it
    noise = phi * np.maximum(centre, LEAST) / np.maximum(base, 1e-9)
    ratio = np.where(base > 0, y / np.maximum(base, 1e-9), centre)
    gain = np.linalg.solve(prior + np.diag(noise), prior).T
    shares = np.maximum(centre + gain @ (ratio - centre), LEAST)
    variance = np.maximum(np.diag(prior - gain @ prior), 0.0)
    mean = float(shares.mean())
    return shares / mean, variance / mean**2


def _covariance(kind: Kind) -> Array:
    apart = np.arange(WEEKS) / WEEKS
    smooth, abrupt = kind
    slow = np.exp(-2.0 * np.sin(np.pi * (apart[:, None] - apart[None, :])) ** 2 / TURN**2)
    return np.asarray(smooth**2 * slow + abrupt**2 * np.eye(WEEKS))


def _by_week(values: Array, week: Ints) -> Array:
    return np.bincount(week, weights=values, minlength=WEEKS).astype(float)


def _trended(counts: Array, exposure: Array) -> Array:
    """Exposure times the steady growth from year to year that it does not tell of itself."""
    n_years = len(counts) // WEEKS
    y = counts.reshape(n_years, WEEKS).sum(axis=1) + 0.5
    base = exposure.reshape(n_years, WEEKS).sum(axis=1)
    if (base <= 0).any():
        base, exposure = np.ones(n_years), np.ones(len(counts))
    slope = float(np.polyfit(np.arange(n_years), np.log(y / base), 1)[0])
    return np.asarray(exposure * np.exp(slope * np.arange(len(counts)) / WEEKS))
