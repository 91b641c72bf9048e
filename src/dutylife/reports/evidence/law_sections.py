"""Do the laws hold, and does one maker's replacement last: two sections of the evidence."""

import pandas as pd
from markupsafe import Markup

from dutylife import wording
from dutylife.provenance import Run
from dutylife.reports.evidence.law_figures import pictures_from
from dutylife.reports.facts import facts_of, plain, records, table_or_empty
from dutylife.reports.layout import Section, side_by_side
from dutylife.reports.results.marks import in_percent
from dutylife.reports.tables import Shown, figure_column, html_table

TOP_LAWS = 4  # drawn
FIRST_LAWS = 10  # on the page; those that do not hold are there always


def law_checks(run: Run) -> Section:
    """Return by component and duty whether the Weibull law holds for the lives it stands on."""
    table = plain(run.table("law_checks"))
    tested = table[table["p_law"].notna()]
    fails = tested[tested["weibull"] == "does not hold"]
    few = len(table) - len(tested)
    pairs = wording.count(len(tested), "law")
    if tested.empty:
        answer = "No component in any duty has enough failures to test its law."
    elif fails.empty:
        answer = f"Nothing speaks against {'the one law' if len(tested) == 1 else pairs} tested"
        answer += f"; {few} more stand on too few failures to test." if few else "."
    else:
        verb = "does" if len(fails) == 1 else "do"
        answer = f"Of {pairs} tested {len(fails)} {verb} not hold; {few} more have too few failures"
        answer += " to test."
    sentences = (
        "Each law is held against lives drawn from it under the same watching: were it right, so "
        "great a distance would come up with the chance shown, adjusted for the number of laws "
        "tested (false discovery, 0.05). The interval of a law that does not hold is to be taken "
        "with care: mixed causes, a bad lot or early failures look so.",
    )
    order = tested.sort_values(["p_law", "component", "duty"], kind="stable")
    order = order.head(max(FIRST_LAWS, len(fails)))
    more = len(tested) - len(order)
    caption = "Laws tested, the least likely first"
    caption += f"; table law_checks holds the other {more}." if more else "."
    shown = [
        Shown(name="component", heading="component"),
        Shown(name="duty", heading="duty"),
        figure_column("n_lives", "lives"),
        figure_column("n_failed", "failures"),
        figure_column("p_law", "chance if the law is right", write=_chance),
        figure_column("p_law_adjusted", "adjusted", write=_chance),
        Shown(name="verdict", heading="what it says", wide=True),
    ]
    html = html_table(
        order, shown, caption=caption, none="No law could be tested.",
    )  # fmt: skip
    return Section("Do the laws hold", answer, sentences, (html,))


def survival(run: Run) -> Section:
    """Return the pictures of the laws that matter: those that fail their test, then most failures.

    Each cell has two: the share still working by age, and the same on probability paper.
    """
    given, models = facts_of(run), plain(run.table("life_models"))
    names = ("survival_curves", "life_draws", "law_checks")
    tables = {name: plain(table_or_empty(run, name)) for name in names}
    checked = tables["law_checks"]
    fails = checked.loc[checked["weibull"] == "does not hold", ["component", "duty"]]
    suspect = set(fails.itertuples(index=False, name=None))
    models = models.assign(
        holds=[(r.component, r.duty) not in suspect for r in models.itertuples()]
    ).sort_values(["holds", "n_failed", "component", "duty"], ascending=[True, False, True, True])
    drawn: list[Markup] = []
    for model in records(models[models["n_failed"] > 0]):
        if len(drawn) >= 2 * TOP_LAWS:
            break
        drawn += pictures_from(tables, model, given)
    pairs = wording.count(len(drawn) // 2, "pair")
    sentence = (
        f"The {pairs} of component and duty that matter most: laws that do not hold first, then "
        "those with most failures. Left, the share still working by age; right, the same lives on "
        "Weibull paper, where failures that follow the law lie along its line."
        if drawn
        else "No component has a failure with a known age."
    )
    pairs_of = [side_by_side(drawn[i : i + 2]) for i in range(0, len(drawn), 2)]
    return Section("Lives as seen, and the law", "", (sentence,), tuple(pairs_of))


def part_makers(run: Run) -> Section:
    """Return by component whether a maker's parts last as long as the others'."""
    table = plain(run.table("part_makers"))
    given = facts_of(run)
    if table.empty:
        return Section(
            "Does the replacement last as long",
            "No component has parts of two makers with enough lives to compare.",
            (
                "A column for the part's maker in the parts file (part_maker), and part numbers "
                "on the lines, would let their lives be compared.",
            ),
        )
    differ = table[table["lasts"].isin(["shorter", "longer"])]
    answer = (
        " ".join(f"{r['component']}, {r['part_maker']}: {r['verdict']}." for r in _rows(differ))
        if len(differ)
        else "No maker's parts are seen to last shorter or longer than the others'."
    )
    span = [
        ""
        if pd.isna(low)
        else f"{wording.number(low)} to {wording.number(high) if pd.notna(high) else 'no bound'}"
        for low, high in zip(table["times_life_lower"], table["times_life_upper"], strict=True)
    ]
    shown = [
        Shown(name="component", heading="component"),
        Shown(name="part_maker", heading="maker"),
        figure_column("n_lives", "lives"),
        figure_column("n_failed", "failures"),
        figure_column("times_life", "times as long", write=_chance, missing=""),
        Shown(name="span", heading=in_percent(given.confidence_level), number=True),
        figure_column("p_adjusted", "chance if alike", write=_chance, missing=""),
        Shown(name="verdict", heading="what it says", wide=True),
    ]
    html = html_table(
        table.assign(span=span), shown,
        caption="Lives of a maker's parts over those of the other makers, within each duty. "
        "It goes with the maker; who fits it may matter, too.",
        none="No maker is compared.",
    )  # fmt: skip
    return Section("Does the replacement last as long", answer, (), (html,))


def _chance(value: float) -> str:
    return wording.number(value, 2)


def _rows(table: pd.DataFrame) -> list[dict[str, object]]:
    return [{str(k): v for k, v in row.items()} for row in table.to_dict("records")]
