"""Tables of demand, levels, orders, the bench and past forecasts."""

from dutylife.vocabulary.tables.declare import Table, table

# fmt: off  (one glance per table)
STOCK: list[Table] = [
    table(
        "demand_forecast",
        "part x span x plan",
        "part_number plan from_date months",
        "part_number component plan from_date months mean p50 p80 p90 p95 mean_planned "
        "mean_unplanned mean_other life_weight n_scored life_p50 life_p80 life_p95",
    ),
    table(
        "stock_plan",
        "one part",
        "part_number",
        "part_number component description supplier on_hand on_order reorder_point order_up_to "
        "order_now service_level fill_rate ready_rate order_cost held_cost unit_cost pack_size "
        "lead_time_days needed_by p50 p90 sentence",
    ),
    table(
        "season_orders",
        "part x season that is ordered for ahead",
        "season part_number",
        "season part_number component description supplier order_by from_date until_date mean p50 "
        "p90 left_at_start order_ahead unit_cost order_cost gain_money left_over sentence",
    ),
    table(
        "money_curve",
        "money in the levels of all parts and what it brings",
        "point pieces",
        "point pieces levels_cost fill_rate waiting_days",
    ),
    table(
        "bench_forecast",
        "week to come x equipment class, and all machines together",
        "from_date equipment_class",
        "from_date equipment_class machines_mean machines_planned machines_p10 machines_p50 "
        "machines_p90 labour_hours_p50 labour_hours_p90 workshop_hours loaners_p90",
    ),
    table(
        "forecast_scores",
        "a past forecast against what came",
        "as_of part_number from_date months method",
        "as_of part_number from_date months method p50 p80 p95 asked pinball_loss under_p80 "
        "under_p95",
    ),
    table(
        "backtest_stock",
        "a part's shelf replayed under the levels of a method",
        "part_number method",
        "part_number method asked given held_mean held_money n_orders n_short_days",
    ),
]
# fmt: on
