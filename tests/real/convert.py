"""Turns two public histories into plain exports for `dutylife run`.

python tests/real/convert.py excavator|bus SHARED/data OUT
"""

import csv
import datetime as dt
import shutil
import sys
from itertools import pairwise
from pathlib import Path

HERE = Path(__file__).parent
# rows x buses of each raw file, as its README gives them
SHAPES = {
    "g870": (36, 15), "rt50": (60, 4), "t8h203": (81, 48), "a530875": (128, 37),
    "a530874": (137, 12), "a452374": (137, 10), "a530872": (137, 18), "a452372": (137, 18),
    "d309": (110, 4),
}  # fmt: skip


def excavator(data: Path, out: Path) -> Path:
    """The export as it is, beside its settings file."""
    shutil.copy(data / "excavator_work_orders" / "excavator_work_orders.csv", out)
    return Path(shutil.copy(HERE / "excavator.toml", out / "dutylife.toml"))


def bus(data: Path, out: Path) -> Path:
    """From raw/: a line per monthly reading and per replacement, a machine per bus."""
    lines: list[tuple[str, str, int, str, str]] = []
    machines: list[tuple[str, str, str, str]] = []
    for group, (rows, buses) in SHAPES.items():
        text = (data / "bus_engine_odometer" / "raw" / f"{group}.asc").read_text()
        numbers = [int(float(word)) for word in text.split()]
        for j in range(buses):
            one_bus(group, numbers[j * rows : (j + 1) * rows], lines, machines)
    with (out / "lines.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["month", "bus", "odometer", "text", "model group"])
        writer.writerows(lines)
    with (out / "machines.csv").open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["bus", "model group", "bought", "log ends"])
        writer.writerows(machines)
    return Path(shutil.copy(HERE / "bus.toml", out / "dutylife.toml"))


def one_bus(
    group: str, column: list[int], lines: list[tuple[str, str, int, str, str]],
    machines: list[tuple[str, str, str, str]],
) -> None:  # fmt: skip
    """Append one bus. Rows 1-11 are its head, the rest odometer readings, one a month."""
    number, bought_month, bought_year = column[:3]
    replaced = [(column[i], column[i + 1], column[i + 2]) for i in (3, 6) if column[i + 2]]
    first_month, first_year = column[9:11]
    odometer = column[11:]
    name = f"{group}-{number}"
    start = first_year * 12 + first_month - 1
    bought, ends = day(bought_year * 12 + bought_month - 1), day(start + len(odometer) - 1)
    machines.append((name, group, bought.isoformat(), ends.isoformat()))
    for i, miles in enumerate(odometer):
        lines.append((day(start + i).isoformat(), name, miles, "odometer reading", group))
    for month, year, miles in replaced:
        # The recorded month and the recorded odometer of a replacement disagree by up to six
        # months in half the cases. The engine's clock is the odometer, so the line is dated
        # where the log passes that odometer; outside the log the recorded month stands.
        passed = [i for i, (a, b) in enumerate(pairwise(odometer)) if a <= miles <= b]
        when = day(year * 12 + month - 1)
        if passed:
            a, b = odometer[passed[0]], odometer[passed[0] + 1]
            whole = (day(start + passed[0] + 1) - day(start + passed[0])).days
            share = (miles - a) / (b - a) if b > a else 0.5
            into = min(max(round(share * whole), 1), whole - 1)
            when = day(start + passed[0]) + dt.timedelta(days=into)
        lines.append((when.isoformat(), name, miles, "engine replaced", group))


def day(months: int) -> dt.date:
    """First day of a month counted from year 0 of the century."""
    return dt.date(1900 + months // 12, months % 12 + 1, 1)


if __name__ == "__main__":
    which, data_folder, out_folder = sys.argv[1:]
    Path(out_folder).mkdir(parents=True, exist_ok=True)
    make = {"excavator": excavator, "bus": bus}[which]
    print(make(Path(data_folder), Path(out_folder)))
