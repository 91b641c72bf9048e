"""The file a person fills in: to_review as a spreadsheet opens it, nothing in it can run."""

import csv
import io

import pandas as pd

from dutylife.coding.keys import harmless

# what to fill in stands beside the text; the order within the file says which first
COLUMNS = (
    "content_key", "n_lines", "text", "part_description", "component", "activity", "reason",
    "finding", "guess_component", "guess_activity", "guess_reason", "guess_finding",
    "guess_confidence", "example_ticket",
)  # fmt: skip


def review_csv(to_review: pd.DataFrame) -> str:
    """Text of to_review.csv: comma, quotes where needed, formula signs made harmless.

    The person fills component, activity, reason and finding and saves it as the file named by
    ``[coding] corrections``; rows left blank are no corrections.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in to_review[list(COLUMNS)].astype("object").itertuples(index=False):
        writer.writerow([harmless(v) if isinstance(v, str) else v for v in row])
    return out.getvalue()
