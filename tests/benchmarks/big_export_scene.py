"""What the large invented export is about: machines, parts, duties, words, settings."""

import numpy as np

LINES_PER_MACHINE, BLOCK = 50, 4000
YEARS, START = 5, np.datetime64("2021-01-01")
N_DAYS = 365 * YEARS
N_MODELS = 20  # part numbers are one for each component and engine model: 400
MACHINES_PER_CUSTOMER = 100
DUTIES = (("stone yard", 24.0), ("harbour", 18.0), ("verges", 12.0), ("hire", 9.0), ("hall", 6.0))
CLASSES = ("trench pump", "light tower", "tamper", "sprayer")
# component, name on the line, complaint, what was found; scale hours, shape, price
GENERAL = (
    ("spark plug", "spark plug", "hard to start", "plug fouled", 2300, 2.0, 5.8),
    ("ignition cap", "ignition cap", "no spark when wet", "cap open circuit", 3600, 1.6, 9.8),
    ("ignition coil", "ignition coil", "no spark hot", "coil dead when hot", 5200, 2.4, 48.0),
    ("air filter", "air filter", "bogs down", "air filter plugged solid", 2100, 2.6, 12.4),
    ("carburetor", "carburetor", "floods", "carb needle valve leaking", 4200, 1.4, 84.0),
    ("fuel filter", "fuel filter", "starved of fuel", "fuel filter blocked", 3100, 1.7, 7.0),
    ("fuel hose and clamps", "fuel hose", "drips fuel", "fuel hose cracked", 4400, 2.8, 11.2),
    ("recoil starter rope", "starter rope", "rope broke", "starter rope broken", 2500, 1.2, 7.1),
)
BY_CLASS = (
    (
        (
            "pump mechanical seal",
            "mechanical seal",
            "won't prime",
            "pump seal leaking",
            2700,
            1.8,
            39.0,
        ),
        ("battery", "battery", "won't crank", "battery dead", 4300, 2.0, 55.0),
        (
            "muffler and spark arrestor",
            "muffler",
            "loud",
            "muffler rusted through",
            5200,
            2.2,
            61.0,
        ),
    ),
    (
        (
            "generator brushes and slip rings",
            "brush set",
            "lamps dim",
            "brushes worn short",
            2600,
            2.9,
            19.6,
        ),
        (
            "governor and throttle linkage",
            "governor spring",
            "hunts",
            "governor spring stretched",
            4800,
            1.5,
            8.2,
        ),
        ("choke", "choke cable", "choke stuck", "choke cable seized", 4500, 1.3, 9.9),
    ),
    (
        ("drive belt (compactor)", "drive belt", "no drive", "drive belt glazed", 1900, 2.3, 16.9),
        ("rubber isolators", "rubber isolators", "shakes", "rubber mounts torn", 3000, 2.7, 33.0),
        (
            "centrifugal clutch",
            "centrifugal clutch",
            "creeps",
            "clutch shoes worn",
            3900,
            2.1,
            72.0,
        ),
    ),
    (
        ("pressure washer nozzle", "nozzle", "poor spray", "nozzle orifice worn", 1800, 2.5, 14.2),
        (
            "crankshaft oil seals",
            "crank oil seal",
            "oil leak",
            "crank seal leaking",
            5200,
            2.0,
            6.4,
        ),
        ("hour meter", "hour meter", "meter dead", "hour meter dead", 5600, 1.1, 31.0),
    ),
)
COMPONENTS = GENERAL + tuple(c for of_class in BY_CLASS for c in of_class)
DONE = ("renewed", "replaced", "new one fitted", "changed")
ENDINGS = ("", "; tested ok", ", ran up ok", ". tested under load {n} min ok", ", idle set to {n}0")

SETTINGS = """[fleet]
name = "large invented fleet"
currency = "crowns"
meter_unit = "hours"

[[exports]]
path = "lines.csv"
date_order = "dmy"
[exports.columns]
ticket = "Job"
service_date = "Job date"
ticket_kind = "Job kind"
unit_id = "Machine"
customer = "Customer"
duty = "Site"
meter_hours = "Meter"
complaint = "Complaint"
work_done = "Work"
line_kind = "Sort"
part_number = "Part no"
description = "Text"
quantity = "Qty"
unit_price = "Each"

[[exports]]
path = "machines.csv"
kind = "machines"
date_order = "dmy"
[exports.columns]
unit_id = "Machine"
equipment_class = "Kind"
engine_model = "Engine"
in_service_on = "In service"
customer = "Customer"

[[exports]]
path = "parts.csv"
kind = "parts"
[exports.columns]
part_number = "Part no"
description = "Name"
on_hand = "On hand"
on_order = "On order"
unit_cost = "Cost"
supplier = "Supplier"
lead_time_days = "Lead days"

[duty]
column = "Site"
severe = ["stone yard", "harbour"]

[workshop]
hours_per_week = {hours}
labour_rate = 48
visit_cost = 25

[stock.default]
lead_time_days = 9
review_days = 7
service_level = 0.95
service_measure = "fill rate"
holding_rate = 0.2
order_cost = 3

[costs.default]
payer = "contractor"
"""
