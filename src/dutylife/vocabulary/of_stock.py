"""Columns of demand, levels, orders and past forecasts."""

from dutylife.vocabulary.kinds import Column, counts, dates, numbers, words

OF_STOCK: list[Column] = [
    # stock
    *words("plan", "maintenance plan the demand assumes"),
    *numbers("months", "months", "length of the span"),
    *numbers("mean p50 p80 p90 p95", "pieces", "expected demand and its quantiles"),
    *numbers("mean_planned mean_unplanned mean_other", "pieces", "expected demand by stream"),
    *numbers(
        "life_weight", "1", "share of the forecast that goes by lives, not by the series", 0, 1
    ),
    *counts("n_scored", "past forecasts that the weight stands on"),
    *numbers("reorder_point order_up_to order_now", "pieces", "order when below; up to; now"),
    *numbers("service_level", "1", "fill rate or ready rate that the levels aim at", 0, 1),
    *numbers("fill_rate", "1", "share of pieces asked for that the levels give in time", 0, 1),
    *numbers("ready_rate", "1", "share of deliveries before which nothing was owed", 0, 1),
    *dates("needed_by", "day the shelf is likely to run out"),
    *dates("as_of", "last day the run knows of"),
    *words("method", "forecast method"),
    *numbers("pinball_loss", "pieces", "loss of the quantiles"),
    *numbers("asked given", "pieces", "asked for; given at once"),
    *numbers("held_mean", "pieces", "on the shelf, mean over the days replayed"),
    *numbers("held_money", "currency", "money in the pieces on the shelf, mean over the days"),
    *words("point", "what a point of the curve of money stands for"),
    *numbers("pieces", "pieces", "in the levels of all parts"),
    *numbers("levels_cost", "currency", "what the pieces of the levels cost"),
    *numbers("waiting_days", "days per year", "days waited in a year, summed over pieces"),
    *counts("n_orders n_short_days", "orders placed; days on which something asked for was short"),
    *numbers("under_p80 under_p95", "1", "share of times the demand stayed under", 0, 1),
    # an order ahead of a season
    *words("season", "name of the season ordered for"),
    *dates("order_by until_date", "last day to order; last day of the season"),
    *numbers("left_at_start", "pieces", "likely left when the season begins"),
    *numbers("order_ahead", "pieces", "to order ahead of the season"),
    *numbers("gain_money", "currency", "mean gain of ordering ahead; below 0 a loss"),
    *numbers("left_over", "pieces", "expected left when the season ends"),
    # the bench
    *numbers(
        "machines_mean machines_planned machines_p10 machines_p50 machines_p90",
        "machines",
        "machines that arrive in the week: expected, of these by a plan, quantiles",
    ),
    *numbers("labour_hours_p50 labour_hours_p90", "hours", "workshop time the week asks for"),
    *numbers("loaners_p90", "machines", "machines in the shop at once, 9 in 10 days at most"),
    *numbers("workshop_hours", "hours", "the workshop's stated hours a week"),
]
