"""Makes src/dutylife/components.toml from the trade's list (components.csv of the shared folder).

What the list does not hold (words of the counter, clock, renewal, warning time) stands here with
its mark. Run: python tests/reference/make_components.py SHARED/components.csv
"""

import csv
import re
import sys
from pathlib import Path

OUT = Path(__file__).parents[2] / "src" / "dutylife" / "components.toml"
MARKS = {"s": "seen in a named source", "c": "common practice", "e": "from memory",
         "p": "our proposal", "-": ""}  # fmt: skip
# titles as far as they were seen; hosts are left out
SOURCES = {
    "S6": "generator manual, maintenance schedule and storage page", "S8": "bilingual generator manual, p. 26",
    "S9": "generator manual, p. 11", "S10": "generator manual, p. 12", "S11": "generator manual, p. 16",
    "S7": "generator manual, severe duty and warnings, p. 34", "S12": "generator maintenance chart, p. 18",
    "S13": "turf-machine manuals, schedules", "S14": "log-splitter manual, p. 14",
    "S15": "plate compactor manual, p. 14", "S16": "plate compactor manual, p. 17",
    "S17": "plate compactor manual, p. 18", "S18": "US Army TM 5-4310-339-15, table 5-3",
    "S19": "US Army TM 5-5065", "S20": "plate compactor manual, p. 20",
    "S21": "trade article on basic upkeep", "S22": "portable machine manual, belt, p. 18",
    "S23": "service-truck manual, filter limit, p. 47", "S24": "four pages on pressure-washer pump oil",
    "S25": "trade article on trash pumps", "S26": "trash pump manual", "S28": "portable generator manual, p. 35",
    "S28b": "portable generator manual, p. 44", "S29": "generator manuals, plug gap, p. 59 and p. 49",
    "S30": "motorcycle service manual, p. 509", "S31": "plug resistance test page (low authority)",
    "S32": "utility vehicle manual, p. 211; generator manual, p. 82",
    "S33": "coil gap answer page (low authority)", "S34": "valve lash: two manuals, p. 32 and p. 17",
    "S35": "compression: manual, p. 6", "S36": "governed speed: manual, p. 71",
    "S37": "fuel ageing page; newspaper of 2011", "S38": "paver-saw filter page",
    "S39": "trade article on concrete saws", "S51": "29 CFR 1910.242, 1926.302; 30 CFR 57.13011, 77.412",
    "S53": "OSHA 3277", "S54": "CDC washer tips, quoted", "S58": "ball-bearing slope note, April 2001",
}  # fmt: skip
# words heard at the counter, beside name and aliases; common practice, no source
WORDS = {
    "spark plug": ["spark plugs", "plugs", "sparking plug", "s/plug"],
    "ignition cap": ["ign cap", "cap", "h.t. cap", "ht cap", "plug connector", "suppressor cap"],
    "ignition lead": ["plug lead", "h.t. lead", "ht lead", "ignition wire"],
    "ignition coil": ["ign coil", "coil pack"],
    "stop switch and low-tension wiring": ["stop switch", "kill switch", "stop button"],
    "low-oil shutdown switch": ["low oil switch", "oil level switch", "oil alert switch"],
    "air filter pre-cleaner": ["pre cleaner", "precleaner", "prefilter", "foam pre-cleaner"],
    "air filter": [
        "a/filter",
        "air filters",
        "a/f element",
        "air filter element",
        "filter element",
    ],
    "carburetor": ["carbs", "carburettors", "carby"],
    "carburetor diaphragm": ["carb diaphragm", "diaphragm kit", "pump diaphragm"],
    "carburetor and intake gaskets": ["carb gasket", "intake gasket", "insulator gasket"],
    "fuel filter": ["fuel filters", "in-tank filter"],
    "fuel sediment bowl": ["sediment bowl", "sediment cup"],
    "fuel tank": ["petrol tank"],
    "fuel hose and clamps": ["fuel hose", "fuel line", "fuel pipe"],
    "fuel tap and cap vent": ["fuel tap", "fuel cock", "cap vent", "fuel valve"],
    "governor and throttle linkage": ["governor", "throttle linkage", "governor spring"],
    "choke": ["choke plate", "choke lever"],
    "engine oil": ["oil change", "engine oil change", "sae 30", "10w-30", "motor oil"],
    "valve clearance": ["tappets", "valve lash", "valve clearances"],
    "valves, seats and combustion chamber": [
        "valve seat",
        "head gasket",
        "decarbon",
        "decoke",
        "valves",
    ],
    "piston, rings and bore": ["piston rings", "piston", "rebore"],
    "connecting rod and crank bearings": [
        "conrod",
        "con rod",
        "connecting rod",
        "big end",
        "crank bearing",
    ],
    "crankshaft oil seals": ["crank seal", "oil seal", "crankshaft seal"],
    "cylinder fins and cooling shroud": ["cooling fins", "cooling shroud", "fins"],
    "muffler and spark arrestor": [
        "muffler",
        "silencer",
        "exhaust",
        "spark arrestor",
        "arrestor screen",
    ],
    "recoil starter rope": ["starter cord", "recoil rope", "pull rope", "rope"],
    "recoil starter spring and pawls": [
        "recoil",
        "starter spring",
        "recoil spring",
        "starter pawl",
    ],
    "battery": ["batteries", "batt"],
    "engine mounts and fasteners": ["engine mount", "engine mounts"],
    "hour meter": ["hourmeter", "hour counter"],
    "drive belt (compactor)": ["tamper belt", "plate belt", "compactor belt", "vee belt"],
    "centrifugal clutch": ["clutch"],
    "rubber isolators": ["isolator", "isolators", "rubber mount", "rubber buffer", "a/v mount"],
    "exciter oil": ["exciter box oil"],
    "exciter bearings": ["exciter bearing", "vibrator bearing"],
    "pump mechanical seal": ["mech seal", "mechanical seal", "pump seal"],
    "impeller and volute": ["impeller", "volute", "wear plate"],
    "suction hose and check flap": ["suction hose", "check flap", "foot valve", "flap valve"],
    "generator brushes and slip rings": ["brush set", "carbon brushes", "slip rings"],
    "voltage regulator": ["avr unit", "regulator"],
    "receptacles and ground-fault device": ["receptacle", "socket outlet", "ground fault", "rcd"],
    "pressure hose and gun": ["lance", "trigger gun", "pressure hose", "spray gun"],
    "pressure washer nozzle": ["nozzle", "spray tip", "jet nozzle"],
    "pressure washer seals and packings": ["packing set", "pump packing", "water seal kit"],
    "wheels and frame": ["wheel", "tyre", "frame weld"],
}
# the clock a part wears on (DOMAIN 2.4, from memory): hours unless ageing, damp or idle time rules
DAYS = """ignition cap|ignition lead|ignition coil|stop switch and low-tension wiring|carburetor|carburetor diaphragm|
carburetor and intake gaskets|fuel sediment bowl|fuel tank|fuel hose and clamps|fuel tap and cap vent|choke|battery|
rubber isolators|low-oil shutdown switch|hour meter|safety relief valve|pressure gauge|air receiver|voltage regulator|
stator and rotor insulation|receptacles and ground-fault device|pressure washer thermal relief|wheels and frame"""
DAYS = {d.strip() for d in DAYS.replace("\n", "").split("|")}
# time from detectable to failed (P-F): value, unit, mark (DOMAIN 2.5); elsewhere twice the first
# starting interval of looking, our proposal, so that half of it is that interval
WARNING = {
    "ignition cap": (60, "days", "common practice"),
    "air filter": (50, "hours", "common practice"),
    "air filter pre-cleaner": (25, "hours", "common practice"),
    "drive belt (compactor)": (60, "hours", "common practice"),
    "drive belt (compressor)": (60, "hours", "common practice"),
    "recoil starter rope": (14, "days", "common practice"),
    "pilot valve": (21, "days", "common practice"),
    "compressor pump oil": (30, "hours", "common practice"),
    "pressure washer pump oil": (30, "hours", "common practice"),
}
# cleaning makes these as good as new (gum and dirt are the failure); elsewhere the part ages on
CLEAN_RENEWS = {"carburetor", "fuel sediment bowl", "fuel tank", "cylinder fins and cooling shroud"}


def task_of(action: str) -> str:
    """Task word of the vocabulary for an action in the list."""
    text = action.lower()
    for word, task in (("replace when disturbed", ""), ("on symptom", ""), ("none", ""),
                       ("failure-finding", "test"), ("functional", "test"), ("test", "test"),
                       ("measure", "measure"), ("stroke", "measure"), ("pressure", "measure"),
                       ("inspect", "inspect"), ("check", "inspect"), ("listen", "inspect"),
                       ("tension", "inspect"), ("verify", "inspect"), ("clean or replace", "clean"),
                       ("clean", "clean"), ("drain", "clean"), ("set air gap", "inspect"),
                       ("de-carbon", "clean"), ("replace", "replace"), ("change", "replace")):  # fmt: skip
        if word in text:
            return task
    raise SystemExit(f"no task word for action {action!r}")


def quoted(value: object) -> str:
    """A TOML basic string."""
    return '"' + str(value).replace("\\", "\\\\").replace('"', '\\"') + '"'


def listed(values: list[str]) -> str:
    """A TOML array of strings."""
    return "[" + ", ".join(quoted(v) for v in values) + "]"


def mark_of(status: str, letter: str) -> str:
    """Mark of one aspect (i interval, f factor, b shape, m limit) in the list's status column."""
    found = re.search(rf"\b{letter}:([scep-])", status)
    return MARKS[found.group(1)] if found else ""


def source_of(keys: str) -> str:
    """Titles behind the list's source keys."""
    return "; ".join(SOURCES.get(k, k) for k in keys.split(";") if k)


def component_lines(name: str, rows: list[dict[str, str]]) -> list[str]:
    """TOML of one component: facts of the thing, then its starting tasks."""
    first = rows[0]
    hurt = next((r["can_hurt"] for r in rows if r["can_hurt"] != "no"), "")
    aliases = [a for a in first["aliases"].split("|") if a]
    modes = list(dict.fromkeys(m for r in rows for m in r["failure_modes"].split("|") if m))
    shape = re.match(r"([\d.]+-[\d.]+)(.*)", first["typical_weibull_shape_range"])
    hidden = next((r["hidden"] for r in rows if r["hidden"] not in ("no", "")), "")
    out = [
        "", "[[component]]", f"name = {quoted(name)}", f"aliases = {listed(aliases)}",
        f"words = {listed(WORDS.get(name, []))}", f"system = {quoted(first['system'])}",
        f"can_hurt = {quoted(hurt)}", f"hidden = {quoted(hidden)}",
        f"clock = {quoted('days' if name in DAYS else 'hours')}",
        f"failure_modes = {listed(modes)}",
        f"shape_range_from_memory = {quoted(shape.group(0) if shape else '')}",
        f"clean_renews = {str(name in CLEAN_RENEWS).lower()}",
    ]  # fmt: skip
    if name in WARNING:
        value, unit, mark = WARNING[name]
        out.append(f"warning = {{ {unit} = {value}, mark = {quoted(mark)} }}")
    for r in rows:
        task = task_of(r["action"])
        if not task:
            continue
        out += [
            "[[component.task]]", f"task = {quoted(task)}", f"action = {quoted(r['action'])}",
            *([f"interval_hours = {r['baseline_interval_hours']}"] if r["baseline_interval_hours"] else []),
            *([f"interval_months = {r['baseline_interval_months']}"] if r["baseline_interval_months"] else []),
            f"severe_factor = {r['severe_duty_factor'] or 1}",
            f"measurement = {quoted(r['measurement'])}", f"unit = {quoted(r['unit'])}",
            f"nominal = {quoted(r['nominal'])}",
            # a counter sheet of any machine prints it
            f"reject_limit = {quoted(r['reject_limit'].replace('compressor)', 'machine)'))}",
            f"mark = {quoted(mark_of(r['status'], 'i') or 'our proposal')}",
            f"factor_mark = {quoted(mark_of(r['status'], 'f') or 'our proposal')}",
            f"source = {quoted(source_of(r['source']))}",
        ]  # fmt: skip
    return out


def main(path: str) -> str:
    """The whole file as text."""
    with Path(path).open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    names = list(dict.fromkeys(r["component"] for r in rows))
    lines = [
        "# Components of engine-driven equipment: names, words, clock, what can hurt, starting",
        "# intervals with their marks. Made by tests/reference/make_components.py; a starting value",
        "# is a place to begin, never a finding, and the maker's manual stands above it.",
    ]
    for name in names:
        lines += component_lines(name, [r for r in rows if r["component"] == name])
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    OUT.write_text(main(sys.argv[1]), encoding="utf-8")
