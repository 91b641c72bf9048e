"""True laws of the practice fleet: lives drawn from them, laws drawn, their survival."""

import math
from collections.abc import Mapping
from statistics import NormalDist
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.practice.scenario import Scenario
from dutylife.practice.streams import Stream

Array = npt.NDArray[np.float64]
_NORMAL = NormalDist()
# mean and standard deviation of the log of a Weibull life of scale 1 and shape 1
LOG_LIFE_MEAN, LOG_LIFE_SD = -0.5772156649015329, math.pi / math.sqrt(6.0)
# the prior the models state as well: shape with median 1.5, 95 % of it within 0.7 to 3.2 [1]
PRIOR_SHAPE_MEDIAN, PRIOR_SHAPE_LOG_SD = 1.5, math.log(3.2 / 0.7) / (2.0 * 1.959964)
PRIOR_SCALE_LOG_SD = 0.5
WEIBULL, LOGNORMAL = "weibull", "lognormal"
TWO_MODES, SPREAD = " with second mode", " with spread"
_N_SPREAD = 400


class LifeLaw:
    """A law of a life on its own clock, by cumulative hazard.

    Parameters
    ----------
    distribution : {"weibull", "lognormal"}
    shape, scale : float
        Of a lognormal law: 1 / sigma and exp(mu) of the log life.
    """

    def __init__(self, distribution: str, shape: float, scale: float) -> None:
        self.distribution = distribution
        self.shape = shape
        self.scale = scale

    def hazard(self, age: float) -> float:
        """Cumulative hazard up to an age: -log(survival)."""
        if age <= 0:
            return 0.0
        if self.distribution == LOGNORMAL:
            z = self.shape * math.log(age / self.scale)
            return -math.log(max(0.5 * math.erfc(z / math.sqrt(2.0)), 1e-300))
        return float((age / self.scale) ** self.shape)

    def age(self, hazard: float) -> float:
        """Age by which that cumulative hazard is lived through."""
        if self.distribution == LOGNORMAL:
            alive = min(max(math.exp(-hazard), 1e-300), 1.0 - 1e-16)
            return self.scale * math.exp(-_NORMAL.inv_cdf(alive) / self.shape)
        return float(self.scale * hazard ** (1.0 / self.shape))


def law_of(scenario: Scenario, component: str, duty: str) -> LifeLaw:
    """Return the law of a component in a duty.

    A lognormal law has the mean and the standard deviation of the log life of the Weibull law
    that the scenario states.
    """
    law = scenario.components[component]
    shape, scale = law.shape_in(duty), law.scale_in(duty)
    if law.distribution == LOGNORMAL:
        return LifeLaw(LOGNORMAL, shape / LOG_LIFE_SD, scale * math.exp(LOG_LIFE_MEAN / shape))
    return LifeLaw(WEIBULL, shape, scale)


def second_law_of(scenario: Scenario, component: str, duty: str) -> LifeLaw:
    """Return the law of a component's second way to fail, its strength taken into the scale."""
    mode = scenario.second_mode
    law = scenario.components[component]
    scale = law.scale_in(duty) * mode.scale_factor / mode.strength ** (1.0 / mode.shape)
    return LifeLaw(WEIBULL, mode.shape, scale)


def batch_law_of(scenario: Scenario, component: str, duty: str) -> LifeLaw:
    """Return the law by which faulty parts of the early batch fail as well."""
    batch = scenario.early_batch
    scale = scenario.components[component].scale_in(duty) * batch.scale_factor
    return LifeLaw(WEIBULL, batch.shape, scale)


def gamma_factor(stream: Stream, variance: float) -> float:
    """Return a factor from the gamma law of mean 1 and that variance."""
    if variance <= 0:
        return 1.0
    from scipy.special import gammaincinv

    return float(gammaincinv(1.0 / variance, max(stream.uniform(), 1e-12)) * variance)


def customer_risks(scenario: Scenario, seed: int) -> dict[str, float]:
    """Return the factor by which each customer multiplies the hazard of every part."""
    variance = scenario.spread.customer_variance
    return {
        name: gamma_factor(Stream(seed, 1_000_091, number), variance)
        for number, name in enumerate(scenario.customers)
    }


def draw_laws(scenario: Scenario, seed: int) -> Scenario:
    """Draw every law, component by duty, from the stated prior.

    Shape: lognormal, median 1.5, 95 % of it within 0.7 to 3.2. Scale: lognormal about the
    scenario's, standard deviation of the log 0.5.
    """
    components = {}
    for number, (name, law) in enumerate(scenario.components.items()):
        shapes, factors = {}, {}
        for place, duty in enumerate(scenario.duties):
            stream = Stream(seed, 1_000_099, number, place)
            shapes[duty] = PRIOR_SHAPE_MEDIAN * math.exp(PRIOR_SHAPE_LOG_SD * stream.normal())
            spread = math.exp(PRIOR_SCALE_LOG_SD * stream.normal())
            factors[duty] = law.factor.get(duty, 1.0) * spread
        components[name] = law.model_copy(update={"shape_by_duty": shapes, "factor": factors})
    return scenario.model_copy(update={"components": components, "laws": "drawn"})


def laws_table(scenario: Scenario) -> pd.DataFrame:
    """Return the true laws: component, duty, clock, distribution, shape, scale.

    ``distribution`` is weibull or lognormal; with ``" with second mode"`` the columns
    second_shape and second_scale hold, with ``" with spread"`` machine_variance and
    customer_variance: see `law_survival`.
    """
    pairs = {
        (component, duty)
        for duty, place in scenario.duties.items()
        for kind in place.classes
        for component in scenario.components_of(kind)
    }
    has_second = scenario.second_mode.strength > 0
    spread = scenario.spread
    has_spread = spread.machine_variance > 0 or spread.customer_variance > 0
    rows = []
    for component, duty in sorted(pairs):
        law = law_of(scenario, component, duty)
        row: dict[str, Any] = {
            "component": component,
            "duty": duty,
            "clock": scenario.clock(component),
            "distribution": law.distribution
            + (TWO_MODES if has_second else "")
            + (SPREAD if has_spread else ""),
            "shape": round(law.shape, 12),
            "scale": round(law.scale, 6),
        }
        if has_second:
            second = second_law_of(scenario, component, duty)
            row |= {"second_shape": second.shape, "second_scale": round(second.scale, 6)}
        if has_spread:
            row |= spread.model_dump()
        rows.append(row)
    return pd.DataFrame(rows)


def law_survival(law: Mapping[str, Any], age: npt.ArrayLike) -> Array:
    """Share of new parts that work beyond ages, by one row of the true laws.

    Parameters
    ----------
    law : mapping
        A row of ``PracticeFleet.laws``.
    age : array_like
        On the law's clock.

    Returns
    -------
    ndarray
        Same shape as ``age``. Under spread the mean over machines and customers drawn anew.
    """
    from scipy.special import gammaincinv, log_ndtr

    ages = np.asarray(age, dtype=float)
    words = str(law["distribution"])
    with np.errstate(divide="ignore"):
        if words.startswith(LOGNORMAL):
            risk = -log_ndtr(-float(law["shape"]) * np.log(ages / float(law["scale"])))
        else:
            risk = (ages / float(law["scale"])) ** float(law["shape"])
    if TWO_MODES in words:
        risk = risk + (ages / float(law["second_scale"])) ** float(law["second_shape"])
    if SPREAD not in words:
        return np.asarray(np.exp(-risk))
    machine, customer = float(law["machine_variance"]), float(law["customer_variance"])
    middles = (np.arange(_N_SPREAD) + 0.5) / _N_SPREAD
    factors = gammaincinv(1.0 / customer, middles) * customer if customer > 0 else np.ones(1)
    exposed = risk[..., None] * factors
    alive = (1.0 + machine * exposed) ** (-1.0 / machine) if machine > 0 else np.exp(-exposed)
    return np.asarray(alive.mean(axis=-1))
