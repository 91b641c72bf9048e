"""Section: what is advised beside the schedule the shop follows today, by component and duty."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from dutylife import wording
from dutylife.components import components_of, short_name
from dutylife.decisions.usage import DAYS_PER_WEEK
from dutylife.provenance import Run
from dutylife.reports.facts import Facts, facts_of, plain, records, table_or_empty
from dutylife.reports.layout import Section
from dutylife.reports.maintenance.maintenance_page import interval_words
from dutylife.reports.tables import Shown, html_table
from dutylife.settings import PresentSchedule, settings_from
from dutylife.vocabulary.spans import DAYS_PER_MONTH, DAYS_PER_YEAR

_DOUBLE = 2.0
_ALIKE = 0.1  # an interval within a tenth of today's is the same to whoever plans the work
_NONE = "No schedule of today is stated; with it in the settings each interval stands beside it."


def present_of(run: Run) -> dict[str, PresentSchedule]:
    """Return the present schedule of a run by the component's short name.

    Parameters
    ----------
    run : Run

    Returns
    -------
    dict of str to PresentSchedule
    """
    if "present_schedule" in run.info:  # a customer's pack bears no settings
        told: Mapping[str, Any] = run.info["present_schedule"]
        return {name: PresentSchedule(**stated) for name, stated in told.items()}
    given = run.info.get("settings", {})
    settings = settings_from({k: given[k] for k in ("coding", "present_schedule") if k in given})
    known = components_of(settings)
    return {
        short_name(name, known) or name: stated
        for name, stated in settings.present_schedule.items()
    }


def present_words(stated: PresentSchedule, given: Facts) -> str:
    """Say a schedule as one would: hours, months, or whichever comes first."""
    days = None if stated.months is None else stated.months * DAYS_PER_MONTH
    return wording.every(stated.hours, days, "", given.meter_unit)


def beside_present(run: Run) -> Section:
    """Return the advised renewal of each part that today's schedule names, with what differs."""
    given, today = facts_of(run), present_of(run)
    title = "Beside the present schedule"
    if not today:
        return Section(title, "" if given.customer else _NONE)
    rows = plain(run.table("intervals"))
    rows = rows[rows["component"].isin(today) & rows["task"].isin(["replace", "run to failure"])]
    use, laws = _use_by_duty(run), plain(table_or_empty(run, "life_models"))
    told = [_difference(r, today[r.component], use.get(r.duty)) for r in records(rows)]
    rows = rows.assign(
        today=[present_words(today[c], given) for c in rows["component"]],
        advised=[interval_words(r, given) for r in records(rows)],
        difference=told,
        why=[
            _why(r, given, against_today(r, today[r.component], laws, use.get(r.duty)))
            for r in records(rows)
        ],
    )
    counts = pd.Series([t.split("\n")[0].split(" by ")[0] for t in told], dtype=object)
    order = ("sooner", "later", "about the same", "not by age", "no figure")
    said = [f"{word} {int((counts == word).sum())}" for word in order if (counts == word).any()]
    missing = sorted(set(today) - set(rows["component"]))
    notes = [
        "Where today's schedule names hours and months, the one that comes first at the usual use "
        "of the duty is compared. What can hurt someone is never advised later than today."
    ]
    notes += (
        [f"Not in this record: {', '.join(missing)}."] if missing and not given.customer else []
    )
    shown = [
        Shown(name="component", heading="component"),
        Shown(name="duty", heading="duty"),
        Shown(name="today", heading="today"),
        Shown(name="advised", heading="advised"),
        Shown(name="difference", heading="difference"),
        Shown(name="why", heading="why", wide=True),
    ]
    return Section(
        title,
        f"Of {wording.count(len(rows), 'part in a duty', 'parts by duty')} that the present "
        f"schedule names: {', '.join(said)}."
        if len(rows)
        else "None of the parts that the present schedule names is in these machines' record.",
        tuple(notes),
        (html_table(rows, shown, caption="Renewal of each part, today and as advised."),)
        if len(rows)
        else (),
    )


def _use_by_duty(run: Run) -> dict[str, float]:
    """Meter units a week of each duty, the middle of its machines; unknown ones left out."""
    spans = plain(table_or_empty(run, "unit_spans"))
    known = spans[spans["hours_per_week"] > 0].groupby("duty")["hours_per_week"].median()
    return {str(duty): float(rate) for duty, rate in known.items()}


def _difference(row: Any, stated: PresentSchedule, use_per_week: float | None) -> str:
    """How far the advised renewal stands from today's, whichever clock rules at the usual use."""
    if row.task == "run to failure":
        return "not by age\nleft to fail, the spare held"
    today_days = None if stated.months is None else stated.months * DAYS_PER_MONTH
    pairs = [(row.interval_days, today_days), (row.interval_hours, stated.hours)]
    ratios = [float(a) / b for a, b in pairs if b is not None and np.isfinite(a)]
    if not ratios:
        return "no figure"
    # of two clocks today's sooner one rules: it is the one the advice is furthest beyond
    ratio = max(ratios)
    if not row.clock and use_per_week:  # the advice goes by whichever comes first too
        day = use_per_week / DAYS_PER_WEEK
        advised, now = (
            min(_days(of_days), _days(hours) / day)
            for of_days, hours in (
                (row.interval_days, row.interval_hours), (today_days, stated.hours)
            )
        )  # fmt: skip
        ratio = advised / now
    if abs(ratio - 1) <= _ALIKE:
        return "about the same"
    if ratio < 1:
        return f"sooner by {wording.percent(1 - ratio)}"
    if ratio < _DOUBLE:
        return f"later by {wording.percent(ratio - 1)}"
    return f"later\n{wording.number(ratio, 2)} times as long"


def _days(value: float | None) -> float:
    return float(value) if value is not None and np.isfinite(value) else np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainstToday:
    """A part changed at today's age and at the advised one.

    ``before_today``, ``before_advised``: share of new parts that fail before either age;
    ``saved_a_year``: by the advised age against today's, on a machine of usual use [currency], None
    where no cost is stated or the law goes by days.
    """

    before_today: float
    before_advised: float
    saved_a_year: float | None


def against_today(
    row: Any, stated: PresentSchedule, laws: pd.DataFrame, use_per_week: float | None
) -> AgainstToday | None:
    """Hold the advised age against today's by the fitted law.

    Parameters
    ----------
    row : row of table "intervals"
    stated : PresentSchedule
    laws : DataFrame, table "life_models"
    use_per_week : float or None
        Usual use of the duty, which turns hours to days and back. [meter unit a week]

    Returns
    -------
    AgainstToday or None
        None where the law is not of Weibull's form or an age on its clock is not known.

    Notes
    -----
    Cost a unit of life of renewal at an age: Barlow and Hunter (1960), Operations Research 8:90.
    """
    own = laws[(laws["component"] == row.component) & (laws["duty"] == row.duty)]
    if row.task != "replace" or len(own) != 1 or own["distribution"].iloc[0] != "weibull":
        return None
    law = own.iloc[0]
    on_hours = law["clock"] == "hours"
    per_day = (use_per_week or np.nan) / DAYS_PER_WEEK
    today_days = None if stated.months is None else stated.months * DAYS_PER_MONTH
    ages = []
    for hours, days in ((stated.hours, today_days), (row.interval_hours, row.interval_days)):
        by_hours, by_days = _days(hours), _days(days)
        ages.append(
            min(by_hours, by_days * per_day) if on_hours else min(by_days, by_hours / per_day)
        )
    scale = float(law["scale_hours"] if on_hours else law["scale_days"])
    if not np.isfinite([*ages, scale]).all():
        return None
    shape = float(law["shape"])
    today, advised = (float(-np.expm1(-((age / scale) ** shape))) for age in ages)
    saved = _saved_a_year(row, law, ages, shape, scale, use_per_week) if on_hours else None
    return AgainstToday(before_today=today, before_advised=advised, saved_a_year=saved)


def _saved_a_year(
    row: Any, law: pd.Series, ages: list[float], shape: float, scale: float,
    use_per_week: float | None,
) -> float | None:  # fmt: skip
    from scipy.special import gamma, gammainc

    failure = row.cost_per_1000_hours_run_to_failure * law["mean_life_hours"] / 1000.0
    planned = failure / row.cost_ratio
    if not (np.isfinite(planned) and use_per_week):
        return None
    rates = []
    for age in ages:
        hazard = (age / scale) ** shape
        lived = scale / shape * gamma(1 / shape) * gammainc(1 / shape, hazard)
        failed = -np.expm1(-hazard)
        rates.append((failure * failed + planned * (1 - failed)) / lived)
    return float((rates[0] - rates[1]) * use_per_week * DAYS_PER_YEAR / DAYS_PER_WEEK)


def _why(row: Any, given: Facts, beside: AgainstToday | None = None) -> str:
    """Who fails before either age, savings with range, how sure, what it stands on."""
    told = []
    if beside is not None:
        before, after = (round(100 * s) for s in (beside.before_today, beside.before_advised))
        told.append(
            f"of 100 parts about {before} fail before today's age, {after} before the advised one"
        )
        if beside.saved_a_year is not None and beside.saved_a_year > 0 and not given.customer:
            told.append(
                f"saves about {wording.money(beside.saved_a_year, given.currency)} a year on each "
                "machine against today's age"
            )
    if np.isfinite(row.saving_per_year_cost) and not given.customer:
        told.append(
            f"saves {wording.money(row.saving_per_year_cost, given.currency)} "
            f"({wording.money(row.saving_per_year_cost_lower, '')} to "
            f"{wording.money(row.saving_per_year_cost_upper, '')}) a year on each machine "
            "against waiting for failure"
        )
    if np.isfinite(row.probability_it_pays) and row.task == "replace":
        told.append(f"{wording.chances(row.probability_it_pays)} that it pays")
    if row.can_hurt:
        told.append(
            f"can hurt someone ({row.can_hurt}): never past the maker's or legal limit, nor later "
            "than today"
        )
    if given.customer:
        return "; ".join([row.sentence.rstrip("."), *told]) + "."
    if row.basis == "starting value":
        told.append(f"a starting value ({row.mark or 'our proposal'})")
    else:
        told.append(f"{wording.count(row.n_failed, 'failure')}, {row.basis}")
    text = "; ".join(told)
    return f"{text[0].upper()}{text[1:]}."
