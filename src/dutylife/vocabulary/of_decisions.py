"""Columns of tasks, intervals, costs, plans compared and visits."""

from dutylife.vocabulary.kinds import Column, counts, dates, flags, numbers, texts, words

OF_DECISIONS: list[Column] = [
    # decisions
    *words("task task_switched", "what to do", "task"),
    *words("assumed", "what the run takes for true"),
    *words("switched_to", "what is taken for true instead"),
    *numbers("interval_hours", "fleet meter unit", "age or spacing at which the task is done"),
    *numbers(
        "interval_days interval_days_switched", "days", "age or spacing at which the task is done"
    ),
    *numbers("block_interval_days", "days", "spacing of visits, parts changed whatever their age"),
    *numbers(
        "cost_per_1000_hours cost_per_1000_hours_run_to_failure",
        "currency per 1000 meter units",
        "long-run cost of the task; of waiting for failure",
    ),
    *numbers("probability_it_pays", "1", "that it is cheaper than waiting for failure", 0, 1),
    *numbers("probability_wears", "1", "that risk rises with age, here or over duties", 0, 1),
    *numbers(
        "saving_per_1000_hours_cost",
        "currency per 1000 meter units",
        "saved against waiting for failure; blank where no money is known",
        None,
    ),
    *numbers("saving_per_year_cost", "currency per machine and year", "the same by the year", None),
    *numbers("cost_ratio", "1", "cost of a failure over that of planned work, as taken"),
    *numbers(
        "advice_holds_ratio",
        "1",
        "costs a failure over planned work between which the advice costs within 2 % of the best; "
        "blank where it has no end within 200",
    ),
    *counts("question_order", "in which the questions are asked"),
    *words("question", "safety, hidden, on condition, wear-out, run to failure"),
    *words("rcm_answer", "answer to the question", "rcm_answer"),
    *words("applicable effective", "the task can work; it is worth doing", "rcm_answer"),
    *words("chosen_task", "task the question leads to, blank when none"),
    *flags("decides", "the question whose task is chosen"),
    *texts("evidence", "what the answer stands on"),
    *texts("cautions", "hazards of the work, joined with ;"),
    *words("can_hurt", "how a failure can hurt someone; blank when it can't"),
    *words("mark", "how well a starting value is known", "mark"),
    *numbers("planned_cost failure_cost visit_cost cost order_cost held_cost", "currency", "cost"),
    *numbers("labour_hours", "hours", "workshop time"),
    *words("payer", "whose money", "payer"),
    *numbers("purchase_cost", "currency", "what the part of a replacement costs the shop"),
    *texts("assumed_costs", "figures nobody stated and no line gives, joined with ;"),
    *words("cost_basis", "where the cost comes from", "cost_basis"),
    *flags("is_relative", "no money known: a planned replacement is the unit of cost"),
    *numbers("failures_per_year visits_per_year parts_per_year", "per year", "expected"),
    *numbers("labour_hours_per_year lost_days_per_year", "hours or days per year", "expected"),
    *numbers("cost_per_year", "currency per year", "expected, in the money of the payer"),
    *numbers("cost_one_year", "currency", "what one single year may bring, chance included"),
    *numbers(
        "failures_spared_per_year lost_days_spared_per_year",
        "per year",
        "less under the proposed plan than under this one",
        None,
    ),
    *numbers("saving_per_year", "currency per year", "less under the proposed plan", None),
    *numbers("watched_hours", "fleet meter unit", "run by the machine within its record"),
    *numbers(
        "billed_per_1000_hours", "currency per 1000 meter units", "billed in the record", None
    ),
    *numbers("lost_days_per_1000_hours", "days per 1000 meter units", "lost in the record"),
    *numbers("own_factor", "1", "the machine's failures over what its duties' laws expect"),
    *numbers("next_year_cost", "currency", "of the coming year under the proposed plan"),
    *numbers("next_year_lost_days", "days", "expected in the coming year"),
    *numbers("new_one_cost_per_year", "currency per year", "price over years, and its upkeep"),
    *numbers("probability_new_is_cheaper", "1", "than one more year of this machine", 0, 1),
    *words("advice", "what to do with the machine", "advice"),
    *texts("safety_tasks", "components whose tasks are never dropped, joined with ;"),
    *dates("due_on", "day the visit is due"),
    *dates("next_on", "day of the first visit in which the task is done; blank beyond the plan"),
    *words("done_by", "who does the task", "done_by"),
    *flags("is_overdue", "was due before the first day of the plan"),
    *numbers(
        "change_if_open_past_hours",
        "fleet meter unit",
        "age from which a part is changed when the machine is open anyway",
    ),
    *numbers(
        "change_if_open_past_days",
        "days",
        "age from which a part is changed when the machine is open anyway",
    ),
    *numbers("due_hours", "fleet meter unit", "meter at which the visit is due"),
    *texts("tasks parts", "joined with ;"),
    *texts("would_tell", "what record would settle an advice that can't be told, and how long"),
    # visits of an earlier plan
    *words("kept", "what became of a planned task", "kept"),
    *dates("done_on", "day the planned task was done"),
    *numbers("days_late", "days", "from the day planned to the day done; early ones below 0", None),
    *dates("failed_on", "first failure of the part before its planned task was done"),
]
