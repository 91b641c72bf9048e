"""Results and figures in plain words, the same everywhere."""

from dutylife.wording.figures import (
    NARROW_SPACE,
    age_range,
    chances,
    count,
    day_words,
    every,
    evidence,
    meter,
    money,
    number,
    one_clock,
    percent,
    percent_range,
    record_behind,
    share,
    span,
    true_minus,
    unbroken,
    weeks,
    whole,
)
from dutylife.wording.intervals import (
    age_replacement_text,
    check_words,
    inspection_text,
    limit_sentence,
    look_sentence,
    replace_sentence,
    run_to_failure_sentence,
    starting_sentence,
)
from dutylife.wording.limits import limit_words, unit_words
from dutylife.wording.orders import (
    count_shelf_sentence,
    no_order_sentence,
    order_sentence,
    season_order_sentence,
    shelf_life_sentence,
)
from dutylife.wording.owners import plan_words, without_keys

__all__ = [
    "NARROW_SPACE", "age_range", "age_replacement_text", "chances", "check_words", "count",
    "count_shelf_sentence", "day_words", "every", "evidence", "inspection_text",
    "limit_sentence", "limit_words",
    "look_sentence", "meter", "money", "no_order_sentence", "number",
    "one_clock", "order_sentence", "percent", "percent_range", "plan_words", "record_behind",
    "replace_sentence", "run_to_failure_sentence", "season_order_sentence", "share",
    "shelf_life_sentence", "span",
    "starting_sentence", "true_minus", "unbroken", "unit_words", "weeks", "whole", "without_keys",
]  # fmt: skip
