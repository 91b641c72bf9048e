"""What may be said of a cell's law, in words a shop owner can read."""

from dutylife.models.starting import StartingLife
from dutylife.settings import Settings
from dutylife.wording import count, meter, number

FEW_FAILURES = 5
# from there on a cell's own lives outweigh what the other duties lend, and it is called its own
OWN_FAILURES = 10
SUPPORTED_FAILURES = 10


def strength(
    failures: float, shape_range: tuple[float, float], range_80: tuple[float, float]
) -> str:
    """Words for how much the record carries; they colour a recommendation, never switch it.

    Not enough evidence: below 5 failures, or a shape range that holds both 0.8 and 2. Supported:
    10 failures and an 80 % range of shape on one side of 1. Else leaning. ("Strong" would need
    three reruns that agree, which one run can't know.)
    """
    low, high = shape_range
    if failures < FEW_FAILURES or (low < 0.8 and high > 2.0):
        return "Not enough evidence"
    if failures >= SUPPORTED_FAILURES and (range_80[0] > 1.0 or range_80[1] < 1.0):
        return "Supported"
    return "Leaning"


def wear(
    shape: float, shape_range: tuple[float, float], range_80: tuple[float, float], level: float
) -> str:
    """Whether the risk rises with age (by the 80 % range, as the words above), with the shape."""
    if range_80[0] > 1.0:
        told = "the risk rises with age"
    elif range_80[1] < 1.0:
        told = "the risk falls with age: early failures"
    else:
        told = "whether the risk rises with age is open"
    span = f"{number(shape_range[0])} to {number(shape_range[1])}"
    return f"{told} (shape {number(shape)}, {100 * level:.0f} % range {span})"


def half_life(
    b50: float, b50_range: tuple[float, float], longest: float, clock: str, settings: Settings
) -> str:
    """Age by which half have failed, with its range, and a word where that was never seen."""
    low, high = (age_text(v, clock, settings) for v in b50_range)
    text = f"half have failed by {age_text(b50, clock, settings)} ({low} to {high})"
    if longest < b50:
        text += f"; no life that long was seen (longest {age_text(longest, clock, settings)})"
    return text


def age_text(value: float, clock: str, settings: Settings) -> str:
    """An age with its unit."""
    if clock == "hours":
        return meter(value, settings.fleet.meter_unit)
    return f"{number(value)} days"


def seen(n_failed: int, n_lives: int) -> str:
    """Failures in lives."""
    return f"{count(n_failed, 'failure')} in {count(n_lives, 'life', 'lives')}"


def starting_text(
    life: StartingLife, n_failed: int, n_lives: int, clock: str, settings: Settings
) -> str:
    """Why a starting value stands here, what it is and how well it is known."""
    if n_lives == 0:
        why = "No life of known age yet"
    else:
        why = f"{seen(n_failed, n_lives)}: too few for a law of its own"
    if not life.task:
        source = "no schedule is known for it"
    else:
        times = "the" if life.task == "replace" else "twice the"
        source = f"{times} starting interval to {life.task}, {life.mark}"
    moved = ", moved by what was seen" if n_lives else ""
    return (
        f"{why}. Starting value, our proposal: one in ten has failed by "
        f"{age_text(life.b10, clock, settings)} ({source}){moved}."
    )
