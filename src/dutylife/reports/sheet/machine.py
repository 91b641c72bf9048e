"""What is asked about one machine, and what every section of its sheet is told from."""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd

from dutylife.components import Component, components_of
from dutylife.decisions.causes import CauseRecord, LikelyCauses, cause_record, likely_causes
from dutylife.decisions.causes.asked import the_components, the_machine
from dutylife.decisions.what_if_ground import settings_of_run
from dutylife.errors import RunError
from dutylife.provenance import Run, open_run
from dutylife.reports.facts import Facts, facts_of, plain, table_or_empty
from dutylife.reports.layout import Section
from dutylife.settings import Settings

FIRST_CAUSES = 3  # always shown; then all down to this chance, at most so many
LEAST_CHANCE = 0.05
MOST_CAUSES = 7


@dataclass(frozen=True)
class MachineSheet:
    """One machine of a run, what is wrong with it, and what was done already.

    Parameters
    ----------
    run : Run
    unit_id : str
    complaint : str
        As the customer says it; may be blank.
    already : tuple of str
        Components changed or found in order.
    settings : Settings
        Those of the run.
    """

    run: Run
    unit_id: str
    complaint: str
    already: tuple[str, ...]
    settings: Settings

    @cached_property
    def given(self) -> Facts:
        """Fleet, money, meter, last day."""
        return facts_of(self.run)

    @cached_property
    def record(self) -> CauseRecord:
        """What the causes are told from."""
        names = ("service_lines", "maintenance_events", "units", "unit_spans", "failure_events",
                 "life_draws")  # fmt: skip
        tables = {name: self.typed(name) for name in names}
        return cause_record(tables, self.settings, (self.complaint,))

    @cached_property
    def causes(self) -> LikelyCauses:
        """Likely causes, the likeliest first."""
        return likely_causes(self.record, self.unit_id, self.complaint, self.already)

    @property
    def first_causes(self) -> pd.DataFrame:
        """Rows of the causes that are worth a line, those already done among them."""
        table = plain(self.causes.table)
        place, chance = table["check_order"], table["probability"]
        shown = (place <= FIRST_CAUSES) | ((chance >= LEAST_CHANCE) & (place <= MOST_CAUSES))
        return table[shown | table["is_already_done"]]

    @cached_property
    def machine(self) -> pd.Series:
        """Row of table "units", with customer and duty."""
        rows = self.table("units")
        own = self.record.machines.loc[self.unit_id]
        row: pd.Series = rows[rows["unit_id"] == self.unit_id].iloc[0].copy()
        row["duty"], row["customer"] = own["duty"], own["customer"]
        return row

    @cached_property
    def lives(self) -> pd.DataFrame:
        """Parts in place with their ages, by component and position."""
        standing = plain(self.record.standing)
        return standing[standing["unit_id"] == self.unit_id].reset_index(drop=True)

    @cached_property
    def known(self) -> dict[str, Component]:
        """Every component of the list and of the shop."""
        return components_of(self.settings)

    def table(self, name: str) -> pd.DataFrame:
        """Return a table of the run as plain text, empty where the run has none."""
        if name not in self._read:
            self._read[name] = plain(self.typed(name))
        return self._read[name]

    def typed(self, name: str) -> pd.DataFrame:
        """Return a table of the run, empty where the run has none."""
        if name not in self._typed:
            self._typed[name] = table_or_empty(self.run, name)
        return self._typed[name]

    @cached_property
    def _read(self) -> dict[str, pd.DataFrame]:
        return {}

    @cached_property
    def _typed(self) -> dict[str, pd.DataFrame]:
        return {}

    def of_machine(self, name: str) -> pd.DataFrame:
        """Return the rows of a table that are of this machine."""
        rows = self.table(name)
        return rows[rows["unit_id"] == self.unit_id]

    def component(self, name: str) -> Component:
        """Return what is known of a component; of one not in the list its name alone."""
        return self.known.get(name, Component(name=name))

    def section(self, name: str) -> Section:
        """Return one section, for a notebook cell.

        Raises
        ------
        RunError
            There is no such section, or the run lacks a table it needs.
        """
        from dutylife.reports.sheet.page import SECTIONS

        if name not in SECTIONS:
            near = difflib.get_close_matches(name, SECTIONS, n=1, cutoff=0.5)
            raise RunError(
                f"There is no section '{name}'.", "sheet.section(name)",
                (f"did you mean '{near[0]}'? " if near else "") + "known: " + ", ".join(SECTIONS),
            )  # fmt: skip
        return SECTIONS[name](self)


def machine_sheet(
    run: Run | str | Path,
    unit_id: str,
    complaint: str = "",
    already: Sequence[str] = (),
    *,
    settings: Settings | None = None,
) -> MachineSheet:
    """Return the sheet of one machine of a finished run.

    Parameters
    ----------
    run : Run, str or Path
        An opened run, or its folder.
    unit_id : str
    complaint : str
        What the customer says is wrong.
    already : sequence of str
        Components already changed or found in order.
    settings : Settings, optional
        Those of the run; read from its run.json when not given, which knows no lexicon file.

    Returns
    -------
    MachineSheet
        Its sections show themselves in a notebook; ``.causes`` holds the likely causes.

    Raises
    ------
    DecisionError
        The machine or a component is not known; the nearest are named.
    """
    run = run if isinstance(run, Run) else open_run(run)
    settings = settings or settings_of_run(run)
    known = components_of(settings)
    units = plain(run.table("units"))["unit_id"]
    events = plain(run.table("maintenance_events"))["component"]
    return MachineSheet(
        run=run,
        unit_id=the_machine(unit_id, units),
        complaint=complaint,
        already=the_components(already, known, set(events)),
        settings=settings,
    )
