"""How often a part is renewed in spans of time, exactly, on a lattice of days."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
_DAMPED = 1e-8  # what wraps around a transform, relative
_FEWEST = 1e-6  # chance of more renewals than are followed
_MOST = 64  # renewals followed at most
CATCH_UP_DAYS = 30.0  # what is overdue is done over the first month
_NODES, _SHARES = np.polynomial.legendre.leggauss(16)
_FAR = 40.0  # cumulative hazard beyond which an unknown age is as good as the time watched


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RenewalLaw:
    """Laws of a part's life, one a row, shape (n_laws,), in days of the machine's own use.

    ``shape`` [1] and ``scale`` [d] of the Weibull law; ``planned_rate`` of planned replacements
    whatever the age [1/d]; ``planned_age`` [d], inf without, at which a planned replacement falls
    due and is done with chance ``done`` (else it falls due again an interval later);
    ``leaving_rate`` at which machines leave [1/d]. ``takes_failed``, ``takes_planned``: share of
    failures and of planned replacements that take a part. What is overdue is done evenly over
    ``catch_up_days`` [d].
    """

    shape: Array
    scale: Array
    planned_rate: Array
    planned_age: Array
    done: float = 1.0
    leaving_rate: float = 0.0
    takes_failed: float = 1.0
    takes_planned: float = 1.0
    catch_up_days: float = CATCH_UP_DAYS

    @property
    def has_plan(self) -> bool:
        """Whether any planned replacement can come."""
        return bool(np.any(self.planned_rate > 0) or np.any(np.isfinite(self.planned_age)))

    def hazard(self, age: Array) -> Array:
        """Cumulative hazard of failure; ``age`` shape (n_laws, ...)."""
        log_age = np.log(np.maximum(age, 1e-300))
        k, log_scale = _rows(self.shape, age), np.log(_rows(self.scale, age))
        return np.asarray(np.exp(np.minimum(k * (log_age - log_scale), 700.0)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spans:
    """Spans of time as whole steps of the lattice: after ``start``, up to ``end``."""

    start: npt.NDArray[np.int64]
    end: npt.NDArray[np.int64]
    step_days: float

    @property
    def n_steps(self) -> int:
        """Steps up to the last end."""
        return int(self.end.max())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AfterRenewal:
    """What a renewal in each step leads to in each span.

    ``failed``, ``planned``: shape (n_laws, n_columns, n_steps), by what the renewal was. Columns
    run over spans; of each the chance of 1, 2, ... pieces, then the mean of planned pieces, then
    of those at failures; ``columns`` names the first column of each span and the number of chances.
    """

    failed: Array
    planned: Array
    columns: tuple[tuple[int, int], ...]
    spans: Spans


def after_renewal(law: RenewalLaw, spans: Spans) -> AfterRenewal:
    """Chances of pieces in each span after a renewal in each step.

    Parameters
    ----------
    law : RenewalLaw
    spans : Spans

    Returns
    -------
    AfterRenewal

    Notes
    -----
    First renewals keep their exact chance of each step; the lives after them are rounded to the
    nearest step, which is right to the square of the step. Sums of lives are powers of the
    transform of one life; each sequence is damped by r^j so that what wraps around is below 1e-8.
    A span that starts later is solved backwards from its start by the renewal equation.
    """
    n, h = spans.n_steps, spans.step_days
    transform = _Transform(n)
    failed, planned = _lives(law, n, h)
    to_failed, to_planned = transform.of(failed), transform.of(planned)
    taken = law.takes_failed * to_failed + law.takes_planned * to_planned
    to_taken = taken / (1.0 - (to_failed + to_planned - taken))
    renewed = 1.0 / (1.0 - to_failed - to_planned)
    at_least = _at_least(to_taken, transform)
    mean_planned = np.cumsum(transform.back(law.takes_planned * to_planned * renewed), axis=-1)
    mean_failed = np.cumsum(transform.back(law.takes_failed * to_failed * renewed), axis=-1)
    most = _columns_needed(at_least, spans)
    begins = np.concatenate([[0], np.cumsum([m + 2 for m in most])])
    shares = [law.takes_failed, law.takes_planned][: 2 if law.has_plan else 1]
    # by steps left: chance of 1, 2, ... pieces, the renewal itself included
    exactly = at_least[: max(most) + 1] - at_least[1 : max(most) + 2]
    left = [share * exactly[:-1] + (1 - share) * exactly[1:] for share in shares]
    long_before: dict[int, Array] = {}
    for s, e, m in zip(spans.start, spans.end, most, strict=True):
        if s > 0:
            length = int(e - s)
            got = long_before.get(length)
            if got is None or len(got) < m:
                long_before[length] = _before(
                    [own[:m] for own in left], length, [to_failed, to_planned], renewed, transform
                )
    out = [np.zeros((len(law.shape), int(begins[-1]), n)) for _ in shares]
    for at, m, s, e in zip(begins, most, spans.start, spans.end, strict=False):
        for kind, (into, own) in enumerate(zip(out, left, strict=True)):
            # steps left after a renewal: from e - 1 down to 0
            into[:, at : at + m, s:e] = own[:m, :, : e - s].transpose(1, 0, 2)[..., ::-1]
            if s > 0:
                before = long_before[int(e - s)][:m, :, e - s : e]
                into[:, at : at + m, :s] = before.transpose(1, 0, 2)[..., ::-1]
            for column, mean, is_own in (
                (at + m, mean_planned, kind == 1), (at + m + 1, mean_failed, kind == 0)
            ):  # fmt: skip
                into[:, column, :e] = mean[:, :e][:, ::-1]
                into[:, column, :s] -= mean[:, :s][:, ::-1]
                into[:, column, s:e] += shares[kind] * is_own
    return AfterRenewal(
        failed=out[0], planned=out[-1], spans=spans,
        columns=tuple((int(b), int(m)) for b, m in zip(begins, most, strict=False)),
    )  # fmt: skip


def first_renewal(
    law: RenewalLaw, age: Array, spans: Spans, *, is_known: bool
) -> tuple[Array, Array]:
    """Chance that the part in service is renewed in each step, by failure and by plan.

    Parameters
    ----------
    law : RenewalLaw
    age : ndarray, shape (n_laws, n_ages)
        Age [d]; or, where it is not known, how long the part was watched without being renewed.
    spans : Spans
    is_known : bool

    Returns
    -------
    tuple of ndarray, shape (n_laws, n_ages, n_steps)

    Notes
    -----
    A part of unknown age has, from when watching began, the age of a part met at any time: density
    proportional to survival; then it was watched. Its age is a mixture of 16 nodes of that law.
    """
    if is_known:
        return _first_of_age(law, age, spans)
    ages, share = ages_of_unknown(law, age)
    n_laws, n_ages, n_nodes = ages.shape
    failed, planned = _first_of_age(law, ages.reshape(n_laws, -1), spans)
    shape = (n_laws, n_ages, n_nodes, spans.n_steps)
    failed = np.einsum("lanj,lan->laj", failed.reshape(shape), share)
    if law.has_plan:
        planned = np.einsum("lanj,lan->laj", planned.reshape(shape), share)
    else:
        planned = np.zeros_like(failed)
    return failed, planned


def pieces(first: tuple[Array, Array], after: AfterRenewal) -> Array:
    """Chances of pieces and their means in each span; shape (n_laws, n_ages, n_columns)."""
    failed, planned = first
    out = failed @ after.failed.transpose(0, 2, 1)
    if after.planned is not after.failed:
        out += planned @ after.planned.transpose(0, 2, 1)
    return np.asarray(out)


def started(
    law: RenewalLaw, after: AfterRenewal, spans: Spans, start_steps: npt.NDArray[np.int64]
) -> Array:
    """Return chances of pieces of a new part put to work after each step of ``start_steps``.

    Shape (n_laws, n_starts, n_columns); machines leave only once they are there.
    """
    failed, planned = _first_of_age(law, np.zeros((len(law.shape), 1)), spans)
    n = spans.n_steps
    late = (
        np.zeros((len(law.shape), len(start_steps), n)),
        np.zeros((len(law.shape), len(start_steps), n)),
    )
    for i, s in enumerate(start_steps):
        for into, one in zip(late, (failed, planned), strict=True):
            into[:, i, s:] = one[:, 0, : n - s]
    return pieces(late, after)


class _Transform:
    """Transform of sequences of n steps along the last axis, damped."""

    def __init__(self, n: int) -> None:
        from scipy.fft import next_fast_len

        self.n = n
        self.size = next_fast_len(n, real=True)
        self.damp = _DAMPED ** (np.arange(n) / self.size)

    def of(self, values: Array) -> Complex:
        from scipy.fft import rfft

        return np.asarray(rfft(values * self.damp[: values.shape[-1]], self.size))

    def back(self, values: Complex) -> Array:
        from scipy.fft import irfft

        return np.asarray(irfft(values, self.size)[..., : self.n] / self.damp)


def _rows(values: Array, like: Array) -> Array:
    return values.reshape((-1,) + (1,) * (like.ndim - 1))


def _lives(law: RenewalLaw, n: int, h: float) -> tuple[Array, Array]:
    """Chance that a new part lives 0, 1, ... steps, to the nearest, by failure and by plan."""
    edge = np.maximum(np.arange(n + 1) - 0.5, 0.0) * h
    ages = np.broadcast_to(edge, (len(law.shape), n + 1))
    return _ended(law, ages, ages[:, :1], edge)


def _ended(law: RenewalLaw, ages: Array, start: Array, time: Array) -> tuple[Array, Array]:
    """Chance of failure and of planned replacement between neighbouring ages, from ``start`` on.

    ``ages`` shape (n_laws, ..., n + 1), ``start`` (n_laws, ..., 1), ``time`` (n + 1,).
    """
    hazard = law.hazard(ages) - law.hazard(start)
    rate = law.planned_rate + law.leaving_rate
    other = _rows(rate, ages) * time
    alive = np.exp(-np.minimum(hazard + other, 700.0))
    lost = alive[..., :-1] - alive[..., 1:]
    if not law.has_plan and law.leaving_rate == 0:
        return lost, np.zeros_like(lost)
    by_hazard, by_other = np.diff(hazard, axis=-1), np.diff(other, axis=-1)
    both = by_hazard + by_other
    share = np.where(both > 0, by_hazard / np.where(both > 0, both, 1.0), 1.0)
    planned_share = np.where(rate > 0, law.planned_rate / np.where(rate > 0, rate, 1.0), 0.0)
    failed = lost * share
    planned = lost * (1 - share) * _rows(planned_share, ages)
    if np.any(np.isfinite(law.planned_age)):
        due = np.floor(ages / _rows(law.planned_age, ages) + 1e-9) - np.floor(
            start / _rows(law.planned_age, ages) + 1e-9
        )
        with np.errstate(invalid="ignore"):
            waits = np.where(due > 0, (1 - law.done) ** due, 1.0)
        failed, planned = failed * waits[..., :-1], planned * waits[..., :-1]
        planned = planned + (waits[..., :-1] - waits[..., 1:]) * alive[..., 1:]
    return failed, planned


def _first_of_age(law: RenewalLaw, age: Array, spans: Spans) -> tuple[Array, Array]:
    time = np.asarray(np.arange(spans.n_steps + 1) * spans.step_days, dtype=float)
    ages = age[..., None] + time
    if not np.any(np.isfinite(law.planned_age)):
        return _ended(law, ages, age[..., None], time)
    plan = law.planned_age[:, None]
    late = age >= plan
    spread = np.where(np.isfinite(plan), np.minimum(law.catch_up_days, plan), 1.0)
    spread = np.broadcast_to(spread, age.shape)
    failed, planned = _ended(law, ages, age[..., None], time)
    bare = RenewalLaw(
        shape=law.shape, scale=law.scale, planned_rate=law.planned_rate,
        planned_age=np.full(len(law.shape), np.inf), leaving_rate=law.leaving_rate,
    )  # fmt: skip
    f, p = _ended(bare, ages, age[..., None], time)
    done = law.done * np.clip(time / spread[..., None], 0.0, 1.0)
    other = _rows(law.planned_rate + law.leaving_rate, ages) * time
    hazard = law.hazard(ages) - law.hazard(age[..., None])
    alive = np.exp(-np.minimum(hazard + other, 700.0))
    middle = 1 - (done[..., :-1] + done[..., 1:]) / 2
    caught = np.diff(done, axis=-1) * (alive[..., :-1] + alive[..., 1:]) / 2
    late = late[..., None]
    return np.where(late, f * middle, failed), np.where(late, p * middle + caught, planned)


def ages_of_unknown(law: RenewalLaw, seen: Array) -> tuple[Array, Array]:
    """Ages and their shares, shape (n_laws, n_ages, 16)."""
    k, scale = law.shape[:, None], law.scale[:, None]
    rate = law.planned_rate[:, None]
    spent = law.hazard(seen)
    # where survival has fallen by e^-18 beyond what was watched
    by_failure = scale * (spent + 18.0) ** (1 / k) - seen
    reach = np.where(rate > 0, np.minimum(by_failure, 18.0 / np.where(rate > 0, rate, 1.0)),
                     by_failure)  # fmt: skip
    # even in the square root: survival falls fastest at the start
    half = (_NODES + 1) / 2
    beyond = reach[..., None] * half**2
    ages = seen[..., None] + beyond
    log_alive = -(law.hazard(ages) - spent[..., None]) - rate[..., None] * beyond
    share = np.exp(np.maximum(log_alive, -700.0)) * _SHARES * half
    share /= share.sum(axis=-1, keepdims=True)
    far = (spent > _FAR)[..., None]
    ages = np.where(far, seen[..., None], ages)
    return ages, share


def _at_least(to_taken: Complex, transform: _Transform) -> Array:
    """Chance of at least 0, 1, 2, ... pieces within each lag; shape (n_counts, n_laws, n_steps)."""
    n_laws = to_taken.shape[0]
    out = [np.ones((n_laws, transform.n))]
    power = np.ones_like(to_taken)
    for _ in range(_MOST):
        power = power * to_taken
        out.append(np.clip(np.cumsum(transform.back(power), axis=-1), 0.0, 1.0))
        if float(out[-1][:, -1].max()) < _FEWEST:
            break
    return np.stack([*out, *[np.zeros((n_laws, transform.n))] * 2])


def _columns_needed(at_least: Array, spans: Spans) -> list[int]:
    """Greatest number of pieces worth following in each span."""
    most = []
    for s, e in zip(spans.start, spans.end, strict=True):
        # one renewal opens the span, the others follow it
        chance = at_least[:, :, e - s - 1].max(axis=1)
        few = np.flatnonzero(chance < _FEWEST)
        most.append(int(np.clip(few[0], 1, len(at_least) - 2)))
    return most


def _before(
    left: list[Array], length: int, to_life: list[Complex], renewed: Complex, transform: _Transform
) -> Array:
    """Chances after a renewal before a span of ``length`` steps, by steps to the span's end.

    ``left``: by steps to the end, of renewals inside the span. The renewal equation, solved from
    the span's start back; steps inside the span are 0.
    """
    total = sum(
        transform.of(own[..., :length]) * life
        for own, life in zip(left, to_life, strict=False)
    )  # fmt: skip
    source = transform.back(np.asarray(total))
    source[..., :length] = 0.0
    return transform.back(transform.of(source) * renewed)
