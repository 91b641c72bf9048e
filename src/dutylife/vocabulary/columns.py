"""Every column, its unit and its words, declared once.

A column means the same wherever it stands; ``_lower`` and ``_upper`` inherit from their base.
Kinds: ``word`` (repeating text, a pandas category), ``text`` (free text, blank when missing),
``date``, ``number`` (float, may be missing), ``count`` (whole, never missing), ``flag`` (bool).
"""

from dataclasses import dataclass, replace

WORDS: dict[str, tuple[str, ...]] = {
    "line_kind": ("part", "labour", "fee", "core", "credit", "note"),
    "finding_kind": ("note", "ask", "fault"),
    "activity": ("replace", "repair", "adjust", "clean", "inspect", "test"),
    "reason": ("failure", "preventive", "opportunistic"),
    "moment": ("as found", "as left"),
    "finding": ("ok", "worn", "over limit", "failed", "untested"),
    "event": ("failed", "replaced", "running", "lost"),
    "clock_source": ("meter", "interpolated", "estimated", "unknown"),
    "clock": ("hours", "days", "idle_days"),
    "task": ("replace", "inspect", "clean", "measure", "test", "run to failure"),
    "rcm_answer": ("yes", "no", "not known"),
    "done_by": ("operator", "yard", "qualified person"),
    "basis": ("own data", "pooled", "starting value"),
    "cost_basis": ("settings", "billed lines", "our proposal"),
    "payer": ("contractor", "shop"),
    "distribution": ("weibull", "lognormal", "exponential"),
    "mark": ("seen in a named source", "common practice", "from memory", "our proposal"),
    "meter_unit": ("hours", "miles", "km", "starts"),
    "advice": ("keep", "safety work only", "retire", "can't tell"),
    "usage_source": ("stated", "meter", "duty and class", "fleet", "unknown"),
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its kind, unit, meaning and the values it may hold."""

    name: str
    kind: str
    meaning: str
    unit: str = ""
    words: tuple[str, ...] = ()
    at_least: float | None = None
    at_most: float | None = None


def _words(names: str, meaning: str, words: str = "") -> list[Column]:
    return [Column(n, "word", meaning, words=WORDS.get(words, ())) for n in names.split()]


def _texts(names: str, meaning: str) -> list[Column]:
    return [Column(n, "text", meaning) for n in names.split()]


def _dates(names: str, meaning: str) -> list[Column]:
    return [Column(n, "date", meaning) for n in names.split()]


def _numbers(
    names: str, unit: str, meaning: str, least: float | None = 0.0, most: float | None = None
) -> list[Column]:
    return [Column(n, "number", meaning, unit, (), least, most) for n in names.split()]


def _counts(names: str, meaning: str) -> list[Column]:
    return [Column(n, "count", meaning, "1", at_least=0) for n in names.split()]


def _flags(names: str, meaning: str) -> list[Column]:
    return [Column(n, "flag", meaning) for n in names.split()]


_DECLARED: list[Column] = [
    # who, what, where
    *_words("unit_id", "the machine, as the shop names it"),
    *_words("customer", "who owns or runs the machine"),
    *_words("duty", "duty environment: the work and place the machine lives in"),
    *_words("equipment_class", "kind of machine, e.g. trench pump"),
    *_words("engine_model", "engine as the export names it"),
    *_words("component", "short component name, see components.toml"),
    *_words("position", "which of several like components on the machine; blank when one"),
    *_words("part_number replaces fits part_maker", "part number as the shop types it"),
    *_words("replaced_by", "part number that is supplied in its place now"),
    *_words("alternate_of", "part number of another make that fits as well; kept apart"),
    *_words("kit_number", "part number under which several parts, or a pack, are sold"),
    *_words("alias", "another name the shop uses for a machine"),
    *_words("confirmed", "yes: the alias is that machine; no: it is not; blank: not decided yet"),
    *_words("contract", "announced work, as the shop names it"),
    *_counts("n_machines", "machines the contract brings"),
    *_words("supplier", "who the part is bought from"),
    *_texts("ticket", "job number of the visit"),
    *_texts("line_id line_ids", "digest of a line's content and its occurrence in the file"),
    # files and findings
    *_words("source_file", "export file the row came from"),
    *_counts("source_row", "row in that file as a person counts it, header included"),
    *_words("set_aside_reason", "why the row was not used"),
    *_texts("detail message mend key", "for the person who mends it"),
    *_texts("finding_id", "digest of stage, table, key and message"),
    *_words("stage", "stage that found it"),
    *_words("finding_kind", "how much it matters", "finding_kind"),
    *_words("table_name", "table it is about"),
    *_flags("needs_person", "a person has to look before the row can be read"),
    # lines
    *_dates("service_date", "date of the work (invoice or ticket date)"),
    *_dates("received_on ready_on", "machine came in; machine was ready"),
    *_numbers("meter_hours", "fleet meter unit", "meter reading on the line"),
    *_numbers("parts_wait_days", "days", "days the job stood waiting for parts"),
    *_words("complaint", "what the customer said was wrong"),
    *_words("work_done", "what the shop wrote it did"),
    *_words("description", "the line's own text"),
    *_words("ticket_kind", "the export's kind of job, e.g. repair or service"),
    *_words("line_kind", "what the line bills", "line_kind"),
    *_words("text", "a text the lexicon does not understand"),
    *_counts("review_order", "1 is the text whose code helps most"),
    *_texts("content_key", "digest of a text, the same in every export"),
    *_texts("review_text part_description", "work text; description of a part line"),
    *_texts("example_ticket", "a job the text stands on"),
    *_texts(
        "guess_component guess_activity guess_reason guess_finding",
        "what the words known so far and the text model propose",
    ),
    *_numbers("guess_confidence", "1", "how sure the proposed component is", 0, 1),
    *_texts(
        "component_said activity_said reason_said finding_said", "what a person says; to fill in"
    ),
    *_numbers("quantity", "pieces", "pieces billed; negative when returned", None),
    *_numbers("unit_price", "currency", "price billed per piece; negative is a credit", None),
    # units
    *_dates("in_service_on left_on", "machine entered service; machine left the fleet"),
    *_dates("first_seen last_seen", "first and last evidence of the machine in the record"),
    *_dates("from_date to_date", "first and last day the row covers"),
    *_numbers("prob_in_service", "1", "probability that the machine is still a customer's", 0, 1),
    *_numbers("hours_per_week", "fleet meter unit per week", "use"),
    *_numbers("meter_now_hours", "fleet meter unit", "meter on the as-of day, by readings and use"),
    *_words("usage_source", "where the use rate comes from", "usage_source"),
    *_words("meter_unit", "the fleet's meter unit", "meter_unit"),
    # shelf
    *_numbers("pack_size", "pieces", "pieces in a supplier's pack", 1),
    *_numbers("on_hand", "pieces", "on the shelf; missing is unknown, never 0"),
    *_numbers("on_order", "pieces", "ordered and not yet received"),
    *_numbers("counted", "pieces", "counted by hand since the export"),
    *_numbers("unit_cost", "currency", "what a piece costs the shop"),
    *_numbers("lead_time_days review_days", "days", "order to shelf; between two orders"),
    *_numbers("nominal low_limit high_limit", "see unit", "new value and limits", None),
    # readings
    *_dates("read_on", "date of the reading"),
    *_words("quantity_read", "what was measured, e.g. resistance"),
    *_numbers("value", "see unit", "the reading", None),
    *_words("unit", "unit of the reading"),
    *_flags("over_range", "the instrument showed open or over range; value is the range, if told"),
    *_words("moment", "before the work or after it", "moment"),
    *_counts("reading_number", "turn among like readings of one line"),
    *_numbers("age_hours", "fleet meter unit", "age of the part read"),
    *_numbers("age_days", "days", "age of the part read"),
    # events
    *_dates("event_date", "date of the maintenance event"),
    *_words("activity", "what was done to the component", "activity"),
    *_words("reason", "why it was done", "reason"),
    *_words("finding", "state the component was found in", "finding"),
    *_words("failure_mode", "how the failure shows"),
    *_flags("is_comeback", "same component again within the comeback window"),
    *_flags("found_at_service", "failure found when the machine came for service, not for it"),
    *_numbers("confidence", "1", "probability that the component was the cause, as coded", 0, 1),
    # lives
    *_counts("life_number spell", "1 is the first life seen; 1 is the first duty of that life"),
    *_dates("installed_on ended_on", "life began; life or its observation ended"),
    *_numbers("entry_hours exit_hours", "fleet meter unit", "age when watching began; ended"),
    *_numbers("entry_days exit_days", "days", "age when watching began; ended"),
    *_numbers("age_se_hours", "fleet meter unit", "standard error of exit_hours"),
    *_words("event", "how the life ended", "event"),
    *_numbers("lower_hours upper_hours", "fleet meter unit", "failure lies in (lower, upper]"),
    *_numbers("lower_days upper_days", "days", "failure lies in (lower, upper]"),
    *_words("clock_source", "where the age in hours comes from", "clock_source"),
    *_numbers("weight", "1", "share of the row; of a failed life, that the part was the cause"),
    *_numbers("gap_days", "days", "days between two events of a component on a unit"),
    *_flags("is_event", "the gap ended in an event, not at the end of the unit's record"),
    # models
    *_words("clock", "which age the law counts", "clock"),
    *_counts("draw", "number of the draw"),
    *_words("distribution", "the law", "distribution"),
    *_numbers("shape", "1", "Weibull shape"),
    *_numbers("scale", "the row's clock", "characteristic life on the row's clock"),
    *_numbers("scale_hours b10_hours b50_hours mean_life_hours", "fleet meter unit", "life"),
    *_numbers("scale_days b10_days b50_days mean_life_days", "days", "life"),
    *_numbers("longest_life_hours", "fleet meter unit", "longest life seen"),
    *_numbers("longest_life_days", "days", "longest life seen"),
    *_counts("n_lives n_failed n_failed_switched n_tickets n_lines n_units n_events", "how many"),
    *_numbers("component_wears", "1", "that risk rises with age, mean shape over duties", 0, 1),
    *_numbers("own_data_share", "1", "how much of the answer is the cell's own data", 0, 1),
    *_words("basis", "what the answer stands on", "basis"),
    *_texts("verdict sentence", "in plain words"),
    *_numbers("age", "the row's clock", "age"),
    *_numbers("survival", "1", "share still working at that age", 0, 1),
    # failures that come again on a machine
    *_counts("n_lives_in_a_row", "lives watched whole, of positions with two or more"),
    *_counts("n_failed_in_a_row n_at_risk", "of these lives failed; positions watched then"),
    *_numbers("later_sooner", "1", "order test, normal; above 0: later lives end sooner", None),
    *_numbers("p_renewal", "1", "chance of such an order were each part a new start", 0, 1),
    *_numbers("p_adjusted", "1", "chance adjusted for all that is tested together", 0, 1),
    *_numbers("p_laplace p_military_handbook", "1", "chance at a steady rate, wear or not", 0, 1),
    *_numbers("power", "1", "of machine age in expected failures; 1 is steady"),
    *_words("counted_by", "machine age, or calendar: days since the record's first watched day"),
    *_numbers("mean_events", "1", "failures of a position so far, mean of those watched"),
    *_words("trend", "renewals, more often, less often, or too few"),
    # laws held against their lives
    *_numbers("p_law", "1", "chance of so great a distance were the Weibull law right", 0, 1),
    *_numbers("p_law_adjusted", "1", "p_law by false discovery over all cells tested", 0, 1),
    *_words("weibull", "whether the law holds for the cell's own lives, or too few to tell"),
    *_texts("laws_alike", "laws the lives can't tell apart, none where every one is rejected"),
    *_numbers("share_early", "1", "share of parts that seem to fail early", 0, 1),
    *_numbers("early_times_life", "1", "life of the early lot over the others'"),
    *_numbers("times_life", "1", "life of a maker's parts over the others', within each duty"),
    *_words("lasts", "shorter, longer, alike (as far as can be told), or too few"),
    # decisions
    *_words("task task_switched", "what to do", "task"),
    *_words("assumed", "what the run takes for true"),
    *_words("switched_to", "what is taken for true instead"),
    *_numbers("interval_hours", "fleet meter unit", "age or spacing at which the task is done"),
    *_numbers(
        "interval_days interval_days_switched", "days", "age or spacing at which the task is done"
    ),
    *_numbers("block_interval_days", "days", "spacing of visits, parts changed whatever their age"),
    *_numbers(
        "cost_per_1000_hours cost_per_1000_hours_run_to_failure",
        "currency per 1000 meter units",
        "long-run cost of the task; of waiting for failure",
    ),
    *_numbers("probability_it_pays", "1", "that it is cheaper than waiting for failure", 0, 1),
    *_numbers("probability_wears", "1", "that risk rises with age, here or over duties", 0, 1),
    *_numbers(
        "saving_per_1000_hours_cost",
        "currency per 1000 meter units",
        "saved against waiting for failure; blank where no money is known",
        None,
    ),
    *_numbers(
        "saving_per_year_cost", "currency per machine and year", "the same by the year", None
    ),
    *_numbers("cost_ratio", "1", "cost of a failure over that of planned work, as taken"),
    *_numbers(
        "advice_holds_ratio",
        "1",
        "costs a failure over planned work between which the advice costs within 2 % of the best; "
        "blank where it has no end within 200",
    ),
    *_counts("question_order", "in which the questions are asked"),
    *_words("question", "safety, hidden, on condition, wear-out, run to failure"),
    *_words("rcm_answer", "answer to the question", "rcm_answer"),
    *_words("applicable effective", "the task can work; it is worth doing", "rcm_answer"),
    *_words("chosen_task", "task the question leads to, blank when none"),
    *_flags("decides", "the question whose task is chosen"),
    *_texts("evidence", "what the answer stands on"),
    *_texts("cautions", "hazards of the work, joined with ;"),
    *_words("can_hurt", "how a failure can hurt someone; blank when it can't"),
    *_words("mark", "how well a starting value is known", "mark"),
    *_numbers("planned_cost failure_cost visit_cost cost order_cost held_cost", "currency", "cost"),
    *_numbers("labour_hours", "hours", "workshop time"),
    *_words("payer", "whose money", "payer"),
    *_numbers("purchase_cost", "currency", "what the part of a replacement costs the shop"),
    *_texts("assumed_costs", "figures nobody stated and no line gives, joined with ;"),
    *_words("cost_basis", "where the cost comes from", "cost_basis"),
    *_flags("is_relative", "no money known: a planned replacement is the unit of cost"),
    *_numbers("failures_per_year visits_per_year parts_per_year", "per year", "expected"),
    *_numbers("labour_hours_per_year lost_days_per_year", "hours or days per year", "expected"),
    *_numbers("cost_per_year", "currency per year", "expected, in the money of the payer"),
    *_numbers("cost_one_year", "currency", "what one single year may bring, chance included"),
    *_numbers(
        "failures_spared_per_year lost_days_spared_per_year",
        "per year",
        "less under the proposed plan than under this one",
        None,
    ),
    *_numbers("saving_per_year", "currency per year", "less under the proposed plan", None),
    *_numbers("watched_hours", "fleet meter unit", "run by the machine within its record"),
    *_numbers(
        "billed_per_1000_hours", "currency per 1000 meter units", "billed in the record", None
    ),
    *_numbers("lost_days_per_1000_hours", "days per 1000 meter units", "lost in the record"),
    *_numbers("own_factor", "1", "the machine's failures over what its duties' laws expect"),
    *_numbers("next_year_cost", "currency", "of the coming year under the proposed plan"),
    *_numbers("next_year_lost_days", "days", "expected in the coming year"),
    *_numbers("new_one_cost_per_year", "currency per year", "price over years, and its upkeep"),
    *_numbers("probability_new_is_cheaper", "1", "than one more year of this machine", 0, 1),
    *_words("advice", "what to do with the machine", "advice"),
    *_texts("safety_tasks", "components whose tasks are never dropped, joined with ;"),
    *_dates("due_on", "day the visit is due"),
    *_dates("next_on", "day of the first visit in which the task is done; blank beyond the plan"),
    *_words("done_by", "who does the task", "done_by"),
    *_flags("is_overdue", "was due before the first day of the plan"),
    *_numbers(
        "change_if_open_past_hours",
        "fleet meter unit",
        "age from which a part is changed when the machine is open anyway",
    ),
    *_numbers(
        "change_if_open_past_days",
        "days",
        "age from which a part is changed when the machine is open anyway",
    ),
    *_numbers("due_hours", "fleet meter unit", "meter at which the visit is due"),
    *_texts("tasks parts", "joined with ;"),
    # stock
    *_words("plan", "maintenance plan the demand assumes"),
    *_numbers("months", "months", "length of the span"),
    *_numbers("mean p50 p80 p90 p95", "pieces", "expected demand and its quantiles"),
    *_numbers("mean_planned mean_unplanned mean_other", "pieces", "expected demand by stream"),
    *_numbers(
        "life_weight", "1", "share of the forecast that goes by lives, not by the series", 0, 1
    ),
    *_counts("n_scored", "past forecasts that the weight stands on"),
    *_numbers("reorder_point order_up_to order_now", "pieces", "order when below; up to; now"),
    *_numbers("fill_rate", "1", "share of pieces asked for that the shelf gives", 0, 1),
    *_numbers("ready_rate", "1", "chance of no shortage until the next delivery", 0, 1),
    *_dates("needed_by", "day the shelf is likely to run out"),
    *_dates("as_of", "last day the run knows of"),
    *_words("method", "forecast method"),
    *_numbers("pinball_loss", "pieces", "loss of the quantiles"),
    *_numbers("asked given", "pieces", "asked for; given at once"),
    *_numbers("held_mean", "pieces", "on the shelf, mean over the days replayed"),
    *_numbers("held_money", "currency", "money in the pieces on the shelf, mean over the days"),
    *_counts("n_orders n_short_days", "orders placed; days on which something asked for was short"),
    *_numbers("under_p80 under_p95", "1", "share of times the demand stayed under", 0, 1),
    # proof
    *_words("fleet", "invented fleet of a proof"),
    *_words("fleet_kind", "why the fleet was made: its size, one difficulty, laws of the prior"),
    *_words("case", "size, difficulty or laws of the fleet"),
    *_counts("n_units_made n_fleets seed", "how many; seed of the fleet"),
    *_numbers("n_years", "years", "length of the record"),
    *_words("measure", "what is scored"),
    *_words("among", "part of the cells or parts the score is over"),
    *_numbers("total", "see measure", "sum over what is scored; a figure is total / base", None),
    *_numbers("base", "see measure", "what the total is a share or mean of"),
    *_numbers("figure", "see measure", "total / base over the fleets", None),
    *_numbers("standard_error", "as the figure", "by seeds, the fleets of one taken as one"),
    *_numbers("aim_least aim_most", "as the figure", "aim", None),
    *_texts("aim said", "in words"),
    *_words("answer", "met, not met, or too few fleets"),
    *_words("what", "parameter of the law"),
    *_words("rank_basis", "what the draws stand on, or any"),
    *_words("compared_clock", "clock of the laws compared, or both"),
    *_words("compared_source", "where the age in hours comes from, or any"),
    *_counts("n_laws", "how many"),
    *_numbers(
        "share_found share_right_end share_within_bounds believed there",
        "1",
        "share of lives, or of machines",
        0.0,
        1.0,
    ),
    *_numbers("from_probability to_probability brier_score", "1", "of being there", 0.0, 1.0),
    *_numbers("error_hours_median error_hours_p90", "fleet meter unit", "of an age, either way"),
    *_numbers("error_days_median error_days_p90", "days", "of an age, either way"),
    *_numbers("scale_ratio_se shape_ratio_se", "1", "standard error of the mean log ratio"),
    *_counts("rank n_draws n_cells", "draws under the truth; draws; cells of that rank"),
    *_counts("n_bins", "bins of the rank histogram"),
    *_numbers("chi_square", "1", "of the bins against even ones"),
    *_numbers("p_value", "1", "chance of a larger chi-square were the ranks even", 0, 1),
    *_numbers("ks_p", "1", "Kolmogorov-Smirnov p value of lives against their law", 0, 1),
    *_numbers("shape_ratio", "1", "fitted to true lives over true"),
    *_numbers("scale_ratio", "1", "one scale over another: fitted over true, or switched over not"),
    *_numbers("shape_errors scale_errors", "1", "distance in standard errors", None),
    *_texts("went_wrong", "message of a fleet the chain could not be run on"),
    *_words("duties", "which duties of a component the row is about"),
    *_words("customers_told", "whether the models were told whose lives they are"),
    *_counts("expected_failures", "failures a cell is made to have on average"),
    *_counts("n_groups", "draws that owe nothing to one another: cells, components or fleets"),
    *_numbers(
        "coverage coverage_with_open truth_below truth_above share_open share_no_top "
        "share_no_failure",
        "1",
        "share of cells: range holds the truth; open ones counted; truth below it, above it; a "
        "side without end; likelihood without a top; no failure",
        0.0,
        1.0,
    ),
    *_numbers("coverage_se error_ratio_se", "1", "standard error, by groups"),
    *_numbers("middle_ratio", "1", "middle of the range over the truth, geometric mean"),
    *_numbers("width_ratio", "1", "upper bound over lower, median"),
    *_numbers("error_pooled error_separate", "1", "root mean square of log estimate over truth"),
    *_numbers("error_ratio", "1", "the former over the latter"),
    *_words("rule", "how a replacement age was chosen"),
    *_numbers(
        "money_lost money_lost_se", "1", "true cost above the best, over the best; its error"
    ),
    *_numbers(
        "ninth_decile_ratio", "1", "money lost that nine cells in ten do not pass, over mean"
    ),
    *_numbers("worst_tenth_ratio", "1", "money lost of the worst tenth of cells, over the mean"),
    *_numbers("customer_variance", "1", "mean variance found between customers"),
]
COLUMNS: dict[str, Column] = {c.name: c for c in _DECLARED}


def column(name: str) -> Column:
    """Declaration of a column; ``x_lower`` and ``x_upper`` inherit from ``x``.

    Raises
    ------
    KeyError
        The vocabulary has no such column.

    Examples
    --------
    >>> column("scale_hours_lower").unit
    'fleet meter unit'
    """
    if name in COLUMNS:
        return COLUMNS[name]
    for end in ("_lower", "_upper"):
        if name.endswith(end) and name.removesuffix(end) in COLUMNS:
            return replace(COLUMNS[name.removesuffix(end)], name=name)
    raise KeyError(f"column '{name}' is not in the vocabulary")
