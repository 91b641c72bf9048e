"""Cautions printed with maintenance work. They defer to the maker's manual, codes and licences."""

FOOTER = (
    "Intervals are estimates from past repairs. They do not replace the maker's manual, "
    "inspection by a competent person, or law."
)
CALENDAR_LINE = (
    "Engine off and cold, plug lead pulled and grounded, pressure bled to zero before work. "
    "The maker's manual and local rules come first."
)

# hazard, what to do; rule numbers are those read for each line
CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Unexpected start",
        "Pull the plug lead and ground it before touching a belt, a blade or a pump.",
    ),
    (
        "Carbon monoxide",
        "Never run an engine indoors or half enclosed; open doors and fans are not enough "
        "(NIOSH 96-118a).",
    ),
    (
        "Fire",
        "Stop the engine and let it cool before refuelling; no fuel indoors; look for spark with "
        "a tester and the plug hole closed.",
    ),
    (
        "Ignition shock",
        "Thousands of volts: insulated tool, never hold the lead.",
    ),
    (
        "Pressure vessel",
        "Drain daily, keep the gauge readable, test the relief valve, no shut-off valve between "
        "receiver and relief valve. A dented, cracked or leaking tank goes out of service and is "
        "never welded.",
    ),
    (
        "Stored pressure",
        "Bleed to zero before opening the air or water side (30 CFR 77.412).",
    ),
    (
        "Compressed air",
        "Never at people; cleaning at or under 30 psi (207 kPa) with guard and eye protection "
        "(29 CFR 1910.242).",
    ),
    (
        "Water jet",
        "A wound from a pressure washer looks small and is serious: see a doctor at once.",
    ),
    (
        "Electricity",
        "Transfer switch fitted by a licensed electrician, ground-fault protection, keep dry.",
    ),
    (
        "Silica dust",
        "Cut wet or capture the dust (29 CFR 1926.1153); do not blow filters clean in the open.",
    ),
    (
        "Hot parts, hot oil",
        "Let it cool first; crankcase pressure can throw oil; used oil harms skin.",
    ),
    (
        "Used oil",
        'Into a sound container marked "Used Oil" (40 CFR 279.22); keep solvents out.',
    ),
    (
        "Moving parts, noise, vibration",
        "Guards on; protect hearing; limit time on vibrating tools.",
    ),
)
