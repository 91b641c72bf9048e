"""The columns of one table to ours, one to one: by their names and by what stands in them."""

from dataclasses import replace

import numpy as np

from dutylife.draft.choices import NEEDED, PROPOSED, SURE, Choice, Mapping, reason_of
from dutylife.draft.fits import cell_score
from dutylife.draft.leftovers import (
    line_text,
    only_date,
    only_kinds,
    only_text,
    related,
    unrivalled,
)
from dutylife.draft.profile import Profile
from dutylife.draft.scores import (
    by_other_files,
    by_relations,
    name_of_ours,
    named_after_machines,
    named_of_the_machine,
    refuse_meters,
    scores_of,
)
from dutylife.intake.columns import COLUMNS_OF

_MAY_BE_KEYS = ("ticket", "unit_id", "customer", "part_number", "kit_number", "alias")
_OTHER_DATES = ("received_on", "ready_on")
# never proposed: the shop fills them in, or they stand in no export
_NOT_PROPOSED = frozenset({"counted", "confirmed", "alternate_of", "parts_wait_days"})


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
    names = np.array([[name_of_ours(h, o) for o in wanted] for h in headers]).reshape(
        len(headers), len(wanted)
    )
    fits = np.array([[cell_score(o, columns[h], kind) for o in wanted] for h in headers])
    fits = fits.reshape(len(headers), len(wanted))
    named_after_machines(names, headers, wanted)
    named_of_the_machine(names, headers, wanted)
    scores = scores_of(names, fits)
    for row, header in enumerate(headers):
        if header in keys:
            scores[row, [i for i, o in enumerate(wanted) if o not in _MAY_BE_KEYS]] = 0.0
    by_other_files(scores, headers, wanted, columns, known or {})
    refused: dict[str, str] = {}
    chosen = _assigned(scores, headers, wanted)
    if kind == "lines":
        refused = refuse_meters(scores, headers, wanted, columns, chosen)
        by_relations(scores, headers, wanted, columns, chosen)
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
        reason = reason_of(names[row, column], columns[header])
        if ours in _OTHER_DATES and dates == [header] and "service_date" not in chosen:
            ours = "service_date"
        if ours == "service_date" and dates == [header]:
            score, reason = max(score, 0.7), reason + "; the only column of dates"
        choices.append(Choice(ours, header, round(float(min(score, 1.0)), 2), reason))
    choices = [unrivalled(c, scores, fits, headers, wanted) for c in choices]
    if kind == "lines":
        choices = related(choices, {h: columns[h] for h in headers}, columns, totals or {}, keys)
        choices = only_text(choices, columns)
        choices = line_text(choices, columns)
    if kind in ("machines", "roster"):
        choices = only_kinds(choices, columns)
        choices = only_date(choices, columns, dates)
    choices.sort(key=lambda c: (not c.is_sure, wanted.index(c.ours)))
    kept = tuple(c for c in choices if c.confidence >= PROPOSED)
    used = {c.header for c in kept}
    mapping = Mapping(kind, kept, refused, tuple(h for h in columns if h not in used))
    return replace(mapping, quality=_quality(mapping, columns))


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


def _quality(mapping: Mapping, columns: dict[str, Profile]) -> float:
    """Sum of what fits, less for columns that fit nothing; 0 without a needed column."""
    have = {c.ours: c.confidence for c in mapping.choices}
    kind = mapping.kind
    if any(n not in have for n in NEEDED[kind]):
        return 0.0
    sure = sum(c for c in have.values() if c >= SURE)
    total = sum(1 for p in columns.values() if p.n_filled)
    return sure / (0.5 * max(total, 1) + 2.0) + 0.08 * sure
