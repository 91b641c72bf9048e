"""Scores as sums: every figure of a proof is total / weight over fleets, so that they add up."""

from dataclasses import dataclass, field

OURS = "dutylife"
ORACLE = "oracle"
CAREFUL = "careful analyst"
NAIVE = "naive averages"
FIXED = "fixed schedule"
NEVER = "run to failure"
LAST_YEAR = "last year's average"


@dataclass(slots=True)
class Scores:
    """Sums of one fleet by (measure, method, among): what is scored, and what it is a share of."""

    sums: dict[tuple[str, str, str], tuple[float, float]] = field(default_factory=dict)

    def add(
        self, measure: str, method: str, total: float, base: float, *, among: str = "all"
    ) -> None:
        """Add to a score; a base of 0 says nothing."""
        if base > 0:
            before = self.sums.get((measure, method, among), (0.0, 0.0))
            self.sums[measure, method, among] = (before[0] + total, before[1] + base)

    @property
    def rows(self) -> list[dict[str, object]]:
        """Rows of table "prove_scores", but for the fleet's name."""
        return [
            {"measure": measure, "method": method, "among": among, "total": float(total),
             "base": float(base)}
            for (measure, method, among), (total, base) in sorted(self.sums.items())
        ]  # fmt: skip
