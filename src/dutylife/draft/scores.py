"""How well each column of a table goes with each of ours: by names, cells and other columns."""

import numpy as np
import pandas as pd

from dutylife.draft.choices import PROPOSED, SURE
from dutylife.draft.fits import NO
from dutylife.draft.meters import check_meter
from dutylife.draft.names import is_not_ours, name_score, tokens
from dutylife.draft.profile import Profile, decides

UNLIKELY = 0.2
_NAME = 0.62
_KIND_WORDS = frozenset(
    (
        "kind", "type", "class", "category", "art", "typ", "klasse", "kategorie", "gattung",
        "genre", "categorie", "tipo", "clase", "categoria", "soort",
    )
)  # fmt: skip


def name_of_ours(header: str, ours: str) -> float:
    """How far a header is a name of one of ours, 0 to 1."""
    score = name_score(header, ours)
    # a total is no price though it has the word, unless the name is one of ours word by word
    return score if score >= 1.0 or not is_not_ours(header) else 0.0


def named_after_machines(names: np.ndarray, headers: list[str], wanted: list[str]) -> None:
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


def named_of_the_machine(names: np.ndarray, headers: list[str], wanted: list[str]) -> None:
    """The day a machine went into service or left, in a joined table, is no day of a visit."""
    if "service_date" not in wanted:
        return
    for row, header in enumerate(headers):
        of_machine = max(name_score(header, o) for o in ("in_service_on", "left_on"))
        if of_machine >= 0.6 and of_machine > names[row].max() + 0.05:
            names[row] = np.minimum(names[row], 0.3)


def scores_of(names: np.ndarray, fits: np.ndarray) -> np.ndarray:
    """Score of each column of the table (rows) as each of ours, by its name and its cells."""
    known = names * _NAME + (1 - _NAME) * np.clip(fits, 0, 1)
    alone = 0.45 * np.clip(fits, 0, 1)
    out = np.where(names >= 0.4, known, alone)
    # cells that do not look like it make the best name no more than a proposal
    out = np.where(fits < UNLIKELY, np.minimum(out, SURE - 0.03), out)
    scores: np.ndarray = np.where(fits == NO, 0.0, out)
    return scores


def by_other_files(
    scores: np.ndarray, headers: list[str], wanted: list[str], columns: dict[str, Profile],
    known: dict[str, set[str]],
) -> None:  # fmt: skip
    """A column that holds what other files know as machines or parts is that."""
    for ours, values in known.items():
        if ours not in wanted or len(values) < 3:
            continue
        for row, header in enumerate(headers):
            cells = columns[header].cells
            filled = cells[cells != ""].str.casefold()
            if len(filled) and float(filled.isin(values).mean()) > 0.8 and filled.nunique() > 2:
                scores[row, wanted.index(ours)] = max(scores[row, wanted.index(ours)], 0.5) + 0.3


def refuse_meters(
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


def by_relations(
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
