"""Whose machines stand behind a figure, and whether one customer may be shown it."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

FEWEST_CUSTOMERS = 3  # behind a figure that rests on others' machines: our rule
_GREATER_PART = 0.5
Cell = tuple[str, str]  # component, duty
OWN, POOLED, WITHHELD = "own", "pooled", "withheld"


@dataclass(frozen=True, slots=True)
class Behind:
    """Customers whose machines stand behind the figures of each cell.

    Parameters
    ----------
    mostly : mapping of (component, duty) to frozenset of str
        Behind the greater part of a cell's figures.
    component : mapping of str to frozenset of str
        With machines that have the component, in any duty: duties lend to each other.
    """

    mostly: Mapping[Cell, frozenset[str]]
    component: Mapping[str, frozenset[str]]

    def source(self, cell: Cell, customer: str) -> str:
        """Say what a figure of a cell is to a customer.

        Parameters
        ----------
        cell : tuple
            Component and duty.
        customer : str

        Returns
        -------
        str
            "own": it rests on that customer's machines, but for what three customers or more lend;
            "pooled": on those of three customers or more; "withheld": on so few others that they
            could be told from it.
        """
        everyone = self.component.get(cell[0], frozenset())
        mostly = self.mostly.get(cell, frozenset())
        if everyone == {customer}:
            return OWN
        if len(everyone) < FEWEST_CUSTOMERS:
            return WITHHELD
        if mostly == {customer}:
            return OWN
        return POOLED if len(mostly) >= FEWEST_CUSTOMERS else WITHHELD


def customers_behind(failure_events: pd.DataFrame, life_models: pd.DataFrame) -> Behind:
    """Read who stands behind the greater part of each cell's figures.

    Parameters
    ----------
    failure_events : DataFrame, table "failure_events"
    life_models : DataFrame, table "life_models"

    Returns
    -------
    Behind
        The customers of the cell's own lives where these carry half of its figures or more, else
        the customers of the component in any duty, since duties lend to each other.
    """
    words = ["component", "duty", "customer"]
    is_aged = failure_events["exit_days"].notna() | failure_events["exit_hours"].notna()
    # millions of lives are of a few thousand customers and cells
    lives = (
        failure_events.loc[is_aged, words].drop_duplicates().astype(dict.fromkeys(words, "object"))
    )
    lives = lives[lives["customer"].fillna("") != ""]
    of_cell: dict[Cell, frozenset[str]] = {}
    of_component: dict[str, frozenset[str]] = {}
    for component, duty, customer in lives.itertuples(index=False):
        cell, one = (str(component), str(duty)), frozenset([str(customer)])
        of_cell[cell] = of_cell.get(cell, frozenset()) | one
        of_component[cell[0]] = of_component.get(cell[0], frozenset()) | one
    models = life_models.astype({"component": "object", "duty": "object"})
    own_share = {
        (str(c), str(d)): float(share)
        for c, d, share in zip(
            models["component"], models["duty"], models["own_data_share"], strict=True
        )
    }
    found: dict[Cell, frozenset[str]] = {}
    for cell in {*own_share, *of_cell}:
        mostly_own = not own_share.get(cell, 1.0) < _GREATER_PART
        behind = of_cell.get(cell) if mostly_own else of_component.get(cell[0])
        found[cell] = behind or frozenset()
    return Behind(mostly=found, component=of_component)
