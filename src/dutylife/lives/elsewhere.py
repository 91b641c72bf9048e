"""Customers who buy a part over the counter may fit it themselves, so lives look too long."""

import pandas as pd

FEWEST_SALES = 2  # of a component without a machine, before a customer is said to have the habit
HABIT_SHARE = 0.1  # of all its replacements of that component


def counter_habits(maintenance_events: pd.DataFrame, service_lines: pd.DataFrame) -> pd.DataFrame:
    """Customers and components of which parts are sold without a machine named.

    Parameters
    ----------
    maintenance_events : DataFrame, table "maintenance_events"
    service_lines : DataFrame, table "service_lines"

    Returns
    -------
    DataFrame
        customer, component, n_counter (parts sold without a machine), n_fitted (replacements on a
        machine of theirs): at least `FEWEST_SALES` of the first, and `HABIT_SHARE` of both
        together. Some of these parts went into a machine of the record; nobody can say which.
    """
    changed = maintenance_events.loc[
        maintenance_events["activity"] == "replace", ["unit_id", "component", "line_ids"]
    ].astype("object")
    lines = changed["line_ids"].fillna("").str.split(";").str[0]
    whose = service_lines[["line_id", "customer"]].astype("object").drop_duplicates("line_id")
    changed["customer"] = lines.map(whose.set_index("line_id")["customer"])
    changed = changed[changed["customer"].notna() & (changed["customer"] != "")]
    sold = changed["unit_id"].isna()
    counts = (
        changed.assign(n_counter=sold.astype(int), n_fitted=(~sold).astype(int))
        .groupby(["customer", "component"])[["n_counter", "n_fitted"]]
        .sum()
        .reset_index()
    )
    share = counts["n_counter"] / (counts["n_counter"] + counts["n_fitted"])
    habit = (
        (counts["n_counter"] >= FEWEST_SALES) & (share >= HABIT_SHARE) & (counts["n_fitted"] > 0)
    )
    return counts[habit].reset_index(drop=True)
