"""Likely causes of one complaint of one machine, given what is already done."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.coding.complaints import Sign
from dutylife.decisions.causes.asked import the_components, the_machine
from dutylife.decisions.causes.record import CELL, CauseRecord, cause_record
from dutylife.decisions.causes.risks import part_risks
from dutylife.decisions.causes.shrinkage import Level, announced, counted_range, shares
from dutylife.schema import as_table
from dutylife.settings import Settings
from dutylife.wording import count, number, percent_range, share

Array = npt.NDArray[np.float64]
FEWEST_LIKE = 5  # like complaints below which the count is widened, then said to be too few
WIDE = 0.6  # a range wider than this is called so: our proposal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LikelyCauses:
    """Which component to check first; it orders checks and does not diagnose.

    Parameters
    ----------
    table : DataFrame, table "likely_causes"
        One row a component of the machine, the likeliest first by ``check_order``, what is done
        already behind the rest.
    unit_id, equipment_class, duty : str
    complaint : str
        As given.
    already : tuple of str
        Components changed or found in order, by short name.
    counted_in : str
        "duty", "class" or "fleet": where like complaints are counted.
    n_like : float
        Of them a part was at fault. [1]
    never_at_fault : tuple of str
        Components the lexicon points to that were never at fault on this class.
    """

    table: pd.DataFrame
    unit_id: str
    equipment_class: str
    duty: str
    complaint: str
    already: tuple[str, ...]
    counted_in: str
    n_like: float
    never_at_fault: tuple[str, ...] = ()

    @property
    def is_thin(self) -> bool:
        """Fewer than 5 like complaints anywhere in the record."""
        return round(self.n_like) < FEWEST_LIKE

    @property
    def where(self) -> str:
        """In words, whose complaints are counted."""
        kind = self.equipment_class or "machine"
        return {
            "duty": f"the {kind} class in {self.duty}",
            "class": f"the {kind} class in all duties",
            "fleet": "all machines",
        }[self.counted_in]

    @property
    def text(self) -> str:
        """What to check first, and what it stands on, in plain sentences."""
        if self.table.empty:
            return "The record names no part of such a machine that was ever at fault."
        first = self.table.iloc[0]
        wide = first["probability_upper"] - first["probability_lower"] > WIDE
        chance = f"{share(first['probability'])}, range {_span(first, 'probability')}" + (
            ": hardly known" if wide else ""
        )
        head = f"Check first: {first['component']} ({chance})."
        if again := self._again(first):
            head = f"{again} Of what is not done yet check {first['component']} first ({chance})."
        if not self.complaint.strip():
            return f"{head} No complaint was given: the order goes by the age of the parts alone."
        like = count(round(self.n_like), "like complaint")
        if self.is_thin:
            return (
                f"{head} Not enough evidence: only {like} of {self.where} "
                f"{'has' if round(self.n_like) == 1 else 'have'} a part at fault on record; the "
                "order goes by the words of the complaint and the age of the parts."
            )
        most = self.table.iloc[int(self.table["n_at_fault"].to_numpy().argmax())]
        counted = (
            f"Of {like} of {self.where}, {number(round(most['n_at_fault']))} turned out to be the "
            f"{most['component']}."
        )
        return f"{head} {counted}"

    def _again(self, first: pd.Series) -> str:
        """Say which work is to be looked over, where it is likelier than what is not done yet."""
        done = self.table[self.table["is_already_done"]]
        likelier = done[done["probability"] > first["probability"]]
        if first["is_already_done"] or likelier.empty:
            return ""
        told = [
            f"{c} ({share(p)})"
            for c, p in zip(likelier["component"], likelier["probability"], strict=True)
        ]
        return f"Look over the work on the {' and the '.join(told)} again: it stays the likeliest."


def likely_causes(
    tables: Mapping[str, pd.DataFrame] | CauseRecord,
    unit_id: str,
    complaint: str = "",
    already: Sequence[str] = (),
    settings: Settings | None = None,
    *,
    standing: pd.DataFrame | None = None,
) -> LikelyCauses:
    """Put the components of a machine in the order in which to check them.

    Parameters
    ----------
    tables : mapping of str to DataFrame, or CauseRecord
        Tables of a run (see `cause_record`), or what was gathered from them.
    unit_id : str
    complaint : str
        What the customer says; blank to go by ages alone.
    already : sequence of str
        Components already changed or found in order, by short name or alias.
    settings : Settings
        With ``fleet.as_of`` filled; needed beside tables.
    standing : DataFrame, optional
        Its lives in service, like `current_lives`; of the record's last day when not given.

    Returns
    -------
    LikelyCauses

    Raises
    ------
    DecisionError
        The machine or a component is not known; the nearest are named.

    Notes
    -----
    Chance of a component: share of its failures that such a complaint announces (counted, near
    cases first, see `shrinkage.announced`) x its failures a day at its present age by its law, all
    divided by their sum: Bayes' rule. A part already done stays in as far as works on it came
    back at once. The chance is of those cases in which a part is at fault at all.
    """
    if not isinstance(tables, CauseRecord):
        if settings is None:
            raise ValueError("settings are needed beside tables")
        tables = cause_record(tables, settings, (complaint,))
    record = tables
    unit_id = the_machine(unit_id, record.machines.index)
    machine = record.machines.loc[unit_id]
    kind, duty = str(machine["equipment_class"]), str(machine["duty"])
    own = record.standing if standing is None else standing
    own = own[own["unit_id"].astype(object) == unit_id]
    names = _candidates(record, kind, own)
    done = the_components(already, record.known, {*names, *record.cases["component"]})
    sign = record.sign_of(complaint)
    alike = _alike(record, sign)
    risks = _risks(record, own, names, kind, duty)
    n, total, counted_in = _counted(record, alike, names, kind, duty)
    if not names:
        table = as_table("likely_causes", pd.DataFrame())
    else:
        table = _table(record, sign, alike, names, kind, duty, risks, done)
        level = record.settings.report.confidence_level
        low, high = counted_range(n.to_numpy(), total, level)
        table = table.assign(
            unit_id=unit_id, complaint=complaint, counted_in=counted_in, n_like=total,
            n_at_fault=n.reindex(table["component"]).to_numpy(),
        )  # fmt: skip
        told = pd.DataFrame({"low": low, "high": high}, index=n.index).reindex(table["component"])
        table["share_of_like"] = table["n_at_fault"] / total if total > 0 else np.nan
        table["share_of_like_lower"] = told["low"].to_numpy() if total > 0 else np.nan
        table["share_of_like_upper"] = told["high"].to_numpy() if total > 0 else np.nan
        table = as_table("likely_causes", table)
    return LikelyCauses(
        table=table, unit_id=unit_id, equipment_class=kind, duty=duty, complaint=complaint,
        already=done, counted_in=counted_in, n_like=total,
        never_at_fault=tuple(c for c in sign.points_to if c not in names),
    )  # fmt: skip


def _candidates(record: CauseRecord, kind: str, own: pd.DataFrame) -> list[str]:
    """Components at fault on this class, and those this machine is known to have."""
    at_fault = record.cases.loc[record.cases["equipment_class"] == kind, "component"]
    fleet = set(record.cases["component"])
    return sorted(set(at_fault) | (set(own["component"].astype(object)) & fleet))


def _alike(record: CauseRecord, sign: Sign) -> pd.DataFrame:
    """Flags of each case: the same words; other words that point to the same components."""
    cases = record.cases
    if not sign.words:  # nothing was said: every failure is like it
        return pd.DataFrame({"same": True, "wide": False}, index=cases.index)
    same = (cases["words"] == sign.words) & (cases["is_known"] == sign.is_known)
    # words that point nowhere have nothing in common but that
    wide = (cases["points_to"] == ";".join(sign.points_to)) & ~same & bool(sign.points_to)
    return pd.DataFrame({"same": same, "wide": wide})


def _rings(frame: pd.DataFrame, kind: str, duty: str) -> list[pd.Series]:
    """Flags of rows by ring: fleet without the class, class without the duty, both."""
    in_class = frame["equipment_class"] == kind
    in_duty = in_class & (frame["duty"] == duty)
    return [~in_class, in_class & ~in_duty, in_duty]


def _sum(weight: pd.Series, by: pd.Series, names: list[str]) -> Array:
    return np.asarray(weight.groupby(by).sum().reindex(names).fillna(0.0), dtype=np.float64)


def _table(
    record: CauseRecord,
    sign: Sign,
    alike: pd.DataFrame,
    names: list[str],
    kind: str,
    duty: str,
    risks: pd.DataFrame,
    done: tuple[str, ...],
) -> pd.DataFrame:
    cases, weight = record.cases, record.cases["weight"]
    cells = record.expected.rename("expected").reset_index()
    # of a component without a law every failure counts as expected
    no_law = ~cases["component"].isin(set(cells["component"]))
    added = cases.loc[no_law, CELL].assign(expected=weight[no_law])
    cells = pd.concat([cells, added], ignore_index=True)

    def level(of_cases: pd.Series, of_cells: pd.Series | None = None) -> Level:
        there = cells if of_cells is None else cells[of_cells]
        return Level(
            _sum(weight[of_cases], cases.loc[of_cases, "component"], names),
            _sum(there["expected"], there["component"], names),
        )

    n_same = float(weight[alike["same"]].sum())
    n_wide = float(weight[alike["wide"]].sum())
    pointed = np.array([c in sign.points_to for c in names])
    rings = [
        level(alike["same"] & of_cases, of_cells)
        for of_cases, of_cells in zip(
            _rings(cases, kind, duty), _rings(cells, kind, duty), strict=True
        )
    ]
    mean, worth = announced(pointed, level(alike["wide"]), (n_same + 0.5) / (n_wide + 0.5), rings)
    early = np.array([record.early.get(c, 1.0) if c in done else 1.0 for c in names])
    risk = risks["per_day"].to_numpy() * early
    chance, low, high = shares(
        mean, worth, risk, risks["cv"].to_numpy(), record.settings.report.confidence_level
    )
    out = pd.DataFrame(
        {
            "component": names, "probability": chance, "probability_lower": low,
            "probability_upper": high, "times_usual_risk": risks["times_usual"].to_numpy(),
            "age_hours": risks["age_hours"].to_numpy(), "age_days": risks["age_days"].to_numpy(),
            "is_already_done": [c in done for c in names],
        }
    ).sort_values(
        ["is_already_done", "probability", "component"], ascending=[True, False, True],
        kind="stable",
    )  # fmt: skip
    return out.assign(check_order=np.arange(1, len(out) + 1))


def _risks(
    record: CauseRecord, own: pd.DataFrame, names: list[str], kind: str, duty: str
) -> pd.DataFrame:
    """Risk of each candidate; without a law its failures on the class over machine days."""
    found = part_risks(
        own, duty, record.laws, record.early, record.settings.coding.comeback_days
    ).reindex(names)
    days = float(record.machines.loc[record.machines["equipment_class"] == kind, "days"].sum())
    of_class = record.cases["equipment_class"] == kind
    n = _sum(record.cases.loc[of_class, "weight"], record.cases.loc[of_class, "component"], names)
    counted = pd.Series((n + 0.5) / max(days, 1.0), index=names)
    ages = own.groupby(own["component"].astype(object))[["age_hours", "age_days"]].max()
    times = (found["per_day"] / found["steady"]).fillna(1.0)
    return found.assign(
        per_day=found["per_day"].fillna(counted), cv=found["cv"].fillna(0.5), times_usual=times,
        age_hours=found["age_hours"].fillna(ages["age_hours"].reindex(names)),
        age_days=found["age_days"].fillna(ages["age_days"].reindex(names)),
    )  # fmt: skip


def _counted(
    record: CauseRecord, alike: pd.DataFrame, names: list[str], kind: str, duty: str
) -> tuple[pd.Series, float, str]:
    """Like complaints by component, their sum, and where they are counted: as near as 5 allow."""
    cases = record.cases
    _, rest, near = _rings(cases, kind, duty)
    everywhere = pd.Series(data=True, index=cases.index)
    places = {"duty": near, "class": near | rest, "fleet": everywhere}
    totals = {
        name: float(cases.loc[alike["same"] & there, "weight"].sum())
        for name, there in places.items()
    }
    enough = [name for name, total in totals.items() if round(total) >= FEWEST_LIKE]
    where = enough[0] if enough else "fleet"
    like = alike["same"] & places[where]
    n = _sum(cases.loc[like, "weight"], cases.loc[like, "component"], names)
    return pd.Series(n, index=names), totals[where], where


def _span(row: pd.Series, name: str) -> str:
    return percent_range(row[f"{name}_lower"], row[f"{name}_upper"])
