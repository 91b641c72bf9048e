"""Tables of a run under pseudonyms; every column of text is named here, or searched for names."""

import pandas as pd

from dutylife.privacy.names import Pseudonyms
from dutylife.schema import as_table
from dutylife.settings import PLANS, Settings
from dutylife.vocabulary import COLUMNS, TABLES
from dutylife.vocabulary.kinds import Column

Tables = dict[str, pd.DataFrame]
# column -> what its texts name
NAMES = {
    "unit_id": "machine", "alias": "machine", "customer": "customer", "ticket": "ticket",
    "example_ticket": "ticket", "contract": "contract", "supplier": "supplier",
    "source_file": "file", "line_id": "line", "content_key": "text", "finding_id": "finding",
    "row_key": "row",
}  # fmt: skip
JOINED = {"line_ids": "line"}  # several, joined with ;
FREE_TEXT = (
    "complaint", "work_done", "description", "text", "detail", "review_text", "part_description",
    "ticket_kind", "fits",
)  # fmt: skip
# stay as they are: what the shared figures are about
KEPT = (
    "component", "part_number", "replaces", "replaced_by", "alternate_of", "kit_number",
)  # fmt: skip
_KINDS_OF_JOB = ("repair", "service", "warranty")
# their messages quote cells and texts
_QUOTING = ("settings", "intake", "draft", "coding", "history")
_LEFT_OUT = "what it says is left out of a run under pseudonyms, since it may quote names or texts"
_UNSURE = (
    "what it says is left out of a run under pseudonyms, since a word or number in it is also the "
    "short name of a machine or customer"
)
_ASK = "see this finding in the shop's own run"


def pseudonyms_for(tables: Tables, settings: Settings, key: bytes) -> Pseudonyms:
    """Pseudonyms that know every name of a run's tables and settings.

    Parameters
    ----------
    tables : dict of DataFrame
    settings : Settings
    key : bytes
    """
    names = Pseudonyms(key)
    for column, kind in NAMES.items():
        if column in ("line_id", "content_key", "finding_id", "row_key"):
            continue  # digests stand in no sentence
        found: set[str] = set()
        for name, frame in tables.items():
            if column in frame and name in TABLES:
                found |= set(frame[column].astype("object").dropna())
        names.look_for(kind, sorted(found - {""}))
    duty = settings.duty
    names.look_for("customer", sorted({*settings.customers, *duty.by_customer}))
    names.look_for("machine", sorted(duty.by_unit))
    names.look_for("fleet", [settings.fleet.name])
    bought = {s.supplier or "" for s in settings.stock.values()}
    bought |= {s.supplier or "" for s in settings.season_orders}
    names.look_for("supplier", sorted(bought))
    return names


def anonymous_tables(tables: Tables, names: Pseudonyms) -> Tables:
    """Tables with the same rows and figures under pseudonyms.

    Parameters
    ----------
    tables : dict of DataFrame
        Tables of the vocabulary by name.
    names : Pseudonyms

    Returns
    -------
    dict of DataFrame
        In the order of their new keys.
    """
    return {name: as_table(name, _table(name, frame, names)) for name, frame in tables.items()}


def _table(name: str, frame: pd.DataFrame, names: Pseudonyms) -> pd.DataFrame:
    out = frame.copy()
    for column, declared in TABLES[name].columns.items():
        if column in out and declared.kind in ("word", "text") and not declared.words:
            out[column] = _told(frame[column], declared, names)
    if name == "findings":
        out = _findings(out, names)
    elif name == "record_changes":
        out = _changes(frame, out, names)
    return out


def _told(values: pd.Series, declared: Column, names: Pseudonyms) -> pd.Series:
    column = declared.name
    texts = values.astype("object")
    told = {t: _one(str(t), column, names) for t in texts.dropna().unique()}
    replaced: pd.Series = texts.map(told, na_action="ignore")
    return replaced


def _one(text: str, column: str, names: Pseudonyms) -> str:
    if column in KEPT or not text:
        return text
    if column in NAMES:
        return names.of(NAMES[column], text)
    if column in JOINED:
        return ";".join(sorted(names.of(JOINED[column], t) for t in text.split(";")))
    if column == "plan":
        return text if text in PLANS else names.of("file", text)
    if column in FREE_TEXT:
        is_plain = column == "ticket_kind" and text in _KINDS_OF_JOB
        return text if is_plain else names.of("text", text)
    return names.without_names(text)


def _findings(found: pd.DataFrame, names: Pseudonyms) -> pd.DataFrame:
    quotes = found["stage"].isin(_QUOTING)
    said = found[["message", "mend"]].astype("object").fillna("")
    # of a fleet of machines called 12 and 107 figures may be names: then better nothing is said
    unsure = ~quotes & said.map(names.may_name).any(axis=1)
    why = pd.Series(_LEFT_OUT, index=found.index).mask(unsure, _UNSURE)
    message = said["message"].mask(
        quotes | unsure, "a finding of " + found["stage"].astype("object") + ": " + why
    )
    key = found["key"].astype("object")
    plain = key.isna() | key.isin(["", *COLUMNS])
    return found.assign(
        message=message, mend=found["mend"].astype("object").mask(quotes | unsure, _ASK),
        # a short name is not looked for in sentences, but a key that is one is one
        key=key.where(plain | ~quotes, key.dropna().map(lambda k: names.of("key", str(k)))).map(
            lambda k: names.known(str(k)) or k, na_action="ignore"
        ),
    )  # fmt: skip


def _changes(given: pd.DataFrame, out: pd.DataFrame, names: Pseudonyms) -> pd.DataFrame:
    """Cells of then and now by the column they are of; figures, dates and fixed words stay."""
    changed = given["changed_column"].astype("object").fillna("").map(str)
    bare = changed.str.replace(r" \(\d+\)$", "", regex=True)
    for column in ("was", "is_now"):
        cells = given[column].astype("object")
        out[column] = [
            None if pd.isna(cell) else _cell(str(cell), of, names)
            for cell, of in zip(cells, bare, strict=True)
        ]
    known = bare.isin([*COLUMNS, "", "line", "machine"])
    out["changed_column"] = changed.where(known, changed.map(lambda c: names.of("text", c)))
    return out


def _cell(cell: str, of: str, names: Pseudonyms) -> str:
    declared = COLUMNS.get(of)
    if declared is None:
        return names.of("text", cell)
    if declared.kind in ("word", "text") and not declared.words:
        return _one(cell, of, names)
    return cell
