"""A law of life as the decisions read it: survival, cumulative hazard, mean, integrals."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np
import numpy.typing as npt

from dutylife.errors import DecisionError

Array = npt.NDArray[np.float64]
LawName = Literal[
    "weibull", "gamma", "lognormal", "normal", "exponential", "uniform", "log-logistic"
]
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_PANELS = 16
_STEEP = 6  # ages near 0 are taken as u ** 6, so that steep starts (Weibull shape < 1) integrate
_DOUBLINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """A law of life.

    Parameters
    ----------
    survival : callable
        Share still working at an array of ages, same shape. [1]
    cumulative_hazard : callable
        Expected failures by an array of ages when each is mended as bad as old. [1]
    mean, sd : float
        Of the age at failure, ``inf`` where it has none. [age]
    name : str
        In words.
    """

    survival: Callable[[Array], Array]
    cumulative_hazard: Callable[[Array], Array]
    mean: float
    sd: float
    name: str

    def failed(self, age: npt.ArrayLike) -> Array:
        """Share failed by an age [1], shape as ``age``."""
        ages = np.asarray(age, dtype=float)
        return np.asarray(1.0 - self.survival(ages), dtype=float)

    def lived(self, age: npt.ArrayLike) -> Array:
        """Mean age reached when stopped at an age: integral of survival from 0, shape as ``age``.

        8-point Gauss sums over 16 panels between neighbouring ages. [age]
        """
        ages = np.atleast_1d(np.asarray(age, dtype=float))
        order, back = np.unique(ages.ravel(), return_inverse=True)
        total = np.cumsum(panel_means(self.survival, np.concatenate([[0.0], order])))
        return np.asarray(total[back].reshape(ages.shape), dtype=float)


def panel_means(curve: Callable[[Array], Array], edges: Array, panels: int = _PANELS) -> Array:
    """Integrals of a curve between neighbouring edges, the first of which is 0.

    Parameters
    ----------
    curve : callable
        Of an array of ages, same shape.
    edges : ndarray, shape (n + 1,)
        Rising ages.
    panels : int
        8-point panels between two edges; from 0 to the first edge always 16, of age ** (1 / 6).

    Returns
    -------
    ndarray, shape (n,)
    """
    unit, weight = _unit(_PANELS)
    width = np.diff(edges)
    start = np.asarray(curve(width[0] * unit**_STEEP), dtype=float)
    out = np.empty(len(width))
    out[0] = width[0] * float(start @ (weight * _STEEP * unit ** (_STEEP - 1)))
    if len(width) > 1:
        unit, weight = _unit(panels)
        points = edges[1:-1, None] + width[1:, None] * unit
        values = np.asarray(curve(points.ravel()), dtype=float).reshape(points.shape)
        out[1:] = (values @ weight) * width[1:]
    return out


def _unit(panels: int) -> tuple[Array, Array]:
    """Points and weights of a sum over 0 to 1."""
    middle = (np.arange(panels) + 0.5) / panels
    points = (middle[:, None] + _NODES / (2 * panels)).ravel()
    return points, np.tile(_WEIGHTS, panels) / (2 * panels)


def known_life(
    law: LawName,
    *,
    shape: float | None = None,
    scale: float | None = None,
    mean: float | None = None,
    sd: float | None = None,
    mu: float | None = None,
    sigma: float | None = None,
    lower: float | None = None,
    upper: float | None = None,
) -> Life:
    """Law of life with known parameters.

    Parameters
    ----------
    law : {"weibull", "gamma", "lognormal", "normal", "exponential", "uniform", "log-logistic"}
        Weibull: ``shape`` and ``scale`` (63.2 % have failed by it). Gamma: ``shape`` and ``scale``
        (mean = shape x scale; 1 / rate). Lognormal: ``mu`` and ``sigma`` of log age. Normal:
        ``mean`` and ``sd``. Exponential: ``scale`` or ``mean``. Uniform: ``lower`` and ``upper``.
        Log-logistic: ``shape`` and ``scale`` (the median).
    shape : float
        [1]
    scale, mean, sd, lower, upper : float
        [age]. ``mean`` stands in for ``scale`` of any law that has one: tables of renewal
        functions set the mean to 1, libraries the scale. Gamma and lognormal also take ``mean``
        and ``sd``.
    mu, sigma : float
        [log age, 1]

    Returns
    -------
    Life

    Raises
    ------
    DecisionError
        An unknown law, a parameter missing, one too many, or not positive.

    Examples
    --------
    >>> known_life("weibull", shape=2, mean=1).survival(np.array([1.0])).round(4).tolist()
    [0.4559]
    """
    from scipy import stats

    if law not in get_args(LawName):
        raise DecisionError(
            f"The law '{law}' is not known.", "law", "one of: " + ", ".join(get_args(LawName))
        )
    given = {
        "shape": shape, "scale": scale, "mean": mean, "sd": sd, "mu": mu, "sigma": sigma,
        "lower": lower, "upper": upper,
    }  # fmt: skip
    stated = {k: float(v) for k, v in given.items() if v is not None}
    p = _complete(law, stated)
    makers: dict[str, Callable[[], Any]] = {
        "weibull": lambda: stats.weibull_min(p["shape"], scale=p["scale"]),
        "gamma": lambda: stats.gamma(p["shape"], scale=p["scale"]),
        "lognormal": lambda: stats.lognorm(p["sigma"], scale=math.exp(p["mu"])),
        "normal": lambda: stats.norm(p["mean"], p["sd"]),
        "exponential": lambda: stats.expon(scale=p["scale"]),
        "uniform": lambda: stats.uniform(p["lower"], p["upper"] - p["lower"]),
        "log-logistic": lambda: lambda age: 1 / (1 + (age / p["scale"]) ** p["shape"]),
    }
    return life_of(makers[law](), name=law)


def _complete(law: str, stated: dict[str, float]) -> dict[str, float]:
    """Parameters of a law under its own names, whichever of the allowed sets was stated."""
    sets: dict[str, list[tuple[str, ...]]] = {
        "weibull": [("shape", "scale"), ("shape", "mean")],
        "gamma": [("shape", "scale"), ("shape", "mean"), ("mean", "sd")],
        "lognormal": [("mu", "sigma"), ("mean", "sd"), ("mean", "sigma")],
        "normal": [("mean", "sd")],
        "exponential": [("scale",), ("mean",)],
        "uniform": [("lower", "upper")],
        "log-logistic": [("shape", "scale"), ("shape", "mean")],
    }
    if not any(set(s) == set(stated) for s in sets[law]):
        raise DecisionError(
            f"A {law} law can't be made of {', '.join(stated) or 'nothing'}.",
            "known_life(law)",
            "give " + ", or ".join(" and ".join(s) for s in sets[law]),
        )
    bad = [f"{k} = {v}" for k, v in stated.items() if k not in ("mu", "lower") and not v > 0]
    bad += [f"{k} = {v}" for k, v in stated.items() if not math.isfinite(v)]
    if law == "uniform" and not 0 <= stated["lower"] < stated["upper"]:
        bad.append(f"lower = {stated['lower']}, upper = {stated['upper']}")
    if law == "log-logistic" and "mean" in stated and stated["shape"] <= 1:
        bad.append(f"shape = {stated['shape']} (no mean below 1)")
    if bad:
        raise DecisionError(
            f"A {law} law can't have {', '.join(bad)}.", "known_life", "give positive figures"
        )
    out = dict(stated)
    if "mean" in stated and law != "normal":
        m = stated["mean"]
        spread = math.log1p((stated.get("sd", 0.0) / m) ** 2)
        if law == "gamma" and "sd" in stated:
            out["shape"] = (m / stated["sd"]) ** 2
        if law == "lognormal":
            out["sigma"] = stated.get("sigma", math.sqrt(spread))
            out["mu"] = math.log(m) - out["sigma"] ** 2 / 2
        if law == "log-logistic":
            angle = math.pi / stated["shape"]
            out["scale"] = m * math.sin(angle) / angle
        if law in ("weibull", "exponential"):
            out["scale"] = m / math.gamma(1 + 1 / stated.get("shape", 1.0))
        if law == "gamma":
            out["scale"] = m / out["shape"]
    return out


def life_of(life: Any, *, name: str = "") -> Life:
    """Read anything that tells how lives end as a `Life`.

    Parameters
    ----------
    life : Life, fitted law, frozen scipy law or callable
        A law with ``survival(age)`` or ``sf(age)``, or the survival function itself.
    name : str
        What to call it.

    Raises
    ------
    DecisionError
        No survival can be read, or it leaves [0, 1] or rises.
    """
    if isinstance(life, Life):
        return life
    survival = survival_of(life)

    def alive(age: Array) -> Array:
        return np.asarray(survival(age), dtype=float)

    log_survival = getattr(life, "logsf", None)

    def hazard(age: Array) -> Array:
        with np.errstate(divide="ignore"):
            found = np.log(alive(age)) if log_survival is None else log_survival(age)
        hazards: Array = np.maximum(-np.asarray(found, dtype=float), 0.0)
        return hazards

    mean, second = _moments(alive)
    variance = second - mean**2 if math.isfinite(second) else math.inf
    return Life(
        survival=alive,
        cumulative_hazard=hazard,
        mean=mean,
        sd=math.sqrt(max(variance, 0.0)),
        name=name or type(life).__name__,
    )


def survival_of(life: Any) -> Callable[[Array], Any]:
    """Survival function of a law, or the one given; raise `DecisionError` where there is none."""
    survival = getattr(life, "survival", None) or getattr(life, "sf", None)
    if survival is None and callable(life):
        survival = life
    if not callable(survival):
        raise DecisionError(
            f"No survival function can be read from {type(life).__name__}.",
            "life",
            "give known_life(...), a fitted law, a frozen scipy law or a survival function",
        )
    found: Callable[[Array], Any] = survival
    return found


def _moments(alive: Callable[[Array], Array]) -> tuple[float, float]:
    """Mean and mean square of the age at failure, by integrals to where doubling adds no more."""
    end = 1.0
    for _ in range(200):  # first an age by which some, not all, have failed
        share = float(alive(np.array([end]))[0])
        if not -1e-9 <= share <= 1 + 1e-9:
            raise DecisionError(
                f"The survival function gives {share} at age {end}.", "life", "a share of 0 to 1"
            )
        if 0.01 < share < 0.99:
            break
        end *= 2.0 if share >= 0.99 else 0.6
    return _to_the_end(alive, end), _to_the_end(lambda t: 2 * t * alive(t), end)


def _to_the_end(curve: Callable[[Array], Array], end: float) -> float:
    """Integral from 0 on, by stretches twice as long each; ``inf`` where they don't shrink."""
    total = float(panel_means(curve, np.array([0.0, end]))[0])
    before, more = math.inf, math.inf
    for _ in range(_DOUBLINGS):
        before, more = more, _stretch(curve, np.linspace(end, 2 * end, 9))
        total, end = total + more, 2 * end
        if more <= 1e-13 * total:
            return total
    shrink = more / before  # a tail of a power of age: the rest is a geometric sum
    return total + more * shrink / (1 - shrink) if shrink < 0.99 else math.inf


def _stretch(curve: Callable[[Array], Array], edges: Array) -> float:
    width = np.diff(edges)
    points = (edges[:-1] + edges[1:])[:, None] / 2 + width[:, None] / 2 * _NODES
    values = np.asarray(curve(points.ravel()), dtype=float).reshape(points.shape)
    return float(((values @ _WEIGHTS) * width / 2).sum())
