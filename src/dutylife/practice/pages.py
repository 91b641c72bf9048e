"""Text of the two pages beside a practice export: its settings file and its README."""

import json

from dutylife.practice.fleet import date_of
from dutylife.practice.truth import PracticeFleet

LINES_COLUMNS = {
    "ticket": "Job",
    "service_date": "Job date",
    "ticket_kind": "Job kind",
    "unit_id": "Machine",
    "customer": "Customer",
    "meter_hours": "Meter",
    "complaint": "Complaint",
    "work_done": "Work",
    "line_kind": "Sort",
    "part_number": "Part no",
    "description": "Text",
    "quantity": "Qty",
    "unit_price": "Each",
}
MACHINES_COLUMNS = {
    "unit_id": "Machine",
    "equipment_class": "Kind",
    "engine_model": "Engine",
    "in_service_on": "In service",
    "left_on": "Left",
    "customer": "Customer",
}
PARTS_COLUMNS = {
    "part_number": "Part no",
    "description": "Name",
    "on_hand": "On hand",
    "on_order": "On order",
    "unit_cost": "Cost",
    "supplier": "Supplier",
    "lead_time_days": "Lead days",
    "pack_size": "Pack",
}


def _toml(value: object) -> str:
    """Return a string, number or list of strings as TOML writes it."""
    return json.dumps(value, ensure_ascii=False)


def _export(path: str, kind: str, columns: dict[str, str]) -> list[str]:
    return [
        "[[exports]]",
        f"path = {_toml(path)}",
        f"kind = {_toml(kind)}",
        'date_order = "dmy"',
        "[exports.columns]",
        *(f"{ours} = {_toml(theirs)}" for ours, theirs in columns.items()),
        "",
    ]


def settings_text(fleet: PracticeFleet) -> str:
    """Return the settings file (TOML) that maps the export and states costs and stock terms."""
    scenario = fleet.scenario
    record, shop = scenario.record, scenario.shop
    severe = [name for name, place in scenario.duties.items() if place.severe]
    lines = [
        "# Settings of an invented fleet, written by `dutylife practice`. No figure is a fact.",
        "",
        "[fleet]",
        f"name = {_toml(record.name)}",
        f"as_of = {record.as_of.isoformat()}",
        f"currency = {_toml(record.currency)}",
        'meter_unit = "hours"',
        "",
        *_export("lines.csv", "lines", LINES_COLUMNS),
        *_export("machines.csv", "machines", MACHINES_COLUMNS),
        *_export("parts.csv", "parts", PARTS_COLUMNS),
        "[duty]",
        f"severe = {_toml(severe)}",
        "",
        "[duty.by_customer]",
        *(f"{_toml(name)} = {_toml(c.duty)}" for name, c in scenario.customers.items()),
        "",
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
    for name, law in scenario.components.items():
        planned = law.price * law.quantity + law.labour_hours * shop.labour_rate
        failure = planned + shop.visit_cost + law.lost_days * shop.lost_day_cost
        lines += [
            f"[costs.{_toml(name)}]",
            f"planned_cost = {planned:.0f}",
            f"failure_cost = {failure:.0f}",
            f"labour_hours = {law.labour_hours:g}",
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
    ]
    return "\n".join(lines)


def readme_text(fleet: PracticeFleet, *, n_years: float, shape: str, is_own: bool) -> str:
    """Return the README: what it is, how it was made, the true laws, what was put in on purpose."""
    record = fleet.scenario.record
    command = (
        f"dutylife practice DIR --units {len(fleet.machines)} --years {n_years:g} "
        f"--seed {fleet.seed} --shape {shape}" + (" --settings FILE" if is_own else "")
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
            "- `lines.csv`, `machines.csv`, `parts.csv`: what a shop could export. "
            "`dutylife.toml`: settings that read them.",
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
        ]
    )
