"""Every stage behind coding, in its order."""

import pandas as pd

from dutylife import decisions, lives, models, stock
from dutylife.pipeline.work import Work
from dutylife.settings import Settings


def all_stages(
    settings: Settings, work: Work, scores: pd.DataFrame | None, *, laws_only: bool = False
) -> None:
    """Every stage behind coding, into ``work.tables``."""
    t = work.tables
    with work.stage("lives"):
        work.take(
            lives.build_lives(
                t["maintenance_events"], t["service_lines"], t["units"], t["unit_spans"], settings
            )
        )
        t["readings"] = lives.age_readings(t["readings"], t["failure_events"])
    with work.stage("life models"):
        work.take(models.fit_models(t["failure_events"], t["unit_spans"], settings))
        if laws_only:
            return
        work.take(models.recurrence_of(t["failure_events"], t["units"], settings))
        work.findings.append(models.alike_duties(t["failure_events"], settings))
        t["law_checks"] = models.check_laws(t["failure_events"], settings)
        t["comebacks"] = models.comebacks_of(
            t["maintenance_events"], t["service_lines"], t["catalogue"], settings
        )
        t["part_makers"] = models.compare_part_makers(t["failure_events"], t["catalogue"], settings)
    with work.stage("intervals and visits"):
        work.take(
            decisions.recommend_intervals(
                t["life_draws"], t["life_models"], t["failure_events"], t["service_lines"],
                t["maintenance_events"], t["unit_spans"], settings, t["shelf"], t["readings"],
                t["catalogue"],
            )
        )  # fmt: skip
        work.take(
            decisions.visit_tables(
                t["intervals"], t["costs"], t["failure_events"], t["maintenance_events"],
                t["units"], t["unit_spans"], settings, t["life_draws"],
            )
        )  # fmt: skip
    with work.stage("coming year"):
        work.take(decisions.coming_year(t, settings))
    with work.stage("demand and stock"):
        work.take(
            stock.plan_stock(
                t["failure_events"], t["life_draws"], t["intervals"], t["units"],
                t["unit_spans"], t["service_lines"], t["maintenance_events"], t["catalogue"],
                t["shelf"], settings, contracts=t["contracts"],
                forecast_scores=scores, stated_plan=t["stated_plan"],
                use_seasons=t["use_seasons"],
            )
        )  # fmt: skip
    with work.stage("the bench"):
        load = stock.bench_load(t, settings)
        work.take({"bench_forecast": load.table, "findings": load.findings})
