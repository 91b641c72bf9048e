"""Words for readers who never open a settings file: plans by name, no keys."""

import re

_IN_BRACKETS = re.compile(r"\s*\(\[[^\]]*\][^)]*\)")
_BEHIND_COLON = re.compile(r":\s*\[[^\]]+\](?:;\s*\[[^\]]+\])*")
_TO_STATE = re.compile(r"\bstate \[[^\]]+\](?: [a-z]+(?:_[a-z]+)+)?")
_NAMED = re.compile(r"\[[^\]]+\] ([a-z]+(?:_[a-z]+)+)")
_PLANS = {
    "as seen": "today's practice goes on",
    "none": "parts are left to fail",
    "present_schedule": "the present schedule is kept",
    "recommended": "the proposed plan is kept",
}


def plan_words(plan: str) -> str:
    """Return what a plan in force means, as a clause.

    Examples
    --------
    >>> plan_words("as seen"), plan_words("visits.csv")
    ("today's practice goes on", 'the plan of visits.csv is kept')
    """
    return _PLANS.get(plan, f"the plan of {plan} is kept")


def without_keys(text: str) -> str:
    """Return a note without the settings keys it names, which stand on the evidence page.

    Examples
    --------
    >>> without_keys('No price of a new one is stated: [replacement_price."mill"].')
    'No price of a new one is stated.'
    >>> without_keys("Use is not known ([fleet] hours_per_week): state [costs].")
    'Use is not known: state it in the settings file.'
    >>> without_keys("no [workshop] labour_rate is stated")
    'no labour rate is stated'
    """
    text = _TO_STATE.sub("state it in the settings file", _IN_BRACKETS.sub("", text))
    text = _BEHIND_COLON.sub("", text)
    return _NAMED.sub(lambda found: found[1].replace("_", " "), text)
