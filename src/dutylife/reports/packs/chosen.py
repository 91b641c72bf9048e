"""Which customers get a pack: all with machines in service, or those the settings name."""

import difflib
from collections.abc import Iterable

import pandas as pd

from dutylife.errors import SettingsError
from dutylife.provenance import digest_of
from dutylife.reports.most import MOST_PACKS
from dutylife.schema import as_table, empty_table
from dutylife.settings import Settings


def asked_for(customer: str | list[str]) -> list[str]:
    """Return the names of ``[report] customer``; none stands for all."""
    return [customer] * bool(customer) if isinstance(customer, str) else list(customer)


def check_chosen(settings: Settings, unit_spans: pd.DataFrame) -> None:
    """Refuse names of ``[report] customer`` that no machine's record knows.

    Raises
    ------
    SettingsError
        Names them all, each with the nearest name of the record.
    """
    known = _names(unit_spans["customer"])
    unknown = [c for c in asked_for(settings.report.customer) if c not in known]
    if not unknown:
        return
    near = {c: difflib.get_close_matches(c, known, n=1, cutoff=0.4) for c in unknown}
    told = "; ".join(f"'{c}' (nearest: '{n[0]}')" if n else f"'{c}'" for c, n in near.items())
    raise SettingsError(
        f"No machine of the record belongs to the customer named: {told}.",
        f"{settings.source}: report.customer",
        "write the name as the export has it, or leave the key out: every customer gets a pack",
    )


def chosen_customers(machine_tasks: pd.DataFrame, customer: str | list[str]) -> list[str]:
    """Return the customers that get a pack, sorted: where none is named, the largest 100 at most.

    Parameters
    ----------
    machine_tasks : DataFrame, table "machine_tasks"
        Of machines in service.
    customer : str or list of str
        ``[report] customer``; blank for all.

    Returns
    -------
    list of str
    """
    have, asked = customers_of(machine_tasks), asked_for(customer)
    if asked or len(have) <= MOST_PACKS:
        return sorted(have & set(asked)) if asked else sorted(have)
    machines = machine_tasks[["customer", "unit_id"]].drop_duplicates()
    sizes = machines["customer"].astype(object).value_counts()
    ranked = sorted(have, key=lambda name: (-int(sizes[name]), name))
    return sorted(ranked[:MOST_PACKS])


def customers_of(machine_tasks: pd.DataFrame) -> set[str]:
    """Names of the customers that have tasks."""
    return _names(machine_tasks["customer"])


def without_machines(machine_tasks: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Table "findings": customers that a pack is asked for, but who have no machine in service."""
    have = customers_of(machine_tasks)
    rows = [
        {
            "finding_id": digest_of("report.customer", name), "stage": "reports", "kind": "note",
            "table": "machine_tasks", "key": name, "source_row": 0,
            "message": f"no pack for '{name}': no machine of theirs is in service",
            "mend": "take the name out of [report] customer, or correct the machine list",
        }
        for name in asked_for(settings.report.customer)
        if name not in have
    ]  # fmt: skip
    return as_table("findings", pd.DataFrame(rows)) if rows else empty_table("findings")


def _names(column: Iterable[object]) -> set[str]:
    return {str(c) for c in pd.Series(column).dropna().unique()} - {""}
