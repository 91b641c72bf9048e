"""Kits and packs sold under one number, taken apart by the table the shop owns."""

import pandas as pd

from dutylife.errors import TableError
from dutylife.intake.columns import Mapped, require_columns
from dutylife.intake.findings import finding, first_few
from dutylife.intake.history.accounts import Account
from dutylife.intake.names import name_key
from dutylife.provenance import digest_of
from dutylife.schema import as_table, filled_from
from dutylife.settings import Settings
from dutylife.wording import count


def read_kits(mapped: Mapped, settings: Settings) -> pd.DataFrame:
    """Kits of one file; a pack of ten is a kit of ten pieces of one part.

    Raises
    ------
    SettingsError
        A needed column is not mapped.
    """
    require_columns(mapped, ("kit_number", "part_number"))
    kits = pd.DataFrame({c: mapped.cells(c) for c in ("kit_number", "part_number")})
    blank = mapped.cells("quantity") == ""
    kits["quantity"] = mapped.numbers("quantity", settings.fleet.meter_unit).mask(blank, 1.0)
    kits["source_file"] = mapped.name
    kits["source_row"] = mapped.raw.source_row
    mapped.set_aside((mapped.text == "").all(axis=1), "blank row")
    mapped.set_aside(kits["kit_number"] == "", "no kit number")
    mapped.set_aside(kits["part_number"] == "", "no part number")
    mapped.set_aside(~(kits["quantity"] > 0), "pieces in the kit can't be read or are not above 0")
    usable = mapped.reason == ""
    pair = name_key(kits["kit_number"]) + "\x1f" + name_key(kits["part_number"])
    twice = pair.where(usable).duplicated() & usable
    mapped.set_aside(twice & mapped.text.duplicated(), "row repeated")
    mapped.set_aside(twice, "part listed already in this kit, with another quantity")
    return kits[mapped.reason == ""]


def build_kits(kits: pd.DataFrame) -> pd.DataFrame:
    """Table kits of all files; the first that lists a part of a kit stands."""
    pair = name_key(kits["kit_number"]) + "\x1f" + name_key(kits["part_number"])
    return as_table("kits", kits[~pair.duplicated()])


def flat_kits(kits: pd.DataFrame) -> pd.DataFrame:
    """Pieces of each part in each kit, kits within kits taken apart.

    Returns
    -------
    DataFrame
        key (of the kit's number), part_number, quantity: sums over all ways into the kit.

    Raises
    ------
    TableError
        A kit holds itself; every one at once.
    """
    inside: dict[str, list[tuple[str, float]]] = {}
    plain = kits.astype({"kit_number": "object", "part_number": "object"})
    for kit, part, n in zip(
        name_key(plain["kit_number"]), plain["part_number"], plain["quantity"], strict=True
    ):
        inside.setdefault(kit, []).append((part, float(n)))
    rows: list[tuple[str, str, float]] = []
    rings: dict[frozenset[str], str] = {}
    for kit in sorted(inside):
        _take_apart(kit, 1.0, [kit], inside, rows, rings)
    if rings:
        raise _error(list(rings.values()), plain)
    flat = pd.DataFrame(rows, columns=["key", "part_number", "quantity"])
    grouped = flat.groupby(["key", "part_number"], sort=True)["quantity"].sum()
    return grouped.reset_index()


def _take_apart(
    kit: str, times: float, path: list[str], inside: dict[str, list[tuple[str, float]]],
    rows: list[tuple[str, str, float]], rings: dict[frozenset[str], str],
) -> None:  # fmt: skip
    for part, n in inside[kit]:
        key = "".join(part.casefold().split())
        if key in path:
            ring = path[path.index(key) :]
            rings.setdefault(frozenset(ring), " > ".join([*ring, key]).upper())
        elif key in inside:
            _take_apart(key, times * n, [*path, key], inside, rows, rings)
        else:
            rows.append((path[0], part, times * n))


def exploded(
    lines: pd.DataFrame, kits: pd.DataFrame, parts: pd.DataFrame, account: Account
) -> pd.DataFrame:
    """Lines with each kit's line replaced by lines of its parts.

    Pieces are those of the kit times those of the line; the price is shared by what the parts
    cost where the parts files know it of each, else evenly by piece. A kit's own text describes
    none of its parts, so they take the parts files' text or none.

    Parameters
    ----------
    kits : DataFrame
        From `flat_kits`, numbers in use now.
    """
    if kits.empty:
        return lines
    key = name_key(lines["part_number"])
    is_kit = key.isin(set(kits["key"])) & lines["line_kind"].isin(["part", "credit"])
    if not is_kit.any():
        return lines
    known = parts.drop_duplicates("part_number", keep="last").set_index("part_number")
    of_kit = kits.assign(
        text=filled_from(kits["part_number"].map(known["description"]), ""),
        worth=kits["quantity"] * kits["part_number"].map(known["unit_cost"]),
    )
    by_kit = of_kit.groupby("key")
    worth = of_kit["worth"].where(by_kit["worth"].transform("min") > 0, of_kit["quantity"])
    of_kit["share"] = worth / worth.groupby(of_kit["key"]).transform("sum") / of_kit["quantity"]
    of_kit = of_kit.rename(columns={"part_number": "piece", "quantity": "n_pieces"})
    kit_lines = lines[is_kit].assign(key=key[is_kit])
    apart = kit_lines.merge(of_kit.drop(columns="worth"), on="key", how="left", sort=False)
    apart["line_id"] = [
        digest_of(i, p) for i, p in zip(apart["line_id"], apart["piece"], strict=True)
    ]
    apart["quantity"] = apart["quantity"].fillna(1.0) * apart["n_pieces"]
    apart["unit_price"] = apart["unit_price"] * apart["share"]
    apart["part_number"], apart["description"] = apart["piece"], apart["text"]
    used = sorted(kit_lines["part_number"].unique())
    on_shelf = parts[name_key(parts["part_number"]).isin(set(kits["key"])) & (parts["on_hand"] > 0)]
    account.say(
        finding(
            "intake", "note",
            f"{count(len(kit_lines), 'line')} of {count(len(used), 'kit or pack', 'kits or packs')}"
            f" ({first_few(used)}) taken apart into {count(len(apart), 'line')} of their parts."
            + (
                f" {count(len(on_shelf), 'kit')} on the shelf are not counted as their parts."
                if len(on_shelf)
                else ""
            ),
            table="kits", key="kit_number",
        )
    )  # fmt: skip
    return pd.concat([lines[~is_kit], apart[lines.columns]], ignore_index=True)


def _error(rings: list[str], kits: pd.DataFrame) -> TableError:
    rows = [
        {"row": 0, "column": "part_number", "value": r, "code": "goes round", "mend": "take it out"}
        for r in rings
    ]
    return TableError(
        f"{count(len(rings), 'kit')} hold themselves: {'; '.join(rings)}.",
        ", ".join(sorted(set(kits["source_file"].astype("object")))),
        "take the row out that leads back to the kit",
        problems=pd.DataFrame(rows),
    )
