"""Draws of when the parts now in service, and those after them, are next replaced."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.decisions.equilibrium import residual_of_unknown_age

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
CHUNK = 400_000  # life x simulation pairs handled at once: about 50 MB of work arrays
_FIRST_ROUND_DAYS = 30.0  # what is overdue is caught up over the first month
_MAX_ROUNDS = 400


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LifeArrays:
    """Lives of one cell, shape (n_lives,), ages in days of each life's own use.

    ``age`` is nan where unknown, then ``seen`` holds the days watched. ``days_per_unit`` turns the
    law's clock into days. ``present`` is a mask, shape (n_lives, n_simulations), of machines that
    are still in service. ``planned_age`` is the age of planned replacement in days, inf without.
    """

    age: Array
    seen: Array
    days_per_unit: Array
    present: npt.NDArray[np.bool_]
    planned_age: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Replacements:
    """One entry for each simulated renewal: life, simulation, day, and whether it was planned."""

    life: Ints
    simulation: Ints
    day: Array
    planned: npt.NDArray[np.bool_]


def simulate(
    lives: LifeArrays,
    shape: Array,
    scale: Array,
    planned_rate: Array,
    horizon_days: float,
    random: np.random.Generator,
) -> Replacements:
    """Renewals of every life up to the horizon.

    Parameters
    ----------
    lives : LifeArrays
    shape, scale : ndarray, shape (n_simulations,)
        Law of the cell in each simulation; scale on the law's clock.
    planned_rate : ndarray, shape (n_simulations,)
        Rate of planned replacements whatever the age. [1 per day]
    horizon_days : float
        [d]
    random : Generator

    Notes
    -----
    A part of known age fails at the residual of its Weibull law. One that was watched for s days
    without its age being known has, from when watching began, the equilibrium life: density
    proportional to the survival, beyond s; drawn by the inverse of the regularised gamma function.
    Planned and failure replacements compete; each renews the part.
    """
    n_simulations = len(shape)
    block = max(CHUNK // n_simulations, 1)
    found: list[Replacements] = []
    for start in range(0, len(lives.age), block):
        part = slice(start, start + block)
        piece = LifeArrays(
            age=lives.age[part],
            seen=lives.seen[part],
            days_per_unit=lives.days_per_unit[part],
            present=lives.present[part],
            planned_age=lives.planned_age[part],
        )
        found += _simulate_block(piece, shape, scale, planned_rate, horizon_days, random, start)
    return joined(found)


def joined(found: list[Replacements]) -> Replacements:
    """Several sets of renewals as one."""
    none = np.empty(0, dtype=np.int64)
    return Replacements(
        life=np.concatenate([none, *(f.life for f in found)]),
        simulation=np.concatenate([none, *(f.simulation for f in found)]),
        day=np.concatenate([np.empty(0), *(f.day for f in found)]),
        planned=np.concatenate([np.empty(0, dtype=bool), *(f.planned for f in found)]),
    )


def _simulate_block(
    lives: LifeArrays,
    shape: Array,
    scale: Array,
    planned_rate: Array,
    horizon: float,
    random: np.random.Generator,
    first_life: int,
) -> list[Replacements]:
    life, simulation = np.nonzero(lives.present)
    k = shape[simulation]
    eta = scale[simulation] * lives.days_per_unit[life]
    age, seen = lives.age[life], lives.seen[life]
    planned_age = lives.planned_age[life]
    rate = planned_rate[simulation]
    to_fail = _first_failure(k, eta, age, seen, random)
    to_plan = _first_planned(planned_age, age, random)
    now = np.zeros(len(life))
    found: list[Replacements] = []
    for _ in range(_MAX_ROUNDS):
        to_plan = np.minimum(to_plan, _waiting(rate, random))
        now = now + np.minimum(to_fail, to_plan)
        here = now < horizon
        if not here.any():
            break
        planned = to_plan[here] < to_fail[here]
        life, simulation, k, eta = life[here], simulation[here], k[here], eta[here]
        planned_age, rate, now = planned_age[here], rate[here], now[here]
        found.append(
            Replacements(life=life + first_life, simulation=simulation, day=now, planned=planned)
        )
        to_fail = eta * random.standard_exponential(len(k)) ** (1 / k)
        to_plan = planned_age
    return found


def _first_failure(
    k: Array, eta: Array, age: Array, seen: Array, random: np.random.Generator
) -> Array:
    """Days from now to the failure of the part in service."""
    draw = random.random(len(k))
    known = np.isfinite(age)
    out = np.empty(len(k))
    spent = (age[known] / eta[known]) ** k[known]
    hazard = spent - np.log1p(-draw[known])
    out[known] = eta[known] * hazard ** (1 / k[known]) - age[known]
    out[~known] = residual_of_unknown_age(k[~known], eta[~known], seen[~known], 1 - draw[~known])
    return np.maximum(out, 0.0)


def _first_planned(planned_age: Array, age: Array, random: np.random.Generator) -> Array:
    """Days from now to the planned replacement of the part in service."""
    draw = random.random(len(age))
    left = planned_age - age
    caught_up = np.minimum(_FIRST_ROUND_DAYS, planned_age) * draw
    out = np.where(left > 0, left, caught_up)
    # a part of unknown age falls due somewhere in its first interval
    unknown = np.isnan(age) & np.isfinite(planned_age)
    return np.where(np.isfinite(age), out, np.where(unknown, draw * planned_age, np.inf))


def _waiting(rate: Array, random: np.random.Generator) -> Array:
    wait = random.standard_exponential(len(rate))
    with np.errstate(divide="ignore"):
        return np.asarray(wait / rate, dtype=float)
