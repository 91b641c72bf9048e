"""Best law of the paths, and weighed draws of laws around it that carry what is not known."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dutylife.errors import FitError
from dutylife.models.paths import likelihood
from dutylife.models.paths.likelihood import Between
from dutylife.models.paths.rows import Sums

Array = NDArray[np.float64]
_TAIL = 3.0  # degrees of freedom of the proposals
_EDGE = 1e-9
_ROUNDS = 8
_STEP = 1e-6  # of slopes by differences, in the box


@dataclass(frozen=True, slots=True)
class Space:
    """The unit box in which laws are looked for: one column for each figure that is free.

    The first column is how much parts differ in all against measurement, R / (1 + R), so that 0
    and infinity are the ends; the second shares R out between drift (0) and start (1) as a
    quarter of a turn; the third is the correlation, -1 to 1 over the box. In these figures the
    law stays smooth where measurement is near 0 or parts are near alike.
    """

    has_start: bool
    has_correlation: bool
    typical_start: float
    typical_slope: float

    @property
    def n_spreads(self) -> int:
        """Standard deviations between parts that are free."""
        return 1 + self.has_start

    @property
    def width(self) -> int:
        """Free figures in all."""
        return self.n_spreads + self.has_correlation

    def between(self, box: Array) -> Between:
        """Laws at points of the box, shape (k, width)."""
        total = _odds(box[:, 0])
        angle = np.pi / 2.0 * box[:, 1] if self.has_start else np.zeros(len(box))
        shares = np.cos(angle), np.sin(angle)
        slope, start = (np.where(v < 1e-12, 0.0, v) * total for v in shares)
        both = (1.0 - _EDGE) * (2.0 * box[:, 2] - 1.0) if self.has_correlation else 0.0 * total
        return Between.of(self.typical_start * start, self.typical_slope * slope, both)

    def log_stretch(self, box: Array) -> Array:
        """Log of how the standard deviations grow with the figures of the box."""
        inside = np.clip(box[:, 0], _EDGE, 1.0 - _EDGE)
        turned = np.log(_odds(inside)) if self.has_start else 0.0
        return np.asarray(turned - 2.0 * np.log1p(-inside), dtype=float)


def _odds(share: Array) -> Array:
    inside = np.clip(share, 0.0, 1.0 - _EDGE)
    found: Array = inside / (1.0 - inside)
    return found


def space_of(sums: Sums, *, has_start: bool, has_correlation: bool) -> Space:
    """The box around what the parts' own lines show."""
    seen = (sums.n * sums.tt - sums.t**2) > 1e-12 * sums.n * sums.tt
    freedom = float((sums.n[seen] - 2.0).clip(min=0).sum())
    noise = np.sqrt(max(float(sums.left[seen].sum()), 1e-12) / freedom) if freedom > 0 else 0.3
    slope = float(sums.slope[seen].std()) / noise
    start = float(sums.start[seen].std()) / noise
    start_scale, slope_scale = (float(np.clip(v, 0.1, 1e4)) for v in (start, slope))
    return Space(has_start, has_correlation, start_scale, slope_scale)


def best(sums: Sums, space: Space) -> Array:
    """Point of the box with the highest likelihood, shape (width,).

    Raises
    ------
    FitError
        The search does not end.
    """
    from scipy.optimize import minimize
    from scipy.stats import qmc

    points = qmc.Halton(space.width, scramble=False).random(65)[1:]
    values = likelihood.log_likelihood(sums, space.between(points))

    steps = np.concatenate([_STEP * np.eye(space.width), -_STEP * np.eye(space.width)])

    def loss(box: Array) -> tuple[float, Array]:
        # slopes by central differences, a one-sided one at the ends of the box
        around = np.clip(np.concatenate([box[None, :], box + steps]), 0.0, 1.0)
        value = -likelihood.log_likelihood(sums, space.between(around))
        up, down = np.split(value[1:], 2)
        ahead, back = np.split(around[1:], 2)
        return float(value[0]), (up - down) / np.diag(ahead - back)

    ends = [
        minimize(
            loss, points[k], method="L-BFGS-B", jac=True,
            bounds=[(0.0, 1.0 - 1e-6)] + [(0.0, 1.0)] * (space.width - 1),
            options={"ftol": 1e-15, "gtol": 1e-7, "maxiter": 500},
        )
        for k in np.argsort(-values, kind="stable")[:2]
    ]  # fmt: skip
    found = min(ends, key=lambda end: float(end.fun))
    if not np.isfinite(found.fun):
        raise FitError(
            "The likelihood of the paths has no maximum.", "path_model(part, age, reading)",
            "look at the readings: a slip among them, or too few of them, can do this",
        )  # fmt: skip
    point: Array = np.asarray(found.x, dtype=float)
    # a spread the search leaves a hair above 0 is 0
    none = np.where(point < 1e-5, 0.0, np.where(point > 1.0 - 1e-5, 1.0, point))
    none[0] = min(none[0], point[0])
    pair = likelihood.log_likelihood(sums, space.between(np.stack([point, none])))
    return none if pair[1] >= pair[0] - 1e-8 else point


@dataclass(frozen=True, slots=True)
class Draws:
    """Laws drawn with the weight the readings give them; figures on the scales of `Sums`.

    ``mean`` has shape (k, 2): start and slope of the mean path; ``noise`` is the standard
    deviation of measurement. ``effective`` is the number of even draws the weights are worth.
    """

    between: Between
    mean: Array
    noise: Array
    effective: float


def draw_laws(
    sums: Sums, space: Space, top: Array, n_draws: int, generator: np.random.Generator
) -> Draws:
    """Draw laws from their likelihood, flat in the mean path and each standard deviation.

    Importance sampling of the figures between parts (proposals of Student's t form, fitted to the
    draws before, until the weights are even), then measurement and mean path, whose law given the
    rest is known exactly.

    Raises
    ------
    FitError
        Too few readings, or weights that stay uneven.
    """
    freedom = float(sums.n.sum()) - 3.0 - space.n_spreads
    if freedom < 1:
        raise FitError(
            f"{int(sums.n.sum())} readings are too few for bounds.",
            "path_model(part, age, reading)", "take more readings",
        )  # fmt: skip
    box, effective = _box_draws(sums, space, top, n_draws, generator)
    between = space.between(box)
    found = likelihood.fitted(sums, between)
    noise = np.sqrt(found.squares / generator.chisquare(freedom, n_draws))
    # mean path: normal with variance noise^2 / (sum of W)
    a, b, c = found.weight.T
    root = np.sqrt(c)
    second = generator.standard_normal(n_draws) / root
    first = generator.standard_normal(n_draws) / np.sqrt(a - b * b / c)
    shift = np.stack([first, second - b / c * first], axis=1)
    return Draws(between, found.mean + noise[:, None] * shift, noise, effective)


def _box_draws(
    sums: Sums, space: Space, top: Array, n_draws: int, generator: np.random.Generator
) -> tuple[Array, float]:
    def target(points: Array) -> Array:
        out = np.full(len(points), -np.inf)
        inside = ((points >= 0) & (points < 1)).all(axis=1)
        if inside.any():
            rows = points[inside]
            value = likelihood.log_marginal(sums, space.between(rows), space.n_spreads)
            out[inside] = value + space.log_stretch(rows)
        return out

    centre, root = _first_proposal(target, top)
    wanted = 0.3 * n_draws
    for _ in range(_ROUNDS):
        normal = generator.standard_normal((2 * n_draws, space.width))
        stretch = np.sqrt(_TAIL / generator.chisquare(_TAIL, 2 * n_draws))
        points = centre + stretch[:, None] * (normal @ root.T)
        square = (normal**2).sum(axis=1) * stretch**2
        proposed = -0.5 * (_TAIL + space.width) * np.log1p(square / _TAIL)
        log_weight = target(points) - proposed
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        effective = float(1.0 / (weight**2).sum())
        if effective >= wanted:
            break
        kept = weight > 0
        centre = weight[kept] @ points[kept]
        off = points[kept] - centre
        cover = (off * weight[kept, None]).T @ off + 1e-8 * np.eye(space.width)
        root = np.linalg.cholesky(cover) * 1.2
    if effective < 0.05 * n_draws:
        raise FitError(
            f"No bounds: the draws of the paths' law are worth {effective:.0f} only.",
            "path_model(part, age, reading)", "take more readings, or look for a slip among them",
        )  # fmt: skip
    at = (np.arange(n_draws) + generator.random()) / n_draws
    chosen = np.searchsorted(np.cumsum(weight), at).clip(max=len(points) - 1)
    return generator.permutation(points[chosen]), effective


def _first_proposal(target: Callable[[Array], Array], top: Array) -> tuple[Array, Array]:
    """Centre and root of variance from how the law falls off around its best point."""
    width, step = len(top), 0.02
    centre = np.clip(top, 2 * step, 1.0 - 2 * step)
    points = [centre]
    for i in range(width):
        for sign in (1.0, -1.0):
            points.append(centre + sign * step * np.eye(width)[i])
    value = target(np.array(points))
    bend = (value[1::2] + value[2::2] - 2.0 * value[0]) / step**2
    spread = np.where(bend < 0, 1.0 / np.sqrt(np.maximum(-bend, 1e-9)), 0.3)
    return centre, np.diag(np.clip(spread, 0.01, 0.4))
