"""Days in the shop, kept as given; days that contradict one another are named."""

import pandas as pd

from dutylife.intake.findings import finding, first_few
from dutylife.intake.history.accounts import Account
from dutylife.wording import count


def say_days_in_shop(lines: pd.DataFrame, account: Account) -> None:
    """Name lines ready before they were received, or that waited longer than they were there."""
    there = (lines["ready_on"] - lines["received_on"]).dt.days
    for rows, what in (
        (there < 0, "ready before it was received"),
        (lines["parts_wait_days"] > there.where(there >= 0), "waiting longer than in the shop"),
    ):
        if rows.any():
            account.say(
                finding(
                    "intake", "note",
                    f"{count(int(rows.sum()), 'line')} {what} "
                    f"(rows {first_few(lines.loc[rows, 'source_row'])}).",
                    mend="correct received_on, ready_on or parts_wait_days in the export",
                    table="service_lines", key="ready_on",
                )
            )  # fmt: skip
