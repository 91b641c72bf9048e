"""New machines joining the fleet as it stands: the components, laws and use of their duty."""

from collections import Counter
from dataclasses import replace

import numpy as np

from dutylife.decisions.comparison.standing import StandingCell
from dutylife.decisions.comparison.streams import keys_of
from dutylife.decisions.what_if_ground import Ground
from dutylife.errors import DecisionError

CUSTOMER = "new contract"


def with_contract(
    ground: Ground, duty: str, n_machines: int, use: float | None, equipment_class: str | None
) -> Ground:
    """Add machines with new parts; nothing of the machines that are there changes.

    Parameters
    ----------
    ground : Ground
    duty : str
        A duty of the fleet.
    n_machines : int
    use : float or None
        [fleet meter unit per week]; the median of the duty's machines where None.
    equipment_class : str or None
        The kind most frequent in the duty where None. Each new machine has the components that at
        least half of the machines of that kind in the duty have.

    Raises
    ------
    DecisionError
        The duty's use is not known and none is given, or its machines have nothing in common.
    """
    fleet = ground.standing
    here = [i for i, d in enumerate(fleet.duty) if d == duty]
    kind = equipment_class or Counter(fleet.equipment_class[i] for i in here).most_common(1)[0][0]
    alike = [i for i in here if fleet.equipment_class[i] == kind]
    if use is None:
        known = fleet.use_per_week[here]
        use = float(np.median(known[np.isfinite(known)])) if np.isfinite(known).any() else None
    names = [f"new {duty} {i + 1}" for i in range(n_machines)]
    new = np.arange(n_machines) + fleet.n_machines
    seed = ground.settings.report.seed
    cells, added = [], 0
    for cell in fleet.cells:
        of_kind = Counter(m for m in cell.machine if m in set(alike))
        if cell.duty != duty or 2 * len(of_kind) < len(alike):
            cells.append(cell)
            continue
        if use is None and cell.on_meter:
            raise DecisionError(
                f"How much machines in {duty} run is not known.", "what_if: new_contract",
                "give hours_per_week with it",
            )  # fmt: skip
        each = round(sum(of_kind.values()) / len(of_kind))
        cells.append(_joined(cell, np.repeat(new, each), names, each, use, seed))
        added += 1
    if not added:
        raise DecisionError(
            f"Machines in {duty} have no component in common whose life is known.",
            "what_if: new_contract: duty", "another duty, or an equipment_class of this one",
        )  # fmt: skip
    more = (kind,) * n_machines
    standing = replace(
        fleet,
        unit_id=(*fleet.unit_id, *names),
        customer=(*fleet.customer, *((CUSTOMER,) * n_machines)),
        duty=(*fleet.duty, *((duty,) * n_machines)),
        equipment_class=(*fleet.equipment_class, *more),
        use_per_week=np.append(fleet.use_per_week, np.full(n_machines, use or np.nan)),
        keys=np.append(fleet.keys, keys_of(names, seed, "machine")),
        cells=tuple(cells),
    )
    return replace(ground, standing=standing)


def _joined(
    cell: StandingCell, machine: np.ndarray, names: list[str], each: int, use: float | None,
    seed: int,
) -> StandingCell:  # fmt: skip
    """Add new parts at the end of the cell."""
    n = len(machine)
    parts = [f"{u}\x1f{cell.component.name}\x1f{k}" for u in names for k in range(each)]
    per_unit = 7 / use if cell.on_meter and use else 1.0
    zero = np.zeros(n)
    return replace(
        cell,
        machine=np.append(cell.machine, machine),
        age_days=np.append(cell.age_days, zero),
        counted_days=np.append(cell.counted_days, zero),
        seen_days=np.append(cell.seen_days, zero),
        days_per_unit=np.append(cell.days_per_unit, np.full(n, per_unit)),
        use_per_week=np.append(cell.use_per_week, np.full(n, use or np.nan)),
        looked_days=np.append(cell.looked_days, zero),
        keys=np.append(cell.keys, keys_of(parts, seed, "part")),
    )
