"""What the columns of a table were decided as: choices with how sure they are and why."""

from dataclasses import dataclass, field

from dutylife.draft.profile import Profile

SURE = 0.55
# below this a column is not even proposed
PROPOSED = 0.42
NEEDED = {
    "lines": ("service_date",), "machines": ("unit_id",), "roster": ("unit_id",),
    "parts": ("part_number",), "stock": ("part_number",), "kits": ("kit_number", "part_number"),
    "aliases": ("alias", "unit_id"), "readings": ("unit_id", "value", "read_on"),
    "contracts": ("equipment_class", "n_machines"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Choice:
    """A column of ours, the column of the file it was decided as, how sure and why."""

    ours: str
    header: str
    confidence: float
    reason: str

    @property
    def is_sure(self) -> bool:
        """Written as a key; else it is left out and shown as a comment."""
        return self.confidence >= SURE


@dataclass(frozen=True, slots=True)
class Mapping:
    """What the columns of a table were decided as.

    Parameters
    ----------
    kind : str
    choices : tuple of Choice
        Sure ones first.
    refused : dict
        Column that lies by name -> why it is not what it is called.
    left_out : tuple of str
        Columns no column of ours fits.
    quality : float
        How much the table looks like its kind; 0 when a needed column is missing.
    """

    kind: str
    choices: tuple[Choice, ...]
    refused: dict[str, str] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()
    quality: float = 0.0

    def header(self, ours: str) -> str:
        """The file's column behind one of ours, blank where it is not sure."""
        return next((c.header for c in self.choices if c.ours == ours and c.is_sure), "")


def reason_of(name: float, column: Profile) -> str:
    """Why a column was chosen: its name, and what stands in it."""
    by_name = (
        "the name says so"
        if name >= 0.9
        else "the name is near"
        if name >= 0.4
        else "no name of ours"
    )
    what = []
    if column.share_dates > 0.7:
        what.append(f"{column.share_dates:.0%} dates")
    elif column.share_figures > 0.7:
        what.append(f"{column.share_figures:.0%} figures")
    elif column.share_codes > 0.5:
        what.append(f"{column.share_codes:.0%} numbers with letters")
    else:
        what.append(f"text of {column.mean_words:.1f} words")
    what.append(f"{column.n_unlike} unlike")
    what.append(f"{column.share_filled:.0%} filled")
    return f"{by_name}; {', '.join(what)}"
