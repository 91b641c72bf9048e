"""Terms of the law of a part's demand: positions, machines that come, other lines, visits."""

import numpy as np
import numpy.typing as npt

from dutylife.stock.demand import Span
from dutylife.stock.part_law import (
    EXACT_POSITIONS,
    Batch,
    Comings,
    Cumulants,
    Exactly,
    Lines,
    SpanLaw,
    factorial_cumulants,
)
from dutylife.stock.parts import OtherUse
from dutylife.stock.planned_visits import VisitUse
from dutylife.stock.positions import CellChances
from dutylife.vocabulary.spans import DAYS_PER_MONTH

Array = npt.NDArray[np.float64]
Laws = dict[tuple[int, int], SpanLaw]
N_STARTS = 12


def add_span(
    law: SpanLaw, found: CellChances, i: int, mine: npt.NDArray[np.bool_], present: Array,
    batch: Batch,
) -> None:  # fmt: skip
    """Add positions one by one, or their cumulants where they are many."""
    at, m = found.columns[i]
    own = np.maximum(found.chances[:, mine, at : at + m], 0.0)
    means = np.einsum("dnc,n,d->c", found.chances[:, mine, at + m : at + m + 2], present,
                      found.weight)  # fmt: skip
    law.mean_planned += float(means[0]) * batch.mean
    law.mean_unplanned += float(means[1]) * batch.mean
    if own.shape[1] <= EXACT_POSITIONS:
        law.terms.append(
            Exactly(chances=own, present=present, times=np.ones(len(present)),
                    weight=found.weight, batch=batch)
        )  # fmt: skip
    else:
        law.terms.append(
            Cumulants(factorial=factorial_cumulants(own, present), weight=found.weight, batch=batch)
        )


def add_sums(law: SpanLaw, found: CellChances, i: int, name: str, batch: Batch) -> None:
    """Add positions that are summed already."""
    factorial, means = found.sums[name]
    mean = found.weight @ means[:, i] * batch.mean
    law.mean_planned += float(mean[0])
    law.mean_unplanned += float(mean[1])
    law.terms.append(Cumulants(factorial=factorial[:, i], weight=found.weight, batch=batch))


def add_comings(
    law: SpanLaw, starts: Array, found: CellChances, i: int, rate_days: float,
    per_class: list[float], batch: Batch,
) -> None:  # fmt: skip
    """Add new machines that come at the fleet's rate, and announced ones."""
    at, m = found.columns[i]
    own, means = starts[..., at : at + m], starts[..., at + m : at + m + 2]
    weight = found.weight
    if rate_days > 0:
        some = np.maximum(own[:, :N_STARTS].mean(axis=1) * rate_days, 0.0)
        law.terms.append(Comings(chances=some, weight=weight, batch=batch))
        mean = weight @ means[:, :N_STARTS].mean(axis=1) * rate_days * batch.mean
        law.mean_planned += float(mean[0])
        law.mean_unplanned += float(mean[1])
    times = np.array(per_class)
    if times.sum() > 0:
        law.terms.append(
            Exactly(chances=np.maximum(own[:, N_STARTS:], 0.0), present=np.ones(len(times)),
                    times=times, weight=weight, batch=batch)
        )  # fmt: skip
        mean = np.einsum("d,dac,a->c", weight, means[:, N_STARTS:], times) * batch.mean
        law.mean_planned += float(mean[0])
        law.mean_unplanned += float(mean[1])


def add_lines(laws: Laws, spans: list[Span], other: OtherUse) -> None:
    """Add what lives do not explain."""
    # where lives explain the part and nothing else was ever sold, there is no other stream; a
    # part that nothing explains keeps half a line as its weak prior
    shape = other.n_lines + (0.5 if other.n_lines > 0 or not laws else 0.0)
    for span in spans:
        law = laws.setdefault(span.key, SpanLaw())
        if shape > 0 and not any(isinstance(t, Lines) for t in law.terms):
            start, end = span.key
            lines = Lines(
                shape=shape, months_seen=other.months, months=(end - start) / DAYS_PER_MONTH,
                sizes=np.ceil(other.sizes) if other.sizes.size else np.ones(1),
            )  # fmt: skip
            law.terms.append(lines)
            law.mean_other = lines.mean()


def add_visits(laws: Laws, use: VisitUse, visits: dict[tuple[int, int], float]) -> None:
    """Add what the further planned visits of a plan use beside the parts they are for."""
    for key, n_visits in visits.items():
        if n_visits > 0:
            law = laws.setdefault(key, SpanLaw())
            lines = use.law(n_visits)
            law.terms.append(lines)
            law.mean_other += lines.mean()
