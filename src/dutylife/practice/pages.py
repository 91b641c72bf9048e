"""Text of the two pages beside a practice export: its settings file and its README."""

import json
from collections.abc import Sequence

from dutylife.practice.difficulties import DIFFICULTIES, with_difficulties
from dutylife.practice.fleet import date_of
from dutylife.practice.mistaken import stated_costs, wrong_duties
from dutylife.practice.scenario import read_scenario
from dutylife.practice.shapes import PLAIN, Form, Shape
from dutylife.practice.truth import PracticeFleet


def _toml(value: object) -> str:
    """Return a string, number or list of strings as TOML writes it."""
    return json.dumps(value, ensure_ascii=False)


def _export(path: str, kind: str, form: Form) -> list[str]:
    plain = {"delimiter": PLAIN.delimiter, "decimal": PLAIN.decimal, "thousands": PLAIN.thousands}
    return [
        "[[exports]]",
        f"path = {_toml(path)}",
        f"kind = {_toml(kind)}",
        *(
            f"{key} = {_toml(getattr(form, key))}"
            for key, usual in plain.items()
            if getattr(form, key) != usual
        ),
        'date_order = "dmy"',
        "[exports.columns]",
        *(f"{ours} = {_toml(theirs)}" for ours, theirs in form.columns(kind).items()),
        "",
    ]


def settings_text(
    fleet: PracticeFleet,
    form: Form = PLAIN,
    lines_files: Sequence[str] = ("lines.csv",),
    *,
    says_duty: bool = True,
) -> str:
    """Return the settings file (TOML) that maps the export and states costs and stock terms.

    Parameters
    ----------
    fleet : PracticeFleet
    form : Form
        Signs and headings of the files.
    lines_files : sequence of str
        Names of the files of lines.
    says_duty : bool
        Whether duties are stated.
    """
    scenario = fleet.scenario
    record, shop = scenario.record, scenario.shop
    lines = [
        "# Settings of an invented fleet, written by `dutylife practice`. No figure is a fact.",
        "",
        "[fleet]",
        f"name = {_toml(record.name)}",
        f"as_of = {record.as_of.isoformat()}",
        f"currency = {_toml(record.currency)}",
        'meter_unit = "hours"',
        "",
        *(row for name in lines_files for row in _export(name, "lines", form)),
        *_export("machines.csv", "machines", form),
        *_export("parts.csv", "parts", form),
        *(_announced(form) if fleet.announced else []),
        *(_duties(fleet) if says_duty else []),
        "[workshop]",
        f"hours_per_week = {shop.hours_per_week:g}",
        f"labour_rate = {shop.labour_rate:g}",
        f"visit_cost = {shop.visit_cost:g}",
        "",
        "# all-in, one change: part and labour; for a failure also the visit and the lost days",
        "[costs.default]",
        'payer = "contractor"',
        "",
    ]
    costs = stated_costs(fleet)
    for name, law in scenario.components.items():
        planned, failure = costs[name]
        lines += [
            f"[costs.{_toml(name)}]",
            f"planned_cost = {planned:.0f}",
            f"failure_cost = {failure:.0f}",
            f"labour_hours = {law.labour_hours:g}",
            f"lost_days_per_failure = {law.lost_days:g}",
            "",
        ]
    for name, machine in scenario.classes.items():
        if machine.price > 0:
            lines += [
                f"[replacement_price.{_toml(name)}]",
                f"price = {machine.price:g}",
                f"years = {machine.years:g}",
                "",
            ]
    lines += [
        "[stock.default]",
        f"lead_time_days = {shop.lead_time_days:g}",
        f"review_days = {shop.review_days:g}",
        f"service_level = {shop.service_level:g}",
        'service_measure = "fill rate"',
        f"holding_rate = {shop.holding_rate:g}",
        f"order_cost = {shop.order_cost:g}",
        "",
        *_plan(fleet),
    ]
    return "\n".join(lines)


def _announced(form: Form) -> list[str]:
    """Export of the announced machines: our own columns, ISO dates."""
    sign = [] if form.delimiter == PLAIN.delimiter else [f"delimiter = {_toml(form.delimiter)}"]
    return ["[[exports]]", 'path = "contracts.csv"', 'kind = "contracts"', *sign, ""]


def _duties(fleet: PracticeFleet) -> list[str]:
    scenario = fleet.scenario
    severe = [name for name, place in scenario.duties.items() if place.severe]
    return [
        "[duty]",
        f"severe = {_toml(severe)}",
        "",
        "[duty.by_customer]",
        *(f"{_toml(name)} = {_toml(c.duty)}" for name, c in scenario.customers.items()),
        "",
        *_wrong_duties(fleet),
    ]


def _wrong_duties(fleet: PracticeFleet) -> list[str]:
    wrong = wrong_duties(fleet)
    if not wrong:
        return []
    stated = [f"{_toml(name)} = {_toml(duty)}" for name, duty in wrong.items()]
    return ["[duty.by_unit]", *stated, ""]


def _plan(fleet: PracticeFleet) -> list[str]:
    plan = fleet.scenario.plan
    if plan.share <= 0:
        return _schedule(fleet)
    begin = date_of(fleet.span.end).isoformat()
    out = ["[plan]", 'in_force = "present_schedule"', f"from = {begin}", ""]
    for name, age in plan.ages.items():
        key, value = ("months", age.months) if age.hours is None else ("hours", age.hours)
        out += [f"[present_schedule.{_toml(name)}]", f"{key} = {value:g}", ""]
    return out


def _schedule(fleet: PracticeFleet) -> list[str]:
    """The schedule the shop says it follows: compared with, never what the record shows."""
    out = []
    for name, age in fleet.scenario.schedule.items():
        out += [f"[present_schedule.{_toml(name)}]", f"hours = {age.hours:g}"]
        out += [f"months = {age.months:g}", ""]
    return out


def readme_text(fleet: PracticeFleet, *, n_years: float, shape: Shape, is_own: bool) -> str:
    """Return the README: what it is, how it was made, the true laws, what was put in on purpose."""
    record = fleet.scenario.record
    command = (
        f"dutylife practice DIR --units {fleet.n_units} --years {n_years:g} "
        f"--seed {fleet.seed} --shape {shape.name}" + (" --settings FILE" if is_own else "")
    )
    laws = [
        f"| {law.component} | {law.duty} | {law.clock} | {law.distribution} | {law.shape:g} "
        f"| {law.scale:g} |"
        for law in fleet.laws.itertuples()
    ]
    never_in = sum(not machine.is_customer_here for machine in fleet.machines)
    months = record.future_months
    return "\n".join(
        [
            f"# {record.name}",
            "",
            "Everything here is invented: depot, customers, machines, part numbers, prices, laws.",
            "No figure is a fact about a real machine, and none replaces a maker's manual.",
            "",
            f"- Made by `{command}` (seed {fleet.seed}); the same command writes the same bytes.",
            f"- Record: {date_of(fleet.span.start).isoformat()} to {record.as_of.isoformat()}, "
            f"{len(fleet.machines)} machines on the list, {never_in} of them never came in.",
            _what_is_here(shape),
            "- `truth/laws.csv`: the laws below. `truth/lives.csv`: every true life since each "
            "machine was new, cut at the record's last day.",
            "- `truth/demand.csv`: pieces that left the shelf by part and month, "
            f"{months} months beyond the record included (the future; no machine is bought in it).",
            "",
            "## True laws",
            "",
            "Weibull; `scale` is the characteristic life on the component's own clock "
            "(running hours or calendar days).",
            "",
            "| component | duty | clock | distribution | shape | scale |",
            "| --- | --- | --- | --- | --- | --- |",
            *laws,
            "",
            "## What was put in on purpose",
            "",
            "- A failed machine comes in 0 to "
            f"{fleet.scenario.visits.arrival_days_at_most} days later; no hours run meanwhile. "
            "A cleaned carburetor starts a new life.",
            "- The record starts late: parts then in the machines are of an age the export "
            "does not show.",
            f"- About {record.leaving_per_year:.0%} of the machines leave each year, nearly "
            "always without a word (`lost` in the lives).",
            f"- {record.share_without_meter:.0%} of the machines have no meter; on the others "
            f"{record.share_meter_missing:.0%} of the readings are missing.",
            "- Sound parts are changed at half-yearly services of some customers, and beside "
            "another repair (`replaced` in the lives).",
            "- A few repairs come back within three weeks by poor work, not by the law: "
            "`replaced` with `is_comeback`.",
            "- Texts slip, shorten, shout or are blank; some repairs do not name their cause; "
            "some part lines have no number.",
            "- Counter sales are for machines that are not on this list.",
            "",
            *_strengths(fleet),
        ]
    )


def _what_is_here(shape: Shape) -> str:
    if shape.form is None:
        return (
            f"- What a shop could export: {shape.about}. "
            "`dutylife draft EXPORT...` makes the settings that read it."
        )
    return (
        "- `lines.csv`, `machines.csv`, `parts.csv`: what a shop could export. "
        "`dutylife.toml`: settings that read them."
    )


def _strengths(fleet: PracticeFleet) -> list[str]:
    """Difficulties whose strength is not the plain fleet's, and how the laws came to be."""
    plain = with_difficulties(read_scenario()).difficulties
    other = {n: s for n, s in fleet.scenario.difficulties.items() if s != plain[n]}
    out = []
    if fleet.scenario.laws == "drawn":
        out += [
            "The laws were drawn: shape lognormal with median 1.5, 95 % within 0.7 to 3.2; scale "
            "about the scenario's, standard deviation of the log 0.5.",
            "",
        ]
    if other:
        out += [
            "## Difficulties of another strength than the plain fleet's",
            "",
            *(f"- {name} = {value:g}. {DIFFICULTIES[name]}" for name, value in other.items()),
            "",
        ]
    return out
