"""Sliders of a live notebook for what-ifs: each control is a change, the answer stands below."""

import html
from typing import Any

from dutylife.decisions import WhatIf, what_if, what_if_ground
from dutylife.decisions.what_if_ground import Ground
from dutylife.errors import DutylifeError
from dutylife.provenance import Run
from dutylife.reports.layout import Section, style_tag
from dutylife.reports.maintenance.coming_year import ranged
from dutylife.reports.tables import Shown, html_table

AS_IT_IS = "as it is"


def what_if_section(found: WhatIf) -> Section:
    """Return a what-if as a section: sentence, table of before and after, notes."""
    money = found.currency or "currency"
    rows = found.table[found.table["before"].notna() | found.table["after"].notna()]
    rows = rows.assign(
        named=[f"{m} [{money}]" if "money" in m else m for m in rows["measure"]],
        **{
            name: [ranged(r, name) for r in rows.to_dict("records")]
            for name in ("before", "after", "difference")
        },
    )
    shown = [
        Shown(name="named", heading="in a year"),
        Shown(name="before", heading="as it is", number=True),
        Shown(name="after", heading="with the change", number=True),
        Shown(name="difference", heading="difference", number=True),
    ]
    table = html_table(rows, shown, caption="Expected figures of one year, with their ranges.")
    return Section("", found.text, found.notes, (table,))


def what_if_panel(run: Run | Ground) -> Any:
    """Return sliders for the what-ifs of a run, its answer below them.

    Parameters
    ----------
    run : Run, or what `what_if_ground` gave
        An opened run folder; it is read once.

    Returns
    -------
    VBox
        Of ipywidgets; its last child is the answer, written anew at each move.
    """
    import ipywidgets

    ground = run if isinstance(run, Ground) else what_if_ground(run)
    controls = _controls(ground, ipywidgets)
    answer = ipywidgets.HTML()

    def tell(_: Any = None) -> None:
        try:
            section = what_if_section(what_if(ground, **_asked(controls)))
            answer.value = style_tag() + section.html
        except DutylifeError as error:
            answer.value = f"<pre>{html.escape(str(error))}</pre>"

    for control in controls.values():
        control.observe(tell, names="value")
    tell()
    return ipywidgets.VBox([*controls.values(), answer])


def _controls(ground: Ground, widgets: Any) -> dict[str, Any]:
    """A control for each change; each starts where nothing is changed."""
    wide = {"style": {"description_width": "19em"}, "layout": {"width": "44em"}}
    lazy = wide | {"continuous_update": False}
    components = [AS_IT_IS, *sorted({c.component.name for c in ground.standing.cells})]
    duties = sorted({c.duty for c in ground.standing.cells})
    skippable = [AS_IT_IS, *sorted(
        {f"replace {c.component.name}" for c in ground.standing.cells
         if not c.component.can_hurt and ground.plan.policies[c.key].change_at is not None}
    )]  # fmt: skip

    def slider(label: str, low: float, high: float, step: float, start: float) -> Any:
        return widgets.FloatSlider(
            description=label, min=low, max=high, step=step, value=start, **lazy
        )

    def pick(label: str, options: list[str]) -> Any:
        return widgets.Dropdown(description=label, options=options, value=options[0], **wide)

    return {
        "days": slider("days lost per failure (0: as it is)", 0, 10, 0.5, 0),
        "price": slider("cost of a lost day (0: as it is)", 0, 1000, 20, 0),
        "loaner": widgets.Checkbox(description="a loaner is at hand", value=False, **wide),
        "hours": slider("hours run, times", 0.25, 3, 0.25, 1),
        "contract_duty": pick("new contract in", duties),
        "contract_n": widgets.IntSlider(description="machines of it", max=100, value=0, **lazy),
        "part": pick("a part that lasts longer", components),
        "part_factor": slider("lasts, times", 0.5, 3, 0.1, 1.5),
        "part_cost": slider("costs more, each", 0, 200, 1, 0),
        "measure": pick("measure instead of change", components),
        "cover_duty": pick("pre-cleaner or cover in", [AS_IT_IS, *duties]),
        "cover_part": pick("helps", ["every part", *components[1:]]),
        "cover_factor": slider("its lives last, times", 1, 3, 0.1, 1.3),
        "skip": pick("skip", skippable),
        "away": slider("hired out, days at a stretch (0: not)", 0, 120, 7, 0),
        "cost": slider("the change itself costs, a year", 0, 20_000, 100, 0),
    }


def _asked(controls: dict[str, Any]) -> dict[str, Any]:
    """Changes that controls away from their start ask for."""
    value = {name: control.value for name, control in controls.items()}
    out: dict[str, Any] = {}
    if value["days"]:
        out["lost_days_per_failure"] = value["days"]
    if value["price"]:
        out["lost_day_cost"] = value["price"]
    if value["loaner"]:
        out["loaner_at_hand"] = True
    if value["hours"] != 1:
        out["hours_factor"] = value["hours"]
    if value["contract_n"]:
        out["new_contract"] = {"duty": value["contract_duty"], "n_machines": value["contract_n"]}
    if value["part"] != AS_IT_IS:
        out["longer_life"] = {
            "component": value["part"], "factor": value["part_factor"],
            "extra_cost": value["part_cost"],
        }  # fmt: skip
    if value["measure"] != AS_IT_IS:
        out["measure_instead"] = value["measure"]
    if value["cover_duty"] != AS_IT_IS:
        part = value["cover_part"]
        out["cover"] = {"duty": value["cover_duty"], "factor": value["cover_factor"]}
        out["cover"] |= {} if part == "every part" else {"components": part}
    if value["skip"] != AS_IT_IS:
        out["skip_task"] = value["skip"]
    if value["away"]:
        out["hire_out_days"] = value["away"]
    if value["cost"]:
        out["cost_a_year"] = value["cost"]
    return out
