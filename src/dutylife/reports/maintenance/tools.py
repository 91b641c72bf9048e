"""What a reading is taken with: common practice, no source."""

# in the order asked: words of the measurement, the unit where it tells more, the tool
_BY_WORDS: tuple[tuple[str, str, str], ...] = (
    ("insulation resistance", "", "insulation tester, machine stopped and unplugged"),
    ("resistance", "", "ohmmeter"),
    ("continuity", "", "ohmmeter"),
    ("gap", "mm", "feeler gauge"),
    ("clearance", "mm", "feeler gauge"),
    ("deflection", "", "straight edge and ruler"),
    ("brush length", "", "vernier caliper"),
    ("stroke", "", "vernier caliper"),
    ("wall thickness", "", "eyes and a lamp; wall thickness by a competent person"),
    ("voltage", "", "voltmeter"),
    ("speed", "rpm", "tachometer"),
    ("compression", "", "compression gauge"),
    ("torque", "", "torque wrench"),
    ("temperature", "", "contact thermometer, and the ear"),
    ("visual / restriction", "", "eyes, and a vacuum gauge behind the filter"),
    ("restriction", "", "vacuum gauge behind the filter"),
    ("pressure", "", "pressure gauge"),
    ("pop-off", "", "hand pump with a pressure gauge"),
    ("difference", "kPa", "test gauge"),
    ("dipstick", "", "dipstick or sight glass"),
    ("fuel age", "", "date of the last fill"),
    ("hours since", "", "hour meter and the record"),
    ("reading vs last reading", "", "hour meter and the record"),
    ("water drained", "", "measuring cup"),
    ("time", "s", "stopwatch"),
    ("flow by gravity", "", "measuring cup"),
    ("drip rate", "", "stopwatch and a clean rag"),
    ("weep", "", "stopwatch and a clean rag"),
    ("flex", "", "eyes, a lamp, and a bend by hand"),
    ("visual", "", "eyes and a lamp"),
    ("colour", "", "eyes and a lamp, on a clean rag"),
    ("condition", "", "eyes and a lamp, on a clean rag"),
)
_FUNCTION = "no tool: does it work, yes or no"


def tool_for(measurement: str, unit: str) -> str:
    """Say what a reading is taken with.

    Parameters
    ----------
    measurement : str
        What is measured, as in components.toml; may be blank.
    unit : str

    Returns
    -------
    str
        Blank where nothing is measured, or no tool is known for it.

    Examples
    --------
    >>> tool_for("electrode gap", "mm"), tool_for("trip test", "pass/fail")
    ('feeler gauge', 'no tool: does it work, yes or no')
    """
    if unit == "pass/fail":
        return _FUNCTION
    for words, of_unit, tool in _BY_WORDS:
        if words in measurement and of_unit in ("", unit):
            return tool
    return ""
