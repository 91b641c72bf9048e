"""Other names of machines: applied where a person confirmed them, proposed where they are near."""

from collections.abc import Callable

import pandas as pd

from dutylife.intake.columns import ALIAS_COLUMNS, Mapped, require_columns
from dutylife.intake.findings import finding, first_few
from dutylife.intake.history.accounts import Account
from dutylife.intake.history.near_names import near_names
from dutylife.intake.names import name_key
from dutylife.schema import as_table, filled_from
from dutylife.wording import count

_YES = ("yes", "y", "true", "1", "x", "ja", "j", "oui", "o", "sí", "si", "s")
_NO = ("no", "n", "false", "0", "nein", "nee", "non")


def read_aliases(mapped: Mapped) -> pd.DataFrame:
    """Aliases of one file; ``confirmed`` is yes, no or blank (not decided)."""
    require_columns(mapped, ("alias", "unit_id"))
    out = pd.DataFrame({c: mapped.cells(c) for c in ALIAS_COLUMNS})
    said = out["confirmed"].str.casefold().str.strip(" .")
    out["confirmed"] = said.map(lambda w: "yes" if w in _YES else "no" if w in _NO else "")
    out["source_file"] = mapped.name
    out["source_row"] = mapped.raw.source_row
    mapped.set_aside((mapped.text == "").all(axis=1), "blank row")
    mapped.set_aside(out["alias"] == "", "no alias")
    mapped.set_aside(out["unit_id"] == "", "no machine id")
    mapped.set_aside((said != "") & (out["confirmed"] == ""), "confirmed is neither yes nor no")
    usable = mapped.reason == ""
    pair = name_key(out["alias"]) + "\x1f" + name_key(out["unit_id"])
    twice = pair.where(usable).duplicated() & usable
    mapped.set_aside(twice & mapped.text.duplicated(), "row repeated")
    mapped.set_aside(twice, "alias listed already for this machine")
    yes = name_key(out["alias"]).where((out["confirmed"] == "yes") & (mapped.reason == ""))
    mapped.set_aside(yes.duplicated() & yes.notna(), "alias confirmed already for another machine")
    return out[mapped.reason == ""]


def confirmed_aliases(aliases: pd.DataFrame, names: pd.Series) -> dict[str, str]:
    """Machine by alias, as the person typed the alias; machines in the spelling of ``names``."""
    known = names[names != ""].drop_duplicates()
    spelling = dict(zip(name_key(known), known, strict=True))
    yes = aliases[aliases["confirmed"] == "yes"].drop_duplicates("alias")
    targets = zip(name_key(yes["unit_id"]), yes["unit_id"], strict=True)
    return dict(zip(yes["alias"], [spelling.get(k, u) for k, u in targets], strict=True))


def apply_aliases(
    lines: pd.DataFrame, machines: pd.DataFrame, confirmed: dict[str, str], account: Account
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Lines and machines with confirmed aliases brought to their machine."""
    if not confirmed:
        return lines, machines
    keys = list(confirmed)
    by_key = dict(zip(name_key(pd.Series(keys, dtype="object")), confirmed.values(), strict=True))

    def renamed(names: pd.Series) -> pd.Series:
        return filled_from(name_key(names).map(by_key), names)

    out = lines.assign(unit_id=renamed(lines["unit_id"]))
    changed = out["unit_id"] != lines["unit_id"]
    unknown = sorted(set(confirmed.values()) - set(machines["unit_id"]) - set(lines["unit_id"]))
    account.say(
        finding(
            "intake", "note",
            f"{count(int(changed.sum()), 'line')} under "
            f"{count(len(confirmed), 'confirmed alias', 'confirmed aliases')} "
            "brought to their machine"
            + (
                f"; no other file or line knows {first_few(unknown)}." if unknown else "."
            ),
            table="aliases", key="confirmed",
        )
    )  # fmt: skip
    return out, machines.assign(unit_id=renamed(machines["unit_id"]))


def build_aliases(
    given: pd.DataFrame,
    lines: pd.DataFrame,
    machines: pd.DataFrame,
    account: Account,
    n_lines: Callable[[str], int],
) -> pd.DataFrame:
    """Table aliases: those of the files, and near names proposed; nothing is merged here.

    Parameters
    ----------
    n_lines : callable
        Lines under a name as the exports have it.
    """
    said = given.assign(n_lines=[n_lines(a) for a in given["alias"]], detail="said by the shop")
    open_ = said[said["confirmed"] == ""]
    pairs = set(zip(name_key(given["alias"]), name_key(given["unit_id"]), strict=True))
    settled = set(name_key(given.loc[given["confirmed"] == "yes", "alias"]))
    proposed = near_names(lines, machines)
    keys = pd.Series(
        list(zip(name_key(proposed["alias"]), name_key(proposed["unit_id"]), strict=True)),
        index=proposed.index, dtype="object",
    )  # fmt: skip
    new = ~keys.isin(pairs) & ~name_key(proposed["alias"]).isin(settled)
    proposed = proposed[new.astype(bool)]
    told = [
        f"'{a}' for {u} ({d})"
        for a, u, d in zip(proposed["alias"], proposed["unit_id"], proposed["detail"], strict=True)
    ]
    told += [f"'{a}' for {u}" for a, u in zip(open_["alias"], open_["unit_id"], strict=True)]
    if told:
        account.say(
            finding(
                "intake", "note",
                f"{count(len(told), 'name')} may be another name of a known machine; they count "
                f"as machines of their own until confirmed: {first_few(told)}.",
                mend='write yes or no under confirmed in tables/aliases.csv, keep it beside the '
                'settings, and add [[exports]] path = "aliases.csv", kind = "aliases"',
                table="aliases", key="proposed",
            )
        )  # fmt: skip
    frames = [f for f in (said, proposed) if len(f)]
    return as_table("aliases", pd.concat(frames, ignore_index=True) if frames else said)
