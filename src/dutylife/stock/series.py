"""Law of a part's demand from its own series: how often which month came, late months more."""

from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
HALF_LIVES = (6.0, 12.0, 24.0, 48.0, float("inf"))  # months after which a month counts half
KINDS = ("as they came", "smooth")
Method = tuple[str, float]
METHODS: tuple[Method, ...] = tuple((kind, half) for kind in KINDS for half in HALF_LIVES)
LEVELS = (0.5, 0.8, 0.95)
SHARPNESS = 30.0  # power of the losses in the weights; our proposal, see `weights_of`
_LEARNED_MONTHS = 12
_WHOLE_WINDOW = 3  # months summed as they came; longer spans are sums of such


def month_weights(n_months: int, half_life: float) -> Array:
    """Weight of each month of a record, the oldest first, adding up to 1; shape (n_months,)."""
    back = np.arange(n_months - 1, -1, -1)
    weight = 0.5 ** (back / half_life)
    return np.asarray(weight / weight.sum(), dtype=float)


def series_chances(
    demand: npt.ArrayLike, months: float = 1.0, weights: dict[Method, float] | None = None
) -> Array:
    """Chance of 0, 1, 2, ... pieces in the months to come.

    Parameters
    ----------
    demand : array_like, shape (n_months,)
        Pieces of each month of the record, the oldest first; whole, none negative. [pieces]
    months : float
        Length of the span. [months]
    weights : dict of method to float, optional
        Weight of each of `METHODS`; all alike when not given. See `learned_weights`.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    A mixture over half-lives of the record, late months weighted more, each in two ways: months
    "as they came", so that lumps and packs keep their sizes and months without demand their
    share; and "smooth", the negative binomial law of the same weighted mean and variance. As they
    came, up to 3 months are summed one after the other, longer spans are independent sums of
    such, and a part of a month comes with that chance whole.

    Examples
    --------
    >>> as_came = {("as they came", float("inf")): 1.0}
    >>> series_chances([0, 0, 2, 0], weights=as_came).round(2).tolist()
    [0.75, 0.0, 0.25]
    """
    y = np.maximum(np.ceil(np.asarray(demand, dtype=float) - 1e-9), 0.0)
    weights = weights or dict.fromkeys(METHODS, 1.0 / len(METHODS))
    found = [
        (w, _smooth(y, months, half) if kind == "smooth" else _of_months(y, months, half))
        for (kind, half), w in weights.items()
        if w > 1e-4
    ]
    return mixed(found)


def mixed(found: list[tuple[float, Array]]) -> Array:
    """Mixture of laws given by the chances of 0, 1, 2, ... pieces, with their weights."""
    out = np.zeros(max(len(law) for _, law in found))
    for weight, law in found:
        out[: len(law)] += weight * law
    return np.asarray(out / out.sum(), dtype=float)


def pinball(quantile: Array, came: Array, level: float) -> Array:
    """Pinball loss of a quantile against what came [pieces]."""
    gap = came - quantile
    return np.maximum(level * gap, (level - 1.0) * gap)


def weights_of(losses: dict[Any, float]) -> dict[Any, float]:
    """Weights of methods from their losses on what came: (loss / least) ** -SHARPNESS.

    A method 2 % worse keeps half the weight of the best, one 10 % worse next to none: losses are
    sums over many parts and months, so small differences tell.
    """
    least = min(losses.values())
    if least <= 0:
        raw = {k: float(v <= 0) for k, v in losses.items()}
    else:
        raw = {k: (v / least) ** -SHARPNESS for k, v in losses.items()}
    total = sum(raw.values())
    return {k: v / total for k, v in raw.items()}


def learned_weights(demand: Array, n_months: int = _LEARNED_MONTHS) -> dict[Method, float]:
    """Weights of methods by how well each forecast the last months of all series.

    Parameters
    ----------
    demand : ndarray, shape (n_series, n_months)
        Pieces, the oldest month first.
    n_months : int
        Months at the end forecast one by one from those before.

    Returns
    -------
    dict of method to weight
        All alike where the record is too short to tell.
    """
    n = min(n_months, demand.shape[1] // 2)
    if n < 1 or not demand.any():
        return dict.fromkeys(METHODS, 1.0 / len(METHODS))
    losses = {method: np.zeros(len(LEVELS)) for method in METHODS}
    for t in range(demand.shape[1] - n, demand.shape[1]):
        for kind, half in METHODS:
            weight = month_weights(t, half)
            of_kind = _smooth_quantiles if kind == "smooth" else _quantiles
            for i, level in enumerate(LEVELS):
                said = of_kind(demand[:, :t], weight, level)
                losses[kind, half][i] += pinball(said, demand[:, t], level).sum()
    best = np.maximum(np.min(np.stack(list(losses.values())), axis=0), 1e-12)
    return weights_of({method: float(np.mean(v / best)) for method, v in losses.items()})


def _quantiles(record: Array, weight: Array, level: float) -> Array:
    order = np.argsort(record, axis=1)
    below = np.cumsum(weight[order], axis=1)
    at = np.minimum((below < level - 1e-9).sum(axis=1), record.shape[1] - 1)
    rows = np.arange(len(record))
    return np.asarray(record[rows, order[rows, at]])


def _moments(record: Array, weight: Array) -> tuple[Array, Array]:
    """Weighted mean and variance over mean, at least a little above 1."""
    mean = record @ weight
    effective = 1 / float(weight @ weight)
    spread = (record - mean[..., None]) ** 2 @ weight * effective / max(effective - 1, 1.0)
    ratio = np.where(mean > 0, spread / np.where(mean > 0, mean, 1.0), 1.0)
    return mean, np.maximum(ratio, 1.0001)


def _smooth_quantiles(record: Array, weight: Array, level: float) -> Array:
    from scipy.stats import nbinom

    mean, ratio = _moments(record, weight)
    found = nbinom.ppf(level, np.maximum(mean, 1e-9) / (ratio - 1), 1 / ratio)
    return np.where(mean > 1e-9, found, 0.0)


def _smooth(y: Array, months: float, half_life: float) -> Array:
    """Negative binomial law of the weighted mean and variance, months independent."""
    from scipy.special import gammaln

    if not len(y) or not y.any():
        return np.ones(1)
    mean, ratio = (float(v) for v in _moments(y, month_weights(len(y), half_life)))
    size = mean * months / (ratio - 1)
    top = int(mean * months + 12 * np.sqrt(mean * months * ratio) + 12 * ratio + 12)
    k = np.arange(top + 1)
    log = gammaln(k + size) - gammaln(k + 1) - gammaln(size) - size * np.log(ratio)
    chance = np.exp(log + k * np.log1p(-1 / ratio))
    return np.asarray(chance / chance.sum())


def _of_months(y: Array, months: float, half_life: float) -> Array:
    whole = int(np.floor(months + 1e-9))
    part = months - whole
    out = np.ones(1)
    while whole > 0:
        n = min(whole, _WHOLE_WINDOW, max(len(y), 1))
        out = np.convolve(out, _window(y, n, half_life))
        whole -= n
    if part > 1e-6:
        some = part * _window(y, 1, half_life)
        some[0] += 1 - part
        out = np.convolve(out, some)
    return np.asarray(out)


def _window(y: Array, n: int, half_life: float) -> Array:
    """Law of the sum of n months in a row."""
    if len(y) == 0:
        return np.ones(1)
    sums = np.convolve(y, np.ones(n), mode="valid").round().astype(int)
    return np.asarray(np.bincount(sums, weights=month_weights(len(sums), half_life)), dtype=float)
