"""First screen of the evidence page: what speaks for and against the numbers, a line each."""

from dutylife.provenance import Run
from dutylife.reports.evidence import (
    assumptions,
    evidence_page,
    law_sections,
    moved_why,
)
from dutylife.reports.failed import sections_made
from dutylife.reports.layout import Section, listed


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
    return Section("", answer, (), (listed([s.answer for s in made if s.answer]),))
