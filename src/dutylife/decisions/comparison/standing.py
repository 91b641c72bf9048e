"""The fleet as it stands: machines in service, the parts in them, their ages, use and laws."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.components import Component, components_of
from dutylife.decisions.cells import law_draws
from dutylife.decisions.comparison.streams import Keys, keys_of
from dutylife.decisions.current import current_lives
from dutylife.decisions.usage import latest_spans, unit_use
from dutylife.errors import DecisionError
from dutylife.settings import Settings

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
IN_SERVICE = 0.5  # as the visit plan counts machines
TABLES_READ = (
    "intervals", "costs", "life_draws", "failure_events", "units", "unit_spans",
    "maintenance_events",
)  # fmt: skip


class NoFleetError(DecisionError):
    """No machine in service has a part whose life the record can tell."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StandingCell:
    """The parts of one component in one duty.

    ``shape``, ``scale`` and ``weights`` have shape (n_draws,), scale on the law's clock; the rest
    has shape (n_parts,). ``age_days`` is missing where unknown, then ``seen_days`` tells how long
    the part was watched; ``counted_days`` is the age that plans count from. ``days_per_unit``
    turns the law's clock into days; ``use_per_week`` is missing where unknown. ``looked_days``:
    since the component was last touched, missing where never.
    """

    component: Component
    duty: str
    severe: bool
    on_meter: bool
    basis: str
    shape: Array
    scale: Array
    weights: Array
    machine: Ints
    age_days: Array
    counted_days: Array
    seen_days: Array
    days_per_unit: Array
    use_per_week: Array
    looked_days: Array
    keys: Keys

    @property
    def key(self) -> tuple[str, str]:
        """Component and duty."""
        return self.component.name, self.duty


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Standing:
    """Machines, shape (n_machines,), and the cells of their parts.

    ``left_out`` counts parts that can't be simulated by why: no law, no use.
    """

    unit_id: tuple[str, ...]
    customer: tuple[str, ...]
    duty: tuple[str, ...]
    equipment_class: tuple[str, ...]
    use_per_week: Array
    keys: Keys
    cells: tuple[StandingCell, ...]
    never_failed: tuple[str, ...]
    n_without_use: int
    as_of: pd.Timestamp

    @property
    def n_machines(self) -> int:
        """Machines in service."""
        return len(self.unit_id)

    @property
    def n_parts(self) -> int:
        """Parts that are simulated."""
        return sum(len(c.machine) for c in self.cells)


def as_it_stands(tables: Mapping[str, pd.DataFrame], settings: Settings) -> Standing:
    """Read the fleet of a run.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Those named in ``TABLES_READ``.
    settings : Settings
        ``fleet.as_of`` filled; severe duties; ``report.seed``.

    Raises
    ------
    DecisionError
        A table is missing, ``fleet.as_of`` is not filled, or no machine is in service.
    """
    missing = [name for name in TABLES_READ if name not in tables]
    if missing:
        raise DecisionError(
            "A comparison needs tables that are not there.", "tables: " + ", ".join(missing),
            "give all tables of a run, or the opened run itself",
        )  # fmt: skip
    if settings.fleet.as_of is None:
        raise DecisionError("A comparison needs a day to start from.", "fleet.as_of", "fill it")
    as_of, units = pd.Timestamp(settings.fleet.as_of), tables["units"]
    use = unit_use(units, tables["unit_spans"], settings)
    lives = current_lives(tables["failure_events"], units, use, as_of)
    lives = lives[lives["prob_in_service"] >= IN_SERVICE]
    spans = latest_spans(tables["unit_spans"])
    draws = law_draws(tables["life_draws"])
    basis = {key: str(frame["basis"].astype(object).iloc[0]) for key, frame in draws.items()}
    spoken = [
        basis.get(key, "starting value") != "starting value"
        for key in zip(lives["component"], lives["duty"], strict=True)
    ]
    silent = lives[~np.array(spoken, dtype=bool)]
    lives = lives[np.array(spoken, dtype=bool)]
    names = sorted(set(lives["unit_id"]))
    if not names:
        raise NoFleetError(
            "No machine in service has a part whose life the record can tell.",
            "units: prob_in_service; life_draws: basis",
            "a longer record, or machines that are still there ([lives] still_there)",
        )
    place = {name: i for i, name in enumerate(names)}
    touched = _last_touched(tables["maintenance_events"])
    known = components_of(settings)
    cells, without_use = [], 0
    for (name, duty), parts in lives.groupby(["component", "duty"], sort=True):
        cell, lost = _cell(
            known.get(str(name), Component(name=str(name))), str(duty), parts,
            draws[str(name), str(duty)], place, touched, as_of, settings,
        )  # fmt: skip
        without_use += lost
        cells += [cell] if len(cell.machine) else []
    fleet = units.astype({"unit_id": "object"}).set_index("unit_id")
    classes = fleet["equipment_class"].astype(object).reindex(names)
    of_lives = lives.drop_duplicates("unit_id").set_index("unit_id")
    duty_now = spans["duty"].reindex(names).fillna(of_lives["duty"].reindex(names))
    return Standing(
        unit_id=tuple(names),
        customer=tuple(spans["customer"].reindex(names).fillna("").astype(str)),
        duty=tuple(duty_now.astype(str)),
        equipment_class=tuple(classes.fillna("").astype(str)),
        use_per_week=use.reindex(names).to_numpy(dtype=float),
        keys=keys_of(names, settings.report.seed, "machine"),
        cells=tuple(cells),
        never_failed=tuple(sorted(set(silent["component"].astype(str)))),
        n_without_use=without_use,
        as_of=as_of,
    )


def _cell(
    component: Component,
    duty: str,
    parts: pd.DataFrame,
    draws: pd.DataFrame,
    place: dict[str, int],
    touched: pd.Series,
    as_of: pd.Timestamp,
    settings: Settings,
) -> tuple[StandingCell, int]:
    """Parts of one cell, and how many were left out since their machine's use is not known."""
    on_meter = draws["clock"].astype(object).iloc[0] == "hours"
    parts = parts.sort_values(["unit_id", "position"], kind="stable")
    usable = parts["use"].notna() if on_meter else pd.Series(True, index=parts.index)
    lost, parts = int((~usable).sum()), parts[usable]
    use = parts["use"].to_numpy(dtype=float)
    per_unit = 7 / use if on_meter else np.ones(len(parts))
    hours, days = parts["age_hours"].to_numpy(float), parts["age_days"].to_numpy(float)
    age = hours * per_unit if on_meter else days
    seen = np.where(np.isnan(parts["seen_days"]), days, parts["seen_days"])
    pairs = pd.MultiIndex.from_arrays([parts["unit_id"], [component.name] * len(parts)])
    last = pd.to_datetime(touched.reindex(pairs)).to_numpy()
    looked = (np.datetime64(as_of) - last) / np.timedelta64(1, "D")
    names = [
        f"{u}\x1f{component.name}\x1f{p}"
        for u, p in zip(parts["unit_id"], parts["position"], strict=True)
    ]
    cell = StandingCell(
        component=component,
        duty=duty,
        severe=duty in settings.duty.severe,
        on_meter=bool(on_meter),
        basis=str(draws["basis"].astype(object).iloc[0]),
        shape=draws["shape"].to_numpy(dtype=float),
        scale=draws["scale"].to_numpy(dtype=float),
        weights=draws["weight"].to_numpy(dtype=float),
        machine=np.array([place[u] for u in parts["unit_id"]], dtype=np.int64),
        age_days=age,
        counted_days=age,
        seen_days=np.nan_to_num(seen),
        days_per_unit=per_unit,
        use_per_week=use,
        looked_days=np.where(np.isfinite(looked), np.maximum(looked, 0.0), np.nan),
        keys=keys_of(names, settings.report.seed, "part"),
    )
    return cell, lost


def _last_touched(maintenance_events: pd.DataFrame) -> pd.Series:
    """Day a component of a machine was last looked at or renewed, by (unit_id, component)."""
    events = maintenance_events.astype({"unit_id": "object", "component": "object"})
    return events.groupby(["unit_id", "component"])["event_date"].max()
