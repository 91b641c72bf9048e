"""Settings and run.json of a run under pseudonyms: figures and fixed words stay, all else goes."""

from typing import Any

from dutylife.privacy.names import Pseudonyms
from dutylife.settings import PLANS, Export, Settings


def anonymous_settings(settings: Settings, names: Pseudonyms) -> Settings:
    """Settings as far as a shared run shows them.

    Parameters
    ----------
    settings : Settings
    names : Pseudonyms

    Returns
    -------
    Settings
        Names of the fleet, customers, machines, suppliers and files under pseudonyms; columns of
        the exports, the shop's words and its places for files left out.
    """
    s = settings

    def customer(name: str) -> str:
        return names.of("customer", name)

    chosen = s.report.customer
    duty = s.duty.model_copy(
        update={
            "all": names.without_names(s.duty.all),
            "by_customer": _under(s.duty.by_customer, "customer", names),
            "by_unit": _under(s.duty.by_unit, "machine", names),
            "path": "", "column": "",
            "severe": [names.without_names(d) for d in s.duty.severe],
        }
    )  # fmt: skip
    coded = {
        component: told.model_copy(update={"words": [], "part_numbers": []})
        for component, told in s.coding.components.items()
    }
    in_force = s.plan.in_force
    return s.model_copy(
        update={
            "fleet": s.fleet.model_copy(update={"name": names.of("fleet", s.fleet.name)}),
            "exports": [Export(path=names.of("file", e.path), kind=e.kind) for e in s.exports],
            "coding": s.coding.model_copy(
                update={"lexicon": "", "corrections": "", "components": coded}
            ),
            "duty": duty,
            "customers": {
                customer(name): told.model_copy(update={"duty": names.without_names(told.duty)})
                for name, told in s.customers.items()
            },
            "stock": {
                part: told.model_copy(update={"supplier": names.of("supplier", told.supplier)})
                if told.supplier else told
                for part, told in s.stock.items()
            },
            "season_orders": [
                told.model_copy(
                    update={
                        "name": names.without_names(told.name),
                        "supplier": told.supplier and names.of("supplier", told.supplier),
                    }
                )
                for told in s.season_orders
            ],
            "compute": s.compute.model_copy(update={"scheduler": ""}),
            "plan": s.plan if in_force in PLANS
            else s.plan.model_copy(update={"in_force": names.of("file", in_force)}),
            "report": s.report.model_copy(
                update={
                    "history": "",
                    "customer": [customer(c) for c in chosen]
                    if isinstance(chosen, list) else customer(chosen),
                }
            ),
        }
    )  # fmt: skip


def _under(duties: dict[str, str], kind: str, names: Pseudonyms) -> dict[str, str]:
    return {names.of(kind, n): names.without_names(d) for n, d in duties.items()}


def anonymous_info(info: dict[str, Any], names: Pseudonyms) -> dict[str, Any]:
    """Content of run.json under pseudonyms, made from anonymous settings and tables.

    Digests of files are keyed, too: with a plain one whoever has a file could show that it is it.

    Parameters
    ----------
    info : dict
        As for a plain run.
    names : Pseudonyms
    """
    out = info | {"anonymised": True}
    out["inputs"] = [
        account
        | {"name": names.of("file", str(account["name"])),
           "digest": names.of("digest", str(account["digest"]))}
        for account in info["inputs"]
    ]  # fmt: skip
    out["settings_digest"] = names.of("digest", str(info["settings_digest"]))
    if "earlier_run" in info:
        told = info["earlier_run"]
        out["earlier_run"] = told | {
            "folder": names.of("run", str(told["folder"])),
            "visit_plan_digest": names.of("digest", str(told["visit_plan_digest"])),
        }
    if "history" in info:
        out["history"] = {
            which: month
            and month
            | {"name": names.of("month", str(month["name"])),
               "digest": names.of("digest", str(month["digest"]))}
            for which, month in info["history"].items()
        }  # fmt: skip
    return out
