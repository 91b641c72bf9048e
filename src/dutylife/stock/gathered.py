"""Many positions under a planned age, gathered on a grid of use and age, and summed by part."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from dutylife.stock.lattice import RenewalLaw, Spans
from dutylife.stock.plan_start import ALTERNATIVES, switched_chances
from dutylife.stock.positions import CellChances, Draws, Positions, planned_chances

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
MANY_PLANNED = 400  # positions of a cell from where on those with a planned age are gathered
N_USES = 24  # nodes of use: quantiles of the cell's machines, the ends among them
# nodes of age: parts that fall due within the spans and beyond, overdue ones, those of unknown age
N_SOON, N_LATER, N_LATE, N_UNKNOWN = 96, 24, 12, 24
MOST_NODES = N_USES * (N_SOON + N_LATER + N_LATE + 2 * N_UNKNOWN)


def under_plan(
    law: RenewalLaw, positions: Positions, draws: Draws, spans: Spans, waits_days: float,
    rates: tuple[float, float], present: Array, number: npt.NDArray[np.object_],
) -> tuple[CellChances, Array, npt.NDArray[np.object_]]:  # fmt: skip
    """Chances of positions under a plan that starts now or later; many of them as sums by part.

    Parameters
    ----------
    law : RenewalLaw
    positions : Positions
    draws : Draws
        Few: each use has its own lattice.
    spans : Spans
    waits_days : float
        Until the plan starts; 0: now. [d]
    rates : tuple of float
        Planned replacements a day before the start and after it. [1/d]
    present : ndarray, shape (n,)
    number : ndarray of str, shape (n,)

    Returns
    -------
    chances : CellChances
    present, number : ndarray
        As long as the positions of ``chances``, which has a position for each way it can go.
    """
    many = len(present) > MANY_PLANNED
    powers: dict[str, Array] = {}
    if many:
        reach = spans.n_steps * spans.step_days
        positions, powers = gathered(positions, present, number, reach)
    if waits_days > 0:
        chances, share = switched_chances(law, positions, draws, spans, waits_days, rates)
        each = share ** np.arange(1, 5)[:, None]
        powers = {name: np.tile(p, ALTERNATIVES) * each for name, p in powers.items()}
        if not many:
            present = np.tile(present, ALTERNATIVES) * share
            number = np.tile(number, ALTERNATIVES)
    else:
        chances = planned_chances(law, positions, draws, spans)
    return summed(chances, powers) if many else chances, present, number


def gathered(
    positions: Positions, present: Array, number: npt.NDArray[np.object_], reach_days: float
) -> tuple[Positions, dict[str, Array]]:
    """Nodes that stand for many positions, and how many of each part stand on each node.

    Parameters
    ----------
    positions : Positions
        Of one cell; what falls due is a function of use.
    present : ndarray, shape (n,)
        Chance that each is in service.
    number : ndarray of str, shape (n,)
        Part that each takes.
    reach_days : float
        End of the last span: until then nodes stand close. [d]

    Returns
    -------
    nodes : Positions
        At most `MOST_NODES`, however many positions there are.
    powers : dict of str to ndarray, shape (4, n_nodes)
        By part: sums of the first four powers of ``present`` on each node.

    Notes
    -----
    An approximation: each position is shared linearly among the four nodes around it, so that
    numbers and mean use are kept and a planned replacement is placed within days of its own: on
    200 machines a part, half a year's mean moves by less than 1 %, a month's by less than a third
    of its standard deviation (tests/stock/test_gathered.py). Parts that are overdue, of unknown
    age or without a planned age have nodes of their own, since their chances jump there.
    """
    has_age = np.isfinite(positions.planned_age)
    late = has_age & positions.is_known & (positions.age >= positions.planned_age)
    kinds = positions.is_known * 1 + has_age * 2 + late * 4
    names, part = np.unique(number, return_inverse=True)
    found: list[Positions] = []
    sums: list[Array] = []
    for kind in np.unique(kinds):
        at = np.flatnonzero(kinds == kind)
        nodes, places, shares = _on_grid(positions.part(kinds == kind), bool(kind & 4), reach_days)
        powers = np.zeros((len(names), 4, len(nodes.age)))
        for place, share in zip(places, shares, strict=True):
            for r in range(4):
                np.add.at(powers[:, r], (part[at], place), share * present[at] ** (r + 1))
        found.append(nodes)
        sums.append(powers)
    every = Positions(
        age=np.concatenate([f.age for f in found]),
        is_known=np.concatenate([f.is_known for f in found]),
        days_per_unit=np.concatenate([f.days_per_unit for f in found]),
        planned_age=np.concatenate([f.planned_age for f in found]),
    )
    both = np.concatenate(sums, axis=2)
    return every, {str(name): both[i] for i, name in enumerate(names)}


def summed(found: CellChances, powers: Mapping[str, Array]) -> CellChances:
    """Chances of nodes as sums by part: factorial cumulants 1 to 4 and means of each span.

    Parameters
    ----------
    found : CellChances
    powers : mapping of str to ndarray, shape (4, n_nodes)
        Sums of powers of presence, as `gathered` gives them.
    """
    n_draws, n_nodes = found.chances.shape[:2]
    weight = np.stack(list(powers.values()))  # part, power, node
    factorial = np.zeros((len(weight), n_draws, len(found.columns), 4))
    means = np.zeros((len(weight), n_draws, len(found.columns), 2))
    for i, (at, m) in enumerate(found.columns):
        own = np.maximum(found.chances[:, :, at : at + m], 0.0)
        n = np.arange(1, m + 1, dtype=float)
        m1, m2, m3, m4 = (own @ np.prod([n - j for j in range(r)], axis=0) for r in range(1, 5))
        # of each cumulant, what each power of presence multiplies
        terms = (
            (m1,),
            (m2, -(m1**2)),
            (m3, -3 * m1 * m2, 2 * m1**3),
            (m4, -4 * m1 * m3 - 3 * m2**2, 12 * m1**2 * m2, -6 * m1**4),
        )
        for r, of_powers in enumerate(terms):
            for p, term in enumerate(of_powers):
                factorial[:, :, i, r] += weight[:, p] @ term.T
        for c in range(2):
            means[:, :, i, c] = weight[:, 0] @ found.chances[:, :, at + m + c].T
    sums = {name: (factorial[k], means[k]) for k, name in enumerate(powers)}
    empty = np.zeros((n_draws, 0, found.chances.shape[2]))
    return replace(found, chances=empty, sums=sums)


def _on_grid(
    some: Positions, late: bool, reach_days: float
) -> tuple[Positions, list[npt.NDArray[np.intp]], list[Array]]:
    """Nodes of positions of one kind; for each corner the node and the share of each position."""
    planned = np.isfinite(some.planned_age).all()
    # what varies: use by the meter, or, of a law in days, the age that use makes due
    use = some.days_per_unit
    if np.ptp(use) < 1e-9 and planned:
        use = some.planned_age
    nodes = np.unique(np.quantile(use, np.linspace(0.0, 1.0, N_USES)))
    order = np.argsort(use, kind="stable")
    per_unit = np.interp(nodes, use[order], some.days_per_unit[order])
    due = (
        np.interp(nodes, use[order], some.planned_age[order])
        if planned
        else np.full(len(nodes), np.inf)
    )
    known = bool(some.is_known.all())
    if planned and known and not late:
        # by the days left: when it falls due matters more than how old it is
        at = some.planned_age - some.age
        end = min(max(1.1 * reach_days, at.min()), at.max())
        soon = np.linspace(at.min(), end, N_SOON)
        ages = np.unique(np.concatenate([soon, np.linspace(end, at.max(), N_LATER)]))
        grid = np.maximum(due[:, None] - ages, 0.0)
    else:
        # as a share of what is due, else in the law's own unit
        at = some.age / (some.planned_age if planned else some.days_per_unit)
        n_ages = N_LATE if late else N_SOON if known else N_UNKNOWN
        ages = np.unique(np.linspace(at.min(), at.max(), n_ages))
        grid = ages * (due if planned else per_unit)[:, None]
    n = len(ages)
    out = Positions(
        age=grid.ravel(), is_known=np.full(grid.size, known),
        days_per_unit=np.repeat(per_unit, n), planned_age=np.repeat(due, n),
    )  # fmt: skip
    low_use, up_use = _between(nodes, use)
    low_age, up_age = _between(ages, at)
    places, shares = [], []
    for u, of_use in ((0, 1 - up_use), (1, up_use)):
        for a, of_age in ((0, 1 - up_age), (1, up_age)):
            at_use = np.minimum(low_use + u, len(nodes) - 1)
            at_age = np.minimum(low_age + a, n - 1)
            places.append(at_use * n + at_age)
            shares.append(of_use * of_age)
    return out, places, shares


def _between(nodes: Array, at: Array) -> tuple[npt.NDArray[np.intp], Array]:
    """Node below each point, and the share that the next one takes."""
    if len(nodes) == 1:
        return np.zeros(len(at), dtype=np.intp), np.zeros(len(at))
    low = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, len(nodes) - 2)
    share = (at - nodes[low]) / (nodes[low + 1] - nodes[low])
    return low, np.clip(share, 0.0, 1.0)
