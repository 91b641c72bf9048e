"""One cell through one span under one policy: when parts fail, are changed, are found failing."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dutylife.decisions.comparison.policies import Look, Policy
from dutylife.decisions.comparison.standing import StandingCell
from dutylife.decisions.comparison.streams import uniforms
from dutylife.decisions.equilibrium import residual_of_unknown_age

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
FAILED, CHANGED, FOUND, LOOKED = 0, 1, 2, 3
CATCH_UP_DAYS = 30.0  # what is overdue comes in over the first month
_MAX_TURNS = 4000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Luck:
    """What every plan meets alike in a cell, shape (n_parts, n_simulations) or (n_simulations,).

    ``shape`` and ``scale`` of the law in each simulation; ``to_fail``: days until the part now in
    service fails if left alone; ``caught_up``: share of the first month, or of the first spacing,
    at which the machine's overdue work is done.
    """

    shape: Array
    scale: Array
    to_fail: Array
    caught_up: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Happenings:
    """One entry for each thing that happens, and whether a visit would be made for it."""

    part: Ints
    simulation: Ints
    day: Array
    kind: Ints
    own_visit: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Away:
    """Machines away for ``days`` at a stretch, serviced only in between; one phase a machine."""

    days: float
    phase: Array


def luck_of(cell: StandingCell, taken: Ints, caught_up: Array) -> Luck:
    """Draw the natural ends of the parts now in service.

    Parameters
    ----------
    cell : StandingCell
    taken : ndarray of int, shape (n_simulations,)
        Draw of the law that each simulation takes.
    caught_up : ndarray, shape (n_parts, n_simulations)

    Notes
    -----
    A part of known age fails at the residual of its Weibull law. One that was watched without its
    age being known has the equilibrium life from when watching began.
    """
    shape, scale = cell.shape[taken], cell.scale[taken]
    n = len(taken)
    draw = uniforms(cell.keys[:, None], np.arange(n)[None, :], 0)
    eta = scale * cell.days_per_unit[:, None]
    known = np.isfinite(cell.age_days)
    out = np.empty(draw.shape)
    age = cell.age_days[known, None]
    spent = (age / eta[known]) ** shape
    out[known] = eta[known] * (spent - np.log(draw[known])) ** (1 / shape) - age
    if not known.all():
        unknown = ~known
        k = np.broadcast_to(shape, draw.shape)[unknown]
        seen = np.broadcast_to(cell.seen_days[:, None], draw.shape)[unknown]
        rest = residual_of_unknown_age(
            k.ravel(), eta[unknown].ravel(), seen.ravel(), draw[unknown].ravel()
        )
        out[unknown] = rest.reshape(-1, n)
    return Luck(shape=shape, scale=scale, to_fail=np.maximum(out, 0.0), caught_up=caught_up)


def happenings(
    cell: StandingCell,
    policy: Policy,
    luck: Luck,
    seen_rate: Array,
    horizon_days: float,
    away: Away | None = None,
    visit_gap: Array | None = None,
) -> Happenings:
    """Everything that happens to the parts of a cell up to the horizon.

    Parameters
    ----------
    cell : StandingCell
    policy : Policy
    luck : Luck
    seen_rate : ndarray, shape (n_simulations,)
        Rate of planned changes whatever the age. [1 per day]
    horizon_days : float
        [d]
    away : Away, optional
        Planned work waits for the machine, or is drawn forward to before it leaves.
    visit_gap : ndarray, shape (n_parts,), optional
        Days between visits of each part's machine: looks that make no visit of their own are made
        no more often. Without it, they are not made.

    Notes
    -----
    Failures, planned changes and defects found at a look compete; each renews the part. A defect
    shows an exponential warning time before the failure (delay-time model), a look that falls in
    between finds it. A part that is changed is not looked at first, and looks count anew.
    """
    n_parts, n = luck.to_fail.shape
    use = cell.use_per_week
    change = policy.change_at.in_days(use) if policy.change_at else np.full(n_parts, np.inf)
    looks = [
        _Spaced(look, use, away, visit_gap)
        for look in policy.looks
        if look.own_visit or visit_gap is not None
    ]
    part, simulation = np.divmod(np.arange(n_parts * n), n)
    now = np.zeros(n_parts * n)
    to_fail = luck.to_fail.ravel()
    to_change = _first_due(change, cell.counted_days, luck.caught_up).ravel()
    due = [look.first_due(cell.looked_days, luck.caught_up).ravel() for look in looks]
    has_rate = bool((seen_rate > 0).any())
    parts: list[Happenings] = []
    for turn in range(_MAX_TURNS):
        if turn:
            draw = uniforms(cell.keys[part], simulation, 3 * turn)
            k = luck.shape[simulation]
            to_fail = luck.scale[simulation] * cell.days_per_unit[part] * (-np.log(draw)) ** (1 / k)
            to_change, due = change[part], [look.spacing[part] for look in looks]
        if has_rate:
            wait = -np.log(uniforms(cell.keys[part], simulation, 3 * turn + 1))
            with np.errstate(divide="ignore"):
                to_change = np.minimum(to_change, wait / seen_rate[simulation])
        if away is not None:
            to_change = _when_back(now, to_change, away, part)
            due = [_when_back(now, d, away, part) for d in due]
        end = np.minimum(to_fail, to_change)
        kind = np.where(to_change < to_fail, CHANGED, FAILED)
        if looks:
            hint = np.log(uniforms(cell.keys[part], simulation, 3 * turn + 2))
            end, kind, until = _found(looks, due, part, to_fail, end, kind, hint)
            left = horizon_days - now
            for look, first, last in zip(looks, due, until, strict=True):
                parts.append(look.done(part, simulation, now, first, np.minimum(last, left)))
        now = now + end
        here = np.flatnonzero(now < horizon_days)
        if not here.size:
            break
        part, simulation, now, kind = part[here], simulation[here], now[here], kind[here]
        own = (kind == CHANGED) & (not policy.crew)
        parts.append(
            Happenings(part=part, simulation=simulation, day=now, kind=kind, own_visit=own)
        )
    else:
        raise AssertionError(f"{cell.key}: a part is renewed over {_MAX_TURNS} times")
    return joined(parts)


class _Spaced:
    """A look with its spacing and warning time in days of each part's machine."""

    def __init__(
        self, look: Look, use: Array, away: Away | None, visit_gap: Array | None
    ) -> None:  # fmt: skip
        spacing = look.spacing.in_days(use)
        if not look.own_visit and visit_gap is not None:
            spacing = np.maximum(spacing, visit_gap)
        # who is away for some time comes back at whole stretches only
        self.spacing = spacing if away is None else np.maximum(spacing // away.days, 1) * away.days
        self.warning = look.warning.in_days(use)
        self.own_visit = look.own_visit

    def first_due(self, looked_days: Array, caught_up: Array) -> Array:
        """Days until the first look; one that rides along waits for a visit."""
        if self.own_visit:
            return _first_due(self.spacing, looked_days, caught_up)
        # a spacing without end never comes; endless times a share would not be a number
        known = np.isfinite(self.spacing)[:, None]
        return np.where(known, np.where(known, self.spacing[:, None], 0.0) * caught_up, np.inf)

    def done(
        self, part: Ints, simulation: Ints, now: Array, first: Array, until: Array
    ) -> Happenings:
        """Every look before ``until``, days counted from ``now``."""
        step = self.spacing[part]
        with np.errstate(invalid="ignore"):
            n = np.where(first < until, np.ceil((until - first) / step), 0.0).astype(np.int64)
        some = np.flatnonzero(n > 0)
        row = np.repeat(some, n[some])
        turn = np.arange(len(row)) - np.repeat(np.cumsum(n[some]) - n[some], n[some])
        day = now[row] + first[row] + turn * step[row]
        return Happenings(
            part=part[row], simulation=simulation[row], day=day,
            kind=np.full(len(row), LOOKED), own_visit=np.full(len(row), self.own_visit),
        )  # fmt: skip


def _found(
    looks: list[_Spaced], due: list[Array], part: Ints, to_fail: Array, end: Array, kind: Ints,
    hint: Array,
) -> tuple[Array, Ints, list[Array]]:  # fmt: skip
    """Ends of the parts with defects found at looks, and until when each look is made."""
    found_at = []
    for look, first in zip(looks, due, strict=True):
        seen_from = to_fail + look.warning[part] * hint
        step = look.spacing[part]
        with np.errstate(invalid="ignore"):
            at = first + np.maximum(np.ceil((seen_from - first) / step), 0.0) * step
        at = np.where(at < end, at, np.inf)
        found_at.append(at)
    earliest = np.minimum.reduce(found_at)
    found = earliest < end
    end, kind = np.where(found, earliest, end), np.where(found, FOUND, kind)
    # the look that finds is made; others on the day of an end are not
    return end, kind, [np.where(at == end, np.nextafter(end, np.inf), end) for at in found_at]


def _first_due(spacing: Array, age: Array, caught_up: Array) -> Array:
    """Days until work of a spacing is first due, shape (n_parts, n_simulations)."""
    left = (spacing - age)[:, None]
    late = np.minimum(CATCH_UP_DAYS, spacing)[:, None] * caught_up
    # where nothing tells when it was done last, it falls due somewhere in its first spacing
    somewhere = np.where(np.isfinite(spacing), spacing, 0.0)[:, None] * caught_up
    somewhere = np.where(np.isfinite(spacing)[:, None], somewhere, np.inf)
    return np.where(np.isnan(left), somewhere, np.where(left > 0, left, late))


def _when_back(now: Array, due: Array, away: Away, part: Ints) -> Array:
    """Move work to the last return at or before its day, else to the first return there is."""
    phase = away.phase[part]
    with np.errstate(invalid="ignore"):
        last = np.floor((now + due - phase) / away.days) * away.days + phase
        first = (np.floor((now - phase) / away.days) + 1) * away.days + phase
        moved = np.where(last > now, last, first) - now
    return np.where(np.isfinite(due), moved, np.inf)


def joined(parts: list[Happenings]) -> Happenings:
    """Several sets of happenings as one."""
    whole = np.empty(0, dtype=np.int64)
    return Happenings(
        part=np.concatenate([whole, *(p.part for p in parts)]),
        simulation=np.concatenate([whole, *(p.simulation for p in parts)]),
        day=np.concatenate([np.empty(0), *(p.day for p in parts)]),
        kind=np.concatenate([whole, *(p.kind for p in parts)]),
        own_visit=np.concatenate([np.empty(0, dtype=bool), *(p.own_visit for p in parts)]),
    )
