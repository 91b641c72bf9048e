"""Every difficulty of a practice fleet: what it does, and a scenario with its strength put in."""

import difflib
from collections.abc import Mapping, Sequence
from typing import Any

from dutylife.errors import SettingsError
from dutylife.practice.scenario import Scenario
from dutylife.practice.sections import Law, Section

DIFFICULTIES: dict[str, str] = {
    "late_start": "0: every machine was new when the record starts, or later; 1: most were in "
    "service before it, up to 6 years, with parts of an age the export does not show.",
    "unknown_installs": "0: the list of machines says when each went into service; 1: it does "
    "not for 80 % of them.",
    "silent_leavers": "0: no machine leaves; 1: 16 % a year leave, nine in ten without a word.",
    "no_meters": "0: every ticket has a meter reading; 1: 60 % of the machines have no meter, and "
    "20 % of the readings of the others are missing.",
    "meter_faults": "0: meters are right; 1: of a machine's meter 0.15 a year are replaced and "
    "0.15 stop for months, 15 % go back to 0 at 1000 h, and 5 % of the readings are mistyped.",
    "opportunistic_changes": "0: only what failed is changed at a repair; 1: sound parts are "
    "changed beside it, at up to 60 % of the repairs of a kind.",
    "shotgun_repairs": "0: never; 1: at 35 % of the repairs of ignition or fuel three parts are "
    "changed for one failure, and the text names none.",
    "cleaned_parts": "0: a failed part is always replaced; 1: 70 % of failed carburetors are "
    "cleaned, as good as new, and no part is billed.",
    "comebacks": "0: none; 1: 12 % of repairs come back within three weeks, by poor work and not "
    "by the part's law.",
    "mixed_modes": "0: one law a part; 1: every part also fails by a second law, of shape 0.8 and "
    "1.5 times the scale, whichever is first; the hazard of the second grows with the strength.",
    "early_failure_batch": "0: none; 1: of the parts of four components fitted in a fifth of the "
    "record 60 % are faulty, and also fail by a law of shape 0.9 and a tenth of the scale.",
    "duty_changes": "0: a machine stays with its customer; 1: it moves, at 0.25 a year, to a "
    "customer of another duty; the risk of failing at an age is then that of the new duty.",
    "season": "0: machines run alike all year; 1: those of seasonal duties run by the square of "
    "the season stated for the duty (0.36 to 1.96 times the mean).",
    "counter_sales": "0: no part is sold without a machine; 1: 2.6 such sales a week for every "
    "100 machines, for machines that are not on the list; 6 % are brought back.",
    "typed_text": "0: texts are complete and spelt right; 1: 28 % of repairs do not name their "
    "cause, 24 % of part lines lack the number, 12 % the text, and 8 % of longer words slip.",
    "returns": "0: no part billed on a machine's ticket comes back; 1: at 25 % of repairs a part "
    "too many is billed, and credited within two weeks.",
    "reissued_files": "0: the record comes in one file; above 0: in two, of which the second goes "
    "on to the end and repeats that share of the first, all of it at 1.",
    "readings": "0: no figure is typed of a part that has not failed; 1: caps and brushes are "
    "measured at every service and at 6 of 10 checks.",
    "announced_contract": "0: none; 1: machines numbering 20 % of the fleet start work the day "
    "after the cut-off: in the future demand, in contracts.csv, in no other file.",
    "plan_from_cutoff": "0: after the cut-off all goes on as before; above 0: that share of the "
    "parts named in the scenario's plan is replaced at its age from then on, and dutylife.toml "
    "states the plan.",
    "lognormal_lives": "0: Weibull lives; above 0: that share of the components has lognormal "
    "lives with the same mean and spread of the log life, all of them at 1.",
    "machine_spread": "0: machines of a duty are alike; 1: their risk of failing is multiplied by "
    "a gamma factor of mean 1 and variance 0.25, one a machine.",
    "customer_spread": "0: customers of a duty are alike; 1: the risk is multiplied by a gamma "
    "factor of mean 1 and variance 0.25, one a customer.",
    "wrong_duty_labels": "0: dutylife.toml states every duty rightly; 1: it states another duty "
    "for 10 % of the machines.",
    "wrong_failure_cost": "0: dutylife.toml states failure costs rightly; 1: each is twice or "
    "half the true one (twice where half would not exceed the planned cost).",
}

# fields of the scenario that a strength multiplies
_SCALED: dict[str, tuple[str, ...]] = {
    "late_start": ("record.history_years",),
    "unknown_installs": ("record.share_in_service_unknown",),
    "silent_leavers": ("record.leaving_per_year",),
    "no_meters": ("record.share_without_meter", "record.share_meter_missing"),
    "meter_faults": (
        "meter_faults.replaced_per_year", "meter_faults.stopped_per_year",
        "meter_faults.rolling_share", "meter_faults.mistyped_share",
    ),
    "shotgun_repairs": ("shotgun.share",),
    "comebacks": ("visits.comeback_share",),
    "mixed_modes": ("second_mode.strength",),
    "early_failure_batch": ("early_batch.share",),
    "duty_changes": ("record.moves_per_year",),
    "season": ("record.season_power",),
    "counter_sales": ("visits.counter_per_week_per_100", "visits.counter_per_week_least"),
    "typed_text": (
        "visits.vague_share", "visits.blank_share", "visits.no_number_share", "visits.slip_share",
    ),
    "returns": ("visits.visit_return_share",),
    "reissued_files": ("record.reissued_share",),
    "readings": ("visits.reading_share",),
    "announced_contract": ("announced.share_of_fleet",),
    "plan_from_cutoff": ("plan.share",),
    "machine_spread": ("spread.machine_variance",),
    "customer_spread": ("spread.customer_variance",),
    "wrong_duty_labels": ("stated.wrong_duty_share",),
}  # fmt: skip


def without_difficulties() -> dict[str, float]:
    """Return every difficulty at strength 0."""
    return dict.fromkeys(DIFFICULTIES, 0.0)


def strengths_of(given: Sequence[str]) -> dict[str, float]:
    """Return strengths by name from texts such as "returns=0.5".

    Raises
    ------
    SettingsError
        A text is not NAME=STRENGTH, or a name is given twice; every fault at once.

    Examples
    --------
    >>> strengths_of(["returns=0.5"])
    {'returns': 0.5}
    """
    out: dict[str, float] = {}
    faults = []
    for text in given:
        name, _, strength = (part.strip() for part in text.partition("="))
        try:
            value = float(strength)
        except ValueError:
            faults.append(f"'{text}' is not NAME=STRENGTH")
            continue
        if name in out:
            faults.append(f"{name} is given twice")
        out[name] = value
    if faults:
        raise SettingsError(
            "The difficulties of the practice fleet can't be read.",
            "difficulty: " + "; ".join(faults),
            "for example: --difficulty returns=0.5",
        )
    return out


def with_difficulties(scenario: Scenario, given: Mapping[str, float] | None = None) -> Scenario:
    """Put strengths into a scenario as read from its file.

    Parameters
    ----------
    scenario : Scenario
        Its rates are those of full strength.
    given : mapping of str to float, optional
        Strength by name, 0 to 1; a name that is missing keeps the scenario's own. [1]

    Returns
    -------
    Scenario
        Its rates are those that hold; ``difficulties`` has the strength of every name.

    Raises
    ------
    SettingsError
        A name is not known, or a strength is not in 0 to 1; every fault at once.
    """
    strengths = without_difficulties() | {**scenario.difficulties, **(given or {})}
    faults = [
        f"{name}: unknown{_nearest(name)}" for name in strengths if name not in DIFFICULTIES
    ] + [
        f"{name} = {value} is not in 0 to 1"
        for name, value in strengths.items()
        if not 0.0 <= value <= 1.0
    ]
    if faults:
        raise SettingsError(
            "The difficulties of the practice fleet can't be used.",
            "difficulties: " + "; ".join(faults),
            "a strength from 0 to 1 for: " + ", ".join(DIFFICULTIES),
        )
    sections: dict[str, Any] = {}
    for name, paths in _SCALED.items():
        for path in paths:
            key, field = path.split(".")
            section: Section = sections.get(key) or getattr(scenario, key)
            value = getattr(section, field) * strengths[name]
            sections[key] = section.model_copy(update={field: value})
    factor = sections["stated"].failure_cost_factor ** strengths["wrong_failure_cost"]
    sections["stated"] = sections["stated"].model_copy(update={"failure_cost_factor": factor})
    changes = strengths["opportunistic_changes"]
    power = sections["record"].season_power
    return scenario.model_copy(
        update=sections
        | {
            "difficulties": strengths,
            "opportunistic": {
                cause: {name: share * changes for name, share in others.items()}
                for cause, others in scenario.opportunistic.items()
            },
            "duties": {
                name: place.model_copy(update={"season": [f**power for f in place.season]})
                for name, place in scenario.duties.items()
            },
            "components": _components(scenario, strengths),
        }
    )


def _components(scenario: Scenario, strengths: Mapping[str, float]) -> dict[str, Law]:
    n_lognormal = round(strengths["lognormal_lives"] * len(scenario.components))
    out = {}
    for number, (name, law) in enumerate(scenario.components.items()):
        change: dict[str, Any] = {"clean_share": law.clean_share * strengths["cleaned_parts"]}
        if number < n_lognormal:
            change["distribution"] = "lognormal"
        out[name] = law.model_copy(update=change)
    return out


def _nearest(name: str) -> str:
    near = difflib.get_close_matches(name, DIFFICULTIES, n=1, cutoff=0.5)
    return f"; did you mean '{near[0]}'?" if near else ""
