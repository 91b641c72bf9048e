"""The columns of one table to ours, one to one: by their names and by what stands in them."""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from dutylife.draft.fits import NO, cell_score
from dutylife.draft.meters import check_meter
from dutylife.draft.names import is_not_ours, name_score, tokens
from dutylife.draft.profile import Profile, decides
from dutylife.draft.relations import found_by_relations
from dutylife.intake.columns import COLUMNS_OF

SURE = 0.55
# below this a column is not even proposed
PROPOSED = 0.42
_NAME = 0.62
_UNLIKELY = 0.2
# a choice between proposed and sure stands when all its rivals are this far below
_MARGIN = 0.15
NEEDED = {
    "lines": ("service_date",), "machines": ("unit_id",), "roster": ("unit_id",),
    "parts": ("part_number",), "stock": ("part_number",), "kits": ("kit_number", "part_number"),
    "aliases": ("alias", "unit_id"), "readings": ("unit_id", "value", "read_on"),
    "contracts": ("equipment_class", "n_machines"),
}  # fmt: skip
_KIND_WORDS = frozenset(
    (
        "kind", "type", "class", "category", "art", "typ", "klasse", "kategorie", "gattung",
        "genre", "categorie", "tipo", "clase", "categoria", "soort",
    )
)  # fmt: skip
_MAY_BE_KEYS = ("ticket", "unit_id", "customer", "part_number", "kit_number", "alias")
_OTHER_DATES = ("received_on", "ready_on")
_TEXTS = ("complaint", "work_done", "description")
# never proposed: the shop fills them in, or they stand in no export
_NOT_PROPOSED = frozenset({"counted", "confirmed", "alternate_of", "parts_wait_days"})


@dataclass(frozen=True, slots=True)
class Choice:
    """A column of ours, the column of the file it was decided as, how sure and why."""

    ours: str
    header: str
    confidence: float
    reason: str

    @property
    def is_sure(self) -> bool:
        """Written as a key; else it is left out and shown as a comment."""
        return self.confidence >= SURE


@dataclass(frozen=True, slots=True)
class Mapping:
    """What the columns of a table were decided as.

    Parameters
    ----------
    kind : str
    choices : tuple of Choice
        Sure ones first.
    refused : dict
        Column that lies by name -> why it is not what it is called.
    left_out : tuple of str
        Columns no column of ours fits.
    quality : float
        How much the table looks like its kind; 0 when a needed column is missing.
    """

    kind: str
    choices: tuple[Choice, ...]
    refused: dict[str, str] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()
    quality: float = 0.0

    def header(self, ours: str) -> str:
        """The file's column behind one of ours, blank where it is not sure."""
        return next((c.header for c in self.choices if c.ours == ours and c.is_sure), "")


def map_table(
    columns: dict[str, Profile], kind: str, *, known: dict[str, set[str]] | None = None,
    totals: dict[str, tuple[str, str]] | None = None, keys: frozenset[str] = frozenset(),
) -> Mapping:  # fmt: skip
    """Decide the columns of a table read as a kind of export.

    Parameters
    ----------
    columns : dict of Profile
        By header.
    kind : str
    known : dict of set of str, optional
        Values of unit_id and part_number that other files hold: a column with them is it.
    totals : dict of tuple of str, optional
        Headers known to be quantity times price, each with the two headers behind it.
    keys : frozenset of str
        Headers that point to another table: a name or number, never a category or figure.
    """
    headers = [h for h in columns if h not in (totals or {})]
    wanted = [o for o in COLUMNS_OF[kind] if o not in _NOT_PROPOSED]
    names = np.array([[_name(h, o) for o in wanted] for h in headers]).reshape(
        len(headers), len(wanted)
    )
    fits = np.array([[cell_score(o, columns[h], kind) for o in wanted] for h in headers])
    fits = fits.reshape(len(headers), len(wanted))
    _named_after_machines(names, headers, wanted)
    _named_of_the_machine(names, headers, wanted)
    scores = _scores(names, fits)
    for row, header in enumerate(headers):
        if header in keys:
            scores[row, [i for i, o in enumerate(wanted) if o not in _MAY_BE_KEYS]] = 0.0
    _by_other_files(scores, headers, wanted, columns, known or {})
    refused: dict[str, str] = {}
    chosen = _assigned(scores, headers, wanted)
    if kind == "lines":
        refused = _refuse_meters(scores, headers, wanted, columns, chosen)
        _by_relations(scores, headers, wanted, columns, chosen)
        chosen = _assigned(scores, headers, wanted)
    dates = [
        h
        for h in headers
        if columns[h].share_dates > 0.8 and cell_score("service_date", columns[h], kind) > 0.55
    ]
    choices = []
    for ours, (row, score) in chosen.items():
        header = headers[row]
        column = wanted.index(ours)
        reason = _reason(names[row, column], columns[header])
        if ours in _OTHER_DATES and dates == [header] and "service_date" not in chosen:
            ours = "service_date"
        if ours == "service_date" and dates == [header]:
            score, reason = max(score, 0.7), reason + "; the only column of dates"
        choices.append(Choice(ours, header, round(float(min(score, 1.0)), 2), reason))
    choices = [_unrivalled(c, scores, fits, headers, wanted) for c in choices]
    if kind == "lines":
        choices = _related(choices, {h: columns[h] for h in headers}, columns, totals or {}, keys)
        choices = _only_text(choices, columns)
        choices = _line_text(choices, columns)
    if kind in ("machines", "roster"):
        choices = _only_kinds(choices, columns)
        choices = _only_date(choices, columns, dates)
    choices.sort(key=lambda c: (not c.is_sure, wanted.index(c.ours)))
    kept = tuple(c for c in choices if c.confidence >= PROPOSED)
    used = {c.header for c in kept}
    mapping = Mapping(kind, kept, refused, tuple(h for h in columns if h not in used))
    return replace(mapping, quality=_quality(mapping, columns))


def _named_after_machines(names: np.ndarray, headers: list[str], wanted: list[str]) -> None:
    """Where machines are called "Rig no", "Rig type" is their kind."""
    if not {"unit_id", "equipment_class"} <= set(wanted):
        return
    unit, kind = wanted.index("unit_id"), wanted.index("equipment_class")
    called = [
        set(tokens(h)) - {"no", "id", "code", "name"}
        for h, n in zip(headers, names[:, unit], strict=True)
        if n >= 0.9
    ]
    for row, header in enumerate(headers):
        words = set(tokens(header))
        if any(own and own < words and words - own <= _KIND_WORDS for own in called):
            names[row, kind] = 1.0


def _named_of_the_machine(names: np.ndarray, headers: list[str], wanted: list[str]) -> None:
    """The day a machine went into service or left, in a joined table, is no day of a visit."""
    if "service_date" not in wanted:
        return
    for row, header in enumerate(headers):
        of_machine = max(name_score(header, o) for o in ("in_service_on", "left_on"))
        if of_machine >= 0.6 and of_machine > names[row].max() + 0.05:
            names[row] = np.minimum(names[row], 0.3)


def _unrivalled(
    choice: Choice, scores: np.ndarray, fits: np.ndarray, headers: list[str], wanted: list[str]
) -> Choice:
    """A near choice whose column fits nothing else, and that no other column fits, is it."""
    row, column = headers.index(choice.header), wanted.index(choice.ours)
    if choice.is_sure or fits[row, column] < _UNLIKELY or choice.reason.startswith("no name"):
        return choice
    rivals = [*np.delete(scores[row], column), *np.delete(scores[:, column], row)]
    if rivals and max(rivals) > choice.confidence - _MARGIN:
        return choice
    return replace(choice, confidence=SURE, reason=f"{choice.reason}; nothing else fits")


def _only_text(choices: list[Choice], columns: dict[str, Profile]) -> list[Choice]:
    """The one column of free text is the text of the work, whatever it is called."""
    if any(c.is_sure and c.ours in _TEXTS for c in choices):
        return choices
    long = [
        p for p in columns.values()
        if p.mean_words > 3.5 and p.share_unlike > 0.4
        and p.share_words > 0.9 and p.share_filled > 0.5
    ]  # fmt: skip
    if len(long) != 1 or any(c.is_sure and c.header == long[0].header for c in choices):
        return choices
    rest = [c for c in choices if c.header != long[0].header and c.ours != "description"]
    reason = f"the only column of free text; {_reason(0.0, long[0])}"
    return [*rest, Choice("description", long[0].header, 0.6, reason)]


def _open_columns(choices: list[Choice], columns: dict[str, Profile]) -> dict[str, Profile]:
    used = {c.header for c in choices if c.is_sure}
    return {h: p for h, p in columns.items() if h not in used and p.n_filled and "." not in h}


def _with(choices: list[Choice], ours: str, header: str, reason: str) -> list[Choice]:
    rest = [c for c in choices if c.ours != ours and c.header != header]
    return [*rest, Choice(ours, header, SURE, reason)]


def _only_kinds(choices: list[Choice], columns: dict[str, Profile]) -> list[Choice]:
    """The one column of a few words that repeat, on a list of machines, is their kind."""
    if any(c.is_sure and c.ours == "equipment_class" for c in choices):
        return choices
    found = [
        h for h, p in _open_columns(choices, columns).items()
        if p.share_words > 0.8 and p.share_filled > 0.7 and p.mean_words <= 3
        and 2 <= p.n_unlike <= 0.5 * p.n_filled and not is_not_ours(h)
    ]  # fmt: skip
    if len(found) != 1:
        return choices
    reason = f"the only column of kinds left; {_reason(0.0, columns[found[0]])}"
    return _with(choices, "equipment_class", found[0], reason)


def _only_date(
    choices: list[Choice], columns: dict[str, Profile], dates: list[str]
) -> list[Choice]:
    """The one column of dates on a list of machines, called "since" in some way, is their start."""
    told = {c.ours for c in choices if c.is_sure}
    if "in_service_on" in told or len(dates) != 1 or name_score(dates[0], "left_on") > 0.2:
        return choices
    if not name_score(dates[0], "in_service_on") > 0.2:
        return choices
    reason = f"the only column of dates, and named so; {_reason(0.3, columns[dates[0]])}"
    return _with(choices, "in_service_on", dates[0], reason)


def _related(
    choices: list[Choice], mine: dict[str, Profile], columns: dict[str, Profile],
    totals: dict[str, tuple[str, str]], keys: frozenset[str],
) -> list[Choice]:  # fmt: skip
    """Columns that no name tells, by how they go with those that are known."""
    sure = {c.ours: c.header for c in choices if c.is_sure}
    rest = {h: p for h, p in _open_columns(choices, mine).items() if h not in keys}
    for ours, (header, reason, is_certain) in found_by_relations(
        sure, rest, columns, totals
    ).items():
        told = f"{reason}; {_reason(0.0, columns[header]).partition('; ')[2]}"
        choices = _with(choices, ours, header, told)
        if not is_certain:
            choices[-1] = replace(choices[-1], confidence=PROPOSED)
    return choices


def _line_text(choices: list[Choice], columns: dict[str, Profile]) -> list[Choice]:
    """The one text that changes within a ticket is the text of its lines."""
    sure = {c.ours: c.header for c in choices if c.is_sure}
    if "description" in sure or not {"ticket", "quantity"} <= set(sure):
        return choices
    ticket = columns[sure["ticket"]].cells
    found = [
        h for h, p in _open_columns(choices, columns).items()
        if p.share_words > 0.7 and p.share_codes < 0.5 and p.n_unlike > 10
        and 0.0 < decides(ticket, p.cells) < 0.9 and not is_not_ours(h)
    ]  # fmt: skip
    if len(found) != 1:
        return choices
    reason = f"the only text that changes within a ticket; {_reason(0.0, columns[found[0]])}"
    return _with(choices, "description", found[0], reason)


def _name(header: str, ours: str) -> float:
    score = name_score(header, ours)
    # a total is no price though it has the word, unless the name is one of ours word by word
    return score if score >= 1.0 or not is_not_ours(header) else 0.0


def _scores(names: np.ndarray, fits: np.ndarray) -> np.ndarray:
    known = names * _NAME + (1 - _NAME) * np.clip(fits, 0, 1)
    alone = 0.45 * np.clip(fits, 0, 1)
    out = np.where(names >= 0.4, known, alone)
    # cells that do not look like it make the best name no more than a proposal
    out = np.where(fits < _UNLIKELY, np.minimum(out, SURE - 0.03), out)
    scores: np.ndarray = np.where(fits == NO, 0.0, out)
    return scores


def _by_other_files(
    scores: np.ndarray, headers: list[str], wanted: list[str], columns: dict[str, Profile],
    known: dict[str, set[str]],
) -> None:  # fmt: skip
    for ours, values in known.items():
        if ours not in wanted or len(values) < 3:
            continue
        for row, header in enumerate(headers):
            cells = columns[header].cells
            filled = cells[cells != ""].str.casefold()
            if len(filled) and float(filled.isin(values).mean()) > 0.8 and filled.nunique() > 2:
                scores[row, wanted.index(ours)] = max(scores[row, wanted.index(ours)], 0.5) + 0.3


def _assigned(
    scores: np.ndarray, headers: list[str], wanted: list[str]
) -> dict[str, tuple[int, float]]:
    from scipy.optimize import linear_sum_assignment

    if not len(headers) or not wanted:
        return {}
    # a sure pair is worth more than two half ones
    worth = np.where(scores >= PROPOSED, scores**2, 0.0)
    rows, columns = linear_sum_assignment(worth, maximize=True)
    return {
        wanted[c]: (int(r), float(scores[r, c]))
        for r, c in zip(rows, columns, strict=True)
        if scores[r, c] >= PROPOSED
    }


def _refuse_meters(
    scores: np.ndarray, headers: list[str], wanted: list[str], columns: dict[str, Profile],
    chosen: dict[str, tuple[int, float]],
) -> dict[str, str]:  # fmt: skip
    """Meters that fall or run too fast are no meters; one that rises is one for sure."""
    if "service_date" not in chosen or "unit_id" not in chosen:
        return {}
    dates = columns[headers[chosen["service_date"][0]]].dates
    machines = columns[headers[chosen["unit_id"][0]]].cells
    at = wanted.index("meter_hours")
    refused = {}
    for row, header in enumerate(headers):
        if scores[row, at] <= 0:
            continue
        is_named = name_score(header, "meter_hours") >= 0.4
        distance = any(w in header.casefold() for w in ("km", "mile", "odo", "kilom"))
        check = check_meter(
            columns[header].values, dates, machines, unit="miles" if distance else "hours"
        )
        if check.refusal:
            scores[row, at] = 0.0
            if is_named:
                refused[header] = f"called a meter, but it {check.refusal}"
        elif check.rises and is_named:
            scores[row, at] += 0.2
        elif check.rises and check.share_falls < 0.03:
            scores[row, at] = max(scores[row, at], PROPOSED)
    return refused


def _by_relations(
    scores: np.ndarray, headers: list[str], wanted: list[str], columns: dict[str, Profile],
    chosen: dict[str, tuple[int, float]],
) -> None:  # fmt: skip
    """What a part number decides is its description; what a ticket decides is of the visit."""

    def cells_of(ours: str) -> pd.Series | None:
        found = chosen.get(ours)
        return columns[headers[found[0]]].cells if found and found[1] >= SURE else None

    part, ticket = cells_of("part_number"), cells_of("ticket")
    if "quantity" not in chosen:
        # what a whole job cost is no price of a piece
        at = wanted.index("unit_price")
        scores[:, at] = np.minimum(scores[:, at], SURE - 0.03)
    for row, header in enumerate(headers):
        column = columns[header]
        if column.share_words < 0.5 or column.share_dates > 0.5:
            continue
        for ours, key, sign in (
            ("description", part, 0.12), ("complaint", ticket, 0.1), ("work_done", ticket, 0.1),
        ):  # fmt: skip
            at = wanted.index(ours)
            if key is None or scores[row, at] <= 0 or column.n_unlike < 3:
                continue
            share = decides(key, column.cells)
            if share:
                # a text that changes within the ticket is the line's, however its words vary
                of_line = (
                    ours == "description" and ticket is not None
                    and 0.0 < decides(ticket, column.cells) < 0.9
                )  # fmt: skip
                scores[row, at] += sign if share > 0.9 or of_line else -sign
        at = wanted.index("description")
        if ticket is not None and scores[row, at] > 0 and decides(ticket, column.cells) > 0.97:
            scores[row, at] -= 0.15


def _reason(name: float, column: Profile) -> str:
    by_name = (
        "the name says so"
        if name >= 0.9
        else "the name is near"
        if name >= 0.4
        else "no name of ours"
    )
    what = []
    if column.share_dates > 0.7:
        what.append(f"{column.share_dates:.0%} dates")
    elif column.share_figures > 0.7:
        what.append(f"{column.share_figures:.0%} figures")
    elif column.share_codes > 0.5:
        what.append(f"{column.share_codes:.0%} numbers with letters")
    else:
        what.append(f"text of {column.mean_words:.1f} words")
    what.append(f"{column.n_unlike} unlike")
    what.append(f"{column.share_filled:.0%} filled")
    return f"{by_name}; {', '.join(what)}"


def _quality(mapping: Mapping, columns: dict[str, Profile]) -> float:
    """Sum of what fits, less for columns that fit nothing; 0 without a needed column."""
    have = {c.ours: c.confidence for c in mapping.choices}
    kind = mapping.kind
    if any(n not in have for n in NEEDED[kind]):
        return 0.0
    sure = sum(c for c in have.values() if c >= SURE)
    total = sum(1 for p in columns.values() if p.n_filled)
    return sure / (0.5 * max(total, 1) + 2.0) + 0.08 * sure
