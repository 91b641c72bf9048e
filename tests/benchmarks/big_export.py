"""A large invented export, made block by block: 50 lines a machine, by seed.

``python tests/benchmarks/big_export.py DIR --lines 1000000`` writes lines.csv, machines.csv,
parts.csv and dutylife.toml. Every machine has ten of twenty components, each failing by a Weibull
law of its own in the hours of one of five duties; half-yearly services lie between. All of it is
invented; no figure is a fact about a real machine, part or price.
"""

import argparse
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
from big_export_scene import (
    BLOCK,
    BY_CLASS,
    CLASSES,
    COMPONENTS,
    DONE,
    DUTIES,
    ENDINGS,
    GENERAL,
    LINES_PER_MACHINE,
    MACHINES_PER_CUSTOMER,
    N_DAYS,
    N_MODELS,
    SETTINGS,
    START,
    YEARS,
)
from pyarrow import csv

Ints = npt.NDArray[np.int64]


def _words(*values: str) -> pa.Array:
    return pa.array(values, pa.string())


def _take(words: pa.Array, at: Ints) -> pa.Array:
    return words.take(pa.array(at))


def _text(values: npt.NDArray[np.generic]) -> pa.Array:
    return pa.array(values).cast(pa.string())


def failures(
    rng: np.random.Generator, kind: Ints, rate: npt.NDArray[np.float64]
) -> tuple[Ints, Ints, Ints]:
    """Machine, component and day of every failure of a block of machines."""
    own = np.arange(len(BY_CLASS[0])) + len(GENERAL)
    fitted = np.concatenate(
        [np.tile(np.arange(len(GENERAL)), (len(kind), 1)), own + 3 * kind[:, None]], axis=1
    )
    scale = np.array([c[4] for c in COMPONENTS], float)[fitted]
    shape = np.array([c[5] for c in COMPONENTS], float)[fitted]
    hours_a_day = np.broadcast_to((rate / 7)[:, None], fitted.shape)
    machine = np.broadcast_to(np.arange(len(kind))[:, None], fitted.shape)
    # parts have some age when the record starts
    day = -rng.uniform(0, 0.8, fitted.shape) * scale / hours_a_day
    out = []
    alive = np.ones(fitted.shape, bool)
    while alive.any():
        day = day + scale / hours_a_day * rng.standard_exponential(fitted.shape) ** (1 / shape)
        alive &= day < N_DAYS
        now = alive & (day >= 0)
        out.append((machine[now], fitted[now], day[now].astype(np.int64)))
    return tuple(np.concatenate(a) for a in zip(*out, strict=True))  # type: ignore[return-value]


def lines_of_block(seed: int, block: int, n: int) -> tuple[pa.Table, pa.Table]:
    """Lines and machines of a block of machines."""
    rng = np.random.default_rng([seed, block])
    first = block * BLOCK
    number = first + np.arange(n)
    customer = number // (5 * MACHINES_PER_CUSTOMER) * 5 + number % 5
    duty = customer % len(DUTIES)
    kind = rng.integers(0, len(CLASSES), n)
    model = kind * 5 + rng.integers(0, 5, n)
    rate = np.array([d[1] for d in DUTIES])[duty] * rng.lognormal(0, 0.3, n)
    machine, component, day = failures(rng, kind, rate)
    # services, each with oil and one filter line in three
    service_of = np.repeat(np.arange(n), 2 * YEARS)
    service_day = (
        np.tile(np.arange(2 * YEARS) * 182, n) + rng.integers(0, 170, len(service_of))
    ).clip(0, N_DAYS - 1)
    come = rng.random(len(service_of)) < 0.8
    service_of, service_day = service_of[come], service_day[come]
    n_failed, n_service = len(machine), len(service_of)
    machine = np.concatenate([machine, service_of])
    day = np.concatenate([day, service_day])
    component = np.concatenate([component, np.full(n_service, -1)])
    order = np.lexsort((component, machine, day))
    machine, day, component = machine[order], day[order], component[order]
    is_service = component < 0
    n_tickets = n_failed + n_service
    ticket = block * BLOCK * 100 + np.arange(n_tickets)
    meter = np.floor(rate[machine] / 7 * (day + 700))
    # texts of tickets
    minutes = rng.integers(2, 40, n_tickets)
    found = _take(_words(*(c[3] for c in COMPONENTS)), component.clip(0))
    done = _take(_words(*DONE), rng.integers(0, len(DONE), n_tickets))
    ending = pc.replace_with_mask(
        _take(_words(*ENDINGS), rng.integers(0, len(ENDINGS), n_tickets)),
        pa.array(np.zeros(n_tickets, bool)),
        pa.scalar("", pa.string()),
    )
    before = pc.list_element(pc.split_pattern(ending, "{n}", max_splits=1), 0)
    has = pc.match_substring(ending, "{n}")
    rest = pc.if_else(
        has,
        pc.binary_join_element_wise(
            _text(minutes), pc.replace_substring_regex(ending, "^.*[{]n[}]", ""), ""
        ),
        "",
    )
    reference = pc.if_else(
        pa.array(rng.random(n_tickets) < 0.2),
        pc.binary_join_element_wise(
            " see job ", _text((ticket - rng.integers(1, 900, n_tickets)).clip(0)), ""
        ),
        "",
    )
    repair = pc.binary_join_element_wise(found, ", ", done, before, rest, reference, "")
    served = pc.binary_join_element_wise("half yearly service, oil changed", reference, "")
    work = pc.if_else(pa.array(is_service), served, repair)
    complaint = pc.if_else(
        pa.array(is_service),
        "service due",
        _take(_words(*(c[2] for c in COMPONENTS)), component.clip(0)),
    )
    # lines of tickets: part (or oil), sometimes a second part, labour, sometimes a fee
    fee = rng.random(n_tickets) < 0.3
    row = np.concatenate([np.arange(n_tickets), np.arange(n_tickets), np.flatnonzero(fee)])
    sort = np.concatenate([np.zeros(n_tickets), np.ones(n_tickets), np.full(fee.sum(), 2)])
    order = np.lexsort((sort, row))
    row, sort = row[order], sort[order].astype(np.int64)
    part = np.where(is_service, len(COMPONENTS), component)[row]
    names = _words(*(c[1] for c in COMPONENTS), "engine oil 1 l")
    is_part = sort == 0
    number_text = _part_number(part, model[machine[row]])
    price = np.append(np.array([c[6] for c in COMPONENTS]), 7.6)[part] * (
        1 + 0.03 * (day[row] // 365)
    )
    price = np.where(is_part, price, np.where(sort == 1, 48.0, 3.5))
    quantity = np.where(sort == 1, rng.integers(1, 9, len(row)) / 4, 1.0)
    known = rng.random(n_tickets) < 0.75
    date = pc.strftime(pa.array(START + day), format="%d/%m/%Y")
    machine_id = pc.binary_join_element_wise("M", pc.utf8_lpad(_text(number), 7, "0"), "")
    customer_id = pc.binary_join_element_wise(
        "Customer ", pc.utf8_lpad(_text(customer), 5, "0"), ""
    )
    at = pa.array(row)
    of = pa.array(machine[row])
    lines = pa.table(
        {
            "Job": pc.binary_join_element_wise("J", _text(ticket), "").take(at),
            "Job date": date.take(at),
            "Job kind": _take(_words("repair", "service"), is_service[row].astype(np.int64)),
            "Machine": machine_id.take(of),
            "Customer": customer_id.take(of),
            "Site": _take(_words(*(d[0] for d in DUTIES)), duty[machine[row]]),
            "Meter": pc.if_else(pa.array(known), _text(meter.astype(np.int64)), "").take(at),
            "Complaint": complaint.take(at),
            "Work": work.take(at),
            "Sort": _take(_words("part", "labour", "fee"), sort),
            "Part no": pc.if_else(pa.array(is_part), number_text, ""),
            "Text": pc.if_else(
                pa.array(is_part),
                _take(names, part),
                _take(_words("", "labour", "shop supplies"), sort),
            ),
            "Qty": _text(quantity),
            "Each": _text(np.round(price, 2)),
        }
    )
    machines = pa.table(
        {
            "Machine": machine_id,
            "Kind": _take(_words(*CLASSES), kind),
            "Engine": pc.binary_join_element_wise("engine ", _text(model), ""),
            "In service": pc.strftime(pa.array(START - rng.integers(1, 900, n)), format="%d/%m/%Y"),
            "Customer": customer_id,
        }
    )
    return lines, machines


def _part_number(part: Ints, model: Ints) -> pa.Array:
    return pc.binary_join_element_wise(
        pc.utf8_lpad(_text(part + 10), 2, "0"), pc.utf8_lpad(_text(model + 100), 3, "0"), "-"
    )


def make_big_export(folder: Path, n_lines: int, seed: int = 1, *, keep: bool = False) -> int:
    """Write about ``n_lines`` lines of ``n_lines / 50`` machines with settings; return the lines.

    Parameters
    ----------
    folder : path
        Made when it isn't there; files of these names in it are replaced.
    n_lines : int
    seed : int
        The same seed gives the same files.
    keep : bool
        Leave a finished export of this folder as it is.
    """
    folder.mkdir(parents=True, exist_ok=True)
    done = folder / "n_lines.txt"
    if keep and done.is_file():
        return int(done.read_text())
    n_units = max(n_lines // LINES_PER_MACHINE, 20)
    total = 0
    writers: list[csv.CSVWriter] = []
    style = csv.WriteOptions(quoting_style="needed")
    for block in range(-(-n_units // BLOCK)):
        made = lines_of_block(seed, block, min(BLOCK, n_units - block * BLOCK))
        if not writers:
            writers = [
                csv.CSVWriter(str(folder / name), table.schema, write_options=style)
                for name, table in zip(("lines.csv", "machines.csv"), made, strict=True)
            ]
        for writer, table in zip(writers, made, strict=True):
            writer.write_table(table)
        total += made[0].num_rows
    for writer in writers:
        writer.close()
    _write_parts(folder / "parts.csv", n_units)
    settings = SETTINGS.replace("{hours}", str(max(n_units // 2, 40)))
    costs = "".join(
        f'\n[costs."{c[0]}"]\nplanned_cost = {c[6] + 24:.0f}\nfailure_cost = {c[6] + 220:.0f}\n'
        "labour_hours = 0.5\nlost_days_per_failure = 0.8\n"
        for c in COMPONENTS
    )
    (folder / "dutylife.toml").write_text(settings + costs, encoding="utf-8")
    done.write_text(str(total))
    return total


def _write_parts(path: Path, n_units: int) -> None:
    part, model = (a.ravel() for a in np.mgrid[0 : len(COMPONENTS) + 1, 0:N_MODELS])
    names = _words(*(c[1] for c in COMPONENTS), "engine oil 1 l")
    cost = np.append(np.array([c[6] for c in COMPONENTS]), 7.6)[part] * 0.65
    table = pa.table(
        {
            "Part no": _part_number(part, model),
            "Name": pc.binary_join_element_wise(_take(names, part), ", engine ", _text(model), ""),
            "On hand": _text(np.full(len(part), 2 + n_units // 4000)),
            "On order": _text(np.zeros(len(part), np.int64)),
            "Cost": _text(np.round(cost, 2)),
            "Supplier": pa.array(["first supplier"] * len(part)),
            "Lead days": _text(np.full(len(part), 9)),
        }
    )
    csv.write_csv(table, str(path), csv.WriteOptions(quoting_style="needed"))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--lines", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    print(make_big_export(given.folder, given.lines, given.seed))
