"""Tables of `dutylife prove`, not of a run."""

from dutylife.vocabulary.tables.declare import Table, table

PROOFS: list[Table] = [
    table("prove_fleets", "an invented fleet", "fleet",
           "fleet fleet_kind case n_units:n_units_made n_years seed went_wrong"),
    table("prove_scores", "a score of one fleet", "fleet measure method among",
           "fleet measure method among total base"),
    table("prove_figures", "a score over the fleets of a case",
           "fleet_kind case measure method among",
           "fleet_kind case measure method among figure standard_error n_fleets"),
    table("prove_verdicts", "an aim and whether it is met", "case measure among",
           "case measure among aim aim_least aim_most figure standard_error n_fleets answer said"),
    table("prove_ranks", "how often the truth stood at a rank among a cell's draws",
           "case what basis rank", "case what basis:rank_basis rank n_draws n_cells"),
    table("prove_calibration", "whether those ranks are even", "case what basis",
           "case what basis:rank_basis n_cells n_bins chi_square p_value"),
    table("prove_instrument", "a true law and what true lives say of it", "component duty",
           "component duty n_lives n_failed ks_p shape_ratio scale_ratio shape_errors "
           "scale_errors"),
]  # fmt: skip
PROOFS += [
    table("prove_lives_found", "true lives of a case that the failure-event table holds",
           "case clock_source",
           "case n_fleets clock_source:compared_source n_lives share_found share_right_end "
           "error_hours_median error_hours_p90 share_within_bounds error_days_median "
           "error_days_p90"),
    table("prove_lives_laws", "laws fitted to the lives of all fleets, over the true laws",
           "case method clock",
           "case n_fleets method clock:compared_clock n_laws n_failed scale_ratio scale_ratio_se "
           "shape_ratio shape_ratio_se"),
    table("prove_lives_presence", "who was believed there, and who was",
           "case from_probability",
           "case n_fleets from_probability to_probability n_units believed there brier_score"),
]  # fmt: skip
PROOFS += [
    table("prove_models_own", "ranges of cells by themselves against their true laws",
           "expected_failures what",
           "expected_failures what n_cells n_groups coverage coverage_se truth_below truth_above "
           "middle_ratio width_ratio coverage_with_open share_open share_no_top share_no_failure "
           "aim_least aim_most answer"),
    table("prove_models_pooled", "ranges of pooled cells against their true laws",
           "case duties expected_failures what",
           "case duties expected_failures what n_cells n_groups coverage coverage_se truth_below "
           "truth_above middle_ratio width_ratio aim_least aim_most answer"),
    table("prove_models_lending", "errors of pooled cells beside those of cells by themselves",
           "expected_failures what",
           "expected_failures what n_cells n_groups error_pooled error_separate error_ratio "
           "error_ratio_se coverage coverage_se aim_most answer"),
    table("prove_models_factors", "lives in one duty over those in another, against the truth",
           "customers",
           "customers:customers_told expected_failures what n_cells n_groups coverage coverage_se "
           "truth_below truth_above middle_ratio width_ratio customer_variance aim_least aim_most "
           "answer"),
    table("prove_demand", "forecast loss and stock cost of a method in a world that is known",
           "case among measure method",
           "case among measure method figure gain gain_se n_fleets is_best_series"),
    table("prove_demand_verdicts", "an aim of the demand forecast in a world, and whether met",
           "case among measure",
           "case among measure aim aim_least aim_most figure standard_error gain gain_oracle "
           "best_method n_fleets answer"),
    table("prove_demand_sums", "forecasts of one fleet against what came, by a method",
           "case fleet among method months",
           "case fleet among method months n_spans asked pinball_sum n_under_p80 told_under_p80 "
           "n_under_p95 told_under_p95 mean_sum " + " ".join(f"rank_{i}" for i in range(10))),
    table("prove_demand_stock", "shelves of one fleet replayed at a quantile of a method's demand",
           "case fleet among method quantile times",
           "case fleet among method quantile times asked given held_cost ordering_cost "
           "waiting_cost"),
    table("prove_money", "money lost by a rule that chooses replacement ages, laws known",
           "case expected_failures rule",
           "case expected_failures rule n_cells n_groups money_lost money_lost_se "
           "worst_tenth_ratio ninth_decile_ratio aim_most answer tail_answer:answer"),
]  # fmt: skip
