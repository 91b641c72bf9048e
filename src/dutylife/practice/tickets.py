"""Visits and counter sales as invoice lines, one row a line, as a shop's billing has them."""

import pandas as pd

from dutylife.practice.fleet import date_of
from dutylife.practice.meters import Meter
from dutylife.practice.streams import Stream
from dutylife.practice.texts import Typist
from dutylife.practice.truth import PracticeFleet, oil_of
from dutylife.practice.visits import CHECK, COUNTER, OTHER, REPAIR, SERVICE, CounterSale, Visit
from dutylife.vocabulary.spans import DAYS_PER_YEAR

LINES_HEADINGS = (
    "Job", "Job date", "Job kind", "Machine", "Customer", "Meter", "Complaint", "Work", "Sort",
    "Part no", "Text", "Qty", "Each",
)  # fmt: skip
FIRST_JOB = 20001
PRICE_RISE_PER_YEAR = 0.03
FEE = 3.5
STEPS_AN_HOUR = 4  # labour is billed in quarters of an hour

Line = tuple[str, str, str, str, str]  # sort, part number, text, quantity, price


def shop_date(day: float) -> str:
    """Date as the shop writes it, day first."""
    return date_of(day).strftime("%d/%m/%Y")


def typed_lines(fleet: PracticeFleet) -> pd.DataFrame:
    """Every line within the record, in order of job.

    Returns
    -------
    DataFrame
        Columns `LINES_HEADINGS`, all text as it stands in the file.
    """
    # what is billed on a visit's own ticket is no job of its own
    own = [sale for sale in fleet.sales if sale.visit is None]
    added = {id(sale.visit): sale for sale in fleet.sales if sale.visit is not None}
    jobs: list[Visit | CounterSale] = [*fleet.visits, *own]
    jobs = sorted((job for job in jobs if job.day < fleet.span.end), key=lambda job: job.day)
    meters = _meters(fleet)
    counts: dict[int, int] = {}
    rows: list[tuple[str, ...]] = []
    for number, job in enumerate(jobs, start=FIRST_JOB):
        # a job's texts hang on its machine and its turn there, not on the fleet's other jobs
        key = job.machine.index if isinstance(job, Visit) else 1_000_003
        counts[key] = counts.get(key, 0) + 1
        stream = Stream(fleet.seed, key, 4, counts[key])
        if isinstance(job, Visit):
            meter = meters[job.machine.index].typed_at(job.day, job.meter_hours)[0]
            rows += _visit_rows(fleet, job, f"J{number}", stream, meter, added.get(id(job)))
        else:
            rows += _sale_rows(fleet, job, f"J{number}", stream)
    return pd.DataFrame(rows, columns=list(LINES_HEADINGS), dtype="object")


def _meters(fleet: PracticeFleet) -> dict[int, Meter]:
    visits: dict[int, list[Visit]] = {}
    for visit in fleet.visits:
        if visit.day < fleet.span.end:
            visits.setdefault(visit.machine.index, []).append(visit)
    return {
        index: Meter(fleet.scenario, fleet.span, own[0].machine, own, fleet.seed)
        for index, own in visits.items()
    }


def _visit_rows(
    fleet: PracticeFleet,
    visit: Visit,
    number: str,
    stream: Stream,
    meter: str,
    too_many: CounterSale | None,
) -> list[tuple[str, ...]]:
    scenario = fleet.scenario
    typist = Typist(scenario, stream)
    has_meter = visit.machine.has_meter and not stream.chance(scenario.record.share_meter_missing)
    head = (
        number,
        shop_date(visit.day),
        REPAIR if visit.kind in (CHECK, OTHER) else visit.kind,
        visit.machine.unit_id,
        visit.customer,
        meter if has_meter else "",
        typist.complaint(visit),
        typist.work(visit),
    )
    lines = _part_lines(fleet, visit, typist, stream)
    if too_many is not None:
        lines.append(_sale_line(fleet, too_many, typist))
    lines.append(_labour_line(fleet, visit, typist, stream))
    if stream.chance(scenario.visits.fee_share):
        kind = "service_fee" if visit.kind == SERVICE else "fee"
        lines.append(("fee", "", typist.phrase(kind), "1", f"{FEE:.2f}"))
    if stream.chance(0.03):
        lines.append(("note", "", typist.phrase("note"), "", ""))
    return [(*head, *line) for line in lines]


def _part_lines(fleet: PracticeFleet, visit: Visit, typist: Typist, stream: Stream) -> list[Line]:
    scenario = fleet.scenario
    lines: list[Line] = []
    oil = oil_of(scenario, visit)
    if oil:
        part = scenario.other_parts[oil]
        price = _price(fleet, part.price, visit.day)
        lines.append(("part", oil, part.description, "1", price))
    # parts changed by guess stand in no order that would name the failed one
    works = sorted(visit.works, key=lambda w: w.component) if visit.is_shotgun else visit.works
    for work in works:
        if work.activity != "replace":
            continue
        law = scenario.components[work.component]
        part_number = scenario.part_number(work.component, visit.machine.equipment_class)
        text = typist.part_name(work.component)
        if stream.chance(scenario.visits.no_number_share):
            part_number = ""
        elif stream.chance(scenario.visits.blank_share):
            text = ""
        # work that has to be done again is not billed
        price = "0.00" if work.is_comeback else _price(fleet, law.price, visit.day)
        lines.append(("part", part_number, text, str(law.quantity), price))
    return lines


def _labour_line(fleet: PracticeFleet, visit: Visit, typist: Typist, stream: Stream) -> Line:
    laws = fleet.scenario.components
    hours = {SERVICE: 0.8, CHECK: 0.5, OTHER: 1.0}.get(visit.kind, 0.0)
    hours += sum(laws[work.component].labour_hours for work in visit.causes)
    hours += sum(
        0.4 * laws[work.component].labour_hours for work in visit.works if work.reason != "failure"
    )
    quarters = max(round(hours * stream.uniform(0.8, 1.3) * STEPS_AN_HOUR), 1)
    is_free = any(work.is_comeback for work in visit.works)
    rate = 0.0 if is_free else fleet.scenario.shop.labour_rate
    return ("labour", "", typist.phrase("labour"), f"{quarters / STEPS_AN_HOUR:g}", f"{rate:.2f}")


def _sale_rows(
    fleet: PracticeFleet, sale: CounterSale, number: str, stream: Stream
) -> list[tuple[str, ...]]:
    unit_id = "" if sale.machine is None else sale.machine.unit_id
    head = (number, shop_date(sale.day), COUNTER, unit_id, sale.customer, "", "", "")
    return [(*head, *_sale_line(fleet, sale, Typist(fleet.scenario, stream)))]


def _sale_line(fleet: PracticeFleet, sale: CounterSale, typist: Typist) -> Line:
    if sale.part_number in fleet.scenario.other_parts:
        part = fleet.scenario.other_parts[sale.part_number]
        text, price = part.description, part.price
    else:
        text = typist.part_name(sale.component)
        price = fleet.scenario.components[sale.component].price
    sort = "part"
    if sale.quantity < 0:
        sort, text = "credit", f"{text} {typist.phrase('returned')}"
    return sort, sale.part_number, text, str(sale.quantity), _price(fleet, price, sale.day)


def _price(fleet: PracticeFleet, price: float, day: float) -> str:
    years = (day - fleet.span.end) / DAYS_PER_YEAR
    return f"{price * (1.0 + PRICE_RISE_PER_YEAR) ** years:.2f}"
