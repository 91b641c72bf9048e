"""What arrivals are in proportion to: machines there, and failures that their lives bring."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dutylife.components import components_of
from dutylife.decisions.cells import law_draws
from dutylife.decisions.current import current_lives
from dutylife.decisions.usage import unit_use
from dutylife.schema import days_at
from dutylife.settings import Settings
from dutylife.stock.comings import Contract, Flow
from dutylife.stock.demand import Span
from dutylife.stock.fleet_demand import announced
from dutylife.stock.plans import (
    days_until_plan,
    plan_record,
    planned_ages,
    rates_beside,
    seen_rates,
    stated_ages,
)
from dutylife.stock.positions import Draws, few_draws
from dutylife.stock.streams import IN_SERVICE, Inputs, part_laws, told_cells

Array = npt.NDArray[np.float64]
SPAN_DAYS = 56  # failures are counted in spans of so many days and lie evenly within them
RowOf = Callable[[object], int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weeks:
    """Weeks of the record and to come, as days counted from the as-of date: their first days."""

    past: Array
    ahead: Array


def machines_by_week(
    units: pd.DataFrame, row_of: RowOf, n_classes: int, as_of: pd.Timestamp, weeks: Weeks,
    flow: Flow, contracts: list[Contract],
) -> tuple[Array, Array]:  # fmt: skip
    """Machines there in each week of the record and to come, each shape (n_classes, n_weeks).

    A machine whose day of entering service is not known was there all along; one that is there
    with a chance of ``prob_in_service`` is so less and less since it was last seen. To come:
    leavers and newcomers at the record's rates, announced machines from their day on.
    """
    past = np.zeros((n_classes, len(weeks.past)))
    now = np.zeros(n_classes)
    rows = units.astype({"equipment_class": "object"})
    begin = (rows["in_service_on"] - as_of).dt.days.fillna(-np.inf).to_numpy(dtype=float)
    left = rows["left_on"].where(rows["left_on"] <= as_of)
    end = (left - as_of).dt.days.fillna(0.0).to_numpy(dtype=float)
    seen = (rows["last_seen"] - as_of).dt.days.to_numpy(dtype=float)
    chance = rows["prob_in_service"].astype(float).fillna(1.0).to_numpy()
    gone = left.notna().to_numpy()
    chance = np.where(gone, 0.0, chance)
    for i, name in enumerate(rows["equipment_class"]):
        row = row_of(name)
        if row < 0:
            continue
        there = ((weeks.past + 7 > begin[i]) & (weeks.past <= end[i])).astype(float)
        if not gone[i]:
            # less and less likely since it was last seen; one never seen by its chance throughout
            part = np.ones(len(weeks.past))
            if seen[i] < 0:
                part = np.clip(1.0 - weeks.past / seen[i], 0.0, 1.0)
            elif np.isfinite(seen[i]):
                part *= 0.0
            there *= 1.0 - (1.0 - chance[i]) * part
        past[row] += there
        now[row] += chance[i]
    growth = np.exp((flow.coming_rate - flow.leaving_rate) * weeks.ahead)
    ahead = now[:, None] * growth
    for contract in contracts:
        row = row_of(contract.equipment_class)
        if row >= 0:
            ahead[row] += contract.n_machines * (weeks.ahead >= contract.start_days)
    return past, ahead


def failures_by_week(
    tables: Mapping[str, pd.DataFrame], settings: Settings, plan: str, as_of: pd.Timestamp,
    row_of: RowOf, n_classes: int, weeks: Weeks, flow: Flow,
) -> tuple[Array, Array, Array]:  # fmt: skip
    """Failures that lives bring in each week of the record and to come, by class.

    Returns
    -------
    tuple of ndarray
        Expected failures in the weeks of the record, given the lives as they were lived (their
        cumulative hazard); in the weeks to come, under ``plan``; and planned
        replacements to come. Each shape (n_classes, n_weeks).

    Notes
    -----
    Only cells whose law stands on the record. Past and coming failures come from one law, so
    their ratio tells whether more or fewer are due than were; what lives do not explain cancels.
    """
    use = unit_use(tables["units"], tables["unit_spans"], settings)
    if use.notna().any():
        use = use.fillna(use.median())
    shape = (n_classes, len(weeks.past))
    wide = (n_classes, len(weeks.ahead))
    cells = told_cells(tables["life_draws"])
    draws = {k: v for k, v in law_draws(tables["life_draws"]).items() if k in cells}
    past = np.zeros(shape)
    if draws and len(weeks.past):
        past = _lived(tables, draws, use, as_of, row_of, n_classes, weeks)
    lives = current_lives(tables["failure_events"], tables["units"], use, as_of)
    lives = lives[lives["prob_in_service"] > IN_SERVICE]
    clock = {key: str(frame["clock"].iloc[0]) for key, frame in draws.items()}
    pairs = list(zip(lives["component"], lives["duty"], strict=True))
    on_clock = np.array([clock.get(p) for p in pairs], dtype=object)
    told = np.array([c is not None for c in on_clock], dtype=bool)
    keep = told & ((on_clock != "hours") | lives["use"].notna().to_numpy())
    lives = lives.assign(part=[str(row_of(c)) for c in lives["equipment_class"]])[keep]
    lives = lives.sort_values(["component", "duty", "unit_id", "position"], kind="stable")
    if lives.empty:
        return np.zeros_like(past), np.zeros(wide), np.zeros(wide)
    n_spans = int(np.ceil((weeks.ahead[-1] + 7) / SPAN_DAYS))
    first = as_of + pd.Timedelta(days=1)
    spans = [
        Span(from_date=first, months=1.0, start=float(i * SPAN_DAYS), days=float(SPAN_DAYS))
        for i in range(n_spans)
    ]
    known, stated = components_of(settings), tables.get("stated_plan")
    contracts = announced(tables.get("contracts"), lives, as_of)
    record = plan_record(tables["failure_events"], known, settings, stated)
    in_force = stated_ages(lives, known, settings, stated)
    inputs = Inputs(
        lives=lives, life_draws=_few(draws),
        rates=seen_rates(tables["failure_events"], tables["units"]), shares={}, pieces={},
        other={}, spans=spans, flow=flow, contracts=contracts,
        done=record.done, plan_starts_days=days_until_plan(settings, as_of),
        beside=rates_beside(tables["failure_events"], in_force, record),
        together_days=settings.plan.together_days,
    )  # fmt: skip
    names = sorted(set(lives[["component", "duty"]].itertuples(index=False, name=None)))
    ages = planned_ages(plan, names, tables["intervals"], known, settings, stated)
    laws = part_laws(inputs, plan, ages, settings.compute)
    unplanned, planned = np.zeros((n_classes, n_spans)), np.zeros((n_classes, n_spans))
    for part, of_spans in laws.items():
        for i, span in enumerate(spans):
            if int(part) >= 0:
                unplanned[int(part), i] = of_spans[span.key].mean_unplanned
                planned[int(part), i] = of_spans[span.key].mean_planned
    at = np.minimum(((weeks.ahead + 3) // SPAN_DAYS).astype(int), n_spans - 1)
    scale = 7.0 / SPAN_DAYS
    return past, _turning(unplanned * scale, weeks.ahead), planned[:, at] * scale


def _few(draws: dict[tuple[str, str], pd.DataFrame]) -> pd.DataFrame:
    """Table "life_draws" with a few draws a cell: here means are asked for, not ranges."""
    frames = []
    for frame in draws.values():
        few = _grouped(frame)
        frames.append(
            frame.iloc[: len(few.shape)].assign(shape=few.shape, scale=few.scale, weight=few.weight)
        )
    return pd.concat(frames)


def _grouped(frame: pd.DataFrame) -> Draws:
    return few_draws(
        Draws(shape=frame["shape"].to_numpy(float), scale=frame["scale"].to_numpy(float),
              weight=frame["weight"].to_numpy(float))
    )  # fmt: skip


def _turning(by_span: Array, days: Array) -> Array:
    """Values of the weeks between the middles of the spans, in straight lines."""
    middle = (np.arange(by_span.shape[1]) + 0.5) * SPAN_DAYS
    return np.stack([np.interp(days + 3.5, middle, row) for row in by_span])


def _lived(
    tables: Mapping[str, pd.DataFrame], draws: dict[tuple[str, str], pd.DataFrame],
    use: pd.Series, as_of: pd.Timestamp, row_of: RowOf, n_classes: int, weeks: Weeks,
) -> Array:  # fmt: skip
    """Cumulative hazard that the record's lives went through in each week, by class."""
    n_spans = max(int(np.ceil(-weeks.past[0] / SPAN_DAYS)), 1)
    edges = -float(SPAN_DAYS) * np.arange(n_spans, -1, -1, dtype=np.float64)
    sums = np.zeros((n_classes, n_spans))
    words = dict.fromkeys(["component", "duty", "equipment_class", "unit_id"], "object")
    lives = tables["failure_events"].astype(words)
    first_seen = tables["units"].astype({"unit_id": "object"}).set_index("unit_id")["first_seen"]
    for (component, duty), own in lives.groupby(["component", "duty"], sort=True):
        frame = draws.get((str(component), str(duty)))
        if frame is None:
            continue
        few = _grouped(frame)
        on_meter = str(frame["clock"].iloc[0]) == "hours"
        per_day = own["unit_id"].map(use).to_numpy(float) / 7.0 if on_meter else np.ones(len(own))
        span_days = (own["exit_days"] - own["entry_days"]).to_numpy(float)
        end = np.asarray((own["ended_on"] - as_of).dt.days, dtype=np.float64)
        start = own["installed_on"].fillna(days_at(own["unit_id"], first_seen))
        begin = np.where(
            np.isfinite(span_days), end - span_days, (start - as_of).dt.days.to_numpy(float)
        )
        clock = "hours" if on_meter else "days"
        age_end = own[f"exit_{clock}"].to_numpy(float)
        age_begin = own[f"entry_{clock}"].to_numpy(float)
        if on_meter:  # without a reading by its days
            age_end = np.where(np.isfinite(age_end), age_end, own["exit_days"] * per_day)
            age_begin = np.where(np.isfinite(age_begin), age_begin, own["entry_days"] * per_day)
        there = own["weight"].fillna(1.0).to_numpy(float) * np.where(
            own["event"].astype(str) == "running", own["prob_in_service"].fillna(1.0), 1.0
        )
        found = _hazard(few, begin, end, age_begin, age_end, per_day, edges)
        rows = np.array([row_of(c) for c in own["equipment_class"]])
        good = rows >= 0
        np.add.at(sums, rows[good], (found * there[:, None])[good])
    at = np.clip(((weeks.past + 3.5 - edges[0]) // SPAN_DAYS).astype(int), 0, n_spans - 1)
    return np.asarray(sums[:, at] * 7.0 / SPAN_DAYS)


def _hazard(
    draws: Draws, begin: Array, end: Array, age_begin: Array, age_end: Array, per_day: Array,
    edges: Array,
) -> Array:  # fmt: skip
    """Cumulative hazard of each life between the edges, shape (n_lives, n_edges - 1).

    A life of unknown age fails at the rate of one in the mean life, as a part does that has been
    renewed for long.
    """
    from scipy.special import gamma

    length = np.maximum(end - begin, 1.0)
    share = np.clip((edges[None, :] - begin[:, None]) / length[:, None], 0.0, 1.0)
    known = np.isfinite(age_begin) & np.isfinite(age_end) & np.isfinite(begin)
    out = np.zeros((len(begin), len(edges) - 1))
    for shape, scale, weight in zip(draws.shape, draws.scale, draws.weight, strict=True):
        age = age_begin[known, None] + (age_end - age_begin)[known, None] * share[known]
        out[known] += weight * np.diff((np.maximum(age, 0.0) / scale) ** shape, axis=1)
        rate = per_day / (scale * gamma(1.0 + 1.0 / shape))
        days = np.nan_to_num(np.diff(share, axis=1) * length[:, None])
        out[~known] += weight * np.nan_to_num(rate)[~known, None] * days[~known]
    return np.asarray(out / draws.weight.sum())
