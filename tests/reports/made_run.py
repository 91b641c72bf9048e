"""A small invented run folder, every free text hostile, for the tests of reports and pages."""

import datetime as dt
import json
from pathlib import Path

import numpy as np
import pandas as pd
from made_results import comparison_rows, machine_rows

from dutylife.provenance import digest_of
from dutylife.schema import as_table
from dutylife.vocabulary import TABLES

BAD = "<script>alert('x')</script><img src=x onerror=alert(1)>"
FORMULA = '=HYPERLINK("http://example.invalid","pay here")'
AS_OF = dt.date(2026, 3, 31)
DUTIES = ("dry cutting", "landscape", "wet trench")
COMPONENTS = ("air filter", "carburetor", "drive belt", "ignition cap", "recoil starter")
SCALES = {"air filter": 140.0, "carburetor": 420.0, "drive belt": 300.0, "ignition cap": 500.0,
          "recoil starter": 380.0}  # fmt: skip
PARTS = {f"P-{100 + n}": COMPONENTS[n % len(COMPONENTS)] for n in range(12)}


def make_run(folder: Path) -> Path:
    """Write a run folder: tables/*.csv and run.json."""
    tables = _machines() | _lives() | _decisions() | _stock() | _intake()
    (folder / "tables").mkdir(parents=True)
    for name, frame in tables.items():
        write_csv(name, frame, folder)
    info = {
        "fleet": {"name": f"Three Rivers & Sons {BAD}", "currency": "EUR", "meter_unit": "hours"},
        "as_of": AS_OF.isoformat(), "confidence_level": 0.9, "horizon_months": 6,
        "plan_in_force": "as seen", "seed": 20260101, "comeback_days": 30,
        "inputs": [
            {"name": "lines.csv", "kind": "lines", "n_rows": 1250, "digest": "ab" * 32,
             "n_used": 1190, "n_set_aside": 60},
            {"name": f"parts{BAD}.csv", "kind": "parts", "n_rows": 12, "digest": "cd" * 32,
             "n_used": 12, "n_set_aside": 0},
        ],
        "rows_in": 1262, "rows_used": 1202, "rows_set_aside": 60,
        "versions": {"python": "3.11", "pandas": "2.3.3"},
        "settings": {"fleet": {"name": BAD}, "exports": [{"path": "lines.csv", "kind": "lines"}]},
        "stages_seconds": {"reading exports": 0.4, "life models": 1.2},
        "person_needed": [], "answers": [],
    }  # fmt: skip
    (folder / "run.json").write_text(json.dumps(info), encoding="utf-8")
    return folder


def write_csv(name: str, frame: pd.DataFrame, folder: Path) -> None:
    """Write one table in the form of a run folder."""
    out = as_table(name, frame)
    for column, declared in TABLES[name].columns.items():
        if declared.kind == "date":
            out[column] = out[column].dt.strftime("%Y-%m-%d")
        elif declared.kind == "flag":
            out[column] = out[column].map({True: "true", False: "false"})
    out.to_csv(
        folder / "tables" / f"{name}.csv", index=False, lineterminator="\n", float_format="%.10g"
    )


def _machines() -> dict[str, pd.DataFrame]:
    units = [f"TP-{n:02d}" for n in range(1, 8)] + [f"u{BAD}"]
    spans = pd.DataFrame(
        {
            "unit_id": units, "from_date": pd.Timestamp("2023-01-09"),
            "to_date": pd.Timestamp(AS_OF), "customer": ["Kerb & Son", BAD] * 4,
            "duty": [DUTIES[n % 3] for n in range(8)], "hours_per_week": 18.0,
        }
    )  # fmt: skip
    machines = pd.DataFrame(
        {
            "unit_id": units, "equipment_class": "trench pump", "first_seen": "2023-01-09",
            "last_seen": "2026-03-20", "prob_in_service": 0.9, "hours_per_week": 18.0,
            "usage_source": "meter", "meter_unit": "hours",
        }
    )  # fmt: skip
    return {"units": machines, "unit_spans": spans}


def _lives() -> dict[str, pd.DataFrame]:
    random = np.random.default_rng(7)
    models, curves, lives, gaps, again, mean, draws = [], [], [], [], [], [], []
    for component in COMPONENTS:
        for place, duty in enumerate(DUTIES):
            scale = SCALES[component] * (0.5, 1.0, 0.8)[place]
            ages = np.sort(scale * random.weibull(2.0, 9))
            cell = {"component": component, "duty": duty}
            survival = 1 - np.arange(1, 10) / 9.0
            curves += [
                cell | {"clock": "hours", "age": a, "survival": s,
                        "survival_lower": max(s - 0.2, 0), "survival_upper": min(s + 0.2, 1)}
                for a, s in zip(ages, survival, strict=True)
            ]  # fmt: skip
            draws += [
                cell | {"clock": "hours", "draw": n + 1, "weight": 0.25, "distribution": "weibull",
                        "shape": 1.7 + 0.2 * n, "scale": scale * (0.8 + 0.12 * n)}
                for n in range(4)
            ]  # fmt: skip
            n_failed = 24 if component == "carburetor" else 3
            tested = {
                "p_renewal": 0.004 if place else 0.4, "p_adjusted": 0.012 if place else 0.4,
                "p_laplace": 0.001, "p_military_handbook": 0.0004, "later_sooner": 2.9,
                "power": 1.6, "power_lower": 1.1, "power_upper": 2.2,
                "trend": "more often" if place else "renewals",
            }  # fmt: skip
            again.append(
                cell | {
                    "n_units": 7, "n_events": n_failed, "n_lives_in_a_row": n_failed,
                    "n_failed_in_a_row": n_failed, "clock": "hours", "trend": "too few",
                    "verdict": f"said in words {BAD}",
                } | (tested if n_failed > 9 else {})
            )  # fmt: skip
            mean += [
                cell | {"counted_by": by, "age_days": 100.0 * n, "n_at_risk": 7, "n_events": 1,
                        "mean_events": 0.1 * n, "mean_events_lower": 0.05 * n,
                        "mean_events_upper": 0.2 * n}
                for by in ("machine age", "calendar") for n in range(1, 9)
            ]  # fmt: skip
            models.append(
                cell | {
                    "clock": "hours", "distribution": "weibull", "shape": 2.0,
                    "shape_lower": 1.4, "shape_upper": 2.9, "scale_hours": scale,
                    "scale_hours_lower": 0.8 * scale, "scale_hours_upper": 1.3 * scale,
                    "b50_hours": 0.83 * scale, "mean_life_hours": 0.886 * scale, "n_lives": 14,
                    "n_failed": 9, "own_data_share": 0.7, "basis": "pooled",
                    "verdict": f"supported {BAD}",
                }
            )  # fmt: skip
            lives += [
                cell | {
                    "unit_id": f"TP-{1 + n % 7:02d}", "life_number": n + 1, "spell": 1,
                    "customer": BAD, "installed_on": "2025-01-02", "ended_on": "2025-06-02",
                    "entry_hours": 0, "exit_hours": a, "entry_days": 0, "exit_days": 151,
                    "event": "failed" if n % 3 else "running", "clock_source": "meter",
                    "weight": 1.0, "position": f"{place}",
                }
                for n, a in enumerate(ages)
            ]  # fmt: skip
        gaps += [
            {"unit_id": f"TP-{1 + n:02d}", "component": component, "from_date": "2025-01-02",
             "to_date": "2025-06-02", "gap_days": 40.0 + 30 * n, "is_event": n % 2 == 0}
            for n in range(6)
        ]  # fmt: skip
    switched = [
        {"assumed": f"first parts {BAD}", "switched_to": f"the other {BAD}", "component": component,
         "duty": duty, "task": "replace", "interval_days": 100.0, "task_switched": "replace",
         "interval_days_switched": 100.0 - 10 * place, "n_failed": 9, "n_failed_switched": 8,
         "scale_ratio": 0.9}
        for component in COMPONENTS
        for place, duty in enumerate(DUTIES)
    ]  # fmt: skip
    return {
        "sensitivity": pd.DataFrame(switched),
        "life_draws": pd.DataFrame(draws),
        "life_models": pd.DataFrame(models), "survival_curves": pd.DataFrame(curves),
        "failure_events": pd.DataFrame(lives), "recurrence_gaps": pd.DataFrame(gaps),
        "recurrence": pd.DataFrame(again), "recurrence_curves": pd.DataFrame(mean),
        "law_checks": _law_checks(), "part_makers": _part_makers(),
    }  # fmt: skip


def _law_checks() -> pd.DataFrame:
    rows = []
    for component in COMPONENTS:
        for place, duty in enumerate(DUTIES):
            tested = component == "carburetor"
            fails = tested and place == 0
            rows.append(
                {
                    "component": component, "duty": duty, "clock": "hours", "n_lives": 44,
                    "n_failed": 24 if tested else 3,
                    "p_law": (0.001 + 0.3 * place) if tested else None,
                    "p_law_adjusted": (0.003 + 0.3 * place) if tested else None,
                    "weibull": "does not hold" if fails else "holds" if tested else "too few",
                    "verdict": f"said in words {BAD}",
                }
            )  # fmt: skip
    return pd.DataFrame(rows)


def _part_makers() -> pd.DataFrame:
    makers = {"south works": (0.5, 0.4, 0.6, 0.001, "shorter"),
              f"north {BAD}": (2.0, 1.6, None, 0.001, "longer")}  # fmt: skip
    return pd.DataFrame(
        [
            {
                "component": "carburetor", "part_maker": name, "n_lives": 30, "n_failed": 12,
                "times_life": times, "times_life_lower": low, "times_life_upper": high,
                "p_adjusted": p, "lasts": lasts, "verdict": f"its parts last so {BAD}",
            }
            for name, (times, low, high, p, lasts) in makers.items()
        ]
    )  # fmt: skip


def _decisions() -> dict[str, pd.DataFrame]:
    intervals, curves = [], []
    for component in COMPONENTS:
        for place, duty in enumerate(DUTIES):
            cell = {"component": component, "duty": duty}
            at = SCALES[component] * (0.25, 0.5, 0.4)[place]
            fate = component == "recoil starter"
            intervals.append(
                cell | {
                    "task": "run to failure" if fate else "replace",
                    "interval_hours": None if fate else at,
                    "interval_hours_lower": None if fate else 0.7 * at,
                    "interval_hours_upper": None if fate else 1.5 * at,
                    "interval_days": None if fate else at / 18 * 7,
                    "cost_per_1000_hours": 420.0, "n_failed": 9, "basis": "pooled",
                    "clock": "hours",
                    "cost_per_1000_hours_run_to_failure": 420.0 if fate else 560.0 + place,
                    "probability_it_pays": 0.4 if fate else 0.93,
                    "can_hurt": f"thrown belt {BAD}" if component == "drive belt" else "",
                    "sentence": f"Replace early: failures cost more. {BAD}",
                }
            )  # fmt: skip
            intervals.append(
                cell | {
                    "task": "inspect", "interval_hours": 0.2 * at, "interval_days": 0.2 * at / 2.6,
                    "n_failed": 9, "basis": "starting value", "mark": "common practice",
                    "can_hurt": f"thrown belt {BAD}" if component == "drive belt" else "",
                    "sentence": f"Look at it. {BAD}",
                }
            )  # fmt: skip
            ages = np.linspace(0.1, 2, 40) * SCALES[component]
            cost = 400 * (at / ages + ages / at) / 2
            curves += [
                cell | {"age": a, "cost_per_1000_hours": c, "cost_per_1000_hours_lower": 0.8 * c,
                        "cost_per_1000_hours_upper": 1.2 * c, "clock": "hours"}
                for a, c in zip(ages, cost, strict=True)
            ]  # fmt: skip
    visits = [
        {"unit_id": f"TP-{1 + n % 7:02d}" if n else f"u{BAD}", "customer": BAD if n % 2 else "Kerb",
         "duty": DUTIES[n % 3], "due_on": pd.Timestamp(AS_OF) + pd.Timedelta(days=4 + 5 * n),
         "due_hours": 900.0 + 20 * n, "tasks": f"replace air filter;inspect drive belt {BAD}",
         "parts": "P-100;P-102", "labour_hours": 1.25, "cost": 84.0 + n}
        for n in range(14)
    ]  # fmt: skip
    costs = [
        {"component": component, "duty": duty, "task": "replace", "planned_cost": 1.0,
         "failure_cost": 4.0, "payer": "contractor", "basis": "our proposal",
         "is_relative": component == "air filter"}
        for component in COMPONENTS
        for duty in DUTIES
    ]  # fmt: skip
    choices = [
        {"component": component, "duty": duty, "question_order": number, "question": question,
         "answer": "yes" if works else "no", "applicable": "yes" if works else "no",
         "effective": "yes" if works else "no", "evidence": f"9 failures in 20 lives {BAD}",
         "task": "replace (by age)" if works else None, "decides": works,
         "cautions": "Unexpected start;Fire"}
        for component in COMPONENTS
        for duty in DUTIES
        for number, (question, works) in enumerate(
            [("safety", False), ("on condition", False), ("wear-out", True)], start=1
        )
    ]  # fmt: skip
    compared = comparison_rows().astype({"customer": "object"})
    compared = compared.assign(customer=compared["customer"].replace("Quay crew", BAD))
    machines = machine_rows().astype({"duty": "object", "equipment_class": "object"})
    machines = machines.assign(duty=BAD, equipment_class=BAD, sentence=BAD)
    return {
        "plan_comparison": compared, "keep_or_retire": machines,
        "costs": pd.DataFrame(costs), "task_choice": pd.DataFrame(choices),
        "intervals": pd.DataFrame(intervals), "cost_curves": pd.DataFrame(curves),
        "visit_plan": pd.DataFrame(visits),
    }  # fmt: skip


def _stock() -> dict[str, pd.DataFrame]:
    start = pd.Timestamp(AS_OF) + pd.Timedelta(days=1)
    demand = [
        {"part_number": part, "component": component, "plan": plan,
         "from_date": pd.Timestamp(2026, 3 + first, 1), "months": span, "mean": mean,
         "p50": np.floor(mean), "p80": np.ceil(mean + 1), "p90": np.ceil(mean + 2),
         "p95": np.ceil(mean + 3), "mean_planned": 0.3 * mean, "mean_unplanned": 0.7 * mean,
         "mean_other": 0.0, "life_weight": 0.8, "n_scored": 12}
        for n, (part, component) in enumerate(PARTS.items())
        for plan, more in (("as seen", 1.0), ("recommended", 1.3))
        for first, span in [(1, 1), (1, 3), (1, 6), *[(m, 1) for m in range(2, 7)]]
        for mean in [more * span * (3.2 - 0.2 * n)]
    ]  # fmt: skip
    plan = [
        {"part_number": part, "component": component, "supplier": "North Bay Supply",
         "description": f"{component} {BAD}" if n == 0 else FORMULA if n == 1 else component,
         "on_hand": None if n >= 9 else float(n % 4), "on_order": 0.0, "reorder_point": 5.0 - n % 4,
         "order_up_to": 9.0 - n % 3, "order_now": 9.0 - n % 3 - n % 4 if n < 7 else 0.0,
         "fill_rate": 0.96, "ready_rate": 0.91, "held_cost": 12.5, "unit_cost": 8.5 + n,
         "order_cost": (9.0 - n % 3 - n % 4) * (8.5 + n) if n < 7 else 0.0, "pack_size": 1.0,
         "lead_time_days": 10.0, "needed_by": start + pd.Timedelta(days=2 * n) if n < 9 else None,
         "p50": 2.0, "p90": 5.0, "sentence": f"Expect 2 to 5 in the next 17 days. {BAD}"}
        for n, (part, component) in enumerate(PARTS.items())
    ]  # fmt: skip
    shelf = [
        {"part_number": part, "description": f"{BAD}", "on_hand": 3.0, "unit_cost": 9.0,
         "source_file": "parts.csv", "source_row": n + 2}
        for n, part in enumerate([*list(PARTS)[:9], "OLD-1", "OLD-2"])
    ]  # fmt: skip
    return {
        "demand_forecast": pd.DataFrame(demand).drop_duplicates(
            ["part_number", "plan", "from_date", "months"]
        ),
        "stock_plan": pd.DataFrame(plan),
        "shelf": pd.DataFrame(shelf),
    }


def _intake() -> dict[str, pd.DataFrame]:
    lines = [
        {"line_id": f"l{n}", "source_file": "lines.csv", "source_row": n + 2, "ticket": f"T{n}",
         "service_date": "2026-02-10" if part != "OLD-1" else "2024-02-10", "line_kind": "part",
         "part_number": part, "complaint": BAD, "description": BAD, "quantity": 1.0}
        for n, part in enumerate([*PARTS, "OLD-1"])
    ]  # fmt: skip
    found = [
        {"finding_id": digest_of(kind, n), "stage": "intake", "kind": kind, "table": "units",
         "key": f"TP-0{n}", "source_file": "lines.csv", "source_row": 10 * n, "message":
         f"{kind} {n}: meter falls {BAD}", "mend": "look at the meter"}
        for n, kind in enumerate(["note", "note", "ask", "fault"])
    ]  # fmt: skip
    return {
        "service_lines": pd.DataFrame(lines),
        "findings": pd.DataFrame(found),
        "not_understood": pd.DataFrame(
            {"text": [f"bodge {BAD}", "thingy"], "n_lines": [7, 2], "line_id": ["l1", "l2"]}
        ),
        "set_aside": pd.DataFrame(
            [
                {"source_file": "lines.csv", "source_row": n, "reason": "duplicate", "detail": BAD,
                 "needs_person": False}
                for n in range(60)
            ]
        ),
    }  # fmt: skip
