"""Old part numbers chained to the one supplied now; equals of other makes kept apart."""

import re

import pandas as pd

from dutylife.errors import TableError
from dutylife.intake.findings import finding, first_few
from dutylife.intake.history.accounts import Account
from dutylife.intake.names import name_key, one_spelling
from dutylife.settings import Settings
from dutylife.wording import count

_APART = re.compile(r"[;,|\n]+")


def current_numbers(parts: pd.DataFrame, settings: Settings) -> dict[str, str]:
    """Return the number in use now behind each old one.

    Parameters
    ----------
    parts : DataFrame
        Rows of the parts files; ``replaces`` names older numbers (several joined by ; or ,),
        ``replaced_by`` the newer one, ``alternate_of`` an equal of another make, which is brought
        to that number only where ``coding.merge_alternates`` says so.

    Raises
    ------
    TableError
        A number replaces itself by way of others, or is replaced by two; every one at once.
    """
    spelling = one_spelling(
        pd.concat([parts["part_number"], parts["replaced_by"], parts["alternate_of"]]),
        parts["part_number"],
    )
    newer: dict[str, dict[str, int]] = {}
    for row in parts.to_dict("records"):
        number = str(row["part_number"])
        pairs = [(old, number) for old in _listed(row["replaces"], spelling)]
        pairs += [(number, new) for new in _listed(row["replaced_by"], spelling)]
        if settings.coding.merge_alternates:
            pairs += [(number, of) for of in _listed(row["alternate_of"], spelling)]
        for old, new in pairs:
            if _key(old) != _key(new):
                newer.setdefault(old, {}).setdefault(new, int(row["source_row"]))
    faults = [
        (old, f"'{old}' is replaced by {' and by '.join(sorted(by))}", max(by.values()))
        for old, by in sorted(newer.items())
        if len(by) > 1
    ]
    out: dict[str, str] = {}
    for old in sorted(newer):
        passed = [old]
        while passed[-1] in newer:
            following = min(newer[passed[-1]])
            if following in passed:
                ring = passed[passed.index(following) :]
                if old == min(ring):
                    told = " > ".join([*ring, following])
                    faults.append((old, f"{told} goes round", max(newer[old].values())))
                break
            passed.append(following)
        out[old] = passed[-1]
    if faults:
        raise _error(faults, parts)
    return out


def brought_to_current(
    lines: pd.DataFrame, parts: pd.DataFrame, current: dict[str, str], account: Account
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Lines and parts under the numbers in use now.

    The shelf of an old number is added to that of the current one; where the current one's is not
    known it stays unknown.
    """
    alternates = parts[parts["alternate_of"] != ""]
    apart = alternates[~alternates["part_number"].isin(current)]
    if len(apart):
        account.say(
            finding(
                "intake", "note",
                f"{count(len(apart), 'part')} said to be equal to another make's "
                f"({first_few(apart['part_number'])}) are kept apart.",
                mend="[coding] merge_alternates = true counts them as one part",
                table="shelf", key="alternate_of",
            )
        )  # fmt: skip
    if not current:
        return lines, parts
    by_key = {_key(old): new for old, new in current.items()}
    number = name_key(lines["part_number"]).map(by_key)
    changed = number.notna()
    out = lines.assign(part_number=number.where(changed, lines["part_number"]))
    shelf = _one_shelf(parts, by_key)
    olds = sorted(set(lines.loc[changed, "part_number"]))
    account.say(
        finding(
            "intake", "note",
            f"{count(int(changed.sum()), 'line')} under {count(len(olds), 'old part number')} "
            "brought to the number in use now"
            + (f" ({first_few([f'{o} to {by_key[_key(o)]}' for o in olds])})." if olds else "."),
            mend="the parts files say so, in the columns replaces and replaced_by",
            table="shelf", key="replaces",
        )
    )  # fmt: skip
    return out, shelf


def say_old_in_settings(settings: Settings, current: dict[str, str], account: Account) -> None:
    """Ask where the settings speak of a number that is no longer in use."""
    by_key = {_key(old): new for old, new in current.items()}
    named = {f'stock."{n}"': n for n in settings.stock if n != "default"}
    for name, component in settings.coding.components.items():
        named |= {f'coding.components."{name}".part_numbers': n for n in component.part_numbers}
    for where, number in named.items():
        if _key(number) in by_key:
            account.say(
                finding(
                    "intake", "ask",
                    f"{where} names part '{number}', which '{by_key[_key(number)]}' replaces; "
                    "its lines are counted under the newer number.",
                    mend=f"write '{by_key[_key(number)]}' in the settings",
                    table="shelf", key=number,
                )
            )  # fmt: skip


def _one_shelf(parts: pd.DataFrame, by_key: dict[str, str]) -> pd.DataFrame:
    new = name_key(parts["part_number"]).map(by_key)
    old_rows = new.notna()
    if not old_rows.any():
        return parts
    old = parts[old_rows].assign(part_number=new[old_rows])
    kept = parts[~old_rows].copy()
    listed = old["part_number"].isin(kept["part_number"])
    on_shelf = old.assign(on_hand=old["counted"].where(old["counted"].notna(), old["on_hand"]))
    for column in ("on_hand", "on_order"):
        more = on_shelf[listed].groupby("part_number")[column].sum()
        first = ~kept["part_number"].duplicated(keep="last")
        added = kept["part_number"].map(more).where(first).fillna(0.0)
        kept[column] = kept[column] + added
        if column == "on_hand":
            kept["counted"] = kept["counted"] + added
    unlisted = old[~listed]
    return pd.concat([kept, unlisted], ignore_index=True) if len(unlisted) else kept


def _listed(cell: object, spelling: dict[str, str]) -> list[str]:
    names = [n.strip() for n in _APART.split(str(cell))]
    return [spelling.get(_key(n), n) for n in names if n]


def _key(number: str) -> str:
    return "".join(number.casefold().split())


def _error(faults: list[tuple[str, str, int]], parts: pd.DataFrame) -> TableError:
    rows = [
        {"row": row, "column": "replaces", "value": old, "code": "not a chain", "mend": why}
        for old, why, row in faults
    ]
    return TableError(
        f"{count(len(faults), 'part number')} can't be chained to one in use now: "
        + "; ".join(why for _, why, _ in faults) + ".",
        f"{', '.join(sorted(set(parts['source_file'])))}, rows "
        + first_few([row for _, _, row in faults]),
        "let each old number be replaced by one number, and no number by itself",
        problems=pd.DataFrame(rows),
    )  # fmt: skip
