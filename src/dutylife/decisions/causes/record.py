"""All that the record tells of complaints and parts, gathered once for any number of questions."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from dutylife.coding import complaint_signs
from dutylife.coding.complaints import Sign
from dutylife.components import Component, components_of
from dutylife.decisions.causes.cases import past_cases
from dutylife.decisions.causes.risks import Law, laws_of
from dutylife.decisions.current import current_lives
from dutylife.decisions.expected_failures import expected_failures
from dutylife.decisions.usage import DAYS_PER_WEEK, latest_spans, unit_use
from dutylife.lives.watch import last_day
from dutylife.schema import days_at
from dutylife.settings import Settings

_EARLY_CASES = 25.0  # works of which half a one came back: what a short record is held against
_WORK = ("replace", "repair", "clean")
CELL = ["component", "equipment_class", "duty"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CauseRecord:
    """What questions after causes are answered from.

    Parameters
    ----------
    cases : DataFrame
        From `past_cases`.
    signs : dict of str to Sign
        Complaints read so far.
    expected : Series, index component, equipment_class, duty
        Failures by the laws over the record, comebacks added. [1]
    machines : DataFrame, index unit_id
        equipment_class, duty, customer, days (of its record).
    standing : DataFrame
        Lives in service, from `current_lives`.
    laws : dict
        By component and duty.
    early : dict of str to float
        Share of works on a component that came back at once, half a case in 25 added. [1]
    known : dict of str to Component
    settings : Settings
    """

    cases: pd.DataFrame
    signs: dict[str, Sign]
    expected: pd.Series
    machines: pd.DataFrame
    standing: pd.DataFrame = field(repr=False)
    laws: dict[tuple[str, str], Law] = field(repr=False)
    early: dict[str, float]
    known: dict[str, Component] = field(repr=False)
    settings: Settings = field(repr=False)

    def sign_of(self, complaint: str) -> Sign:
        """Return a complaint as read with the words of the record."""
        if complaint not in self.signs:
            told = self.cases["complaint"]
            read = complaint_signs(told[told != ""], self.settings, [complaint])
            self.signs[complaint] = read[complaint]
        return self.signs[complaint]


def cause_record(
    tables: Mapping[str, pd.DataFrame], settings: Settings, asked: tuple[str, ...] = ()
) -> CauseRecord:
    """Gather cases, expected failures and parts in service.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        "service_lines", "maintenance_events", "units", "unit_spans", "failure_events",
        "life_draws".
    settings : Settings
        With ``fleet.as_of`` filled.
    asked : tuple of str
        Complaints that will be asked about; others are read when asked.

    Returns
    -------
    CauseRecord
    """
    units, spans, as_of = tables["units"], tables["unit_spans"], last_day(settings)
    lives, events = tables["failure_events"], tables["maintenance_events"]
    cases, signs = past_cases(tables["service_lines"], events, units, spans, settings, asked)
    use = unit_use(units, spans, settings)
    expected = _expected(lives, tables["life_draws"], units, use)
    again = cases[cases["is_comeback"]].groupby(CELL)["weight"].sum()
    return CauseRecord(
        cases=cases,
        signs=signs,
        expected=expected.add(again, fill_value=0.0),
        machines=_machines(units, spans, as_of),
        standing=current_lives(lives, units, use, as_of),
        laws=laws_of(tables["life_draws"]),
        early=_early(events),
        known=components_of(settings),
        settings=settings,
    )


def _expected(
    lives: pd.DataFrame, life_draws: pd.DataFrame, units: pd.DataFrame, use: pd.Series
) -> pd.Series:
    """Failures expected in each cell; a life of unknown age from the machine's first day on."""
    lives = lives.astype(dict.fromkeys(["unit_id", *CELL], "object"))
    first = units.set_index(units["unit_id"].astype(object))["first_seen"]
    begun = lives["installed_on"].fillna(days_at(lives["unit_id"], first))
    days = (lives["ended_on"] - begun).dt.days.clip(lower=0).astype(float)
    per_day = lives["unit_id"].map(use).astype(float) / DAYS_PER_WEEK
    lives = lives.assign(
        lived_days=days, lived_hours=days * per_day,
        **{c: lives[c].fillna("") for c in CELL if c != "component"},  # as the cases have it
    )  # fmt: skip
    each = expected_failures(lives, life_draws, starting_values=True)
    total: pd.Series = each.groupby([lives[c].reindex(each.index) for c in CELL]).sum()
    return total


def _machines(units: pd.DataFrame, spans: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    out = units.set_index(units["unit_id"].astype(object))
    place = latest_spans(spans)[["duty", "customer"]].reindex(out.index)
    days = (out["last_seen"].fillna(as_of) - out["first_seen"]).dt.days
    return pd.DataFrame(
        {
            "equipment_class": out["equipment_class"].astype(object).fillna(""),
            "duty": place["duty"].fillna(""),
            "customer": place["customer"].fillna(""),
            "days": days.clip(lower=0).fillna(0.0).astype(float),
        }
    )


def _early(events: pd.DataFrame) -> dict[str, float]:
    component, activity = events["component"].astype(object), events["activity"].astype(object)
    works = component[activity.isin(_WORK)].value_counts()
    back = component[events["is_comeback"]].value_counts()
    usual = (back.sum() + 0.5) / (works.sum() + _EARLY_CASES)
    share = (back.reindex(works.index).fillna(0.0) + _EARLY_CASES * usual) / (works + _EARLY_CASES)
    return {str(c): float(s) for c, s in share.items()}
