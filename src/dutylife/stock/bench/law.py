"""Law of the machines that arrive in each week to come: level, season, spread by how far ahead."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.stock.bench.season import Season, season_of
from dutylife.stock.series import weights_of

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
HALF_LIVES = (4.0, 8.0, 13.0, 26.0, 52.0, 104.0, float("inf"))  # weeks after which one counts half
AHEAD = (1, 2, 4, 8, 13, 26, 39, 52)  # weeks ahead at which past forecasts are scored
SCORED = (1, 4, 13)  # those that weigh the half-lives
# all our proposal
FEWEST_WEEKS = 26  # before the first past forecast
PRIOR_VISITS = 0.5  # put to each level beside the record's own rate
POOL_WEEKS = 26.0  # past weeks that the fleet's spread counts for in a class
PRIOR_WEEKS = 13.0  # past weeks that the stated spread counts for in the fleet's
TOLD_HALF_LIFE = 104.0  # weeks after which a past forecast counts half
SPREADS = np.concatenate([[1e-6], np.geomspace(2e-3, 2.0, 15)])
PRIOR_SPREAD = (0.02, 0.001)  # at once, and more for each week ahead: 14 and 27 % in a year


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WeeklyLaw:
    """Arrivals of each series, and of all together, in each week to come.

    ``mean`` and ``spread`` have shape (n_series + 1, n_ahead), all together last; counts are
    negative binomial of variance mean + spread x mean^2. ``seasons`` has one for each series.
    """

    mean: Array
    spread: Array
    seasons: list[Season]
    half_life_weights: Array

    def quantile(self, level: float) -> Array:
        """Arrivals not exceeded with a chance, shape as ``mean``."""
        return count_quantile(level, self.mean, self.spread)


def count_quantile(level: float, mean: Array, spread: Array) -> Array:
    """Quantile of negative binomial counts of variance mean + spread x mean^2; Poisson at 0."""
    from scipy.special import betainc

    mean, spread = np.asarray(mean, dtype=float), np.maximum(spread, 1e-6)
    size = 1.0 / spread
    reach = mean + 12.0 * np.sqrt(mean + spread * mean**2) + 12.0
    counts = np.arange(int(np.ceil(float(reach.max(initial=0.0)))) + 1.0)
    share = size / (size + np.maximum(mean, 1e-12))
    below = betainc(size[..., None], counts + 1.0, share[..., None])
    return np.asarray((below < level - 1e-12).sum(axis=-1), dtype=float)


def weekly_law(
    counts: Array, week: Ints, exposure: Array, week_ahead: Ints, exposure_ahead: Array
) -> WeeklyLaw:
    """Arrivals in the weeks to come from those of the record.

    Parameters
    ----------
    counts : ndarray, shape (n_series, n_weeks)
        Arrivals of each class, the oldest week first.
    week, week_ahead : ndarray of int, shape (n_weeks,) and (n_ahead,)
        Part of the year of each week, 0 to 51.
    exposure, exposure_ahead : ndarray, shape (n_series, n_weeks) and (n_series, n_ahead)
        What arrivals are in proportion to but for the season: machines there, failures expected.

    Notes
    -----
    A level is arrivals over exposure and season, late weeks more: a mixture of half-lives weighted
    by the errors of past forecasts of all series 1, 4 and 13 weeks ahead. The spread follows from
    the same past forecasts by how far ahead they looked (a + b x weeks), a class's own beside the
    fleet's, so that all that moved levels before, and what was not known of them, is in the
    range; what is not known of the season comes on top.
    """
    counts, exposure = np.atleast_2d(counts), np.maximum(np.atleast_2d(exposure), 1e-9)
    exposure_ahead = np.maximum(np.atleast_2d(exposure_ahead), 0.0)
    whole = season_of(counts.sum(axis=0), week, exposure.sum(axis=0))
    seasons = [season_of(y, week, e, whole) for y, e in zip(counts, exposure, strict=True)]
    if len(counts) == 1:
        seasons = [whole]
    shares = np.stack([s.shares for s in seasons])
    expected = exposure * shares[:, week]
    rates = np.stack([_rates(counts, expected, half) for half in HALF_LIVES])
    starts = np.arange(FEWEST_WEEKS, counts.shape[1])
    weights = _half_life_weights(counts, expected, rates, starts)
    rate = np.tensordot(weights, rates, axes=1)  # (n_series, n_weeks + 1): before each week, last
    ahead_share = shares[:, week_ahead]
    mean = rate[:, -1:] * exposure_ahead * ahead_share
    unsure = np.stack([s.variance for s in seasons])[:, week_ahead] / ahead_share**2
    n_ahead = len(week_ahead)
    spread = _spreads(counts, expected, rate, starts, n_ahead)
    total = mean.sum(axis=0)
    # what is not known of seasons is one and the same error where classes go by the fleet's
    common = (np.sqrt(unsure) * mean).sum(axis=0) / np.maximum(total, 1e-12)
    spread = spread + np.vstack([unsure, common**2])
    return WeeklyLaw(
        mean=np.vstack([mean, total]), spread=spread, seasons=seasons, half_life_weights=weights
    )  # fmt: skip


def _rates(counts: Array, expected: Array, half_life: float) -> Array:
    """Level before each week and after the last: (n_series, n_weeks + 1)."""
    keep = 0.5 ** (1.0 / half_life)
    n_series, n = counts.shape
    out = np.zeros((n_series, n + 1))
    late, late_base = np.zeros(n_series), np.zeros(n_series)
    seen, base = np.zeros(n_series), np.zeros(n_series)
    for t in range(n + 1):
        usual = (seen + PRIOR_VISITS * 1e-3) / np.maximum(base, 1e-9)
        out[:, t] = (late + PRIOR_VISITS) / (late_base + PRIOR_VISITS / np.maximum(usual, 1e-9))
        if t < n:
            late, late_base = keep * late + counts[:, t], keep * late_base + expected[:, t]
            seen, base = seen + counts[:, t], base + expected[:, t]
    return out


def _half_life_weights(counts: Array, expected: Array, rates: Array, starts: Ints) -> Array:
    """Weights of the half-lives by absolute errors, late ones more; of all series together."""
    n = counts.shape[1]
    losses = np.zeros(len(HALF_LIVES))
    for ahead in SCORED:
        at = starts[starts + ahead <= n]
        if not len(at):
            continue
        came, base = counts[:, at + ahead - 1], expected[:, at + ahead - 1]
        said = rates[:, :, at] * base
        loss = (np.abs(came - said) @ _late(len(at))).sum(axis=1)
        losses += loss / max(float(loss.min()), 1e-12)
    if not losses.any():
        return np.full(len(HALF_LIVES), 1.0 / len(HALF_LIVES))
    found = weights_of(dict(enumerate(losses.tolist())))
    return np.array([found[i] for i in range(len(HALF_LIVES))])


def _late(n: int) -> Array:
    """Weights of the last n weeks, the oldest first: half after `TOLD_HALF_LIFE`."""
    weight = 0.5 ** (np.arange(n - 1, -1, -1) / TOLD_HALF_LIFE)
    return np.asarray(weight / weight.sum())


def _spreads(counts: Array, expected: Array, rate: Array, starts: Ints, n_ahead: int) -> Array:
    """Spread of each series and of all, by weeks ahead: (n_series + 1, n_ahead)."""
    n = counts.shape[1]
    looked, found, weeks = [], [], []
    for ahead in AHEAD:
        at = starts[starts + ahead <= n]
        if len(at) < 2:
            continue
        said = rate[:, at] * expected[:, at + ahead - 1]
        came = counts[:, at + ahead - 1]
        said, came = np.vstack([said, said.sum(axis=0)]), np.vstack([came, came.sum(axis=0)])
        late = _late(len(at))
        own = [_held_spread(c, s, late) for c, s in zip(came, said, strict=True)]
        every = _held_spread(came[:-1].ravel(), said[:-1].ravel(),
                             np.tile(late, len(counts)) / len(counts))  # fmt: skip
        looked.append(ahead)
        found.append([*own, every])
        weeks.append(len(at))
    ahead_of = np.arange(1, n_ahead + 1)
    stated = PRIOR_SPREAD[0] + PRIOR_SPREAD[1] * ahead_of
    if not looked:
        return np.tile(stated, (len(counts) + 1, 1))
    each, n_weeks, far = (
        np.array(found),
        np.array(weeks, dtype=float),
        np.array(looked, dtype=float),
    )
    prior = PRIOR_SPREAD[0] + PRIOR_SPREAD[1] * far
    # errors of neighbouring weeks far ahead are nearly one and the same
    apart = n_weeks / np.sqrt(far)
    share = apart / (apart + PRIOR_WEEKS)
    pooled = share * each[:, -1] + (1 - share) * prior
    total = share * each[:, -2] + (1 - share) * prior
    mine = (apart / (apart + POOL_WEEKS))[:, None]
    own = mine * each[:, :-2] + (1 - mine) * pooled[:, None]
    return np.stack([_line(far, v, apart, ahead_of) for v in [*own.T, total]])


def _held_spread(came: Array, said: Array, weight: Array) -> float:
    """Spread at which the 80 % ranges of past forecasts held 80 % of what came.

    Steps of the counts are shared out: a count on the range's edge is inside by the part of its
    chance that is.
    """
    from scipy.special import betainc

    some = said > 1e-6
    if not some.any():
        return 0.0
    y, m, w = came[some], said[some], weight[some] / weight[some].sum()
    size = 1.0 / SPREADS[:, None]
    share = size / (size + m)
    upto = betainc(size, y + 1.0, share)
    under = np.where(y > 0, betainc(size, np.maximum(y, 1.0), share), 0.0)
    inside = np.minimum(upto, 0.9) - np.maximum(under, 0.1)
    held = np.clip(inside / np.maximum(upto - under, 1e-12), 0.0, 1.0) @ w
    held = np.maximum.accumulate(held)
    return float(np.interp(0.8, held, SPREADS))


def _line(far: Array, spread: Array, weight: Array, ahead: Ints) -> Array:
    """Spread a + b x weeks ahead by least squares, neither below 0, at each week ahead."""
    y, w = np.maximum(spread, 0.0), weight / weight.sum()
    middle, level = float(w @ far), float(w @ y)
    square = float(w @ (far - middle) ** 2)
    b = max(float(w @ ((far - middle) * (y - level))) / square, 0.0) if square > 0 else 0.0
    a = level - b * middle
    if a < 0:
        a, b = 0.0, float(w @ (far * y)) / float(w @ far**2)
    return np.asarray(a + b * ahead)
