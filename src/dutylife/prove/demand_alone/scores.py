"""Laws of demand held to the pieces that truly left: losses, shares at or under, even ranks."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from dutylife.stock.part_law import quantiles
from dutylife.stock.series import LEVELS, pinball

Array = npt.NDArray[np.float64]
MONTHS = (1, 3, 6)
N_BINS = 10


@dataclass(slots=True, kw_only=True)
class DemandSums:
    """Sums over the parts of one fleet by (among, method, months)."""

    rows: dict[tuple[str, str, int], dict[str, float]] = field(default_factory=dict)
    ranks: dict[tuple[str, str, int], Array] = field(default_factory=dict)

    def add(
        self, among: str, method: str, months: int, chances: Array, came: float, uniform: float
    ) -> None:
        """Add one part's law over a span.

        Parameters
        ----------
        among, method : str
        months : int
        chances : ndarray, shape (n,)
            Chance of 0, 1, 2, ... pieces.
        came : float
            Pieces that truly left, at least 0.
        uniform : float
            Between 0 and 1: where in the step of the law at ``came`` the rank is taken, so that
            ranks of whole pieces are even where the law is right.
        """
        key = (among, method, months)
        into = self.rows.setdefault(key, {})
        said = quantiles(chances, LEVELS)
        below = np.cumsum(chances)

        def up_to(pieces: float) -> float:
            return 0.0 if pieces < 0 else float(below[min(int(pieces), len(below) - 1)])

        losses = [
            float(pinball(np.array(q), np.array(came), v))
            for q, v in zip(said, LEVELS, strict=True)
        ]
        more = {
            "n_spans": 1.0, "asked": came, "pinball_sum": float(np.mean(losses)),
            "n_under_p80": float(came <= said[1]), "told_under_p80": up_to(said[1]),
            "n_under_p95": float(came <= said[2]), "told_under_p95": up_to(said[2]),
            "mean_sum": float(chances @ np.arange(len(chances))),
        }  # fmt: skip
        for name, value in more.items():
            into[name] = into.get(name, 0.0) + value
        rank = up_to(came - 1) + uniform * (up_to(came) - up_to(came - 1))
        bins = self.ranks.setdefault(key, np.zeros(N_BINS))
        bins[min(int(rank * N_BINS), N_BINS - 1)] += 1

    @property
    def as_rows(self) -> list[dict[str, Any]]:
        """Rows of table "prove_demand_sums", but for fleet and world."""
        return [
            {"among": among, "method": method, "months": float(months)}
            | sums
            | {f"rank_{i}": float(n) for i, n in enumerate(self.ranks[among, method, months])}
            for (among, method, months), sums in sorted(self.rows.items())
        ]
