"""Overdue work in words: what, on how many machines, and what to do until it is done."""

import pandas as pd

from dutylife import wording

UNTIL_DONE = "Until done look at it before each start; not sound: leave the machine standing."


def overdue_works(late: pd.DataFrame) -> tuple[tuple[str, int], ...]:
    """Each kind of overdue work and on how many machines, the commonest first.

    Parameters
    ----------
    late : DataFrame
        Rows of table "machine_tasks" that are overdue.
    """
    work = late["task"].astype(str) + " " + late["component"].astype(str)
    counted = late.groupby(work)["unit_id"].nunique()
    ordered = (
        counted.rename_axis("work")
        .reset_index()
        .sort_values(["unit_id", "work"], ascending=[False, True])
    )
    return tuple((str(w), int(n)) for w, n in ordered.itertuples(index=False, name=None))


def works_in_words(works: tuple[tuple[str, int], ...]) -> str:
    """``replace fuel hose on 43, inspect fuel hose on 14``."""
    return ", ".join(f"{work} on {wording.whole(n)}" for work, n in works)
