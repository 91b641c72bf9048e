"""The one stage that knows every other: exports in, a finished run folder out."""

from dutylife.pipeline.folders import fleet_folder
from dutylife.pipeline.job import check, run, run_stages
from dutylife.pipeline.past import past_scores
from dutylife.pipeline.reading import coded
from dutylife.pipeline.work import AfterStage, Progress, RunResult

__all__ = [
    "AfterStage", "Progress", "RunResult", "check", "coded", "fleet_folder", "past_scores", "run",
    "run_stages",
]  # fmt: skip
