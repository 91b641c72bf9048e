"""What a person is told beside a draft: columns still without a name, duties to choose from."""

import pandas as pd

from dutylife.draft.duty import duty_names
from dutylife.draft.settling import DraftedExport
from dutylife.intake.values import blanked
from dutylife.vocabulary import COLUMNS

# what a report lacks without the column; columns not named here only refine it
_LACKING = {
    "lines": {
        "unit_id": "no lives at all", "customer": "no duties by customer, no plan of each customer",
        "meter_hours": "ages in weeks only", "complaint": "less of why a part was changed",
        "work_done": "less of what was done", "part_number": "no order list",
        "quantity": "each line counts as one piece",
    },
    "machines": {"equipment_class": "all machines count as one kind",
                 "in_service_on": "first lives of unknown age"},
    "parts": {
        "on_hand": "the list says what to hold, not what to order",
        "on_order": "it is taken that nothing is on its way",
        "unit_cost": "no money on the order list", "lead_time_days": "an assumed time to wait",
        "supplier": "one list for all suppliers",
    },
}  # fmt: skip
_EXAMPLES = 2
_MOST = 8


def lacking(one: DraftedExport) -> dict[str, str]:
    """Columns of ours that no column of the export was found for -> what the report lacks."""
    found = {*one.export.columns, *(o for slot in one.export.parts for o in slot)}
    if one.export.parts_cell is not None:
        found |= {"part_number", "description", "quantity"}
    return {o: why for o, why in _LACKING.get(one.export.kind, {}).items() if o not in found}


def hints(exports: list[DraftedExport]) -> list[str]:
    """A line for each export whose columns are not all read, and for each column it lacks.

    Columns that another export of the draft brings are not lacking: a machines list tells whose a
    machine is, though the bills do not.
    """
    everywhere = {o for d in exports for o in d.export.columns}
    out = []
    for one in exports:
        missing = {o: why for o, why in lacking(one).items() if o not in everywhere}
        rest = one.not_read
        if rest:
            shown = [f"'{h}' ({_examples(one, h)})" for h in rest[:_MOST]]
            more = f" and {len(rest) - _MOST} more" if len(rest) > _MOST else ""
            out.append(f"not read in {one.table.label}: {', '.join(shown)}{more}")
        for ours, why in missing.items():
            near = [c.header for c in one.mapping.choices if c.ours == ours]
            told = f"perhaps '{near[0]}'; " if near else ""
            out.append(
                f"  no column found for {ours} ({COLUMNS[ours].meaning}): {told}without it, {why}"
            )
    return out


def _examples(one: DraftedExport, header: str) -> str:
    cells = blanked(one.table.records[header].astype("object"))
    shown = cells[cells != ""].drop_duplicates().iloc[:_EXAMPLES]
    return ", ".join(str(c)[:24] for c in shown) or "empty"


def to_confirm(duties: pd.DataFrame) -> str:
    """What duty.csv asks of a person, with the names to choose from."""
    open_ = int((duties["duty"] == "").sum())
    told = f", {open_} without a proposal" if open_ else ""
    return (
        f"the duty of {len(duties)} customers{told}: correct the column duty, write yes under "
        f"confirmed. Names to choose from: {', '.join(duty_names())}; any name of your own will do"
    )
