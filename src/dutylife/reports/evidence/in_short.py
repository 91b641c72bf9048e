"""First screen of the evidence page: what speaks for and against the numbers, a line each."""

from dutylife import wording
from dutylife.models.verdict import OWN_FAILURES
from dutylife.provenance import Run
from dutylife.reports.evidence import (
    assumptions,
    evidence_page,
    law_sections,
    moved_why,
)
from dutylife.reports.facts import plain, table_or_empty
from dutylife.reports.failed import sections_made
from dutylife.reports.layout import Section, listed

_MOST_REASONS = 4


def in_short(run: Run) -> Section:
    """Return the answers of the sections below: rows, findings, texts, laws, assumptions, months.

    An answer that can't be made is left out: its own section says so at its place.
    """
    info = run.info
    makers = {
        "findings": evidence_page.findings,
        "not understood": evidence_page.not_understood,
        "law checks": law_sections.law_checks,
        "assumptions": assumptions.switched,
        "what moved and why": moved_why.moved_why,
    }
    made, _ = sections_made(makers, run, "evidence")
    answer = evidence_page.rows_answer(info["rows_in"], info["rows_used"], info["rows_set_aside"])
    told = [
        set_aside_why(run), lives_used(run), *(s.answer for s in made if s.answer),
        forecasts_scored(run), what_to_record(run),
    ]  # fmt: skip
    return Section("", answer, (), (listed([t for t in told if t]),))


def set_aside_why(run: Run) -> str:
    """Say why rows were set aside, the commonest reason first; blank where none was.

    Parameters
    ----------
    run : Run
    """
    reasons = plain(table_or_empty(run, "set_aside"))["reason"]
    if reasons.empty:
        return ""
    counted = reasons.value_counts()
    told = [f"{reason} ({int(n)})" for reason, n in counted.head(_MOST_REASONS).items()]
    more = len(counted) - len(told)
    rest = f", and {wording.count(more, 'further reason')}" if more else ""
    return f"Set aside: {', '.join(told)}{rest}; each row with its reason in table set_aside."


def lives_used(run: Run) -> str:
    """Say how many lives stand behind the laws, of how many in the record.

    Parameters
    ----------
    run : Run

    Returns
    -------
    str
        Blank where there is no life.
    """
    lives, laws = run.table("failure_events"), run.table("life_models")
    if lives.empty or laws.empty:
        return ""
    n, failed = int(laws["n_lives"].sum()), int(laws["n_failed"].sum())
    no_age = int((lives["clock_source"].astype("object") == "unknown").sum())
    rest = f"; {wording.count(no_age, 'life', 'lives')} of unknown age can't tell" if no_age else ""
    return (
        f"{wording.count(n, 'life', 'lives')} of the {wording.number(len(lives), 4)} on record, "
        f"{wording.number(failed, 4)} of them ended by a failure, stand behind "
        f"{wording.count(len(laws), 'law')}{rest}."
    )


def what_to_record(run: Run) -> str:
    """Say how many laws stand on few failures, and what written down would make them surer.

    Parameters
    ----------
    run : Run

    Returns
    -------
    str
        Blank where every law has enough failures of its own.
    """
    laws = run.table("life_models")
    few = int((laws["n_failed"] < OWN_FAILURES).sum())
    if not few:
        return ""
    return (
        f"{few} of {wording.count(len(laws), 'law')} stand on fewer than {OWN_FAILURES} failures "
        "of their own. To be surer write on each ticket: the hours on the meter, why it was "
        "changed or worked on, the reading as found, and the day the part that comes out was "
        "fitted (data slip)."
    )


def forecasts_scored(run: Run) -> str:
    """Say whether a past forecast was held against what came, and when that begins.

    Parameters
    ----------
    run : Run
    """
    scores = plain(table_or_empty(run, "forecast_scores"))
    scores = scores[(scores["method"] == "forecast") & scores["asked"].notna()]
    if scores.empty:
        return (
            "No forecast was scored yet: none is until a second month is run with this one kept, "
            "or the past is rolled back (dutylife backtest)."
        )
    within = float(scores["under_p80"].astype(float).mean())
    return (
        f"{wording.count(len(scores), 'past forecast')} held against what came: "
        f"{wording.percent(within)} stayed within what 8 in 10 should need."
    )
