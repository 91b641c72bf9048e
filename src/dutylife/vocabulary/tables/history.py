"""Tables of what moved since a kept month."""

from dutylife.vocabulary.tables.declare import Table, table

# fmt: off  (one glance per table)
HISTORY: list[Table] = [
    table(
        "moved",
        "a cause of the change of one recommendation since last month",
        "recommendation subject cause",
        "recommendation subject component duty task part_number cause cause_order moved_unit "
        "value_before value_after cause_before cause_after cause_change cause_evidence",
    ),
    table(
        "record_changes",
        "a cell of the past that changed since last month, or a row that went or came",
        "table change row_key changed_column",
        "table:table_name change row_key changed_column was is_now happened_on unit_id ticket "
        "component source_file source_row",
    ),
]
# fmt: on
