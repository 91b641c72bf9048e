"""Tables of the record: lines, machines, parts, readings, coded events."""

from dutylife.vocabulary.tables.declare import Table, table

# fmt: off  (one glance per table)
RECORD: list[Table] = [
    table(
        "service_lines",
        "a line of the export, normalised",
        "line_id",
        "line_id source_file source_row ticket ticket_kind service_date received_on ready_on "
        "unit_id customer duty equipment_class meter_hours complaint work_done part_number "
        "description line_kind quantity unit_price parts_wait_days",
        "source_file service_date line_kind",
    ),
    table(
        "set_aside",
        "a source row not used",
        "source_file source_row reason",
        "source_file source_row reason:set_aside_reason detail needs_person",
    ),
    table(
        "findings",
        "something a person should know",
        "finding_id",
        "finding_id stage kind:finding_kind table:table_name key source_file source_row "
        "message mend",
        "stage kind message",
    ),
    table(
        "units",
        "a machine",
        "unit_id",
        "unit_id equipment_class engine_model in_service_on left_on first_seen last_seen "
        "prob_in_service hours_per_week usage_source meter_unit meter_now_hours",
    ),
    table(
        "unit_spans",
        "a machine in one duty at one customer",
        "unit_id from_date",
        "unit_id from_date to_date customer duty hours_per_week",
    ),
    table(
        "use_seasons",
        "use of a duty in a month, where readings show a season",
        "duty month_of_year",
        "duty month_of_year use_share",
    ),
    table(
        "catalogue",
        "a part number and its component",
        "part_number",
        "part_number component description fits replaces part_maker supplier pack_size nominal "
        "low_limit high_limit unit",
    ),
    table(
        "shelf",
        "a part number the shop holds or orders",
        "part_number",
        "part_number description on_hand on_order counted unit_cost supplier lead_time_days "
        "pack_size replaces alternate_of nominal low_limit high_limit unit source_file source_row",
    ),
    table(
        "kits",
        "a part that is in a kit, or in a pack, sold under a number of its own",
        "kit_number part_number",
        "kit_number part_number quantity source_file source_row",
        "quantity",
    ),
    table(
        "aliases",
        "another name of a machine, said by the shop or proposed",
        "alias unit_id",
        "alias unit_id confirmed n_lines detail source_file source_row",
    ),
    table(
        "contracts",
        "announced work of machines that are not in the fleet yet",
        "contract equipment_class duty",
        "contract equipment_class duty n_machines from_date hours_per_week source_file source_row",
        "n_machines from_date",
    ),
    table(
        "stated_plan",
        "ages at which a plan given as a file replaces components",
        "component duty",
        "component duty interval_hours interval_days",
    ),
    table(
        "readings",
        "a measured condition",
        "line_id component position quantity moment reading_number",
        "unit_id component position read_on moment reading_number age_hours age_days "
        "quantity:quantity_read value value_lower value_upper unit over_range part_number line_id",
        "unit_id read_on unit",
    ),
    table(
        "maintenance_events",
        "a thing done to one component of one unit",
        "unit_id component position event_date ticket activity reason",
        "unit_id component position event_date activity reason finding failure_mode "
        "is_comeback found_at_service confidence ticket part_number quantity line_ids",
    ),
    table("not_understood", "a text the lexicon does not know", "text", "text n_lines line_id"),
    table(
        "to_review",
        "a text for a person to code, the one that helps most first",
        "review_order",
        "review_order content_key n_lines text:review_text part_description guess_component "
        "guess_activity guess_reason guess_finding guess_confidence example_ticket "
        "component:component_said activity:activity_said reason:reason_said finding:finding_said",
        "content_key",
    ),
    table(
        "corrections_used",
        "a correction and how many lines it touched",
        "source_row",
        "source_row content_key text:review_text part_description component:component_said "
        "activity:activity_said reason:reason_said finding:finding_said n_lines",
        "content_key",
    ),
]
# fmt: on
