"""Every table, declared once: what a row is, its key, its columns in order."""

from dataclasses import dataclass, replace

from dutylife.vocabulary.columns import column
from dutylife.vocabulary.kinds import Column


@dataclass(frozen=True, slots=True)
class Table:
    """One table: what a row is, its key, its columns in order; ``filled`` may never be blank."""

    name: str
    a_row_is: str
    key: tuple[str, ...]
    columns: dict[str, Column]
    filled: tuple[str, ...] = ()


def _bounds(names: str) -> str:
    return " ".join(f"{n} {n}_lower {n}_upper" for n in names.split())


# part of a key, yet blank where there is only one, or where it does not apply
_MAY_BE_BLANK = {"position", "failure_mode", "ticket", "customer"}


def _table(name: str, a_row_is: str, key: str, columns: str, filled: str = "") -> Table:
    """``reason:set_aside_reason`` names a column ``reason`` that is declared under the latter."""
    keys = tuple(key.split())
    declared: dict[str, Column] = {}
    for word in columns.split():
        here, _, there = word.partition(":")
        declared[here] = replace(column(there or here), name=here)
    never_blank = tuple(k for k in keys if k not in _MAY_BE_BLANK) + tuple(filled.split())
    return Table(name, a_row_is, keys, declared, never_blank)


# fmt: off  (one glance per table)
_TABLES: list[Table] = [
    _table(
        "service_lines",
        "a line of the export, normalised",
        "line_id",
        "line_id source_file source_row ticket ticket_kind service_date received_on ready_on "
        "unit_id customer duty equipment_class meter_hours complaint work_done part_number "
        "description line_kind quantity unit_price parts_wait_days",
        "source_file service_date line_kind",
    ),
    _table(
        "set_aside",
        "a source row not used",
        "source_file source_row reason",
        "source_file source_row reason:set_aside_reason detail needs_person",
    ),
    _table(
        "findings",
        "something a person should know",
        "finding_id",
        "finding_id stage kind:finding_kind table:table_name key source_file source_row "
        "message mend",
        "stage kind message",
    ),
    _table(
        "units",
        "a machine",
        "unit_id",
        "unit_id equipment_class engine_model in_service_on left_on first_seen last_seen "
        "prob_in_service hours_per_week usage_source meter_unit meter_now_hours",
    ),
    _table(
        "unit_spans",
        "a machine in one duty at one customer",
        "unit_id from_date",
        "unit_id from_date to_date customer duty hours_per_week",
    ),
    _table(
        "use_seasons",
        "use of a duty in a month, where readings show a season",
        "duty month_of_year",
        "duty month_of_year use_share",
    ),
    _table(
        "catalogue",
        "a part number and its component",
        "part_number",
        "part_number component description fits replaces part_maker supplier pack_size nominal "
        "low_limit high_limit unit",
    ),
    _table(
        "shelf",
        "a part number the shop holds or orders",
        "part_number",
        "part_number description on_hand on_order counted unit_cost supplier lead_time_days "
        "pack_size replaces alternate_of nominal low_limit high_limit unit source_file source_row",
    ),
    _table(
        "kits",
        "a part that is in a kit, or in a pack, sold under a number of its own",
        "kit_number part_number",
        "kit_number part_number quantity source_file source_row",
        "quantity",
    ),
    _table(
        "aliases",
        "another name of a machine, said by the shop or proposed",
        "alias unit_id",
        "alias unit_id confirmed n_lines detail source_file source_row",
    ),
    _table(
        "contracts",
        "announced work of machines that are not in the fleet yet",
        "contract equipment_class duty",
        "contract equipment_class duty n_machines from_date hours_per_week source_file source_row",
        "n_machines from_date",
    ),
    _table(
        "stated_plan",
        "ages at which a plan given as a file replaces components",
        "component duty",
        "component duty interval_hours interval_days",
    ),
    _table(
        "readings",
        "a measured condition",
        "line_id component position quantity moment reading_number",
        "unit_id component position read_on moment reading_number age_hours age_days "
        "quantity:quantity_read value value_lower value_upper unit over_range part_number line_id",
        "unit_id read_on unit",
    ),
    _table(
        "maintenance_events",
        "a thing done to one component of one unit",
        "unit_id component position event_date ticket activity reason",
        "unit_id component position event_date activity reason finding failure_mode "
        "is_comeback found_at_service confidence ticket part_number quantity line_ids",
    ),
    _table("not_understood", "a text the lexicon does not know", "text", "text n_lines line_id"),
    _table(
        "to_review",
        "a text for a person to code, the one that helps most first",
        "review_order",
        "review_order content_key n_lines text:review_text part_description guess_component "
        "guess_activity guess_reason guess_finding guess_confidence example_ticket "
        "component:component_said activity:activity_said reason:reason_said finding:finding_said",
        "content_key",
    ),
    _table(
        "corrections_used",
        "a correction and how many lines it touched",
        "source_row",
        "source_row content_key text:review_text part_description component:component_said "
        "activity:activity_said reason:reason_said finding:finding_said n_lines",
        "content_key",
    ),
    _table(
        "failure_events",
        "one life of one component position in one duty",
        "unit_id component position life_number spell",
        "unit_id component position life_number spell duty customer equipment_class "
        "part_number installed_on ended_on entry_hours exit_hours entry_days exit_days "
        "age_se_hours event failure_mode lower_hours upper_hours lower_days upper_days "
        "clock_source prob_in_service weight is_comeback ticket line_ids",
        "event clock_source duty",
    ),
    _table(
        "recurrence_gaps",
        "the days from one event of a component on a unit to the next",
        "unit_id component from_date",
        "unit_id component from_date to_date gap_days is_event",
    ),
    _table(
        "recurrence",
        "whether a cell's failures renew or trend on their machines",
        "component duty",
        "component duty n_units n_events n_lives_in_a_row n_failed_in_a_row clock later_sooner "
        "p_renewal p_adjusted p_laplace p_military_handbook " + _bounds("power") + " trend verdict",
    ),
    _table(
        "recurrence_curves",
        "a step of the mean failures that a position of a machine has had",
        "component duty counted_by age_days",
        "component duty counted_by age_days n_at_risk n_events " + _bounds("mean_events"),
    ),
    _table(
        "life_draws",
        "one weighted draw of a cell's law",
        "component duty failure_mode clock draw",
        "component duty failure_mode clock draw weight distribution shape scale basis",
    ),
    _table(
        "life_models",
        "a cell's law in short",
        "component duty clock",
        "component duty clock distribution "
        + _bounds(
            "shape scale_hours scale_days b10_hours b10_days b50_hours b50_days mean_life_hours "
            "mean_life_days"
        )
        + " longest_life_hours longest_life_days n_lives n_failed "
        "own_data_share component_wears basis verdict",
    ),
    _table(
        "law_checks",
        "whether the Weibull law holds for a cell's own lives",
        "component duty",
        "component duty clock n_lives n_failed p_law p_law_adjusted weibull laws_alike share_early "
        "early_times_life verdict",
    ),
    _table(
        "part_makers",
        "whether a maker's replacement lasts as long as the others'",
        "component part_maker",
        "component part_maker n_lives n_failed " + _bounds("times_life") + " p_adjusted lasts "
        "verdict",
    ),
    _table(
        "comebacks",
        "work of a kind, and how much of it came back within the comeback window",
        "grouped_by component group",
        "grouped_by component group n_jobs n_comebacks " + _bounds("share_back") + " expected_back "
        "p_adjusted verdict",
        "n_jobs",
    ),
    _table(
        "survival_curves",
        "a step of a cell's product-limit curve",
        "component duty clock age",
        "component duty clock age survival survival_lower survival_upper",
    ),
    _table(
        "intervals",
        "one recommendation",
        "component duty task",
        "component duty task "
        + _bounds("interval_hours interval_days")
        + " cost_per_1000_hours cost_per_1000_hours_run_to_failure probability_it_pays n_failed "
        "basis can_hurt mark clock probability_wears "
        + _bounds("saving_per_1000_hours_cost saving_per_year_cost")
        + " cost_ratio advice_holds_ratio_lower advice_holds_ratio_upper "
        "block_interval_days cautions sentence",
    ),
    _table(
        "task_choice",
        "one question of the choice of a task, and its answer",
        "component duty question",
        "component duty question_order question answer:rcm_answer applicable effective "
        "task:chosen_task decides evidence cautions",
    ),
    _table(
        "cost_curves",
        "long-run cost at one replacement age",
        "component duty age",
        "component duty age cost_per_1000_hours cost_per_1000_hours_lower "
        "cost_per_1000_hours_upper clock",
    ),
    _table(
        "sensitivity",
        "what one cell's renewal would be with an assumption switched",
        "assumed switched_to component duty",
        "assumed switched_to component duty task interval_days task_switched "
        "interval_days_switched n_failed n_failed_switched scale_ratio",
        "assumed switched_to component duty",
    ),
    _table(
        "costs",
        "what a task costs",
        "component duty task",
        "component duty task planned_cost failure_cost visit_cost labour_hours payer "
        "basis:cost_basis is_relative purchase_cost assumed:assumed_costs",
    ),
    _table(
        "visit_plan",
        "one visit of one unit",
        "unit_id due_on",
        "unit_id customer duty equipment_class due_on due_hours tasks parts labour_hours cost",
    ),
    _table(
        "plan_comparison",
        "a year of the fleet under one plan, in one payer's money",
        "plan payer customer",
        "plan payer customer n_machines "
        + _bounds(
            "failures_per_year visits_per_year parts_per_year labour_hours_per_year "
            "lost_days_per_year cost_per_year"
        )
        + " cost_one_year_lower cost_one_year_upper "
        + _bounds("failures_spared_per_year lost_days_spared_per_year saving_per_year"),
    ),
    _table(
        "keep_or_retire",
        "a machine in service: its record and its coming year",
        "unit_id",
        "unit_id equipment_class duty customer payer watched_hours n_failed "
        "billed_per_1000_hours lost_days_per_1000_hours "
        + _bounds("own_factor")
        + " trend p_adjusted "
        + _bounds("next_year_cost")
        + " next_year_lost_days new_one_cost_per_year probability_new_is_cheaper advice "
        "safety_tasks would_tell sentence",
        "advice",
    ),
    _table(
        "visits_kept",
        "a task of an earlier plan that has fallen due, and what became of it",
        "unit_id due_on component task",
        "unit_id customer due_on component task kept done_on days_late failed_on",
        "kept",
    ),
    _table(
        "machine_tasks",
        "one task of one machine: when next, how often, who does it",
        "unit_id component task",
        "unit_id customer duty equipment_class component task interval_hours interval_days clock "
        "next_on is_overdue done_by part_number can_hurt basis mark",
    ),
    _table(
        "opportunities",
        "a part that is replaced by age: when to change it in a machine that is open anyway",
        "component duty",
        "component duty change_if_open_past_hours change_if_open_past_days interval_hours "
        "interval_days visit_cost basis can_hurt",
    ),
    _table(
        "likely_causes",
        "a component of a machine, as the cause of a complaint",
        "unit_id check_order",
        "unit_id check_order complaint component "
        + _bounds("probability")
        + " counted_in n_like n_at_fault "
        + _bounds("share_of_like")
        + " times_usual_risk age_hours age_days is_already_done",
        "component",
    ),
    _table(
        "demand_forecast",
        "part x span x plan",
        "part_number plan from_date months",
        "part_number component plan from_date months mean p50 p80 p90 p95 mean_planned "
        "mean_unplanned mean_other life_weight n_scored life_p50 life_p80 life_p95",
    ),
    _table(
        "stock_plan",
        "one part",
        "part_number",
        "part_number component description supplier on_hand on_order reorder_point order_up_to "
        "order_now service_level fill_rate ready_rate order_cost held_cost unit_cost pack_size "
        "lead_time_days needed_by p50 p90 sentence",
    ),
    _table(
        "money_curve",
        "money in the levels of all parts and what it brings",
        "point pieces",
        "point pieces levels_cost fill_rate waiting_days",
    ),
    _table(
        "bench_forecast",
        "week to come x equipment class, and all machines together",
        "from_date equipment_class",
        "from_date equipment_class machines_mean machines_planned machines_p10 machines_p50 "
        "machines_p90 labour_hours_p50 labour_hours_p90 workshop_hours loaners_p90",
    ),
    _table(
        "forecast_scores",
        "a past forecast against what came",
        "as_of part_number from_date months method",
        "as_of part_number from_date months method p50 p80 p95 asked pinball_loss under_p80 "
        "under_p95",
    ),
    _table(
        "moved",
        "a cause of the change of one recommendation since last month",
        "recommendation subject cause",
        "recommendation subject component duty task part_number cause cause_order moved_unit "
        "value_before value_after cause_before cause_after cause_change cause_evidence",
    ),
    _table(
        "record_changes",
        "a cell of the past that changed since last month, or a row that went or came",
        "table change row_key changed_column",
        "table:table_name change row_key changed_column was is_now happened_on unit_id ticket "
        "component source_file source_row",
    ),
    _table(
        "backtest_stock",
        "a part's shelf replayed under the levels of a method",
        "part_number method",
        "part_number method asked given held_mean held_money n_orders n_short_days",
    ),
]
# fmt: on
TABLES: dict[str, Table] = {t.name: t for t in _TABLES}

# tables of `dutylife prove`, not of a run
_PROOF_TABLES: list[Table] = [
    _table("prove_fleets", "an invented fleet", "fleet",
           "fleet fleet_kind case n_units:n_units_made n_years seed went_wrong"),
    _table("prove_scores", "a score of one fleet", "fleet measure method among",
           "fleet measure method among total base"),
    _table("prove_figures", "a score over the fleets of a case",
           "fleet_kind case measure method among",
           "fleet_kind case measure method among figure standard_error n_fleets"),
    _table("prove_verdicts", "an aim and whether it is met", "case measure among",
           "case measure among aim aim_least aim_most figure standard_error n_fleets answer said"),
    _table("prove_ranks", "how often the truth stood at a rank among a cell's draws",
           "case what basis rank", "case what basis:rank_basis rank n_draws n_cells"),
    _table("prove_calibration", "whether those ranks are even", "case what basis",
           "case what basis:rank_basis n_cells n_bins chi_square p_value"),
    _table("prove_instrument", "a true law and what true lives say of it", "component duty",
           "component duty n_lives n_failed ks_p shape_ratio scale_ratio shape_errors "
           "scale_errors"),
]  # fmt: skip
_PROOF_TABLES += [
    _table("prove_lives_found", "true lives of a case that the failure-event table holds",
           "case clock_source",
           "case n_fleets clock_source:compared_source n_lives share_found share_right_end "
           "error_hours_median error_hours_p90 share_within_bounds error_days_median "
           "error_days_p90"),
    _table("prove_lives_laws", "laws fitted to the lives of all fleets, over the true laws",
           "case method clock",
           "case n_fleets method clock:compared_clock n_laws n_failed scale_ratio scale_ratio_se "
           "shape_ratio shape_ratio_se"),
    _table("prove_lives_presence", "who was believed there, and who was",
           "case from_probability",
           "case n_fleets from_probability to_probability n_units believed there brier_score"),
]  # fmt: skip
_PROOF_TABLES += [
    _table("prove_models_own", "ranges of cells by themselves against their true laws",
           "expected_failures what",
           "expected_failures what n_cells n_groups coverage coverage_se truth_below truth_above "
           "middle_ratio width_ratio coverage_with_open share_open share_no_top share_no_failure "
           "aim_least aim_most answer"),
    _table("prove_models_pooled", "ranges of pooled cells against their true laws",
           "case duties expected_failures what",
           "case duties expected_failures what n_cells n_groups coverage coverage_se truth_below "
           "truth_above middle_ratio width_ratio aim_least aim_most answer"),
    _table("prove_models_lending", "errors of pooled cells beside those of cells by themselves",
           "expected_failures what",
           "expected_failures what n_cells n_groups error_pooled error_separate error_ratio "
           "error_ratio_se coverage coverage_se aim_most answer"),
    _table("prove_models_factors", "lives in one duty over those in another, against the truth",
           "customers",
           "customers:customers_told expected_failures what n_cells n_groups coverage coverage_se "
           "truth_below truth_above middle_ratio width_ratio customer_variance aim_least aim_most "
           "answer"),
    _table("prove_demand", "forecast loss and stock cost of a method in a world that is known",
           "case among measure method",
           "case among measure method figure gain gain_se n_fleets is_best_series"),
    _table("prove_demand_verdicts", "an aim of the demand forecast in a world, and whether met",
           "case among measure",
           "case among measure aim aim_least aim_most figure standard_error gain gain_oracle "
           "best_method n_fleets answer"),
    _table("prove_demand_sums", "forecasts of one fleet against what came, by a method",
           "case fleet among method months",
           "case fleet among method months n_spans asked pinball_sum n_under_p80 told_under_p80 "
           "n_under_p95 told_under_p95 mean_sum " + " ".join(f"rank_{i}" for i in range(10))),
    _table("prove_demand_stock", "shelves of one fleet replayed at a quantile of a method's demand",
           "case fleet among method quantile times",
           "case fleet among method quantile times asked given held_cost ordering_cost "
           "waiting_cost"),
    _table("prove_money", "money lost by a rule that chooses replacement ages, laws known",
           "case expected_failures rule",
           "case expected_failures rule n_cells n_groups money_lost money_lost_se "
           "worst_tenth_ratio ninth_decile_ratio aim_most answer tail_answer:answer"),
]  # fmt: skip
TABLES |= {t.name: t for t in _PROOF_TABLES}
