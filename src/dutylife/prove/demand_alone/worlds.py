"""The worlds a demand forecast is proved in: what is going to change, and whether it is known."""

from dataclasses import dataclass
from typing import Any

N_UNITS = 240
N_YEARS = 4.0
LEAVING_A_YEAR = 0.08  # as the scenario has it at its own difficulties
STEADY, ARRIVING, CONTRACT, PLAN = (
    "steady", "machines arriving", "a known contract", "a plan that starts",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """What is put over the practice scenario, and what the forecast is aimed at in it.

    ``said`` in words; ``n_units`` machines to begin with; ``text`` keys of the scenario;
    ``strengths`` of difficulties other than the scenario's own.
    """

    name: str
    said: str
    n_units: int
    text: str
    strengths: tuple[tuple[str, float], ...] = ()

    def practice_keywords(self, n_units: int) -> dict[str, Any]:
        """Keywords of `simulate_fleet` but for the file, for about ``n_units`` machines."""
        return {
            "n_units": round(self.n_units * n_units / N_UNITS),
            "n_years": N_YEARS,
            "difficulties": dict(self.strengths),
        }


def _text(arriving: float, more: str = "") -> str:
    return (
        "[record]\nshare_before_record = 1.0\n"
        f"[arrivals]\nshare_of_fleet_a_year = {arriving:g}\n" + more
    )


# every machine of the list was there before the record; new ones come over record and future alike
WORLDS = (
    World(
        name=STEADY, n_units=N_UNITS, text=_text(LEAVING_A_YEAR),
        said="as many machines come as leave, 8 % a year; nothing is going to change",
    ),
    World(
        name=ARRIVING, n_units=N_UNITS // 2, text=_text(0.4),
        said="the fleet doubles within the record and goes on growing; nobody says so",
    ),
    World(
        name=CONTRACT, n_units=N_UNITS, strengths=(("announced_contract", 1.0),),
        text=_text(LEAVING_A_YEAR, "[announced]\nshare_of_fleet = 0.30\n"),
        said="machines numbering 30 % of the fleet start the day after the cut-off, as announced",
    ),
    World(
        name=PLAN, n_units=N_UNITS, strengths=(("plan_from_cutoff", 1.0),),
        text=_text(LEAVING_A_YEAR),
        said="five components are replaced at stated ages from the cut-off on, as the settings say",
    ),
)  # fmt: skip


def world_of(name: str) -> World:
    """World of a name."""
    return next(w for w in WORLDS if w.name == name)
