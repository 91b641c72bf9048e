"""A change of duty splits a life: one row, a spell, in each duty."""

import pandas as pd

WITHIN = "lost"  # how a spell ends whose life goes on elsewhere: watching in that duty ended


def split_at_moves(
    lives: pd.DataFrame, unit_spans: pd.DataFrame, evidence: pd.DataFrame
) -> pd.DataFrame:
    """Lives with one row for each duty they were lived in.

    Parameters
    ----------
    lives : DataFrame
        unit_id, watched_from, ended_on, event, duty, customer and what belongs to the end of a
        life (ticket, line_ids, failure_mode, is_comeback, weight); one row a life.
    unit_spans : DataFrame, table "unit_spans"
    evidence : DataFrame
        unit_id, service_date: the days each machine was seen.

    Returns
    -------
    DataFrame
        With ``spell`` from 1 on. All but the last spell of a life end as `WITHIN`, on the day of
        the move, without a ticket; each is watched from the end of the one before. A move to
        another customer in the same duty splits nothing: a life carries the customer it ended at.
    """
    moves = moves_of(unit_spans, evidence)
    lives = lives.assign(life=range(len(lives)), spell=1)
    if moves.empty or lives.empty:
        return lives.drop(columns="life")
    pairs = lives[["life", "unit_id", "watched_from", "ended_on"]].merge(moves, on="unit_id")
    inside = (pairs["moved_on"] > pairs["watched_from"]) & (pairs["moved_on"] < pairs["ended_on"])
    cuts = pairs[inside].sort_values(["life", "moved_on"], kind="stable")
    if cuts.empty:
        return lives.drop(columns="life")
    pieces = lives.merge(cuts[["life", "moved_on", "duty_before", "customer_before"]], on="life")
    pieces = pieces.assign(
        ended_on=pieces["moved_on"], duty=pieces["duty_before"],
        customer=pieces["customer_before"], event=WITHIN, ticket="", line_ids="",
        failure_mode=None, is_comeback=False, weight=1.0, cut=True,
    )  # fmt: skip
    pieces = pieces.drop(columns=["moved_on", "duty_before", "customer_before"])
    whole = lives.assign(cut=False)
    out = pd.concat([pieces.astype(whole.dtypes), whole], ignore_index=True)
    out = out.sort_values(["life", "ended_on", "cut"], ascending=[True, True, False],
                          kind="stable", ignore_index=True)  # fmt: skip
    of = out.groupby("life", sort=False)
    out["spell"] = of.cumcount() + 1
    before = of["ended_on"].shift()
    out["watched_from"] = before.where(before.notna(), out["watched_from"])
    return out.drop(columns=["life", "cut"])


def moves_of(unit_spans: pd.DataFrame, evidence: pd.DataFrame) -> pd.DataFrame:
    """Days on which a machine came into another duty: unit_id, moved_on, duty and customer before.

    Parameters
    ----------
    unit_spans : DataFrame, table "unit_spans"
    evidence : DataFrame
        unit_id, service_date: the days each machine was seen.

    Notes
    -----
    A span that begins on a day the machine was seen was dated by that visit: the move was some
    day since the visit before, and the middle of the two is taken.
    """
    spans = unit_spans[["unit_id", "from_date", "duty", "customer"]].astype(
        {"unit_id": "object", "duty": "object", "customer": "object"}
    )
    spans = spans.dropna(subset=["unit_id", "from_date"])
    spans = spans.sort_values(["unit_id", "from_date"], kind="stable")
    of = spans.groupby("unit_id", sort=False)
    spans["duty_before"], spans["customer_before"] = of["duty"].shift(), of["customer"].shift()
    moved = spans["duty_before"].notna() & (spans["duty"] != spans["duty_before"])
    out = spans[moved].rename(columns={"from_date": "moved_on"})
    seen = evidence[["unit_id", "service_date"]].drop_duplicates()
    seen = seen.sort_values(["unit_id", "service_date"], kind="stable")
    seen["before"] = seen.groupby("unit_id", sort=False)["service_date"].shift()
    out = out.merge(
        seen, left_on=["unit_id", "moved_on"], right_on=["unit_id", "service_date"], how="left"
    )
    middle = (out["before"] + (out["moved_on"] - out["before"]) / 2).dt.normalize()
    out["moved_on"] = middle.where(middle.notna(), out["moved_on"])
    return out[["unit_id", "moved_on", "duty_before", "customer_before"]]
