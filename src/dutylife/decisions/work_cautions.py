"""Hazards of the work on a component, by what it is part of; the lines are printed by reports."""

from dutylife.components import Component

START, GAS, FIRE, SHOCK = "Unexpected start", "Carbon monoxide", "Fire", "Ignition shock"
VESSEL, STORED, AIR, JET = "Pressure vessel", "Stored pressure", "Compressed air", "Water jet"
POWER, DUST, HOT, OIL = "Electricity", "Silica dust", "Hot parts, hot oil", "Used oil"
MOVING = "Moving parts, noise, vibration"

# which lines of the cautions belong to which part of the machine: our proposal
_BY_SYSTEM: dict[str, tuple[str, ...]] = {
    "ignition": (START, SHOCK),
    "protection": (START,),
    "air intake": (DUST, AIR),
    "fuel": (FIRE,),
    "fuel/control": (START, FIRE),
    "engine": (START, HOT),
    "engine cooling": (START, HOT, AIR),
    "engine lubrication": (HOT, OIL),
    "exhaust": (HOT, GAS, FIRE),
    "starting": (START,),
    "structure": (START,),
    "instrument": (),
    "compressor": (START, STORED),
    "compressor control": (START, STORED),
    "compressor protection": (VESSEL, STORED),
    "compressor pressure part": (VESSEL, STORED),
    "compactor": (START, MOVING),
    "drive": (START, MOVING),
    "pressure pump": (START, STORED, JET),
    "pressure protection": (STORED, JET),
    "water pump": (START, STORED),
    "alternator": (START, POWER),
    "alternator protection": (POWER,),
}
# by how a failure can hurt, and by words in the name
_BY_HURT = {
    "fire": (FIRE,),
    "pressure": (STORED,),
    "shock": (POWER,),
    "cut": (START, MOVING),
    "overspeed": (START, MOVING),
    "cannot be stopped": (START,),
}
_BY_WORD = {
    "oil": (OIL,), "battery": (FIRE,), "blade": (START, MOVING), "valves, seats": (HOT,),
    "running": (GAS,),
}  # fmt: skip


def cautions_for(component: Component) -> tuple[str, ...]:
    """Names of the cautions that belong to work on a component, in the order they are printed.

    Anything driven by an engine can start: a component the list does not know gets that line.

    Examples
    --------
    >>> from dutylife.components import shipped_components
    >>> cautions_for(shipped_components()["safety relief valve"])
    ('Pressure vessel', 'Stored pressure')
    """
    named = [*_BY_SYSTEM.get(component.system, (START,)), *_BY_HURT.get(component.can_hurt, ())]
    for word, lines in _BY_WORD.items():
        if word in component.name:
            named += lines
    return tuple(dict.fromkeys(named))
