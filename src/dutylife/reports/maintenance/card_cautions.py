"""Cautions that belong to one task, in the few words that fit beside it on a wall card."""

# hazard of cautions.CAUTIONS: what a card says of it; the page's end gives each in full
SHORT = {
    "Unexpected start": "Engine off, plug lead pulled and grounded first.",
    "Fire": "Engine cold, no flame or spark near, never indoors.",
    "Ignition shock": "Insulated tool; never hold the lead.",
    "Pressure vessel": "Nothing shut off before the relief valve; a damaged tank goes out of "
    "service and is never welded.",
    "Stored pressure": "Bleed to zero before opening.",
    "Compressed air": "Never point air at anyone.",
    "Water jet": "A jet wound is serious: see a doctor at once.",
    "Electricity": "Stopped and unplugged; live work is for a licensed electrician.",
    "Silica dust": "Do not blow out in the open; wear a mask.",
    "Hot parts, hot oil": "Let it cool first.",
    "Used oil": "Into a marked container.",
    "Moving parts, noise, vibration": "Guards back on before starting.",
}
_BY_SYSTEM = {
    "ignition": ("Ignition shock",),
    "air intake": ("Silica dust",),
    "fuel": ("Fire",),
    "fuel/control": ("Fire", "Moving parts, noise, vibration"),
    "engine lubrication": ("Hot parts, hot oil", "Used oil"),
    "engine": ("Unexpected start", "Hot parts, hot oil"),
    "engine cooling": ("Unexpected start", "Hot parts, hot oil"),
    "exhaust": ("Hot parts, hot oil", "Fire"),
    "starting": ("Unexpected start",),
    "compressor": ("Unexpected start", "Stored pressure"),
    "compressor control": ("Stored pressure",),
    "compressor protection": ("Stored pressure", "Pressure vessel"),
    "compressor pressure part": ("Stored pressure", "Pressure vessel"),
    "pressure protection": ("Stored pressure",),
    "pressure pump": ("Stored pressure", "Water jet"),
    "water pump": ("Unexpected start",),
    "drive": ("Unexpected start", "Moving parts, noise, vibration"),
    "compactor": ("Unexpected start", "Hot parts, hot oil"),
    "protection": ("Unexpected start", "Moving parts, noise, vibration"),
    "alternator": ("Unexpected start", "Electricity"),
    "alternator protection": ("Electricity",),
}
_BY_HURT = {
    "fire": ("Fire",),
    "pressure": ("Stored pressure",),
    "shock": ("Electricity",),
    "cut": ("Unexpected start",),
    "overspeed": ("Moving parts, noise, vibration",),
    "cannot be stopped": ("Unexpected start",),
}

# hazards that come with certain parts; the others belong to every workshop
OF_A_PART = frozenset(h for of in (_BY_SYSTEM, _BY_HURT) for found in of.values() for h in found)


def hazards_of(system: str, can_hurt: str) -> tuple[str, ...]:
    """Hazards of work on a part, by what it can do when it fails and where it sits.

    Parameters
    ----------
    system : str
        Of the component; blank for one of the shop's own.
    can_hurt : str
        How its failure can hurt; blank when it can't.

    Returns
    -------
    tuple of str
        Names of `cautions.CAUTIONS`; never empty: an engine can always start.
    """
    found = _BY_HURT.get(can_hurt, ()) + _BY_SYSTEM.get(system, ())
    return tuple(dict.fromkeys(found)) or ("Unexpected start",)
