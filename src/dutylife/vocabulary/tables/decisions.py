"""Tables of intervals, costs, visits, plans compared, causes."""

from dutylife.vocabulary.tables.declare import Table, bounds, table

# fmt: off  (one glance per table)
DECISIONS: list[Table] = [
    table(
        "intervals",
        "one recommendation",
        "component duty task",
        "component duty task "
        + bounds("interval_hours interval_days")
        + " cost_per_1000_hours cost_per_1000_hours_run_to_failure probability_it_pays n_failed "
        "basis can_hurt mark clock probability_wears "
        + bounds("saving_per_1000_hours_cost saving_per_year_cost")
        + " cost_ratio advice_holds_ratio_lower advice_holds_ratio_upper "
        "block_interval_days cautions sentence",
    ),
    table(
        "task_choice",
        "one question of the choice of a task, and its answer",
        "component duty question",
        "component duty question_order question answer:rcm_answer applicable effective "
        "task:chosen_task decides evidence cautions",
    ),
    table(
        "cost_curves",
        "long-run cost at one replacement age",
        "component duty age",
        "component duty age cost_per_1000_hours cost_per_1000_hours_lower "
        "cost_per_1000_hours_upper clock",
    ),
    table(
        "sensitivity",
        "what one cell's renewal would be with an assumption switched",
        "assumed switched_to component duty",
        "assumed switched_to component duty task interval_days task_switched "
        "interval_days_switched n_failed n_failed_switched scale_ratio",
        "assumed switched_to component duty",
    ),
    table(
        "costs",
        "what a task costs",
        "component duty task",
        "component duty task planned_cost failure_cost visit_cost labour_hours payer "
        "basis:cost_basis is_relative purchase_cost assumed:assumed_costs",
    ),
    table(
        "visit_plan",
        "one visit of one unit",
        "unit_id due_on",
        "unit_id customer duty equipment_class due_on due_hours tasks parts labour_hours cost",
    ),
    table(
        "plan_comparison",
        "a year of the fleet under one plan, in one payer's money",
        "plan payer customer",
        "plan payer customer n_machines "
        + bounds(
            "failures_per_year visits_per_year parts_per_year labour_hours_per_year "
            "lost_days_per_year cost_per_year"
        )
        + " cost_one_year_lower cost_one_year_upper "
        + bounds("failures_spared_per_year lost_days_spared_per_year saving_per_year"),
    ),
    table(
        "keep_or_retire",
        "a machine in service: its record and its coming year",
        "unit_id",
        "unit_id equipment_class duty customer payer watched_hours n_failed "
        "billed_per_1000_hours lost_days_per_1000_hours "
        + bounds("own_factor")
        + " trend p_adjusted "
        + bounds("next_year_cost")
        + " next_year_lost_days new_one_cost_per_year probability_new_is_cheaper advice "
        "safety_tasks would_tell sentence",
        "advice",
    ),
    table(
        "visits_kept",
        "a task of an earlier plan that has fallen due, and what became of it",
        "unit_id due_on component task",
        "unit_id customer due_on component task kept done_on days_late failed_on",
        "kept",
    ),
    table(
        "machine_tasks",
        "one task of one machine: when next, how often, who does it",
        "unit_id component task",
        "unit_id customer duty equipment_class component task interval_hours interval_days clock "
        "next_on is_overdue rides_along done_by part_number can_hurt basis mark",
    ),
    table(
        "opportunities",
        "a part that is replaced by age: when to change it in a machine that is open anyway",
        "component duty",
        "component duty change_if_open_past_hours change_if_open_past_days interval_hours "
        "interval_days visit_cost basis can_hurt",
    ),
    table(
        "likely_causes",
        "a component of a machine, as the cause of a complaint",
        "unit_id check_order",
        "unit_id check_order complaint component "
        + bounds("probability")
        + " counted_in n_like n_at_fault "
        + bounds("share_of_like")
        + " times_usual_risk age_hours age_days is_already_done",
        "component",
    ),
]
# fmt: on
