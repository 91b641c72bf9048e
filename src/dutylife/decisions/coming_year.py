"""The coming year of a run: plans compared and machines weighed, simulated once for both."""

import re
from collections.abc import Mapping

import pandas as pd

from dutylife.decisions.comparison.compare import compare_plans, simulate_plans
from dutylife.decisions.comparison.standing import NoFleetError
from dutylife.decisions.keep_or_retire import keep_or_retire
from dutylife.provenance import digest_of
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings


def coming_year(tables: Mapping[str, pd.DataFrame], settings: Settings) -> dict[str, pd.DataFrame]:
    """Compare plans and weigh machines over the coming year.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Tables of a run behind intervals and visits.
    settings : Settings
        ``fleet.as_of`` filled.

    Returns
    -------
    dict of str to DataFrame
        Tables "plan_comparison", "keep_or_retire" and "findings". Where no machine in service has
        a part whose life the record can tell, both are empty and a finding says so.
    """
    try:
        simulated = simulate_plans(tables, settings)
    except NoFleetError as error:
        names = ("plan_comparison", "keep_or_retire")
        told = _findings([("plan_comparison", error.what, error.mend)])
        return {name: empty_table(name) for name in names} | {"findings": told}
    compared = compare_plans(tables, settings, simulated=simulated)
    weighed = keep_or_retire(tables, settings, simulated=simulated)
    notes = [("plan_comparison", n, _mend(n)) for n in compared.notes]
    notes += [("keep_or_retire", n, _mend(n)) for n in weighed.notes if n not in compared.notes]
    found = pd.concat([_findings(notes), weighed.findings.astype("object")])
    return {
        "plan_comparison": compared.table,
        "keep_or_retire": weighed.table,
        "findings": as_table("findings", found),
    }


def _key(note: str) -> str:
    """Return the settings key that a note names in brackets, blank where it names none."""
    named = re.search(r"\[[^\]]+\](?: [a-z]+_[a-z_]+)?", note)
    return named[0] if named else ""


def _mend(note: str) -> str:
    return "state it in the settings file" if _key(note) else "nothing to do"


def _findings(notes: list[tuple[str, str, str]]) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "finding_id": digest_of("decisions", table, message), "stage": "decisions",
                "kind": "note", "table": table, "key": _key(message) or table, "source_row": 0,
                "message": message, "mend": mend,
            }
            for table, message, mend in notes
        ],
        columns=list(empty_table("findings").columns),
    ).astype("object")  # fmt: skip
