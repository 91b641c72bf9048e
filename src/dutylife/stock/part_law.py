"""Law of the pieces of one part in each span: sums over positions, mixed over draws of laws."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
EXACT_POSITIONS = 64  # from here on sums of positions go by four cumulants
_BLOCK = 4_000_000  # complex figures at once
_FACTORIALS = np.array([1.0, 2.0, 6.0, 24.0])
_LOW = 25.0  # variance x frequency squared up to which a sum of many positions is looked at


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """Pieces one renewal takes: ``whole``, and one more with chance ``part``."""

    whole: int = 1
    part: float = 0.0

    @classmethod
    def of(cls, mean: float) -> "Batch":
        """Batch of a mean number of pieces [pieces]."""
        whole = int(np.floor(mean + 1e-9))
        return cls(whole=whole, part=max(mean - whole, 0.0))

    @property
    def mean(self) -> float:
        """Mean pieces."""
        return self.whole + self.part

    def transform(self, z: Complex) -> Complex:
        """Mean of z to the pieces."""
        whole = np.exp(1j * self.whole * np.angle(z)) if self.whole != 1 else z
        return np.asarray(whole * (1 - self.part + self.part * z) if self.part else whole)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exactly:
    """A few positions: chances of 1, 2, ... renewals with a part in a span.

    ``chances`` shape (n_draws, n_positions, n_counts), ``present`` (n_positions,), ``times``
    (n_positions,) how many alike positions each stands for, ``weight`` (n_draws,).
    """

    chances: Array
    present: Array
    times: Array
    weight: Array
    batch: Batch

    def spread(self) -> tuple[float, float, float]:
        """Least and greatest mean over draws, greatest mean square."""
        counts = np.arange(1, self.chances.shape[2] + 1)
        chance = self.chances.transpose(0, 2, 1) @ (self.present * self.times)
        return _pieces(chance @ counts, chance @ counts**2, self.batch)

    def transform(self, z: Complex) -> Complex:
        """Return the mean of z to the pieces, shape as ``z``."""
        n_counts = self.chances.shape[2]
        b = self.batch.transform(z)
        powers = _powers(b, n_counts)
        out = np.zeros(len(z), dtype=complex)
        n_draws, n_positions = self.chances.shape[:2]
        block = max(_BLOCK // (n_positions * len(z) or 1), 1)
        own = self.chances * self.present[:, None]
        alone = bool(np.all(self.times == 1))
        for at in range(0, n_draws, block):
            each = 1 + _real_times(own[at : at + block], powers)
            if not alone:
                each = each ** self.times[:, None]
            out += self.weight[at : at + block] @ each.prod(axis=1)
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cumulants:
    """Many positions: factorial cumulants 1 to 4 of their sum, shape (n_draws, 4)."""

    factorial: Array
    weight: Array
    batch: Batch

    def spread(self) -> tuple[float, float, float]:
        """Least and greatest mean over draws, greatest variance."""
        mean = self.factorial[:, 0]
        variance = np.maximum(self.factorial[:, 1] + mean, mean * 0.05)
        return _pieces(mean, variance, self.batch)

    def least_variance(self) -> float:
        """Least variance over draws, where pieces go one by one; else 0."""
        alone = self.batch.whole == 1 and not self.batch.part
        return float((self.factorial[:, 1] + self.factorial[:, 0]).min()) if alone else 0.0

    def transform(self, z: Complex) -> Complex:
        """Return the mean of z to the pieces, shape as ``z``."""
        k1, k2, k3, k4 = self.factorial.T
        about = np.stack([k1, k2 + k1, k3 + 3 * k2 + k1, k4 + 6 * k3 + 7 * k2 + k1], axis=1)
        out = np.zeros(len(z), dtype=complex)
        b = self.batch.transform(z)
        # nearly as sure as they are many: cumulants about the mean say more
        is_sure = about[:, 1] < 0.6 * k1
        for about_mean, cumulants in ((False, self.factorial), (True, about)):
            own = is_sure == about_mean
            if not own.any():
                continue
            if about_mean:
                with np.errstate(divide="ignore", invalid="ignore"):
                    u = np.log(b)
            else:
                u = b - 1
            powers = np.stack([u, u**2, u**3, u**4])
            parts = cumulants[own] / _FACTORIALS
            with np.errstate(invalid="ignore"):
                size, turn = parts @ powers.real, parts @ powers.imag
            beyond = ~(size <= 0)  # a series of four terms says nothing there
            if beyond.any():
                size[beyond], turn[beyond] = -60.0, 0.0
            # twice as fast as the exponential of complex numbers
            size = np.exp(size, out=size)
            weight = self.weight[own]
            out += weight @ (size * np.cos(turn)) + 1j * (weight @ (size * np.sin(turn)))
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comings:
    """Machines that may come: rate x time of chances, shape (n_draws, n_counts)."""

    chances: Array
    weight: Array
    batch: Batch

    def spread(self) -> tuple[float, float, float]:
        """Least and greatest mean over draws, greatest variance."""
        counts = np.arange(1, self.chances.shape[1] + 1)
        return _pieces(self.chances @ counts, self.chances @ counts**2, self.batch)

    def transform(self, z: Complex) -> Complex:
        """Return the mean of z to the pieces, shape as ``z``."""
        powers = _powers(self.batch.transform(z), self.chances.shape[1])
        return np.asarray(self.weight @ np.exp(_real_times(self.chances, powers)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """Lines at a rate known as a gamma law (``shape``, ``months`` seen), of sizes seen before."""

    shape: float
    months_seen: float
    months: float
    sizes: Array

    def mean(self) -> float:
        """Mean pieces."""
        return self.shape * self.months / self.months_seen * float(self.sizes.mean())

    def spread(self) -> tuple[float, float, float]:
        """Mean twice, and variance, made wide enough for the long tail of a rate hardly known."""
        lines = self.mean() / float(self.sizes.mean())
        of_rate = lines**2 / self.shape + (3 * self.months / self.months_seen) ** 2
        size, square = float(self.sizes.mean()), float(np.mean(self.sizes**2))
        return 0.0, lines * size, lines * square + of_rate * size**2

    def transform(self, z: Complex) -> Complex:
        """Return the mean of z to the pieces, shape as ``z``."""
        size, count = np.unique(self.sizes, return_counts=True)
        each = (count / count.sum()) @ np.exp(1j * size[:, None] * np.angle(z))
        return np.asarray((1 + (1 - each) * self.months / self.months_seen) ** -self.shape)


@dataclass(slots=True, kw_only=True, eq=False)
class SpanLaw:
    """Demand of one part in one span: what adds to it, and the mean of each stream [pieces]."""

    terms: list[Exactly | Cumulants | Comings | Lines] = field(default_factory=list)
    mean_planned: float = 0.0
    mean_unplanned: float = 0.0
    mean_other: float = 0.0
    _chances: Array | None = None

    @property
    def mean(self) -> float:
        """Mean pieces of all streams."""
        return self.mean_planned + self.mean_unplanned + self.mean_other

    def add(self, other: "SpanLaw") -> None:
        """Add what another law of the same part and span holds."""
        self.terms += other.terms
        self.mean_planned += other.mean_planned
        self.mean_unplanned += other.mean_unplanned
        self.mean_other += other.mean_other

    def set_chances(self, chances: Array) -> None:
        """Put another law in its place."""
        self._chances = chances

    def chances(self) -> Array:
        """Chance of 0, 1, 2, ... pieces, by the inverse transform."""
        from scipy.fft import irfft

        if self._chances is not None:
            return self._chances
        if not self.terms:
            return np.ones(1)
        spread = [term.spread() for term in self.terms]
        sizes = [float(t.sizes.max()) for t in self.terms if isinstance(t, Lines)]
        sd = np.sqrt(sum(v for _, _, v in spread))
        top = sum(m for _, m, _ in spread) + 9 * sd + 12 + 2 * max(sizes, default=0.0)
        # what is asked for at least is left out of the transform, and put back after it
        low = int(max(sum(m for m, _, _ in spread) - 9 * sd - 12, 0.0))
        size = int(2 ** np.ceil(np.log2(top - low)))
        # only low frequencies of a sum of many positions count: the others are as good as 0, and
        # a series of four terms says nothing about them
        least = sum(max(t.least_variance(), 0.0) for t in self.terms if isinstance(t, Cumulants))
        angle = 2 * np.pi * np.arange(size // 2 + 1) / size
        z = np.exp(-1j * angle[angle**2 * least < _LOW])
        total = np.zeros(size // 2 + 1, dtype=complex)
        total[: len(z)] = 1.0
        for term in self.terms:
            total[: len(z)] *= term.transform(z)
        chance = np.roll(np.asarray(irfft(total, size), dtype=float), -(low % size))
        chance = np.concatenate([np.zeros(low), np.maximum(chance, 0.0)])
        chance[chance < 1e-13] = 0.0
        end = int(np.flatnonzero(chance)[-1]) + 1
        out: Array = chance[:end] / chance[:end].sum()
        self._chances = out
        return out


def _pieces(mean: Array, variance: Array, batch: Batch) -> tuple[float, float, float]:
    most = (batch.whole + (batch.part > 0)) ** 2
    return (
        float(mean.min()) * batch.mean, float(mean.max()) * batch.mean, float(variance.max()) * most
    )  # fmt: skip


def _powers(b: Complex, n: int) -> Complex:
    """Return b, b^2, ..., b^n, each less 1; shape (n, n_frequencies)."""
    return np.asarray(np.cumprod(np.broadcast_to(b, (n, len(b))), axis=0) - 1)


def _real_times(real: Array, powers: Complex) -> Complex:
    """Product of a real and a complex matrix, without making the first complex."""
    n = powers.shape[1]
    both = real @ np.concatenate([powers.real, powers.imag], axis=1)
    return np.asarray(both[..., :n] + 1j * both[..., n:])


def factorial_cumulants(chances: Array, present: Array) -> Array:
    """Factorial cumulants 1 to 4 summed over positions; (n_draws, n, n_counts) to (n_draws, 4)."""
    n = np.arange(1, chances.shape[2] + 1, dtype=float)
    m1, m2, m3, m4 = (
        (chances @ np.prod([n - i for i in range(r)], axis=0)) * present for r in range(1, 5)
    )
    return np.stack(
        [
            m1.sum(axis=1),
            (m2 - m1**2).sum(axis=1),
            (m3 - 3 * m1 * m2 + 2 * m1**3).sum(axis=1),
            (m4 - 4 * m1 * m3 - 3 * m2**2 + 12 * m1**2 * m2 - 6 * m1**4).sum(axis=1),
        ],
        axis=1,
    )


def quantiles(chance: Array, levels: tuple[float, ...]) -> list[float]:
    """Smallest number of pieces that covers each share of the chances."""
    below = np.cumsum(chance)
    return [float(min(int(np.searchsorted(below, p - 1e-9)), len(chance) - 1)) for p in levels]
