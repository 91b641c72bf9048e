"""Positions of a cell, draws of its law, and chances of pieces under a planned age."""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from dutylife.stock.lattice import (
    RenewalLaw,
    Spans,
    after_renewal,
    first_renewal,
    pieces,
    started,
)

Array = npt.NDArray[np.float64]
Columns = tuple[tuple[int, int], ...]
PLANNED_DRAWS = 6  # draws of a law under a planned age, where each position has its own lattice
_BLOCK = 40_000_000  # entries of work arrays at once
SHARED_LATTICES = 1000  # positions from where on those of one use share a lattice


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Positions:
    """Parts in service in one cell, shape (n,), in days of each machine's own use.

    ``age`` [d], or, where ``is_known`` is false, days watched without a renewal;
    ``days_per_unit`` turns the law's clock into days; ``planned_age`` [d], inf without.
    """

    age: Array
    is_known: npt.NDArray[np.bool_]
    days_per_unit: Array
    planned_age: Array

    def part(self, at: npt.NDArray[np.bool_] | slice) -> "Positions":
        """Return some of them."""
        return Positions(
            age=self.age[at], is_known=self.is_known[at],
            days_per_unit=self.days_per_unit[at], planned_age=self.planned_age[at],
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """Draws of a cell's law, shape (n,): shape [1], scale [unit of the law's clock], weight."""

    shape: Array
    scale: Array
    weight: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CellChances:
    """Chances of 1, 2, ... pieces and means, shape (n_draws, n_positions, n_columns).

    ``columns`` as of `AfterRenewal`; ``weight`` of each draw. Of many positions ``sums`` holds, by
    part, factorial cumulants (n_draws, n_spans, 4) and means (n_draws, n_spans, 2) instead.
    """

    chances: Array
    columns: tuple[tuple[int, int], ...]
    weight: Array
    sums: dict[str, tuple[Array, Array]] = field(default_factory=dict)


def few_draws(draws: Draws, n: int = PLANNED_DRAWS) -> Draws:
    """Draws in groups of like mean life, each group by its mean log shape and log scale."""
    if len(draws.shape) <= n:
        return draws
    order = np.lexsort((draws.shape, draws.scale))
    weight = draws.weight[order]
    group = np.minimum((np.cumsum(weight) - weight / 2) * n, n - 1e-9).astype(int)
    total = np.bincount(group, weights=weight).astype(float)
    kept = total > 0

    def mean(values: Array) -> Array:
        log = np.bincount(group, weights=weight * np.log(values[order]))
        return np.asarray(np.exp(log[kept] / total[kept]))

    return Draws(shape=mean(draws.shape), scale=mean(draws.scale), weight=total[kept])


def planned_chances(
    law: RenewalLaw, positions: Positions, draws: Draws, spans: Spans
) -> CellChances:
    """Chances of positions with an age of planned replacement, each on its own lattice.

    A planned age makes steps in the chances that no table follows. Many positions of few uses
    share the lattices of those uses.
    """
    n_draws = len(draws.shape)
    if len(positions.age) > SHARED_LATTICES:
        return _by_use(law, positions, draws, spans)
    block = max(_BLOCK // (n_draws * spans.n_steps * 60), 1)
    found: list[CellChances] = []
    order: list[npt.NDArray[np.int64]] = []
    for is_known in (True, False):
        places = np.flatnonzero(positions.is_known == is_known)
        for begin in range(0, len(places), block):
            at = places[begin : begin + block]
            laws = _laws(law, draws, positions.days_per_unit[at], positions.planned_age[at])
            after = after_renewal(laws, spans)
            age = np.tile(positions.age[at], n_draws)[:, None]
            first = first_renewal(laws, age, spans, is_known=is_known)
            chances = pieces(first, after).reshape(n_draws, len(at), -1)
            found.append(CellChances(chances=chances, columns=after.columns, weight=draws.weight))
            order.append(at)
    every = together(found)
    out = np.concatenate([f.chances for f in every], axis=1)
    return replace(every[0], chances=out[:, np.argsort(np.concatenate(order))])


def _by_use(law: RenewalLaw, positions: Positions, draws: Draws, spans: Spans) -> CellChances:
    """Chances of many positions, those of one use and planned age on one lattice."""
    n_draws = len(draws.shape)
    pairs = np.column_stack([positions.days_per_unit, positions.planned_age])
    found: list[CellChances] = []
    order: list[npt.NDArray[np.int64]] = []
    for is_known in (True, False):
        places = np.flatnonzero(positions.is_known == is_known)
        if not len(places):
            continue
        uses, of = np.unique(pairs[places], axis=0, return_inverse=True)
        of = of.ravel()
        by_use = np.argsort(of, kind="stable")
        n_ages = np.bincount(of)
        ends = np.cumsum(n_ages)
        for i, (n, end) in enumerate(zip(n_ages, ends, strict=True)):
            laws = _laws(law, draws, uses[i, :1], uses[i, 1:])
            after = after_renewal(laws, spans)
            mine = places[by_use[end - n : end]]
            block = max(_BLOCK // (n_draws * spans.n_steps * (4 if is_known else 64)), 1)
            for begin in range(0, n, block):
                at = mine[begin : begin + block]
                age = np.broadcast_to(positions.age[at], (n_draws, len(at)))
                first = first_renewal(laws, age, spans, is_known=is_known)
                found.append(
                    CellChances(chances=pieces(first, after), columns=after.columns,
                                weight=draws.weight)
                )  # fmt: skip
                order.append(at)
    every = together(found)
    out = np.concatenate([f.chances for f in every], axis=1)
    return replace(every[0], chances=out[:, np.argsort(np.concatenate(order))])


def planned_starts(
    law: RenewalLaw, draws: Draws, spans: Spans, days_per_unit: Array, planned_age: Array,
    steps: npt.NDArray[np.int64], n_even: int,
) -> CellChances:  # fmt: skip
    """Chances of new parts: the first use at the ``n_even`` first steps, each further at its own.

    ``days_per_unit``, ``planned_age`` shape (n_uses,); ``steps`` (n_even + n_uses - 1,).
    """
    n_uses = len(days_per_unit)
    laws = _laws(law, draws, days_per_unit, planned_age)
    after = after_renewal(laws, spans)
    every = started(laws, after, spans, steps).reshape(len(draws.shape), n_uses, len(steps), -1)
    own = [every[:, i, n_even + i - 1] for i in range(1, n_uses)]
    chances = np.concatenate([every[:, 0, :n_even], *(o[:, None] for o in own)], axis=1)
    return CellChances(chances=chances, columns=after.columns, weight=draws.weight)


def together(found: list[CellChances]) -> list[CellChances]:
    """Return the same, all with the columns of the widest."""
    most = [max(f.columns[i][1] for f in found) for i in range(len(found[0].columns))]
    begins = np.concatenate([[0], np.cumsum([m + 2 for m in most])])
    columns = tuple((int(b), int(m)) for b, m in zip(begins, most, strict=False))
    out = []
    for one in found:
        wide = np.zeros((*one.chances.shape[:2], int(begins[-1])))
        for (to, n_to), (at, n) in zip(columns, one.columns, strict=True):
            wide[..., to : to + n] = one.chances[..., at : at + n]
            wide[..., to + n_to : to + n_to + 2] = one.chances[..., at + n : at + n + 2]
        out.append(replace(one, chances=wide, columns=columns))
    return out


def stacked(found: list[CellChances]) -> CellChances:
    """Draws of several, all with the same columns, below each other."""
    return CellChances(
        chances=np.concatenate([f.chances for f in found]), columns=found[0].columns,
        weight=np.concatenate([f.weight for f in found]),
        sums={
            name: (
                np.concatenate([f.sums[name][0] for f in found]),
                np.concatenate([f.sums[name][1] for f in found]),
            )
            for name in found[0].sums
        },
    )  # fmt: skip


def _laws(law: RenewalLaw, draws: Draws, per_unit: Array, planned_age: Array) -> RenewalLaw:
    """Return the law of each draw for each position, draws first; one rate of planned work."""
    n_draws, n = len(draws.shape), len(per_unit)
    return replace(
        law, shape=np.repeat(draws.shape, n), scale=(draws.scale[:, None] * per_unit).ravel(),
        planned_rate=np.full(n_draws * n, law.planned_rate[0]),
        planned_age=np.tile(planned_age, n_draws),
    )  # fmt: skip
