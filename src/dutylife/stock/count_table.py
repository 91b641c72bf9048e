"""Chances of pieces of every position of a cell, from a table over shape, scale and age."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from dutylife.stock.lattice import (
    RenewalLaw,
    Spans,
    after_renewal,
    ages_of_unknown,
    first_renewal,
    pieces,
    started,
)
from dutylife.stock.positions import Draws, Positions

Array = npt.NDArray[np.float64]
_MOST_LIVES = 60.0  # ages beyond so many characteristic lives count as that many
_SURE = 150.0  # cumulative hazard of those that fail at once


class CountTable:
    """Pieces by span as a function of shape, scale and age, at Chebyshev nodes of all three.

    Parameters
    ----------
    law : RenewalLaw
        Rates, shares and leaving; its shape and scale are not read.
    spans : Spans
    shapes, scales : tuple of float
        Least and greatest shape [1] and scale [d] asked for.
    known_lives, watched_lives : float
        Greatest age, and greatest time watched of parts of unknown age, in characteristic lives;
        ``watched_lives`` None where all ages are known.
    starts : ndarray of int, shape (n_starts,)
        Steps after which new parts come in; their chances stand behind those of ages.

    Notes
    -----
    Chances depend on log shape, log scale and age smoothly; see `_Ages`.
    """

    def __init__(
        self,
        law: RenewalLaw,
        spans: Spans,
        shapes: tuple[float, float],
        scales: tuple[float, float],
        *,
        known_lives: float = 0.0,
        watched_lives: float | None = None,
        starts: npt.NDArray[np.int64] | None = None,
    ) -> None:
        self._kept: dict[bool, Array] = {}
        self._alike: dict[tuple[bool, float], Array] = {}
        self.log_shape = _nodes(np.log(shapes[0]), np.log(shapes[1]), 4, 3.5, 8)
        # chances change over log scale as steeply as the shape is great
        steep = min(shapes[1], 8.0)
        self.log_scale = _nodes(np.log(scales[0]), np.log(scales[1]), 6, 1.8 * steep, 28)
        k, scale = (
            g.ravel() for g in np.meshgrid(np.exp(self.log_shape), np.exp(self.log_scale),
                                           indexing="ij")
        )  # fmt: skip
        rate = float(law.planned_rate[0])
        laws = replace(
            law, shape=k, scale=scale, planned_rate=np.full(len(k), rate),
            planned_age=np.full(len(k), np.inf),
        )  # fmt: skip
        after = after_renewal(laws, spans)
        self.columns = after.columns
        self.width = after.failed.shape[1]
        grid = (len(self.log_shape), len(self.log_scale))
        reach = known_lives
        if watched_lives is not None:
            self.watched_ages = _Ages(watched_lives, shapes[1])
            seen = scale[:, None] * self.watched_ages.lives(k)
            ages, share = ages_of_unknown(laws, seen)
            reach = max(reach, float((ages / scale[:, None, None]).max()))
        self.ages = _Ages(reach, shapes[1])
        first = first_renewal(laws, scale[:, None] * self.ages.lives(k), spans, is_known=True)
        of_age = pieces(first, after)
        self.known = of_age.reshape(*grid, of_age.shape[1], -1)
        if watched_lives is not None:
            # a part of unknown age is a mixture of parts of known ages
            basis = self.ages.basis(ages / scale[:, None, None], k[:, None, None])
            mixed = np.einsum("lan,lany->lay", share, basis)
            self.watched = (mixed @ of_age).reshape(*grid, mixed.shape[1], -1)
        if starts is not None and len(starts):
            self.started = started(laws, after, spans, starts).reshape(*grid, len(starts), -1)

    def at(self, positions: Positions, draws: Draws, *, is_known: bool) -> Array:
        """Chances of positions that all have a known age, or none; (n_draws, n, n_columns)."""
        values = self.known if is_known else self.watched
        ages = self.ages if is_known else self.watched_ages
        shape_basis = _basis(self.log_shape, np.log(draws.shape))
        scale = draws.scale[:, None] * positions.days_per_unit
        y_basis = ages.basis(positions.age / scale, draws.shape[:, None])
        n_columns = values.shape[-1]
        of_draw = np.tensordot(shape_basis, values, axes=1)  # draw, scale, age, column
        log_scale = np.log(scale)
        if np.ptp(positions.days_per_unit) < 1e-12:
            scale_basis = _basis(self.log_scale, log_scale[:, 0])
            of_scale = np.einsum("ds,dsyc->dyc", scale_basis, of_draw)
            return np.asarray(y_basis @ of_scale)
        scale_basis = _basis(self.log_scale, log_scale)
        both = (scale_basis[..., None] * y_basis[:, :, None, :]).reshape(
            len(draws.shape), len(positions.age), -1
        )
        return np.asarray(both @ of_draw.reshape(len(draws.shape), -1, n_columns))

    def sums(
        self, positions: Positions, present: Array, draws: Draws, *, is_known: bool
    ) -> tuple[Array, Array]:
        """Sums over many positions that all have a known age, or none, without going one by one.

        Parameters
        ----------
        positions : Positions
        present : ndarray, shape (n,)
            Chance that each is in service.
        draws : Draws
        is_known : bool

        Returns
        -------
        factorial : ndarray, shape (n_draws, n_spans, 4)
            Factorial cumulants of the count.
        means : ndarray, shape (n_draws, n_spans, 2)
            Mean of planned and of unplanned pieces.

        Notes
        -----
        The fleet is projected once for each of a few scales onto the table's scale and age nodes;
        the sums are smooth in log shape and log scale and read off between the nodes.
        """
        ages = self.ages if is_known else self.watched_ages
        terms = self._terms(is_known=is_known)
        units = np.log(draws.scale)
        nodes = _nodes(float(units.min()), float(units.max()), 4, 3.0, 8)
        powers = present ** np.arange(1, 5)[:, None]
        if np.ptp(present) == 0:  # one sum serves all powers
            terms, powers = self._terms_alike(float(present[0]), is_known=is_known), powers[:0]
        shapes = np.exp(self.log_shape)
        # ages reach as far at every shape, or at each its own
        own = [slice(k, k + 1) for k in range(len(shapes))] if ages.most is None else [slice(None)]
        n_spans = len(self.columns)
        weights = np.zeros((len(own), len(nodes), terms.shape[1]))
        for at, node in enumerate(nodes):
            scale = np.exp(node) * positions.days_per_unit
            by_scale = _basis(self.log_scale, np.log(scale))
            lives = positions.age / scale
            for i, some in enumerate(own):
                by_age = ages.basis(lives, shapes[some][:1])
                weights[i, at] = _projected(by_scale, by_age, powers).ravel()
        # terms are many: gone through once for all scales
        found = [w @ terms[some] for w, some in zip(weights, own, strict=True)]
        out = np.concatenate(found).reshape(len(shapes), len(nodes), n_spans, 6)
        both = np.einsum(
            "dk,ds,ksjr->djr",
            _basis(self.log_shape, np.log(draws.shape)),
            _basis(nodes, units),
            out,
        )
        return both[..., :4], both[..., 4:]

    def at_start(self, days_per_unit: float, draws: Draws) -> Array:
        """Chances of new parts put to work at each start; (n_draws, n_starts, n_columns)."""
        of_draw = np.tensordot(_basis(self.log_shape, np.log(draws.shape)), self.started, axes=1)
        basis = _basis(self.log_scale, np.log(draws.scale * days_per_unit))
        return np.asarray(np.einsum("ds,dsac->dac", basis, of_draw))

    def _terms(self, *, is_known: bool) -> Array:
        """What each power of presence multiplies in the cumulants and means of each span.

        Shape (n_shapes, 4 * n_scales * n_ages, n_spans * 6).
        """
        if is_known in self._kept:
            return self._kept[is_known]
        values = self.known if is_known else self.watched
        out = np.zeros((4, *values.shape[:3], len(self.columns), 6))
        for i, (at, m) in enumerate(self.columns):
            n = np.arange(1, m + 1, dtype=float)
            m1, m2, m3, m4 = (
                values[..., at : at + m] @ np.prod([n - j for j in range(r)], axis=0)
                for r in range(1, 5)
            )
            out[0, ..., i, :4] = np.stack([m1, m2, m3, m4], axis=-1)
            out[0, ..., i, 4:] = values[..., at + m : at + m + 2]
            out[1, ..., i, 1] = -(m1**2)
            out[1, ..., i, 2] = -3 * m1 * m2
            out[1, ..., i, 3] = -4 * m1 * m3 - 3 * m2**2
            out[2, ..., i, 2] = 2 * m1**3
            out[2, ..., i, 3] = 12 * m1**2 * m2
            out[3, ..., i, 3] = -6 * m1**4
        kept = np.moveaxis(out, 1, 0).reshape(values.shape[0], -1, len(self.columns) * 6)
        self._kept[is_known] = np.ascontiguousarray(kept)
        return self._kept[is_known]

    def _terms_alike(self, present: float, *, is_known: bool) -> Array:
        """Terms of positions that are all in service with one chance; a quarter as many."""
        if (is_known, present) not in self._alike:
            terms = self._terms(is_known=is_known)
            by_power = terms.reshape(len(terms), 4, -1, terms.shape[-1])
            self._alike[is_known, present] = np.einsum(
                "p,kpnc->knc", present ** np.arange(1, 5), by_power
            )
        return self._alike[is_known, present]


def _projected(by_scale: Array, by_age: Array, powers: Array) -> Array:
    """Sums over positions of both bases; shape (n_powers, n_scales, n_ages), plain without."""
    if not len(powers):
        return np.asarray(by_scale.T @ by_age)
    return np.stack([(by_scale * p[:, None]).T @ by_age for p in powers])


def _nodes(low: float, high: float, fewest: int, per_unit: float, most: int) -> Array:
    """Chebyshev nodes over a range; one where it has no width."""
    if high - low < 1e-9:
        return np.array([(low + high) / 2])
    n = min(fewest + int(np.ceil(per_unit * (high - low))), most)
    middle, half = (low + high) / 2, (high - low) / 2
    return np.asarray(middle + half * np.cos(np.pi * np.arange(n) / (n - 1)))


class _Ages:
    """Nodes of age in characteristic lives x: even shares of y = log(1 + 3 sqrt(x)).

    Ages beyond a cumulative hazard of `_SURE` fail at once, near enough; nodes of a great shape end
    there, at a shorter age than those of a small one.
    """

    def __init__(self, most_lives: float, greatest_shape: float) -> None:
        by_shape = most_lives > _SURE ** (1 / greatest_shape)
        self.most = None if by_shape else max(most_lives, 1e-3)
        longest = min(max(most_lives, 1e-3), _MOST_LIVES)
        self.nodes = _nodes(0.0, 1.0, 7, 4.5 * float(np.log1p(3 * np.sqrt(longest))), 20)

    def top(self, shape: Array) -> Array:
        """Return greatest y at each shape."""
        lives = (
            self.most if self.most is not None else np.minimum(_SURE ** (1 / shape), _MOST_LIVES)
        )
        return np.asarray(np.log1p(3 * np.sqrt(lives)) + 0 * shape)

    def lives(self, shape: Array) -> Array:
        """Ages of the nodes, shape (n_laws, n_nodes)."""
        y = self.top(shape)[:, None] * self.nodes
        return np.asarray((np.expm1(y) / 3) ** 2)

    def basis(self, lives: Array, shape: Array) -> Array:
        """Weights of the nodes at ages, shape of ``lives`` plus (n_nodes,)."""
        y = np.log1p(3 * np.sqrt(lives)) / self.top(shape)
        return _basis(self.nodes, y)


def _basis(nodes: Array, at: Array) -> Array:
    """Lagrange weights of Chebyshev nodes at points; shape of ``at`` plus (n_nodes,)."""
    n = len(nodes)
    if n == 1:
        return np.ones((*at.shape, 1))
    weight = (-1.0) ** np.arange(n)
    weight[[0, -1]] /= 2
    inside = np.clip(at, nodes.min(), nodes.max())
    out = np.asarray(inside[..., None] - nodes)
    out += 1e-300  # on a node its weight is all
    np.divide(weight, out, out=out)
    out /= out.sum(axis=-1, keepdims=True)
    return out
