"""A roster is every machine there is: those that never came in count, others are named."""

import pandas as pd

from dutylife.intake.findings import finding, first_few
from dutylife.intake.history.accounts import Account
from dutylife.wording import count


def mark_present(units: pd.DataFrame, on_roster: set[str]) -> pd.DataFrame:
    """Table units with the machines of a roster that says of no day they left taken as there."""
    there = units["unit_id"].astype("object").isin(on_roster) & units["left_on"].isna()
    return units.assign(prob_in_service=units["prob_in_service"].mask(there, 1.0))


def say_roster(units: pd.DataFrame, on_roster: set[str], account: Account) -> None:
    """Say how many machines of the roster never came in, and which machines it lacks."""
    if not on_roster:
        return
    names = units["unit_id"].astype("object")
    listed = names.isin(on_roster)
    silent = int((listed & units["last_seen"].isna()).sum())
    left = int((listed & units["left_on"].notna()).sum())
    account.say(
        finding(
            "intake", "note",
            f"The roster lists {count(int(listed.sum()), 'machine')}: {silent} never came in and "
            f"count as running, {left} left on a known day, which ends their watching.",
            table="units", key="roster",
        )
    )  # fmt: skip
    strangers = names[~listed]
    if len(strangers):
        account.say(
            finding(
                "intake", "note",
                f"{count(len(strangers), 'machine')} in the exports are not on the roster "
                f"({first_few(strangers)}).",
                mend="add them with the day they left, or confirm them as aliases",
                table="units", key="not on the roster",
            )
        )  # fmt: skip
