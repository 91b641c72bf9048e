"""A shop of a few machines with names and words found nowhere else, cheap to run whole."""

import csv
import io
from pathlib import Path

FLEET = "Grimblewick Plant"
MACHINES = tuple(f"SERIAL-99{n}" for n in range(5))
CUSTOMERS = ("Zebedee Digworth", "Quillfeather & Sons")
TECHNICIAN = "Wobblethwaite"
SUPPLIER = "Snodbury Supplies"
TICKETS = tuple(f"JOB-{7000 + n}" for n in range(60))
# what may stand in no byte of a run under pseudonyms
NAMES = (FLEET, *MACHINES, *CUSTOMERS, TECHNICIAN, SUPPLIER, *TICKETS, "squealing like a kettle",
         "jobs_of_the_yard.csv", "Digworth")  # fmt: skip
SETTINGS = f"""
[fleet]
name = "{FLEET}"
currency = "crowns"
[[exports]]
path = "jobs_of_the_yard.csv"
[exports.columns]
ticket = "job"
service_date = "date"
unit_id = "machine"
customer = "customer"
part_number = "part"
description = "text"
quantity = "qty"
unit_price = "price"
complaint = "complaint"
work_done = "work"
meter_hours = "meter"
[[exports]]
path = "parts.csv"
kind = "parts"
[duty]
all = "yard"
[customers."Zebedee Digworth"]
lost_day_cost = 40
"""
PARTS = (
    "part_number,description,on_hand,unit_cost,supplier\n"
    f"IC-1,ignition cap,3,4.20,{SUPPLIER}\nAF-2,air filter,1,2.20,{SUPPLIER}\n"
)


def lines_csv(n_lines: int = 60) -> str:
    """Jobs of two years, of which the last day grows with their number."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["job", "date", "machine", "customer", "part", "text", "qty", "price",
                     "complaint", "work", "meter"])  # fmt: skip
    for n in range(n_lines):
        machine = MACHINES[n % 5]
        writer.writerow(
            [TICKETS[n], f"202{3 + n // 30}-{1 + n % 30 * 12 // 30:02d}-{1 + n % 27:02d}", machine,
             CUSTOMERS[n % 2], ("AF-2", "IC-1")[n % 2],
             ("air filter for Digworth", "renewed ignition cap")[n % 2], "1", "9.50",
             f"no spark, says {TECHNICIAN}, squealing like a kettle",
             f"{('filter', 'cap')[n % 2]} renewed by {TECHNICIAN} on {machine}", str(100 + n * 9)]
        )  # fmt: skip
    return out.getvalue()


def write_shop(folder: Path, n_lines: int = 60) -> Path:
    """Write exports and settings; the settings file."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "jobs_of_the_yard.csv").write_text(lines_csv(n_lines), encoding="utf-8")
    (folder / "parts.csv").write_text(PARTS, encoding="utf-8")
    path = folder / "dutylife.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    return path
