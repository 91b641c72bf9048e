"""Whether one part maker's part, or one batch, lasts as long as the others."""

import math
from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from dutylife.errors import FitError, TooFewFailuresError
from dutylife.models.checks import checked_lives
from dutylife.models.resample import Watching
from dutylife.models.shared_shape import SharedShape
from dutylife.wording import count, number

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
COLUMNS = [
    "batch", "n_lives", "n_failed", "n_failed_others", "times_life", "lower", "upper", "p_value",
    "p_adjusted", "flag",
]  # fmt: skip
FALSE_FLAGS = 0.05  # chance that any batch is flagged where all last alike
FEWEST_ENDS = 5  # lives cut off in a batch, from which on its watching is drawn from its own
_FARTHEST = 12.0  # of a log ratio: lives e^12 times as long are without bound


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchComparison:
    """Lives of each batch over those it is held against; ``rows`` are those of ``table``."""

    against: str
    level: float
    rows: tuple[tuple[str | float, ...], ...]

    @property
    def table(self) -> pd.DataFrame:
        """A row by batch: see ``COLUMNS``; ``flag`` is shorter, longer or empty."""
        frame = pd.DataFrame(list(self.rows), columns=COLUMNS)
        return frame.astype({"n_lives": int, "n_failed": int, "n_failed_others": int})

    @property
    def flagged(self) -> tuple[str, ...]:
        """Batches whose lives differ, all batches tested together."""
        return tuple(self.table.loc[self.table["flag"] != "", "batch"])

    @property
    def text(self) -> str:
        """A sentence for each flagged batch, or one that says how much is left open."""
        table = self.table
        told = [self._sentence(dict(row)) for _, row in table[table["flag"] != ""].iterrows()]
        if told:
            return " ".join(told)
        wide = dict(table.loc[(table["upper"] / table["lower"].clip(lower=1e-9)).idxmax()])
        return (
            f"No batch of {len(table)} is seen to last shorter or longer than {self.against}; "
            f"least is known of '{wide['batch']}' ({self._range(wide)} times as long)."
        )

    def _sentence(self, row: dict[Hashable, Any]) -> str:
        ratio = row["times_life"]
        times = number(ratio) if math.isfinite(ratio) else f"more than {number(row['lower'])}"
        seen = f"{count(row['n_failed'], 'failure')} in {count(row['n_lives'], 'life', 'lives')}"
        worse = ": it does not last as long" if row["flag"] == "shorter" else ""
        return (
            f"'{row['batch']}' lasts {times} times as long as {self.against} "
            f"({self._range(row)}; {seen}){worse}."
        )

    def _range(self, row: dict[Hashable, Any]) -> str:
        top = number(row["upper"]) if math.isfinite(row["upper"]) else "without bound"
        return f"{100 * self.level:.0f} % range {number(row['lower'])} to {top}"


def compare_batches(
    exit: ArrayLike,  # noqa: A002  (the word of the field)
    event: ArrayLike,
    batch: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    by: ArrayLike | None = None,
    against: str = "",
    level: float = 0.90,
    n_simulated: int = 400,
    seed: int = 0,
) -> BatchComparison:
    """Ratio of the lives of each batch or part maker to those of the others, and a flag.

    Parameters
    ----------
    exit : array_like, shape (n,)
        Age at the end of each life or of its watching. [one unit for all]
    event : array_like, shape (n,)
        1 where the life ended in failure.
    batch : array_like, shape (n,)
        Batch, part maker or part number of each life.
    entry : array_like, shape (n,), optional
        Age at which watching began; 0 by default.
    by : array_like, shape (n,), optional
        What lives also differ by, e.g. the duty: each has a scale of its own, and batches are
        compared within it.
    against : str, optional
        The batch that each is held against; without it each is held against all others together.
    level : float
        Confidence level of the bounds. [1]
    n_simulated : int
        Draws of lives that last alike, by which the likelihood ratio is scaled; 50 or more.
    seed : int
        Of the draws.

    Returns
    -------
    BatchComparison
        ``flag`` where the chance of so great a difference, adjusted for the number of batches
        (Holm, Scandinavian Journal of Statistics 6, 1979), is below 0.05.

    Raises
    ------
    FitError
        Lives that can't stand, fewer than two batches, a batch that is not there.
    TooFewFailuresError
        Fewer than 2 failures at unlike ages.

    Notes
    -----
    Weibull lives of one shape (accelerated life). The likelihood ratio of one batch is divided by
    its mean over lives drawn alike under the same watching (Bartlett's factor, simulated), since
    with few failures it runs too large; the bounds are those that the ratio so scaled leaves. A
    batch without a failure has no upper bound. Ends of watching are drawn from the batch's own
    from 5 on, else from all. "Goes with", not "causes": a batch fitted in one duty or by one
    customer only can't be told from these without ``by``.
    """
    ages, failed, starts, _ = checked_lives(exit, event, entry, None)
    names = _words(batch, len(ages), "batch")
    strata = _words(by, len(ages), "by") if by is not None else np.full(len(ages), "", dtype=object)
    known = sorted(set(names))
    if (
        len(known) < 2 or (against and against not in known) or not 0 < level < 1
        or n_simulated < 50
    ):  # fmt: skip
        raise FitError(
            f"{count(len(known), 'batch', 'batches')} against '{against}' at level {level} with "
            f"{n_simulated} draws can't be compared.",
            "compare_batches(batch, against=, level=, n_simulated=)",
            "2 batches or more; against one of: " + ", ".join(known[:8]) + "; 0 < level < 1; 50 "
            "draws or more",
        )
    if len(np.unique(ages[failed])) < 2:
        raise TooFewFailuresError(
            f"{count(int(failed.sum()), 'failure')} at unlike ages can't tell how lives spread.",
            "compare_batches(event)",
            "wait for failures: 2 at unlike ages or more, better 10 in a batch",
        )
    named = [n for n in known if n != against]
    # with two batches and none to hold against, both rows tell the same difference
    mirrored = len(named) == 2 and not against
    rows: list[tuple[str, int, int, int, float, float, float, float]] = []
    for i, name in enumerate(named[:1] if mirrored else named):
        part = names == name
        used = part | (names == against) if against else np.ones(len(ages), dtype=bool)
        strata_of = pd.get_dummies(strata[used]).to_numpy(float)
        pair = _Pair(ages[used], failed[used], starts[used], strata_of, part[used])
        told = pair.compared(level, n_simulated, np.random.default_rng([seed, i]))
        own = int((failed & part).sum())
        rows.append((name, int(part.sum()), own, int(failed[used].sum()) - own, *told))
    if mirrored:
        _, n, own, other, ratio, low, high, p = rows[0]
        inverse = (_inverse(v) for v in (ratio, high, low))
        rows.append((named[1], len(ages) - n, other, own, *inverse, p))
    adjusted = holm(np.array([r[-1] for r in rows[: 1 if mirrored else None]]))
    return BatchComparison(
        against=f"'{against}'" if against else "the others",
        level=level,
        rows=tuple(
            (*row, float(p), _flag(row[4], float(p)))
            for row, p in zip(rows, np.resize(adjusted, len(rows)), strict=True)
        ),
    )


def _inverse(ratio: float) -> float:
    return math.inf if ratio == 0 else 1.0 / ratio


def _flag(ratio: float, p: float) -> str:
    if not p < FALSE_FLAGS:
        return ""
    return "shorter" if ratio < 1.0 else "longer"


def _words(column: ArrayLike, n: int, name: str) -> NDArray[np.object_]:
    words = np.atleast_1d(np.asarray(column, dtype=object))
    bad = np.flatnonzero(pd.isna(words))
    if len(words) != n or len(bad):
        raise FitError(
            f"{len(words)} words in '{name}' for {count(n, 'life', 'lives')}, {len(bad)} missing"
            f"{' (rows ' + ', '.join(map(str, bad[:5])) + ')' if len(bad) else ''}.",
            f"compare_batches({name})",
            "give one for each life, or leave those lives out",
        )
    return np.array([str(w) for w in words], dtype=object)


def holm(p: Array) -> Array:
    """Chances adjusted for as many tests, step by step from the smallest (Holm, 1979)."""
    order = np.argsort(p, kind="stable")
    stepped = np.maximum.accumulate(p[order] * (len(p) - np.arange(len(p))))
    out = np.empty(len(p))
    out[order] = np.minimum(stepped, 1.0)
    return out


@dataclass(frozen=True, slots=True)
class _Pair:
    """One batch (``part``) and what it is held against."""

    exit: Array
    failed: Flags
    entry: Array
    strata: Array
    part: Flags

    def compared(
        self, level: float, n_simulated: int, rng: np.random.Generator
    ) -> tuple[float, float, float, float]:
        """Ratio of lives, its bounds, the chance of so great a difference."""
        from scipy.special import chdtrc, chdtri

        if len(np.unique(self.exit[self.failed])) < 2:  # of these two batches
            return math.nan, 0.0, math.inf, 1.0
        lives = self._lives(self.exit[None, :], self.failed[None, :])
        same, log_shape, _ = lives.best(apart=False)
        apart, _, log_ratio = lives.best(apart=True)
        factor = self._factor(lives, log_shape, n_simulated, rng)
        p = float(chdtrc(1, max(2.0 * float(apart[0] - same[0]), 0.0) / factor))
        allowed = float(apart[0]) - factor * float(chdtri(1, 1.0 - level)) / 2.0
        low, high = _ends(lives, float(log_ratio[0]), allowed)
        return math.exp(log_ratio[0]), low, high, p

    def _lives(self, ages: Array, failed: Flags) -> SharedShape:
        entry = np.broadcast_to(self.entry, ages.shape)
        return SharedShape(ages, failed, entry, self.strata, self.part)

    def _factor(
        self, lives: SharedShape, log_shape: Array, n_simulated: int, rng: np.random.Generator
    ) -> float:
        """Mean likelihood ratio of lives that last alike, drawn under the same watching."""
        shape = math.exp(log_shape[0])
        by_stratum = lives.scales(log_shape)[0]
        # where nothing has failed nothing fails in the draws either
        scale = np.exp(np.where(np.isfinite(by_stratum), by_stratum, 200.0))[
            self.strata.argmax(axis=1)
        ]
        own = (self.part & ~self.failed).sum() >= FEWEST_ENDS
        sides = [self.part, ~self.part] if own else [np.ones(len(self.part), dtype=bool)]
        limits = np.empty((n_simulated, len(self.exit)))
        for side in sides:
            watched = Watching.of(self.exit[side], self.failed[side], self.entry[side])
            limits[:, side] = watched.limits(rng, n_simulated)
        hazard = (self.entry / scale) ** shape + rng.exponential(size=limits.shape)
        ages = np.maximum(scale * hazard ** (1.0 / shape), np.nextafter(self.entry, np.inf))
        ended = ages <= limits
        ages = np.minimum(ages, limits)
        told = ended.sum(axis=1) >= 2
        if told.mean() < 0.5:
            raise TooFewFailuresError(
                f"Lives drawn like these mostly fail less than twice ({int(self.failed.sum())} "
                "failures seen): batches can't be compared.",
                "compare_batches(event)", "wait for failures",
            )  # fmt: skip
        drawn = self._lives(ages[told], ended[told])
        ratios = 2.0 * (drawn.best(apart=True)[0] - drawn.best(apart=False)[0])
        return max(float(np.clip(ratios, 0.0, None).mean()), 1.0)


def _ends(lives: SharedShape, best: float, allowed: float) -> tuple[float, float]:
    """Ratios of lives at which the likelihood falls to what is allowed."""
    from scipy.optimize import brentq

    def excess(x: float) -> float:
        return float(lives.with_ratio(x)[0]) - allowed

    ends = []
    for side in (-1.0, 1.0):
        if math.isinf(best) and best * side > 0:
            ends.append(math.inf * side)
            continue
        near = best if math.isfinite(best) else -side * _FARTHEST
        far = near + 0.5 * side
        while excess(far) > 0 and abs(far) < _FARTHEST:
            far += side * max(0.5, abs(far - near))
        if abs(far) >= _FARTHEST:
            ends.append(math.inf * side)
            continue
        ends.append(brentq(excess, near, far, xtol=1e-6))
    return math.exp(ends[0]), math.exp(ends[1])
