"""A shelf followed day by day for many years: what a policy truly gives."""

import math

from dutylife.stock.terms import Terms


def terms(**changed) -> Terms:
    given = {
        "lead_time_days": 9.0, "lead_time_sd_days": 0.0, "review_days": 7.0, "service_level": 0.95,
        "service_measure": "fill rate", "when_short": "back order", "holding_rate": 0.2,
        "pack_size": 1.0, "minimum_order": 0.0, "shelf_life_days": None, "unit_cost": 5.0,
        "order_cost": 3.0, "supplier": None, "on_hand": 0.0, "on_order": 0.0,
    }  # fmt: skip
    return Terms(**(given | changed))


def followed(daily, point, up_to, own: Terms) -> tuple[float, float, float, float]:
    """Fill rate, share of reviews before whose delivery nothing was owed, mean shelf, mean order.

    Reviewed at the close of each review day; what is ordered is there at the close of the day a
    lead time later. ``daily`` shape (n_days,) [pieces].
    """
    review, lead = own.review_whole_days, own.lead_whole_days
    pack = own.whole_pack
    net, position = float(up_to), float(up_to)
    coming: dict[int, float] = {}
    asked = given = held = ordered = 0.0
    n_orders = clear = 0
    ends = 0
    for day, pieces in enumerate(daily):
        now = min(pieces, max(net, 0.0))
        asked, given = asked + pieces, given + now
        taken = now if own.when_short == "lost sale" else pieces
        net, position = net - taken, position - taken
        held += max(net, 0.0)
        if (day - lead) % review == 0:
            ends += 1
            clear += net >= 0
        if day % review == 0 and position < point:
            wanted = max(up_to - position, own.minimum_order)
            coming[day + lead] = math.ceil(wanted / pack - 1e-9) * pack
            position += coming[day + lead]
            ordered, n_orders = ordered + coming[day + lead], n_orders + 1
        net += coming.pop(day, 0.0)
    return given / asked, clear / ends, held / len(daily), ordered / max(n_orders, 1)
