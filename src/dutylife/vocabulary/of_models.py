"""Columns of laws, of failures that come again, and of how laws stand to their lives."""

from dutylife.vocabulary.kinds import Column, counts, numbers, texts, words

OF_MODELS: list[Column] = [
    # models
    *words("clock", "which age the law counts", "clock"),
    *counts("draw", "number of the draw"),
    *words("distribution", "the law", "distribution"),
    *numbers("shape", "1", "Weibull shape"),
    *numbers("scale", "the row's clock", "characteristic life on the row's clock"),
    *numbers("scale_hours b10_hours b50_hours mean_life_hours", "fleet meter unit", "life"),
    *numbers("scale_days b10_days b50_days mean_life_days", "days", "life"),
    *numbers("longest_life_hours", "fleet meter unit", "longest life seen"),
    *numbers("longest_life_days", "days", "longest life seen"),
    *counts("n_lives n_failed n_failed_switched n_tickets n_lines n_units n_events", "how many"),
    *numbers("component_wears", "1", "that risk rises with age, mean shape over duties", 0, 1),
    *numbers("own_data_share", "1", "how much of the answer is the cell's own data", 0, 1),
    *words("basis", "what the answer stands on", "basis"),
    *texts("verdict sentence", "in plain words"),
    *numbers("age", "the row's clock", "age"),
    *numbers("survival", "1", "share still working at that age", 0, 1),
    # failures that come again on a machine
    *counts("n_lives_in_a_row", "lives watched whole, of positions with two or more"),
    *counts("n_failed_in_a_row n_at_risk", "of these lives failed; positions watched then"),
    *numbers("later_sooner", "1", "order test, normal; above 0: later lives end sooner", None),
    *numbers("p_renewal", "1", "chance of such an order were each part a new start", 0, 1),
    *numbers("p_adjusted", "1", "chance adjusted for all that is tested together", 0, 1),
    *numbers("p_laplace p_military_handbook", "1", "chance at a steady rate, wear or not", 0, 1),
    *numbers("power", "1", "of machine age in expected failures; 1 is steady"),
    *words("counted_by", "machine age, or calendar: days since the record's first watched day"),
    *numbers("mean_events", "1", "failures of a position so far, mean of those watched"),
    *words("trend", "renewals, more often, less often, or too few"),
    # laws held against their lives
    *numbers("p_law", "1", "chance of so great a distance were the Weibull law right", 0, 1),
    *numbers("p_law_adjusted", "1", "p_law by false discovery over all cells tested", 0, 1),
    *words("weibull", "whether the law holds for the cell's own lives, or too few to tell"),
    *texts("laws_alike", "laws the lives can't tell apart, none where every one is rejected"),
    *numbers("share_early", "1", "share of parts that seem to fail early", 0, 1),
    *numbers("early_times_life", "1", "life of the early lot over the others'"),
    *numbers("times_life", "1", "life of a maker's parts over the others', within each duty"),
    *words("grouped_by", "kind of job, work done, component, part maker or batch"),
    *words("group", "the kind, component, maker or batch itself"),
    *counts("n_jobs n_comebacks", "work whose comeback window is over; of it came back"),
    *numbers("share_back", "1", "share of the work that came back", 0, 1),
    *numbers("expected_back", "1", "comebacks, were all work of the component (or all) alike"),
    *words("lasts", "shorter, longer, alike (as far as can be told), or too few"),
]
