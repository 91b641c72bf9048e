"""Life left to a part whose age is not known: the equilibrium law, drawn fast."""

from functools import cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
_LOG_K = np.linspace(np.log(0.35), np.log(16.0), 161)
_Q_END, _N_Q = np.log1p(60.0), 241
_FAR = 50.0  # from here on the tail is exponential in the cumulative hazard


def residual_of_unknown_age(k: Array, eta: Array, seen: Array, upper_share: Array) -> Array:
    """Time left to a part watched for ``seen`` without its age being known.

    Parameters
    ----------
    k, eta, seen : ndarray, shape (n,)
        Shape [1], scale [d], time watched so far [d].
    upper_share : ndarray, shape (n,)
        Uniform draws in (0, 1]: share of the survivors that last longer.

    Returns
    -------
    ndarray, shape (n,)
        [d]

    Notes
    -----
    The life beyond the start of watching has density S(x) / mean, whose upper tail is
    Q(1/k, (x/eta)^k) with Q the regularised upper gamma function. Q and its inverse cost
    microseconds a draw, so both are read from tables of log(z / (v (1 + v)^(1/k - 1))) and
    log(v / (z (1 + z)^(k - 1))) with z = x/eta and v = -log Q, smooth in log k; good to
    5e-4 of a characteristic life, which the tests hold against the functions themselves.
    """
    spent = (seen / eta) ** k
    draw = -np.log(upper_share)
    outside = (k < np.exp(_LOG_K[0])) | (k > np.exp(_LOG_K[-1]))
    far = spent > _FAR
    v = np.zeros(len(k))
    near = ~far & ~outside
    v[near] = _tail(k[near], seen[near] / eta[near])
    rest = ~far & outside
    v[rest] = _exact_tail(k[rest], spent[rest])
    out = np.empty(len(k))
    total = v + draw
    far |= total > _FAR
    near, rest = near & ~far, rest & ~far
    out[near] = eta[near] * _life(k[near], total[near])
    out[rest] = eta[rest] * _exact(k[rest], total[rest])
    out[far] = eta[far] * (spent[far] + draw[far]) ** (1 / k[far])
    return np.maximum(out - seen, 0.0)


def _exact_tail(k: Array, spent: Array) -> Array:
    from scipy.special import gammaincc

    return np.asarray(-np.log(gammaincc(1 / k, spent)), dtype=float)


def _exact(k: Array, v: Array) -> Array:
    from scipy.special import gammainccinv

    return np.asarray(gammainccinv(1 / k, np.exp(-v)) ** (1 / k), dtype=float)


def _life(k: Array, v: Array) -> Array:
    """Return z of v, from the table."""
    log_ratio = _between(_tables()[0], k, np.log1p(v) * ((_N_Q - 1) / _Q_END))
    return np.asarray(v * np.exp(log_ratio + (1 / k - 1) * np.log1p(v)), dtype=float)


def _tail(k: Array, z: Array) -> Array:
    """Return v of z, from the table."""
    log_ratio = _between(_tables()[1], k, np.log1p(z) * ((_N_Q - 1) / _z_end(k)))
    return np.asarray(z * np.exp(log_ratio + (k - 1) * np.log1p(z)), dtype=float)


def _z_end(k: Array) -> Array:
    return np.asarray(np.log1p((1.02 * _FAR) ** (1 / k)), dtype=float)


def _between(table: Array, k: Array, at_q: Array) -> Array:
    """Bilinear in log k and the column."""
    at_k = (np.log(k) - _LOG_K[0]) / (_LOG_K[1] - _LOG_K[0])
    i = np.clip(at_k.astype(np.int64), 0, len(_LOG_K) - 2)
    j = np.minimum(at_q.astype(np.int64), _N_Q - 2)
    a, b = at_k - i, at_q - j
    flat = table.ravel()
    at = i * _N_Q + j
    low = flat[at] * (1 - b) + flat[at + 1] * b
    high = flat[at + _N_Q] * (1 - b) + flat[at + _N_Q + 1] * b
    return np.asarray(low * (1 - a) + high * a, dtype=float)


@cache
def _tables() -> tuple[Array, Array]:
    """Log ratios of z to v and of v to z; a row for each k, a column for each step of the other."""
    from scipy.special import gammaln

    k = np.exp(_LOG_K)[:, None]
    q = np.linspace(0.0, _Q_END, _N_Q)[None, 1:]
    v = np.expm1(q) + 0 * k
    life = np.log(_exact(k, v)) - np.log(v) - (1 / k - 1) * q
    q = np.linspace(0.0, 1.0, _N_Q)[None, 1:] * _z_end(k)
    z = np.expm1(q)
    tail = np.log(_exact_tail(k, z**k)) - np.log(z) - (k - 1) * q
    start = gammaln(1 + 1 / k)
    return np.concatenate([start, life], axis=1), np.concatenate([-start, tail], axis=1)
