"""Tables of lives, life models and what came again."""

from dutylife.vocabulary.tables.declare import Table, bounds, table

# fmt: off  (one glance per table)
MODELS: list[Table] = [
    table(
        "failure_events",
        "one life of one component position in one duty",
        "unit_id component position life_number spell",
        "unit_id component position life_number spell duty customer equipment_class "
        "part_number installed_on ended_on entry_hours exit_hours entry_days exit_days "
        "age_se_hours event failure_mode lower_hours upper_hours lower_days upper_days "
        "clock_source prob_in_service weight is_comeback ticket line_ids",
        "event clock_source duty",
    ),
    table(
        "recurrence_gaps",
        "the days from one event of a component on a unit to the next",
        "unit_id component from_date",
        "unit_id component from_date to_date gap_days is_event",
    ),
    table(
        "recurrence",
        "whether a cell's failures renew or trend on their machines",
        "component duty",
        "component duty n_units n_events n_lives_in_a_row n_failed_in_a_row clock later_sooner "
        "p_renewal p_adjusted p_laplace p_military_handbook " + bounds("power") + " trend verdict",
    ),
    table(
        "recurrence_curves",
        "a step of the mean failures that a position of a machine has had",
        "component duty counted_by age_days",
        "component duty counted_by age_days n_at_risk n_events " + bounds("mean_events"),
    ),
    table(
        "life_draws",
        "one weighted draw of a cell's law",
        "component duty failure_mode clock draw",
        "component duty failure_mode clock draw weight distribution shape scale basis",
    ),
    table(
        "life_models",
        "a cell's law in short",
        "component duty clock",
        "component duty clock distribution "
        + bounds(
            "shape scale_hours scale_days b10_hours b10_days b50_hours b50_days mean_life_hours "
            "mean_life_days"
        )
        + " longest_life_hours longest_life_days n_lives n_failed "
        "own_data_share component_wears basis verdict",
    ),
    table(
        "law_checks",
        "whether the Weibull law holds for a cell's own lives",
        "component duty",
        "component duty clock n_lives n_failed p_law p_law_adjusted weibull laws_alike share_early "
        "early_times_life verdict",
    ),
    table(
        "part_makers",
        "whether a maker's replacement lasts as long as the others'",
        "component part_maker",
        "component part_maker n_lives n_failed " + bounds("times_life") + " p_adjusted lasts "
        "verdict",
    ),
    table(
        "comebacks",
        "work of a kind, and how much of it came back within the comeback window",
        "grouped_by component group",
        "grouped_by component group n_jobs n_comebacks " + bounds("share_back") + " expected_back "
        "p_adjusted verdict",
        "n_jobs",
    ),
    table(
        "survival_curves",
        "a step of a cell's product-limit curve",
        "component duty clock age",
        "component duty clock age survival survival_lower survival_upper",
    ),
]
# fmt: on
