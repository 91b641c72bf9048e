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
    changed = maintenance_events[maintenance_events["activity"] == "replace"]
    changed = changed[["component", "part_number", "line_ids"]].astype("object")
    lines = service_lines[["line_id", "unit_id", "customer", "part_number"]]
    counter = lines["unit_id"].isna() & lines["part_number"].notna() & lines["customer"].notna()
    if not counter.any():  # as in most records: nothing to be looked up
        return pd.DataFrame(
            {"customer": [], "component": [], "n_counter": [], "n_fitted": []}
        ).astype({"customer": "object", "component": "object", "n_counter": int, "n_fitted": int})
    lines = lines.astype("object")
    lines = lines[lines["customer"].notna() & (lines["customer"] != "")]
    first = changed["line_ids"].fillna("").str.split(";").str[0]
    whose = lines.drop_duplicates("line_id").set_index("line_id")["customer"]
    fitted = changed.assign(customer=first.map(whose)).dropna(subset=["customer"])
    # which component a part number is of: what it was fitted as, most often
    cases = changed[["part_number", "component"]].dropna().value_counts(sort=False)
    pairs = (
        cases.rename("n")
        .reset_index()
        .sort_values(["part_number", "n", "component"], ascending=[True, False, True])
    )
    component = pairs.drop_duplicates("part_number").set_index("part_number")["component"]
    sold = lines[lines["unit_id"].isna() & lines["part_number"].notna()]
    sold = sold.assign(component=sold["part_number"].map(component)).dropna(subset=["component"])
    cell = ["customer", "component"]
    counts = pd.concat(
        [sold.groupby(cell).size().rename("n_counter"),
         fitted.groupby(cell).size().rename("n_fitted")], axis=1,
    ).fillna(0).astype(int).sort_index().rename_axis(cell).reset_index()  # fmt: skip
    share = counts["n_counter"] / (counts["n_counter"] + counts["n_fitted"])
    habit = (
        (counts["n_counter"] >= FEWEST_SALES) & (share >= HABIT_SHARE) & (counts["n_fitted"] > 0)
    )
    return counts[habit].reset_index(drop=True)
