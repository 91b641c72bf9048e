"""Likelihood of straight paths whose start and slope differ between parts, many laws at once.

A part's readings are normal with mean Z m and variance s^2 (I + Z D Z'), Z the columns 1 and age, D
the variance of (start, slope) between parts as a multiple of that of measurement. With S = Z'Z the
weight of a part's own line is W = (1/S + D)^-1 = S (I + D S)^-1, which also stands where S or D
can't be inverted; nothing larger than 2 x 2 is needed.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dutylife.models.paths.rows import Sums

Array = NDArray[np.float64]
_BLOCK = 100_000  # laws times parts at once: what a cache holds


@dataclass(frozen=True, slots=True)
class Between:
    """Variance of (start, slope) between parts over that of measurement, shape (k,) each."""

    start: Array
    both: Array
    slope: Array

    @staticmethod
    def of(ratio_start: Array, ratio_slope: Array, correlation: Array) -> "Between":
        """From the two standard deviations over that of measurement, and their correlation."""
        return Between(ratio_start**2, correlation * ratio_start * ratio_slope, ratio_slope**2)


@dataclass(frozen=True, slots=True)
class Fitted:
    """For each of k laws: best mean path, squares left, log determinants.

    ``mean`` has shape (k, 2), ``weight`` (k, 3) holds the elements 11, 12, 22 of the sum of W;
    ``log_det`` is the sum of log |I + D S| over parts.
    """

    mean: Array
    weight: Array
    squares: Array
    log_det: Array


def weights(sums: Sums, between: Between) -> tuple[Array, Array, Array, Array]:
    """Elements 11, 12, 22 of W and log |I + D S|, shapes (k, parts)."""
    p, q, r = (v[:, None] for v in (between.start, between.both, between.slope))
    det_s = np.maximum(sums.n * sums.tt - sums.t**2, 0.0)
    det_d = np.maximum(p * r - q * q, 0.0)
    det = 1.0 + p * sums.n + 2.0 * q * sums.t + r * sums.tt + det_d * det_s
    w11, w12, w22 = sums.n + det_s * r, sums.t - det_s * q, sums.tt + det_s * p
    return w11 / det, w12 / det, w22 / det, np.log(det)


def fitted(sums: Sums, between: Between) -> Fitted:
    """Best mean path (generalised least squares) of each law and what it leaves."""
    block = max(_BLOCK // len(sums.n), 1)
    k = len(between.start)
    found = [
        _fitted(sums, Between(*(v[i : i + block] for v in (
            between.start, between.both, between.slope
        ))))
        for i in range(0, k, block)
    ]  # fmt: skip
    if len(found) == 1:
        return found[0]
    return Fitted(
        *(
            np.concatenate([getattr(f, name) for f in found])
            for name in ("mean", "weight", "squares", "log_det")
        )
    )


def _fitted(sums: Sums, between: Between) -> Fitted:
    w11, w12, w22, log_det = weights(sums, between)
    a, b, c = w11.sum(axis=1), w12.sum(axis=1), w22.sum(axis=1)
    first = w11 @ sums.start + w12 @ sums.slope
    second = w12 @ sums.start + w22 @ sums.slope
    det = a * c - b * b
    mean = np.stack([(c * first - b * second) / det, (a * second - b * first) / det], axis=1)
    off_start = sums.start - mean[:, :1]
    off_slope = sums.slope - mean[:, 1:]
    squares = w11 * off_start**2 + 2.0 * w12 * off_start * off_slope + w22 * off_slope**2
    return Fitted(
        mean, np.stack([a, b, c], axis=1), sums.left.sum() + squares.sum(axis=1),
        log_det.sum(axis=1),
    )  # fmt: skip


def log_likelihood(sums: Sums, between: Between) -> Array:
    """Log-likelihood of each law, its mean path and measurement variance at their best.

    In scaled readings; shape (k,).
    """
    found = fitted(sums, between)
    n = sums.n.sum()
    spent = n * (1.0 + np.log(2.0 * np.pi * found.squares / n)) + found.log_det
    return np.asarray(-0.5 * spent, dtype=float)


def log_marginal(sums: Sums, between: Between, n_spreads: int) -> Array:
    """Log of the likelihood with mean path and measurement variance integrated out, shape (k,).

    The mean path is flat before the data, and so is each standard deviation: that of measurement
    and the ``n_spreads`` between parts. (Flat on its log, that of measurement would run to 0 where
    no part was read three times.)
    """
    found = fitted(sums, between)
    det = found.weight[:, 0] * found.weight[:, 2] - found.weight[:, 1] ** 2
    freedom = sums.n.sum() - 3.0 - n_spreads
    spent = found.log_det + np.log(det) + freedom * np.log(found.squares)
    return np.asarray(-0.5 * spent, dtype=float)


def _only(sums: Sums, part: int) -> Sums:
    keep = slice(part, part + 1)
    return replace(
        sums, n=sums.n[keep], t=sums.t[keep], tt=sums.tt[keep], start=sums.start[keep],
        slope=sums.slope[keep], left=sums.left[keep],
    )  # fmt: skip


def own_path(
    sums: Sums, part: int, between: Between, mean: Array
) -> tuple[Array, Array, Array, Array, Array]:
    """Start and slope of one part given its readings, and their variance over s^2.

    Returns
    -------
    tuple
        start, slope, variances 11, 12, 22; shape (k,) each.
    """
    w11, w12, w22, _ = (v[:, 0] for v in weights(_only(sums, part), between))
    p, q, r = between.start, between.both, between.slope
    off_start, off_slope = sums.start[part] - mean[:, 0], sums.slope[part] - mean[:, 1]
    pull_start = w11 * off_start + w12 * off_slope
    pull_slope = w12 * off_start + w22 * off_slope
    # D W D, element by element
    d11 = p * (w11 * p + w12 * q) + q * (w12 * p + w22 * q)
    d12 = p * (w11 * q + w12 * r) + q * (w12 * q + w22 * r)
    d22 = q * (w11 * q + w12 * r) + r * (w12 * q + w22 * r)
    return (
        mean[:, 0] + p * pull_start + q * pull_slope,
        mean[:, 1] + q * pull_start + r * pull_slope,
        np.maximum(p - d11, 0.0), q - d12, np.maximum(r - d22, 0.0),
    )  # fmt: skip
