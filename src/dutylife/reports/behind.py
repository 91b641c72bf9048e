"""From each recommendation to the lives behind it: links for the maintenance and stock pages."""

from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.evidence.lives_page import lives_link
from dutylife.reports.facts import facts_of, plain, records
from dutylife.reports.layout import Section
from dutylife.reports.tables import Shown, figure_column, html_table, linked


def _counts(run: Run) -> dict[tuple[str, str], tuple[int, int]]:
    """Lives and failures of each component and duty, of known age or not."""
    lives = plain(run.table("failure_events")[["component", "duty", "event"]])
    by = lives.assign(failed=lives["event"] == "failed").groupby(["component", "duty"])["failed"]
    told = by.agg(["size", "sum"])
    return {
        (str(key[0]), str(key[1])): (int(n), int(f))
        for key, n, f in zip(told.index, told["size"], told["sum"], strict=True)
    }


def behind_intervals(run: Run) -> Section:
    """Return each interval with a link to the lives it stands on."""
    given, counts = facts_of(run), _counts(run)
    advice = plain(run.table("intervals"))
    rows = advice.assign(
        often=[
            wording.every(r.interval_hours, r.interval_days, r.clock, given.meter_unit) or "no date"
            for r in records(advice)
        ],
        behind=[_link(r.component, r.duty, counts) for r in records(advice)],
    ).sort_values(["component", "duty", "task"], kind="stable")
    table = html_table(
        rows,
        [
            Shown(name="component", heading="component"),
            Shown(name="duty", heading="duty"),
            Shown(name="task", heading="task"),
            Shown(name="often", heading="how often"),
            linked("behind", "lives behind it"),
        ],
        caption="Each interval, and the lives it stands on with their rows of the export.",
        none="No interval is advised.",
    )
    return Section("The lives behind each interval", "", (), (table,))


def behind_orders(run: Run) -> Section:
    """Return each part to order with links to the lives its demand stands on."""
    counts = _counts(run)
    plan = plain(run.table("stock_plan"))
    plan = plan[plan["order_now"] > 0].sort_values("part_number", kind="stable")
    duties: dict[str, list[str]] = {}
    for component, duty in sorted(counts):
        duties.setdefault(component, []).append(duty)
    rows = plan.assign(
        behind=[
            Markup(", ").join(
                _link(r.component, duty, counts, f"{duty} ({counts[r.component, duty][0]})")
                for duty in duties.get(r.component, [])
            )
            for r in records(plan)
        ]
    )
    table = html_table(
        rows,
        [
            Shown(name="part_number", heading="part"),
            Shown(name="component", heading="component"),
            figure_column("order_now", "order", "pieces"),
            linked("behind", "lives behind it, by duty", wide=True),
        ],
        caption="Each part to order, and the lives of its component by duty, how many in brackets.",
        none="Nothing is to be ordered.",
    )
    return Section("The lives behind each order", "", (), (table,))


def _link(
    component: str, duty: str, counts: dict[tuple[str, str], tuple[int, int]], text: str = ""
) -> Markup:
    n, failed = counts.get((component, duty), (0, 0))
    if not n:
        return Markup("none in the record")
    told = f"{wording.count(n, 'life', 'lives')}, {failed} failed"
    return lives_link(component, duty, text or told)
