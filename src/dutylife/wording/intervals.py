"""Sentences on intervals and looks: what to do when, why, and on how much."""

import math

from dutylife.wording.figures import chances, number, percent
from dutylife.wording.limits import limit_words


def age_replacement_text(
    interval: float,
    lower: float,
    upper: float,
    cost_rate: float,
    cost_rate_run_to_failure: float,
    *,
    beyond_seen: bool,
) -> str:
    """Sentence of an age-replacement result, in the clock of its survival function."""
    if not math.isfinite(interval):
        why = (
            "the cost still falls at the longest age given"
            if beyond_seen
            else "no planned age costs less"
        )
        return f"Run to failure: {why} ({number(cost_rate_run_to_failure)} per unit of age)."
    saving = 1 - cost_rate / cost_rate_run_to_failure
    return (
        f"Replace at {number(interval, 4)} ({number(lower)} to {number(upper)} costs nearly the "
        f"same): {number(cost_rate, 4)} per unit of age, {percent(saving)} less than waiting for "
        f"failure ({number(cost_rate_run_to_failure, 4)})."
    )


def inspection_text(interval: float, share_failing: float, rate: float, criterion: str) -> str:
    """Sentence of a delay-time result, in the clock of its inputs."""
    what = "costs" if criterion == "cost" else "keeps the machine down"
    unit = "per unit of age" if criterion == "cost" else "of the time"
    return (
        f"Look every {number(interval, 4)}: {what} {number(rate)} {unit}; "
        f"{percent(share_failing)} of defects fail before the next look."
    )


def replace_sentence(
    *,
    component: str,
    duty: str,
    at: str,
    also: str,
    flat: str,
    record: str,
    saving: float,
    probability: float,
) -> str:
    """Sentence for a replacement that pays; ``also`` is the age on the other clock, if known."""
    other = f", about {also} of its work" if also else ""
    return (
        f"Replace the {component} at {at} ({flat} cost nearly the same) in {duty}{other}: "
        f"{record}; costs {percent(saving)} less than waiting for failure "
        f"({chances(probability)} that it pays)."
    )


def limit_sentence(*, component: str, duty: str, at: str, limit: str, record: str) -> str:
    """Sentence for a replacement set by a limit, and whose limit it is."""
    return (
        f"Replace the {component} in {duty} at the latest at {at}: {limit}; no saving "
        f"lifts it; {record}."
    )


def starting_sentence(*, component: str, duty: str, at: str, mark: str, record: str) -> str:
    """Sentence for a starting replacement interval."""
    return (
        f"Replace the {component} every {at} in {duty}: a starting value ({mark}), not a finding "
        f"of yours; {record}. The maker's manual stands above it."
    )


def run_to_failure_sentence(*, component: str, duty: str, record: str, why: str) -> str:
    """Sentence for a component that is left to fail."""
    return f"Run the {component} to failure in {duty} and hold the spare: {why}; {record}."


def look_sentence(
    *, task: str, component: str, duty: str, at: str, what: str, why: str, record: str, hurt: str
) -> str:
    """Sentence for a look: what to look for, how often, why that often."""
    caution = (
        f" A failure can hurt someone ({hurt}): never run to failure, and have it done by someone "
        "competent."
        if hurt
        else ""
    )
    return (
        f"{task.capitalize()} the {component} every {at} in {duty}: {what} {why}; {record}."
        f"{caution} The maker's manual stands above this."
    )


def check_words(action: str, measurement: str, unit: str, nominal: str, reject_limit: str) -> str:
    """Return what a look looks for: action, measurement, nominal and reject limit.

    Examples
    --------
    >>> check_words("check gap", "electrode gap", "mm", "0.7-0.8", "outside 0.6-0.9")
    'check gap; electrode gap 0.7 to 0.8 mm, reject: outside 0.6 to 0.9 mm.'
    """
    nominal_words = " ".join(w for w in (measurement, limit_words(nominal, unit)) if w)
    parts = [nominal_words, f"reject: {limit_words(reject_limit, unit)}" if reject_limit else ""]
    read = ", ".join(p for p in parts if p)
    return f"{action}; {read}." if read else f"{action}."
