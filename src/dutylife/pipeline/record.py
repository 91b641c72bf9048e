"""Content of run.json."""

from typing import Any

import pandas as pd

from dutylife import intake
from dutylife.provenance import code_digest, digest_of, versions
from dutylife.settings import Settings


def accounts_of(read: intake.Intake) -> list[dict[str, Any]]:
    """Files of a run: digest, rows, rows used and set aside."""
    accounts = intake.account(read).rename(columns={"file": "name"})
    accounts["digest"] = [f.digest for f in read.files]
    return [{str(k): v for k, v in row.items()} for row in accounts.to_dict("records")]


def info_of(
    settings: Settings, accounts: list[dict[str, Any]], t: dict[str, pd.DataFrame]
) -> dict[str, Any]:
    """Content of run.json, but for timings."""
    unreadable = int(t["set_aside"]["needs_person"].sum())
    asks = t["findings"].loc[t["findings"]["kind"] == "ask", ["message", "mend"]]
    asked = [
        str(message) + (f" To mend: {mend}." if isinstance(mend, str) and mend else "")
        for message, mend in zip(asks["message"], asks["mend"], strict=True)
    ]
    why = [f"{unreadable} rows can't be read (table set_aside)"] if unreadable else []
    return {
        "fleet": settings.fleet.model_dump(include={"name", "currency", "meter_unit"}),
        "as_of": f"{settings.fleet.as_of:%Y-%m-%d}",
        "confidence_level": settings.report.confidence_level,
        "horizon_months": settings.report.horizon_months,
        "plan_in_force": settings.plan.in_force,
        "seed": settings.report.seed,
        "comeback_days": settings.coding.comeback_days,
        "inputs": accounts,
        "rows_in": sum(a["n_rows"] for a in accounts),
        "rows_used": sum(a["n_used"] for a in accounts),
        "rows_set_aside": sum(a["n_set_aside"] for a in accounts),
        "person_needed": list(dict.fromkeys(why + asked)),
        "settings_digest": digest_of(settings.model_dump_json(), length=64),
        "settings": settings.model_dump(mode="json", exclude_unset=True, by_alias=True),
        "versions": versions(),
        "code_digest": code_digest(),
        "n_rows": {name: len(frame) for name, frame in sorted(t.items())},
    }
