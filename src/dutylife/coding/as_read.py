"""How the texts were read: each text with what was made of it, the most frequent first."""

from dataclasses import dataclass, field

import pandas as pd

from dutylife.wording import count

_CODE = ["component", "activity", "reason", "finding"]


@dataclass(frozen=True, slots=True)
class TextsAsRead:
    """Work texts beside the events they became, to be looked through by a person.

    Parameters
    ----------
    n_texts, n_lines : int
        Unlike texts; lines they stand on.
    frame : DataFrame
        Content of ``table``.
    """

    n_texts: int
    n_lines: int
    frame: pd.DataFrame = field(repr=False, compare=False)

    @property
    def table(self) -> pd.DataFrame:
        """Columns text, component, activity, reason, finding, n_lines, example_ticket."""
        return self.frame.copy()

    @property
    def text(self) -> str:
        """One plain sentence."""
        return (
            f"{count(self.n_texts, 'work text')} on {count(self.n_lines, 'line')} became events; "
            "the most frequent readings come first."
        )


def texts_as_read(
    service_lines: pd.DataFrame, maintenance_events: pd.DataFrame, component: str = ""
) -> TextsAsRead:
    """Return each work text with the events it was read as.

    Parameters
    ----------
    service_lines, maintenance_events : DataFrame
        The tables of those names.
    component : str
        Only events of this component; all when blank.

    Returns
    -------
    TextsAsRead
        Its ``table`` has a row for each text and reading of it. A text of a job on which parts
        were billed stands beside the events of those parts, too.
    """
    events = maintenance_events[[*_CODE, "ticket", "line_ids"]].astype("object")
    if component:
        events = events[events["component"] == component]
    events = events.assign(line_id=events["line_ids"].str.split(";")).explode("line_id")
    lines = service_lines[["line_id", "work_done"]].astype("object")
    said = events.merge(lines, on="line_id").rename(columns={"work_done": "text"})
    said = said[said["text"].notna() & (said["text"] != "")].fillna({c: "" for c in _CODE})
    table = said.groupby(["text", *_CODE], as_index=False, sort=True).agg(
        n_lines=("line_id", "nunique"), example_ticket=("ticket", "first")
    )
    table = table.sort_values(["n_lines", "text", "component"], ascending=[False, True, True])
    return TextsAsRead(
        said["text"].nunique(), said["line_id"].nunique(), table.reset_index(drop=True)
    )
