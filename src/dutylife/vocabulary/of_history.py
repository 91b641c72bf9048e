"""Columns of the monthly rerun: what moved since last month, and what changed in the past."""

from dutylife.vocabulary.kinds import Column, counts, dates, numbers, texts, words

OF_HISTORY: list[Column] = [
    *words("recommendation", "what moved", "recommendation"),
    *texts("subject", "the part, or the component in its duty and the task, in words"),
    *words("cause", "why it moved", "cause"),
    *counts("cause_order", "place of the cause on the way from last month's inputs to today's"),
    *numbers("value_before value_after", "moved_unit", "last month's; today's; blank: none", None),
    *numbers("cause_before cause_after", "moved_unit", "before and after this cause alone", None),
    *numbers("cause_change", "moved_unit", "what this cause changed; all of them add up", None),
    *words("moved_unit", "unit of the row's figures", "moved_unit"),
    *texts("cause_evidence", "what the cause is here, in words"),
    *words("change", "what happened to a row of the past", "record_change"),
    *texts("row_key", "what names the row in its table"),
    *texts("changed_column", "column that changed, or what the row was"),
    *texts("was is_now", "its cell then; now"),
    *dates("happened_on", "day the row is about"),
    *numbers("life_p50 life_p80 life_p95", "pieces", "quantiles of the forecast by lives alone"),
]
